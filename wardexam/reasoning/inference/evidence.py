"""What each finding, statement and silence weighs: a short table of log-likelihood by code.

Equal answers in one limb are one general statement in several words, so their weights are tempered
together. Silence and statements are weighed apart and never reach red flags or urgency.
"""

from collections import Counter
from collections.abc import Hashable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.exam.examination import Context, Findings
from wardexam.exam.findings import Finding
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


@lru_cache(maxsize=_KEPT)
def log_likelihood(finding: Finding, context: Context) -> Log:
    """Log-likelihood of a finding by code."""
    return _lean(likelihood(finding.row, finding, context))


@lru_cache(maxsize=_KEPT)
def _usual(sign_id: str, context: Context) -> Log:
    sign = catalogue()[sign_id]
    made = (
        observation.observed_level()
        if sign.answers == "level"
        else observation.observed(sign, context)
    )
    wanted = [made.answers.index(a) for a in observation.usual_answers(sign)]
    return _lean(made.chance[:, wanted, :].sum(axis=1))


@lru_cache(maxsize=_KEPT)
def _silent(sign_id: str, context: Context) -> Log:
    weight = weighing_row("weight")
    bounded = np.maximum(_usual(sign_id, context), -weight["silence_most"])
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


def terms(examination: Findings, *, silence: bool) -> list[Term]:
    """Everything that enters the sum, in a fixed order."""
    weight = weighing_row("weight")
    power = weight["repeats"] - 1
    context = observation.bearing(examination.context)
    graded = sorted((f for f in examination.findings if f.answer is not None), key=lambda f: f.key)
    repeats = Counter(repeat_key(f) for f in graded)
    found = []
    for finding in graded:
        bundle = repeat_key(finding)
        said = (
            finding.answer, finding.scale, finding.qualities, finding.amount, context.age, context.onset,
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
    found += _story(examination.context)
    touched = {f.row.part for f in graded}
    recorded = {f.key for f in examination.findings}
    unsaid: dict[tuple[Kind, str, str, str], list[Piece]] = {}
    for sign in catalogue().values():
        for side, _ in losses.sides(sign):
            if (sign.id, side) in recorded:
                continue
            limb = limb_side(sign, side)
            kind: Kind
            if any(s.covers(sign, side) for s in examination.rest_normal):  # type: ignore[arg-type]  # a side by name
                kind, log = "stated", _usual(sign.id, context)
            elif (
                silence
                and sign.part in touched
                and sign.answers not in weighing_row("silence")["never"]
            ):
                kind, log = "silence", _silent(sign.id, context)
            else:
                continue
            piece = Piece((sign.id, side), (kind, context.age, context.onset), log)
            unsaid.setdefault((kind, sign.part, limb, side), []).append(piece)
    for (kind, part, limb, side), pieces in unsaid.items():
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
                side,
            )
        )
    return found
