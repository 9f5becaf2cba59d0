"""Whether it has changed since the last examination, beyond what observers disagree by.

One grade of a reflex may be the observer; two are taken as change. The steps, each with its source,
stand in `change.toml`.
"""

from dataclasses import dataclass
from typing import Literal

from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Findings
from wardexam.exam.findings import Finding, Side
from wardexam.exam.naming import name_on
from wardexam.exam.wording import in_short, unit_of
from wardexam.reasoning.rules.graver import (
    as_number,
    from_normal,
    full_power,
    graver,
    gravest_answers,
    mrc_number,
    segment_rank,
)
from wardexam.reasoning.tables import change_row


def step_beyond(kind: str) -> float:
    """From what step a change is more than observers disagree by."""
    step: float = change_row("beyond")[kind]["step"]
    return step


Way = Literal["worse", "better", "neither"]
WAYS: tuple[Way, ...] = ("worse", "better", "neither")
ROUNDING = 0.01  # of a grade: thirds do not add up
# What can move across the body, as `Comparison.patterns` names it.
PATTERNS = (
    "reflexes_lost_with_weakness", "one_sided_face_arm_leg", "cortical_sign_new",
    "sphincter_new", "level_climbing", "side_joining",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SignChange:
    """One sign that differs: how, in words such as ``4 to 3``, and the size where it has one.

    `beyond` is whether it is more than observers disagree by; `worse` whether it is for the worse, `better`
    whether for the better: some changes are neither.
    """

    key: tuple[str, Side]
    how: str
    size: float | None
    beyond: bool
    worse: bool
    better: bool = False

    @property
    def row(self) -> Sign:
        """The sign's row in the catalogue."""
        return catalogue()[self.key[0]]

    @property
    def way(self) -> Way:
        """Whether it is for the worse, for the better or neither, in a word."""
        return "worse" if self.worse else "better" if self.better else "neither"

    @property
    def text(self) -> str:
        """The sign with its side, and how it differs."""
        return f"{name_on(self.row, self.key[1])} {self.how}"


def order_said(row: Sign) -> tuple[bool, int]:
    """Where a sign is said among its equals: the saddle first, then part by part as the table has them."""
    return row.limb != "saddle", change_row("said")["parts"].index(row.part)


@dataclass(frozen=True, slots=True)
class Comparison:
    """All that differs, the patterns that moved, whether the patient is worse, and of how many signs.

    `first_found` is abnormal and was not examined before, or could not be: whether it is new nobody knows.
    `not_again` was abnormal and is not examined again, `now_stated` is so but within a rest that is stated normal.
    `told_worse` is whether somebody said that something is worse.
    """

    signs: tuple[SignChange, ...]
    patterns: tuple[str, ...]
    worse: bool
    compared: int
    first_found: tuple[Finding, ...] = ()
    not_again: tuple[Finding, ...] = ()
    now_stated: tuple[Finding, ...] = ()
    told_worse: bool = False

    @property
    def gravest(self) -> tuple[SignChange, ...]:
        """The signs: worse beyond what observers disagree by, then the rest beyond it, then the others.

        Where the patient is worse by none that is beyond it, all that is worse stands first.
        """
        within = self.worse and not any(s.worse and s.beyond for s in self.signs)
        return tuple(
            sorted(
                self.signs,
                key=lambda s: (
                    not (s.worse and (s.beyond or within)), not s.beyond, *order_said(s.row),
                ),
            )
        )  # fmt: skip

    @property
    def together(self) -> tuple[tuple[SignChange, ...], ...]:
        """The same, both sides of a sign as one where both changed for the worse, for the better, or for neither."""
        alike: dict[tuple[str, Way], list[SignChange]] = {}
        for s in self.gravest:
            alike.setdefault((s.key[0], s.way), []).append(s)
        return tuple(map(tuple, alike.values()))

    @property
    def better(self) -> bool:
        """Whether all that changed beyond what observers disagree by is better, and nothing is worse, new or said to be."""
        beyond = [s for s in self.signs if s.beyond]
        spoilt = self.told_worse or bool(self.first_found) or any(s.worse for s in self.signs)
        return bool(beyond) and all(s.better for s in beyond) and not spoilt


def _tells(finding: Finding | None) -> bool:
    """Whether a finding says anything of what its sign is examined for."""
    return (
        finding is not None
        and finding.answer is not None
        and (finding.choice is None or finding.choice.tells)
    )


def _comparable(before: Finding, after: Finding) -> bool:
    """Whether both say something of their sign; what is graver than any other answer is so after each."""
    gravest = gravest_answers().get(after.row.answers)
    told = _tells(before) or (before.answer is not None and after.answer == gravest)
    return told and _tells(after)


def _deficit(finding: Finding) -> bool:
    """Whether something out of the usual was found: of an amount, so much that it tells."""
    if finding.row.measured:
        least: int = change_row("first_found")["residual"]
        return (finding.amount or 0) >= least
    return finding.abnormal and _tells(finding)


def differs(before: Finding, after: Finding) -> bool:
    """Whether a sign is not as it was, on whichever scales it was graded."""
    return _one(before, after) is not None or (before.answer is None) != (after.answer is None)


def _one(before: Finding, after: Finding) -> SignChange | None:
    if before.answer is None or after.answer is None:
        return None
    old, new = as_number(before), as_number(after)
    if old == new and (before.meaning == after.meaning or before.scale != after.scale):
        return _by_number(before, after)
    size = None if old is None or new is None else new - old
    kind = after.row.answers
    how = _how(in_short(before, after.scale), in_short(after), kind)
    was, now = (c is not None and c.usual for c in (before.choice, after.choice))
    worse, better = _direction(before, after)
    if after.row.level:
        size = float(segment_rank(str(after.answer)) - segment_rank(str(before.answer)))
        beyond = abs(size) >= step_beyond("level")
    elif after.row.mrc:
        beyond = abs(size or 0) >= step_beyond("power") - ROUNDING
    elif after.scale:
        now_from, was_from = from_normal(after.meaning), from_normal(before.meaning)
        # A limb in shock grows brisk as it recovers; a brisk one that falls silent does not.
        worse = abs(now_from) > abs(was_from) or now_from < 0 < was_from
        beyond = abs(size or 0) >= step_beyond("reflex")
    elif after.row.measured:
        beyond = abs(size or 0) >= step_beyond("residual")
    else:
        rank = answers_for(kind).graver
        gravest = gravest_answers().get(kind)
        if not {before.answer, after.answer} <= set(rank):
            worse, better = (was and not now) or after.answer == gravest, now and not was
        rules = change_row("beyond")
        if kind in rules:
            beyond = not {before.answer, after.answer}.isdisjoint(rules[kind]["answers"])
        else:
            step = rules["any_step"]
            beyond = (
                was != now or kind in step["kinds"] or after.row.limb in step["limbs"]
                or gravest in (before.answer, after.answer)
            )  # fmt: skip
    return SignChange(after.key, how, size, beyond, worse, better)


def _direction(before: Finding, after: Finding) -> tuple[bool, bool]:
    """Whether the later answer is graver, and whether it is less grave; what cannot be ranked is not less grave."""
    worse = graver(after, before.meaning, before.amount)
    return worse, not worse and graver(before, after.meaning, after.amount)


def _how(old: str, new: str, kind: str) -> str:
    """From what to what: of grades a step, ``4 to 2``; of words or levels what was and what is."""
    steps = kind in change_row("said")["steps"]
    return f"{old} to {new}" if steps else f"was {old}, now {new}"


def _by_number(before: Finding, after: Finding) -> SignChange | None:
    """The same answer with another number of beats or degrees."""
    if before.amount is None or after.amount is None or before.amount == after.amount:
        return None
    size = float(after.amount - before.amount)
    beyond = abs(size) >= change_row("numbers")[after.row.answers]
    how = f"{before.amount} to {after.amount} {unit_of(after)}"
    return SignChange(after.key, how, size, beyond, *_direction(before, after))


def _from_statement(after: Finding) -> SignChange | None:
    """A sign that is not as usual, where the last examination stated the rest to be normal."""
    if not after.abnormal:
        return None
    size = None
    if after.row.mrc:
        size = (as_number(after) or 0.0) - mrc_number(full_power())
    elif after.scale:
        size = float(from_normal(after.meaning))
    step = step_beyond("power" if after.row.mrc else "reflex")
    how = f"stated normal, now {in_short(after)}"
    return SignChange(after.key, how, size, size is None or abs(size) >= step - ROUNDING, True)


def compare(previous: Findings, current: Findings) -> Comparison:
    """What changed from one examination to a later one.

    Compared are signs found in both, and signs no longer as usual that the earlier one covered by a
    statement that the rest was normal. What is abnormal and has nothing to compare with is told apart.
    """
    signs: list[SignChange] = []
    compared: set[str] = set()
    first_found: list[Finding] = []
    for after in current.findings:
        before = previous.finding(after.sign, after.side)
        changed = None
        if before and _comparable(before, after):
            changed = _one(before, after)
            compared.add(after.sign)
        elif before is None and _tells(after) and previous.stated_normal(*after.key):
            changed = _from_statement(after)
        elif _deficit(after):
            first_found.append(after)
        if changed:
            signs.append(changed)
    left = [
        f for f in previous.findings if _deficit(f) and not _tells(current.finding(f.sign, f.side))
    ]
    stated = [f for f in left if current.stated_normal(f.sign, f.side)]
    worse = [s for s in signs if s.worse]
    patterns = _patterns(previous, current, signs, worse)
    many = sum(s.row.mrc for s in worse) >= change_row("patterns")["worse"]["weaker"]
    plainly = any(s.beyond for s in worse) or many or bool(patterns)
    again = tuple(f for f in left if f not in stated)
    return Comparison(
        tuple(signs), tuple(patterns), plainly, len(compared), tuple(first_found), again, tuple(stated),
        current.flags.get(change_row("better")["unless"]) == "yes",
    )  # fmt: skip


def _weak_still(weak: Finding, current: Findings) -> bool:
    """Whether a movement that was weak is so now, or stands since it was not examined again."""
    now = current.finding(weak.sign, weak.side)
    if now is None or now.answer is None:
        return not current.stated_normal(weak.sign, weak.side)
    return now.abnormal


def _patterns(
    previous: Findings, current: Findings, signs: list[SignChange], worse: list[SignChange]
) -> list[str]:
    """What moved across the body, in the order of `PATTERNS`."""
    rows = change_row("patterns")
    weaker = [s for s in worse if s.row.mrc]
    duller = [s for s in signs if s.row.tendon and (s.size or 0) < 0]
    plainly = [s for s in weaker if s.beyond]
    sides, limbs = {s.key[1] for s in plainly}, {s.row.limb for s in plainly}
    face, both = rows["one_sided_face_arm_leg"]["limb"], rows["one_sided_face_arm_leg"]["limbs"]
    full = full_power()
    weak = [f for f in previous.findings if f.row.mrc and f.answer not in (None, full)]
    held = {(f.row.limb, f.side) for f in weak}
    still = {(f.row.limb, f.side) for f in weak if _weak_still(f, current)}
    joined = {
        (s.row.limb, s.key[1])
        for s in plainly
        if (b := previous.finding(*s.key)) is None or b.answer == full
    } - held
    lost = rows["reflexes_lost_with_weakness"]
    moved = {
        "reflexes_lost_with_weakness": len(weaker) >= lost["weaker"]
        and len(duller) >= lost["duller"],
        "one_sided_face_arm_leg": len(sides) == 1 and (face in limbs or limbs.issuperset(both)),
        "cortical_sign_new": any(s.key[0] in rows["cortical_sign_new"]["signs"] for s in worse),
        "sphincter_new": any(s.row.part == rows["sphincter_new"]["part"] for s in worse),
        "level_climbing": any(
            s.row.answers == rows["level_climbing"]["kind"] and s.beyond for s in worse
        ),
        "side_joining": any(
            limb == other and side != held_side
            for limb, side in joined
            for other, held_side in still
        ),
    }
    return [p for p in PATTERNS if moved[p]]
