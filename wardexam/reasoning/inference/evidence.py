"""What each finding, statement and silence weighs: a short table of log-likelihood by code.

Equal answers in one limb are one general statement in several words, so their weights are tempered
together. Silence and statements are weighed apart and never reach red flags or urgency.
"""

from collections import Counter
from collections.abc import Hashable
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Literal, cast

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.exam.answers import ScaleName
from wardexam.exam.examination import Context, Findings, Onset
from wardexam.exam.findings import Finding, Quality, Side
from wardexam.exam.wording import finding_text
from wardexam.reasoning.model import losses, observation
from wardexam.reasoning.model.codes import decoded
from wardexam.reasoning.model.forms import SIDE_NAMES
from wardexam.reasoning.model.hypotheses import LIMBS, Key
from wardexam.reasoning.model.likelihood import likelihood
from wardexam.reasoning.tables import story_row, weighing_row

Kind = Literal["finding", "stated", "silence", "story"]
_LEAST = 1e-9  # no chance is less, so that it has a logarithm
_KEPT = 600  # look-ups of a few kB each
_KEPT_PIECES = 1000  # some 0.2 kB each, the look-ups apart
Log = NDArray[np.float64]  # log-likelihood by code: shape (codes, 1), or (codes, 3) by briskness


@dataclass(frozen=True, slots=True)
class Piece:
    """One look-up: a sign on a side, what was said of it and when it counts, and its weight by code."""

    key: Key
    said: tuple[Hashable, ...]
    log: Log


@dataclass(frozen=True, slots=True)
class Term:
    """What enters the sum as one: a finding, or the signs of one statement or silence.

    Attributes:
        key: Sign and side; part and limb for statements and silence.
        kind: What it is.
        text: In words.
        pieces: The look-ups it adds up.
        factor: What tempering leaves of it.
        bundle: Terms of one bundle are tempered together: part, limb, then what makes them equal.
        side: The side it speaks of, for summing both sides alike.
    """

    key: Key
    kind: Kind
    text: str
    pieces: tuple[Piece, ...]
    factor: float
    bundle: tuple[str, ...]
    side: str


def limb_side(sign: Sign, side: str) -> str:
    """The limb with its side, e.g. ``"right leg"``; without a side on the midline."""
    return (
        sign.limb
        if sign.limb in ("head", "trunk", "saddle") or side == "midline"
        else f"{side} {sign.limb}"
    )


def repeat_key(finding: Finding) -> tuple[str, ...]:
    """What makes two findings one general statement: part, limb, kind and the same answer."""
    row = finding.row
    return row.part, limb_side(row, finding.side), row.answers, row.modality, str(finding.answer)


def _lean(chance: NDArray[np.float64]) -> Log:
    """Its logarithm, without the axis of briskness where that makes no difference."""
    log = np.log(np.maximum(chance, _LEAST))
    return log[:, :1].copy() if (log == log[:, :1]).all() else log


def log_likelihood(finding: Finding, context: Context) -> Log:
    """Log-likelihood of a finding by code."""
    row = finding.row
    amount = finding.amount if row.answers == "residual" else None
    return _logged(
        observation.alike(row), finding.answer, finding.scale, finding.qualities, amount,
        *observation.bearing(row, context),
    )  # fmt: skip


@lru_cache(maxsize=_KEPT)
def _logged(
    sign_id: str, answer: str, scale: ScaleName | None, qualities: tuple[Quality, ...],
    amount: int | None, age: int | None, onset: Onset,
) -> Log:  # fmt: skip
    finding = Finding.model_construct(
        sign=sign_id, side="midline", answer=answer, scale=scale, qualities=qualities, amount=amount
    )
    return _lean(likelihood(catalogue()[sign_id], finding, Context(age=age, onset=onset)))


@lru_cache(maxsize=_KEPT)
def _usual(sign_id: str, age: int | None, onset: Onset) -> Log:
    sign = catalogue()[sign_id]
    made = (
        observation.observed_level()
        if sign.answers == "level"
        else observation.observed(sign, Context(age=age, onset=onset))
    )
    wanted = [made.answers.index(a) for a in observation.usual_answers(sign)]
    return _lean(made.chance[:, wanted, :].sum(axis=1))


@lru_cache(maxsize=_KEPT)
def _silent(sign_id: str, age: int | None, onset: Onset) -> Log:
    weight = weighing_row("weight")
    bounded = np.maximum(_usual(sign_id, age, onset), -weight["silence_most"])
    return np.asarray(weight["silence"] * bounded)


@lru_cache(maxsize=2)
def _complained(named: bool) -> Log:
    """Log-likelihood that a limb is complained of, or is left out, by its code."""
    row = story_row("complained")["rest"]
    numb, weak, _ = decoded()
    worst = np.maximum(row["numb"] * numb, row["weak"] * weak)
    chance = row["base"] + (1 - row["base"]) * worst
    log = np.log(chance) if named else row["unnamed"] * np.log(1 - chance)
    return np.asarray(row["weight"] * log)[:, None]


def _story(context: Context) -> list[Term]:
    """What the limbs that a complaint names, and leaves out, weigh."""
    names = story_row("names").get(context.complaint or "")
    if names is None:
        return []
    told = {"right": ("right",), "left": ("left",)}.get(context.complaint_side or "", SIDE_NAMES)
    found = []
    for limb in LIMBS:
        for side in SIDE_NAMES:
            named = limb in names["limbs"] and side in told
            if named and names.get("pain"):
                continue
            piece = Piece((limb, side), ("named" if named else "left out",), _complained(named))
            text = f"{side} {limb} {'complained of' if named else 'not complained of'}"
            found.append(Term((limb, side), "story", text, (piece,), 1.0, ("story", limb), side))
    return found


@cache
def _places() -> tuple[tuple[Sign, Side, str], ...]:
    """Every sign on each of its sides, with its limb."""
    return tuple(
        (sign, cast(Side, side), limb_side(sign, side))
        for sign in catalogue().values()
        for side, _ in losses.sides(sign)
    )


@cache
def together(part: str, limb: str, side: str) -> tuple[Key, ...]:
    """The signs that a statement or a silence about a limb may speak of."""
    return tuple(
        (sign.id, at)
        for sign, at, where in _places()
        if (sign.part, where, at) == (part, limb, side)
    )


def terms(examination: Findings, *, silence: bool) -> list[Term]:
    """Everything that enters the sum, in a fixed order."""
    found = _findings(examination) + _story(examination.context)
    if silence or examination.rest_normal:
        found += _unsaid(examination, silence=silence)
    return found


def _findings(examination: Findings) -> list[Term]:
    """The terms of what was found."""
    power = weighing_row("weight")["repeats"] - 1
    context = examination.context
    graded = sorted((f for f in examination.findings if f.answer is not None), key=lambda f: f.key)
    bundles = [repeat_key(f) for f in graded]
    repeats = Counter(bundles)
    found = []
    for finding, bundle in zip(graded, bundles, strict=True):
        said = (
            finding.answer, finding.scale, finding.qualities, finding.amount,
            *observation.bearing(finding.row, context),
        )  # fmt: skip
        piece = Piece(finding.key, said, log_likelihood(finding, context))
        found.append(
            Term(
                finding.key,
                "finding",
                finding_text(finding),
                (piece,),
                repeats[bundle] ** power,
                bundle,
                finding.side,
            )
        )
    return found


@lru_cache(maxsize=_KEPT_PIECES)
def _piece(key: Key, kind: Kind, alike: str, bearing: observation.Bearing) -> Piece:
    """What a sign weighs that was stated normal or not recorded."""
    look = _usual if kind == "stated" else _silent
    return Piece(key, (kind, *bearing), look(alike, *bearing))


def _unsaid(examination: Findings, *, silence: bool) -> list[Term]:
    """The terms of what was stated normal, and of what was left unsaid where silence weighs."""
    weight = weighing_row("weight")
    never = weighing_row("silence")["never"]
    touched = {f.row.part for f in examination.findings if f.answer is not None}
    recorded = {f.key for f in examination.findings}
    unsaid: dict[tuple[Kind, str, str, str], list[Piece]] = {}
    stated = examination.rest_normal
    for sign, side, limb in _places():
        if sign.apart or (sign.id, side) in recorded:
            continue
        kind: Kind
        if stated and any(s.covers(sign, side) for s in stated):
            kind = "stated"
        elif silence and sign.part in touched and sign.answers not in never:
            kind = "silence"
        else:
            continue
        bearing = observation.bearing(sign, examination.context)
        piece = _piece((sign.id, side), kind, observation.alike(sign), bearing)
        unsaid.setdefault((kind, sign.part, limb, side), []).append(piece)
    found = []
    for (kind, part, limb, on), pieces in unsaid.items():
        tempering = weight["repeats" if kind == "stated" else "silence_repeats"] - 1
        text = f"rest of {limb} {part} " + ("stated normal" if kind == "stated" else "not recorded")
        found.append(
            Term(
                (part, limb),
                kind,
                text,
                tuple(pieces),
                len(pieces) ** tempering,
                (part, limb, kind),
                on,
            )
        )
    return found
