"""Whether it has changed since the last examination, beyond what observers disagree by.

Two observers differ by two grades or more on a reflex in 28 % of pairs on a nine-point scale (Stam and
van Crevel 1990 J Neurol 237:427), so one grade may be the observer; two are taken as change. On the
MRC scale one whole grade is taken as change (common practice).
"""

from dataclasses import dataclass

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.exam.answers import ScaleName, answers_for, convert
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Finding, Side

MEANING_ORDER = {
    "absent": 0,
    "trace": 1,
    "reduced": 1,
    "low_normal": 2,
    "normal": 2,
    "high_normal": 2,
    "brisk": 3,
    "clonic": 4,
}
_MRC = {"0": 0.0, "1": 1.0, "2": 2.0, "3": 3.0, "4-": 3.67, "4": 4.0, "4+": 4.33, "5": 5.0}
REFLEX_STEP, POWER_STEP, RESIDUAL_STEP, LEVEL_STEP = 2.0, 1.0, 100.0, 2.0
# What can move across the body, as `Comparison.patterns` names it.
PATTERNS = (
    "reflexes_lost_with_weakness", "one_sided_face_arm_leg", "cortical_sign_new",
    "sphincter_new", "level_climbing", "side_joining",
)  # fmt: skip
CORTICAL = ("aphasia", "neglect", "field_loss", "gaze_palsy", "dysarthria")


@dataclass(frozen=True, slots=True)
class SignChange:
    """One sign that differs: before and after in words, the size where it has one.

    `beyond` is whether it is more than observers disagree by; `worse` whether it is for the worse.
    """

    key: tuple[str, Side]
    text: str
    size: float | None
    beyond: bool
    worse: bool

    @property
    def row(self) -> Sign:
        """The sign's row in the catalogue."""
        return catalogue()[self.key[0]]


@dataclass(frozen=True, slots=True)
class Comparison:
    """All that differs, the patterns that moved, whether the patient is worse, and of how many signs."""

    signs: tuple[SignChange, ...]
    patterns: tuple[str, ...]
    worse: bool
    headline: str
    compared: int

    @property
    def gravest(self) -> tuple[SignChange, ...]:
        """The signs: worse beyond what observers disagree by, then the rest beyond it, then the others.

        Sphincters and saddle come first among equals.
        """
        return tuple(
            sorted(
                self.signs,
                key=lambda s: (not (s.worse and s.beyond), not s.beyond, s.row.limb != "saddle"),
            )
        )


def value(finding: Finding) -> float | None:
    """A finding as a number for a course over time, or None where it has no order."""
    if finding.answer is None:
        return None
    if finding.scale:
        return float(MEANING_ORDER[finding.meaning])
    if finding.row.answers == "mrc":
        return _MRC[finding.answer]
    if finding.row.answers == "residual":
        return float(finding.amount or 0)
    answers = answers_for(finding.row.answers)
    return float(answers.codes.index(finding.answer)) if answers.ordered else None


def differs(before: Finding, after: Finding) -> bool:
    """Whether a sign is not as it was, on whichever scales it was graded."""
    return _one(before, after) is not None or (before.answer is None) != (after.answer is None)


def _shown(finding: Finding, scale: ScaleName | None = None) -> str:
    if scale and finding.scale and finding.answer:
        return convert(finding.answer, finding.scale, scale).mark
    mark = finding.choice.mark if finding.choice else str(finding.answer)
    return f"{finding.amount} {mark}" if finding.row.answers == "residual" else mark


def _one(before: Finding, after: Finding) -> SignChange | None:
    if before.answer is None or after.answer is None:
        return None
    old, new = value(before), value(after)
    if old == new and (before.meaning == after.meaning or before.scale != after.scale):
        return None
    side = "" if after.side == "midline" else f"{after.side} "
    text = f"{side}{after.row.name} {_shown(before, after.scale)} to {_shown(after)}"
    size = None if old is None or new is None else new - old
    kind = after.row.answers
    was, now = (c is not None and c.usual for c in (before.choice, after.choice))
    if kind == "level":

        def lowest(f: Finding) -> int:
            return SEGMENTS.index(f.answer) if f.answer in SEGMENTS else len(SEGMENTS)

        size = float(lowest(after) - lowest(before))
        return SignChange(after.key, text, size, abs(size) >= LEVEL_STEP, size < 0)
    if kind == "mrc":
        return SignChange(
            after.key, text, size, abs(size or 0) >= POWER_STEP - 0.01, (size or 0) < 0
        )
    if after.scale:
        # Away from the middle is worse, whichever way.
        away = abs((new or 0) - 2) > abs((old or 0) - 2)
        return SignChange(after.key, text, size, abs(size or 0) >= REFLEX_STEP, away)
    if kind == "residual":
        return SignChange(after.key, text, size, abs(size or 0) >= RESIDUAL_STEP, (size or 0) > 0)
    rank = answers_for(kind).graver
    if before.answer in rank and after.answer in rank:
        worse = rank.index(after.answer) > rank.index(before.answer)
    else:
        worse = was and not now
    # A few unsustained beats can be normal (DeJong, from memory): sustained clonus is beyond doubt, and
    # so is whatever the bladder or bowel does next.
    if kind == "clonus":
        beyond = "sustained" in (before.answer, after.answer)
    else:
        beyond = was != now or kind in ("bladder", "bowel")
    return SignChange(after.key, text, size, beyond, worse)


def _from_statement(after: Finding) -> SignChange | None:
    """A sign that is not as usual, where the last examination stated the rest to be normal."""
    if after.answer is None or (after.choice and after.choice.usual):
        return None
    size = None
    if after.row.answers == "mrc":
        size = (value(after) or 0.0) - 5.0
    elif after.scale:
        size = (value(after) or 0.0) - 2.0
    step = POWER_STEP if after.row.answers == "mrc" else REFLEX_STEP
    side = "" if after.side == "midline" else f"{after.side} "
    text = f"{side}{after.row.name} stated normal, now {_shown(after)}"
    return SignChange(after.key, text, size, size is None or abs(size) >= step - 0.01, True)


def compare(previous: Examination, current: Examination) -> Comparison:
    """What changed from one examination to a later one.

    Compared are signs found in both, and signs no longer as usual that the earlier one covered by a
    statement that the rest was normal.
    """
    signs, compared = [], 0
    for after in current.findings:
        before = previous.finding(after.sign, after.side)
        if before:
            changed = _one(before, after)
            compared += before.answer is not None and after.answer is not None
        elif previous.stated_normal(after.sign, after.side):
            changed = _from_statement(after)
        else:
            continue
        if changed:
            signs.append(changed)
    patterns = []
    worse = [s for s in signs if s.worse]
    weaker = [s for s in worse if s.row.answers == "mrc"]
    duller = [s for s in signs if s.row.answers == "tendon" and (s.size or 0) < 0]
    if weaker and len(duller) >= 2:
        patterns.append("reflexes_lost_with_weakness")
    sides = {s.key[1] for s in weaker if s.beyond}
    limbs = {s.row.limb for s in weaker if s.beyond}
    if len(sides) == 1 and ("head" in limbs or {"arm", "leg"} <= limbs):
        patterns.append("one_sided_face_arm_leg")
    if any(s.key[0] in CORTICAL for s in worse):
        patterns.append("cortical_sign_new")
    if any(s.row.part == "sphincters" for s in worse):
        patterns.append("sphincter_new")
    if any(s.key[0].startswith("level_") and s.beyond for s in worse):
        patterns.append("level_climbing")
    joined = {
        s.key[1]
        for s in weaker
        if s.beyond and ((b := previous.finding(*s.key)) is None or b.answer == "5")
    }
    held = {
        f.side for f in previous.findings if f.row.answers == "mrc" and f.answer not in (None, "5")
    }
    if joined - held and held:
        patterns.append("side_joining")
    plainly = any(s.beyond for s in worse) or len(weaker) >= 2 or bool(patterns)
    words = [p.replace("_", " ") for p in patterns] or [
        s.text for s in sorted(worse, key=lambda s: not s.beyond)[:1]
    ]
    unchanged = f"no change in {compared} signs" if compared else "no sign found both times"
    headline = f"worse: {words[0]}" if plainly and words else "changed" if signs else unchanged
    return Comparison(tuple(signs), tuple(patterns), plainly, headline, compared)


def sum_score(examination: Examination) -> int | None:
    """The MRC sum score, 0 to 60, where its twelve movements are all graded, else None.

    Six movements on two sides (Kleyweg 1991 Muscle Nerve 14:1103, list from memory); 4- and 4+ count 4.
    Under 48 is the usual threshold of acquired weakness (Connolly 2013).
    """
    scored = [f for f in examination.findings if f.row.sum_score and f.answer is not None]
    return sum(int(f.answer[0]) for f in scored if f.answer) if len(scored) == 12 else None
