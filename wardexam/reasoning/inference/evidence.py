"""What each finding, statement and silence weighs: a short table of log-likelihood by code.

Equal answers in one limb are one general statement in several words, so their weights are tempered
together; that the rest was normal counts as each of its signs found normal, less surely. What stands from before fades by
hours. Statements, silence and what was before never reach red flags or urgency.
"""

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from wardexam.anatomy.catalogue import PARTS, SEGMENTS, TENDON, Sign, catalogue
from wardexam.exam.answers import ScaleName
from wardexam.exam.earlier import ago
from wardexam.exam.examination import Context, Findings, Onset
from wardexam.exam.findings import Finding, Quality, Side, sides_of
from wardexam.exam.wording import finding_text
from wardexam.reasoning.inference.comparison import borders, contrasts
from wardexam.reasoning.inference.pieces import (
    Kind,
    Log,
    Piece,
    Place,
    Term,
    dermatome,
    lean,
    usual_log,
)
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.codes import decoded
from wardexam.reasoning.model.forms import SIDE_NAMES
from wardexam.reasoning.model.hypotheses import LIMBS, Key
from wardexam.reasoning.model.likelihood import likelihood
from wardexam.reasoning.tables import read, story_row, weighing_row

LOST = "reduced"  # what a level says of the skin below it
_DEGREES = ("reduced", "absent")  # of lost sensation
USUAL = "usual"  # every answer that a statement of normality stands for
_KEPT = 600  # look-ups of a few kB each
_KEPT_PARTS = 40  # parts in as many contexts, some 10 kB each
_KEPT_PIECES = 1000  # some 0.2 kB each, the look-ups apart


def limb_side(sign: Sign, side: str) -> str:
    """The limb with its side, e.g. ``"right leg"``; without a side on the midline."""
    return (
        sign.limb
        if sign.limb in ("head", "trunk", "saddle") or side == "midline"
        else f"{side} {sign.limb}"
    )


def repeat_key(finding: Finding) -> tuple[str, ...]:
    """What makes two findings one general statement: part, limb, kind and the same answer."""
    usual = finding.choice is not None and finding.choice.usual
    return _alike(finding.sign, finding.side, USUAL if usual else str(finding.answer))


@lru_cache(maxsize=_KEPT_PIECES)
def _alike(sign_id: str, side: str, answer: str) -> tuple[str, ...]:
    row = catalogue()[sign_id]
    limb = "" if answer != USUAL and sign_id in _of_one_will() else limb_side(row, side)
    return row.part, limb, row.answers, row.modality, answer


@cache
def _of_one_will() -> frozenset[str]:
    """The signs that are one statement where they are found in several limbs."""
    rows = [row for row in story_row("support").values() if row.get("together")]
    return frozenset(sign for row in rows for sign in row["signs"])


def log_likelihood(finding: Finding, context: Context) -> Log:
    """Log-likelihood of a finding by code."""
    row = finding.row
    amount = finding.amount if row.measured else None
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
    return lean(likelihood(catalogue()[sign_id], finding, Context(age=age, onset=onset)))


@lru_cache(maxsize=_KEPT)
def _lost(sign_id: str, age: int | None, onset: Onset) -> Log:
    """That sensation is lost there, in whatever degree."""
    made = observation.observed(catalogue()[sign_id], Context(age=age, onset=onset))
    return lean(made.chance[:, [made.answers.index(a) for a in _DEGREES], :].sum(axis=1))


@lru_cache(maxsize=_KEPT)
def _silent(sign_id: str, age: int | None, onset: Onset) -> Log:
    weight = weighing_row("weight")
    bounded = np.maximum(usual_log(sign_id, age, onset), -weight["silence_most"])
    return np.asarray(weight["silence"] * bounded)


@cache
def _complained(named: bool, loss: str) -> Log:
    """Log-likelihood that a limb is complained of as weak or as numb, or is left out, by its code."""
    row = story_row("complained")[loss]
    numb, weak, _ = decoded()
    worst = np.maximum(row["numb"] * numb, row["weak"] * weak)
    chance = row["base"] + (1 - row["base"]) * worst
    log = np.log(chance) if named else row["unnamed"] * np.log(1 - chance)
    return np.asarray(row["weight"] * log)[:, None]


@cache
def _complaint(limb: Key, named: bool, loss: str) -> Piece:
    return Piece(limb, _complained(named, loss))


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
            loss = names.get("of", "weak")
            piece = _complaint((limb, side), named, loss)
            text = f"{side} {limb} {'complained of' if named else 'not complained of'}"
            found.append(Term((limb, side), "story", text, (piece,), 1.0, ("story", limb), side))
    return found


@cache
def _places() -> tuple[Place, ...]:
    """Every sign on each of its sides, with its limb."""
    return tuple(
        (sign, side, limb_side(sign, side))
        for sign in catalogue().values()
        for side in sides_of(sign)
    )


@cache
def _places_of(part: str) -> tuple[Place, ...]:
    """The same of one part, but signs that are asked apart, and those whose silence says nothing."""
    never = weighing_row("silence")["never"]
    return tuple(
        place for place in _places()
        if place[0].part == part and not place[0].apart and place[0].answers not in never
    )  # fmt: skip


@cache
def together(part: str, limb: str, side: str) -> tuple[Key, ...]:
    """The signs that a statement or a silence about a limb may speak of."""
    return tuple(
        (sign.id, at)
        for sign, at, where in _places()
        if (sign.part, where, at) == (part, limb, side)
    )


@cache
def _same_skin(sign_id: str) -> tuple[str, ...]:
    """Other signs that speak of the same skin in the same way: of a level its dermatomes, of a nerve's territory those within it."""
    row, signs = catalogue()[sign_id], catalogue().values()
    if row.level:
        return tuple(s.id for s in signs if s.answers == "sensation" and s.modality == row.modality)
    if row.answers != "sensation":
        return ()
    least = weighing_row("silence")["same_skin"]
    return tuple(
        s.id
        for s in signs
        if s.answers == row.answers
        and s.modality == row.modality
        and sum(min(share, s.branches.get(b, 0.0)) for b, share in row.branches.items()) >= least
    )


def terms(
    examination: Findings, *, silence: bool, before: Collection[tuple[Finding, float]] = ()
) -> list[Term]:
    """Everything that enters the sum, in a fixed order.

    Args:
        examination: What was found, stated and told.
        silence: Whether a sign left out of a part that was partly examined weighs a little.
        before: What was found earlier and is not examined now, each with how many hours ago.
    """
    stated = _stated(examination) if examination.rest_normal else []
    graded = [
        f
        for f in examination.findings
        if f.answer is not None and not _said_already(f, examination)
    ]
    context = examination.context
    graded.sort(key=lambda f: f.key)
    told = {f.key for f in graded}
    levels = {f.key: skin_of_level(f, told) for f in graded if f.answer in SEGMENTS}
    levels = {key: skin for key, skin in levels.items() if skin}  # else it weighs by itself
    looked_up = [_look_up(f, context) for f in graded if f.key not in levels]
    counts = Counter(said.bundle for said in looked_up)
    counts.update(_alike(s.id, side, a) for (_, side), skin in levels.items() for s, a in skin)
    for sign, side, _ in stated:
        counts[_alike(sign.id, side, USUAL)] += 1
    known: dict[tuple[str, ...], float] = dict(counts)
    faded = [(_look_up(f, context), hours) for f, hours in before if fading(hours)]
    for said, hours in faded:
        known[said.bundle] = known.get(said.bundle, 0.0) + fading(hours)
    left = {bundle: _tempering(bundle, count) for bundle, count in known.items()}
    found = [said.term("finding", "", left[said.bundle]) for said in looked_up]
    found += [_level_term(f, levels[f.key], context, left) for f in graded if f.key in levels]
    at_border, unlike = borders(graded, stated, levels), contrasts(graded, stated, context)
    # A border is one however many dermatomes tell it.
    found = [t.further(at_border[t.key].whole(t.factor)) if t.key in at_border else t for t in found]  # fmt: skip
    found = [t.further(unlike[t.key]) if t.key in unlike else t for t in found]
    found += [
        said.term("before", f", {ago(hours)}", fading(hours) * left[said.bundle])
        for said, hours in sorted(faded, key=lambda s: s[0].piece.key)
    ]
    found += _story(examination.context)
    found += _statements(examination.context, stated, left)
    if silence:
        found += _silence(examination, stated, {f.key for f, _ in before})
    return found


Skin = tuple[tuple[Sign, str], ...]  # areas of skin and what is said of each


def skin_of_level(level: Finding, told: Collection[Key]) -> Skin:
    """What a level says of the dermatomes that are not told: lost below it, usual at it; the saddle is asked apart."""
    at = SEGMENTS.index(str(level.answer))
    found = []
    for sign_id in _same_skin(level.sign):
        sign = catalogue()[sign_id]
        place = dermatome(sign)
        if place is not None and place >= at and (sign_id, level.side) not in told:
            found.append((sign, LOST if place > at else USUAL))
    return tuple(found)


def _level_term(
    level: Finding, skin: Skin, context: Context, left: Mapping[tuple[str, ...], float]
) -> Term:
    """A level weighs what its dermatomes would."""
    side, text = level.side, finding_text(level)
    pieces = tuple(_said_of(sign, side, answer, context, left) for sign, answer in skin)
    return Term(level.key, "finding", text, pieces, 1.0, repeat_key(level), side)


def _said_already(finding: Finding, examination: Findings) -> bool:
    """Whether a lost dermatome says again what a nerve's territory says of the same skin."""
    usual = finding.choice is None or finding.choice.usual
    if finding.row.answers != "sensation" or finding.row.territory or usual:
        return False
    return any(
        f.side == finding.side
        and f.answer == finding.answer
        and f.row.territory
        and finding.sign in _same_skin(f.sign)
        for f in examination.findings
    )


def fading(hours: float) -> float:
    """What is left of the weight of a finding so many hours old; 0 where it is not worth weighing."""
    row = weighing_row("fading")
    left: float = row["at_once"] * 0.5 ** (hours / row["half_hours"])
    return left if left >= row["least"] else 0.0


def weighed_with(bundle: tuple[str, ...]) -> str:
    """What a finding is weighed with: the part of the examination that it is of, tendon reflexes apart."""
    part, _, answers, *_ = bundle
    return TENDON if answers == TENDON else part


def _tempering(bundle: tuple[str, ...], known: float) -> float:
    """What is left of the weight of each of equal findings; one alone, faded or not, keeps what its part of the examination has.

    Together they weigh no more than so many of them do: "power 5 in the leg" is no more in eleven words than in five.
    """
    row, count = weighing_row("weight"), max(1.0, known)
    together: float = min(count, row["repeats_most"]) ** row["repeats"]
    of_part: float = read("inference/learned.toml")["part"][weighed_with(bundle)]
    return of_part * together / count


@dataclass(frozen=True, slots=True)
class _Said:
    """What a finding adds: its look-up, what makes it equal to others, its words."""

    piece: Piece
    bundle: tuple[str, ...]
    text: str

    def term(self, kind: Kind, ago: str, factor: float) -> Term:
        """It as a term; of one from before it is said, and how long ago."""
        key, text = self.piece.key, f"before: {self.text}{ago}" if ago else self.text
        return Term(key, kind, text, (self.piece,), factor, self.bundle, key[1])


def _look_up(finding: Finding, context: Context) -> _Said:
    return _looked_up(
        finding.sign, finding.side, finding.answer or "", finding.scale, finding.qualities, finding.amount,
        *observation.bearing(finding.row, context),
    )  # fmt: skip


@lru_cache(maxsize=_KEPT_PIECES)
def _looked_up(
    sign: str, side: Side, answer: str, scale: ScaleName | None, qualities: tuple[Quality, ...],
    amount: int | None, age: int | None, onset: Onset,
) -> _Said:  # fmt: skip
    """The same for every finding that says so, whatever is written beside it."""
    finding = Finding.model_construct(
        sign=sign, side=side, answer=answer, scale=scale, qualities=qualities, amount=amount
    )
    counts = amount if finding.row.measured else None
    log = _logged(observation.alike(finding.row), answer, scale, qualities, counts, age, onset)
    return _Said(Piece(finding.key, log), repeat_key(finding), finding_text(finding))


@cache
def _kinds_of(part: str) -> tuple[str, ...]:
    """The signs of a part whose silence counts, one of each kind."""
    return tuple(dict.fromkeys(observation.alike(sign) for sign, *_ in _places_of(part)))


def _bearings(part: str, context: Context) -> tuple[observation.Bearing, ...]:
    """What of the context bears on each kind of sign of a part."""
    return tuple(observation.bearing(catalogue()[kind], context) for kind in _kinds_of(part))


@lru_cache(maxsize=_KEPT_PARTS)
def _silent_pieces(
    part: str, bearings: tuple[observation.Bearing, ...]
) -> tuple[tuple[Key, tuple[str, str, str], Piece], ...]:
    """What each sign of a part weighs that is not recorded, with where it belongs."""
    bears, made = dict(zip(_kinds_of(part), bearings, strict=True)), []
    for sign, side, limb in _places_of(part):
        key: Key = (sign.id, side)
        kind = observation.alike(sign)
        piece = Piece(key, _silent(kind, *bears[kind]))
        made.append((key, (part, limb, side), piece))
    return tuple(made)


@lru_cache(maxsize=_KEPT)
def _tempered(answer: str, alike: str, bearing: observation.Bearing, factor: float) -> Log:
    weighed = _lost if answer == LOST else usual_log
    return np.asarray(factor * weighed(alike, *bearing))


@lru_cache(maxsize=_KEPT_PIECES)
def _said_piece(
    key: Key, answer: str, alike: str, bearing: observation.Bearing, factor: float
) -> Piece:
    """What a sign weighs that a statement calls usual, or a level usual or lost, tempered with its equals."""
    return Piece(key, _tempered(answer, alike, bearing, factor))


def _said_of(
    sign: Sign, side: Side, answer: str, context: Context, left: Mapping[tuple[str, ...], float]
) -> Piece:
    """The same of a sign on a side, from what tempering leaves of its like."""
    factor = left[_alike(sign.id, side, answer)]
    bearing = observation.bearing(sign, context)
    return _said_piece((sign.id, side), answer, observation.alike(sign), bearing, factor)


def _stated(examination: Findings) -> list[Place]:
    """The signs, sides and limbs that were stated normal and not recorded.

    Said of several limbs at once, "the rest" is that of other limbs than one where all that was found is odd.
    """
    recorded = {f.key for f in examination.findings}
    others = said_of_others(examination)
    return [
        (sign, side, limb)
        for sign, side, limb in _places()
        if not sign.apart
        and (sign.id, side) not in recorded
        and (sign.part, limb) not in others
        and any(s.covers(sign, side) for s in examination.rest_normal)
    ]


def said_of_others(examination: Findings) -> set[tuple[str, str]]:
    """Parts of limbs, all odd in so many signs, that a statement of several limbs does not speak of."""
    found: dict[tuple[str, str], list[bool]] = {}
    for f in examination.findings:
        if f.choice is not None:
            found.setdefault((f.row.part, limb_side(f.row, f.side)), []).append(f.choice.usual)
    limbs = Counter(s.part for s in examination.rest_normal)
    least = weighing_row("weight")["rest_elsewhere"]
    return {
        (part, limb)
        for (part, limb), usual in found.items()
        if len(usual) >= least and not any(usual) and limbs[part] > 1
    }


def _statements(
    context: Context, stated: list[Place], left: Mapping[tuple[str, ...], float]
) -> list[Term]:
    """The terms of what was stated normal: each sign as if it were found normal but less sure, a limb's part told as one."""
    weight = weighing_row("weight")["stated"]
    told: dict[tuple[str, str, str], list[Piece]] = {}
    for sign, side, limb in stated:
        piece = _said_of(sign, side, USUAL, context, left)
        told.setdefault((sign.part, limb, side), []).append(piece)
    return [
        Term(
            (part, limb), "stated", f"rest of {limb} {part} stated normal", tuple(pieces), weight,
            (part, limb, "stated"), side,
        )
        for (part, limb, side), pieces in told.items()
    ]  # fmt: skip


def _silence(
    examination: Findings, stated: list[Place], before: set[tuple[str, Side]]
) -> list[Term]:
    """The terms of what was left unsaid in a part that was partly examined, and not told before."""
    power = weighing_row("weight")["silence_repeats"] - 1
    graded = [f for f in examination.findings if f.answer is not None]
    touched = {f.row.part for f in graded} | {s.part for s in examination.rest_normal}
    spoken = {f.key for f in examination.findings} | before
    told = [*(f.key for f in graded), *((sign.id, side) for sign, side, _ in stated)]
    for sign_id, side in told:
        spoken.add((sign_id, side))
        spoken.update((other, side) for other in _same_skin(sign_id))
    unsaid: dict[tuple[str, str, str], list[Piece]] = {}
    for part in PARTS:
        if part in touched:
            for key, place, piece in _silent_pieces(part, _bearings(part, examination.context)):
                if key not in spoken:
                    unsaid.setdefault(place, []).append(piece)
    return [
        Term(
            (part, limb), "silence", f"rest of {limb} {part} not recorded", tuple(pieces),
            len(pieces) ** power, (part, limb, "silence"), side,
        )
        for (part, limb, side), pieces in unsaid.items()
    ]  # fmt: skip
