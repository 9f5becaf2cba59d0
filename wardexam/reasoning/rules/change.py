"""Whether it has changed since the last examination, beyond what observers disagree by.

One grade of a reflex may be the observer; two are taken as change. The steps, each with its source,
stand in `change.toml`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Findings
from wardexam.exam.findings import Finding, Side
from wardexam.exam.naming import before_sides, name_on, names_of
from wardexam.exam.text import counted
from wardexam.exam.wording import in_short, unit_of
from wardexam.reasoning.rules.graver import (
    from_normal,
    graver,
    gravest_answers,
    meaning_rank,
    mrc_number,
    segment_rank,
)
from wardexam.reasoning.tables import change_row


def step_beyond(kind: str) -> float:
    """From what step a change is more than observers disagree by."""
    step: float = change_row("beyond")[kind]["step"]
    return step


def pattern_words(pattern: str) -> str:
    """One of `PATTERNS` in a doctor's words."""
    words: str = change_row("patterns")[pattern]["words"]
    return words


Way = Literal["worse", "better", "neither"]
WAYS: tuple[Way, ...] = ("worse", "better", "neither")
BOTH = " on both sides"
SIDES: tuple[Side, ...] = ("right", "left")
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


def _place(row: Sign) -> tuple[bool, int]:
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
    def moved(self) -> tuple[str, ...]:
        """The patterns in a doctor's words."""
        return tuple(map(pattern_words, self.patterns))

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
                    not (s.worse and (s.beyond or within)), not s.beyond, *_place(s.row),
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
    def headline(self) -> str:
        """What is worse, by what weighs most; else whether it changed, in full."""
        if not self.worse:
            return self.ways()[0]
        return f"worse: {(*self.moved, *map(text_of, self.together))[0]}"

    @property
    def better(self) -> bool:
        """Whether all that changed beyond what observers disagree by is better, and nothing is worse, new or said to be."""
        beyond = [s for s in self.signs if s.beyond]
        spoilt = self.told_worse or bool(self.first_found) or any(s.worse for s in self.signs)
        return bool(beyond) and all(s.better for s in beyond) and not spoilt

    @property
    def _verdict(self) -> str:
        return "worse" if self.worse else "better" if self.better else "changed"

    def _what(self) -> tuple[str, ...]:
        """What differs, the fullest first."""
        many = counted(_many(self.signs), "sign differs", "signs differ")
        if self.moved:
            first = self.together[0]
            more = _many(s for s in self.signs if s not in first)
            said = text_of(first) + (f"; {more} more" if more else "")
            moved = dict.fromkeys(("; ".join(self.moved), self.moved[0]))
            named = (f"{words}: {said}" for words in moved)
            return (
                *named,
                "; ".join((*self.moved, many)),
                f"{self.moved[0]}; {many}",
                self.moved[0],
                many,
            )
        if not self.worse and len({s.way for s in self.signs}) > 1:
            return _tally(self.signs), many
        first = self.together[0]
        rest = [s for s in self.signs if s not in first]
        alike = _many(s for s in rest if s.way == first[0].way)
        ends = [_tally(rest, beside=first[0].way), f"{alike} more" if alike else ""]
        texts = dict.fromkeys((text_of(first), _name_of(first)))
        ways = ("; ".join(filter(None, (text, end))) for text in texts for end in ends)
        return *dict.fromkeys(ways), many

    def _new(self) -> tuple[str, ...]:
        """What is found first now, the fullest first; nothing where nothing is."""
        if not self.first_found:
            return ()
        names = _named(self.first_found)
        leads = ("new, not examined before", "new")
        return *(f"{lead}: {said}" for lead in leads for said in _fewer(names)), f"{len(names)} new"

    def _left(self) -> tuple[str, ...]:
        """What was abnormal and was not looked at sign by sign, the fullest first; nothing where nothing was."""
        again, stated = _named(self.not_again), _named(self.now_stated)
        full = [f"not examined again: {', '.join(again)}"] if again else []
        full += [f"abnormal before, now stated normal: {', '.join(stated)}"] if stated else []
        short = [f"not redone: {said}" for said in _fewer(again)]
        short += [f"{len(again)}{said} not redone" for said in (" abnormal", "") if again]
        short += [f"{len(stated)} now stated normal"] if stated and not again else []
        return ("; ".join(full), *short) if full else ()

    @property
    def new(self) -> str:
        """What is found first now, in full; empty where nothing is."""
        return next(iter(self._new()), "")

    def ways(self, since: str = "") -> tuple[str, ...]:
        """Whether it changed, and since when where that is told, the fullest first."""
        end = f" since {since}" if since else ""
        new, left = self._new(), self._left()
        if self.signs:
            leads = [f"{self._verdict}{end}"]
            if since and self._verdict == "changed" and not (new or left):
                leads = [f"changed, not plainly worse,{end}", *leads]
            what = [f"{lead}: {said}" for said in self._what() for lead in leads]
            return _with_tails(what, new, left, kept=not self.worse)
        many = counted(self.compared, "sign")
        same = f"no change in {many}" if self.compared else "no sign was examined both times"
        if new:
            dated = [said.replace("new", f"new{end}", 1) for said in new]
            tails = [f"; {'; '.join((same, *left[:1]))}", *(f"; {said}" for said in left[-1:]), ""]
            return tuple(f"{said}{tail}" for said in dated for tail in tails)
        if not self.compared:
            return (f"not compared: no sign of {since} was examined again" if since else same,)
        if not left:
            return (f"{same}{end}",)
        return (
            f"no change in the {many} examined again{end}; {left[0]}",
            *(f"no change{end} in {many}; {said}" for said in left[1:]),
            f"{self.compared} same, {left[-1]}",
            left[-1],
        )

    def said(self, room: int, since: str = "") -> str:
        """The fullest of `ways` that fits in so many columns; the shortest where none does."""
        ways = self.ways(since)
        return next((way for way in ways if len(way) <= room), ways[-1])


def _many(signs: Iterable[SignChange]) -> int:
    """How many signs there are, one of two sides once."""
    return len({s.key[0] for s in signs})


def _tally(signs: Sequence[SignChange], beside: str = "") -> str:
    """How many signs are worse, better and neither: ``1 worse, 2 better``; `beside` is what one told before is."""
    counts = {k: _many(s for s in signs if s.way == k) for k in WAYS}
    said = [f"{n} {'more ' if k == beside else ''}{k}" for k, n in counts.items() if n]
    return ", ".join(said)


def how_of(mine: Iterable[SignChange]) -> str:
    """How the sides of one sign differ: ``4 to 2 on both sides``, ``right 4 to 3, left 4+ to 3``."""
    sides = {s.key[1]: s.how for s in mine}
    hows = set(sides.values())
    if len(hows) == 1 and (len(sides) > 1 or "midline" in sides):
        return f"{hows.pop()}{BOTH if len(sides) > 1 else ''}"
    return ", ".join(f"{side} {sides[side]}" for side in SIDES if side in sides)


def text_of(mine: Sequence[SignChange]) -> str:
    """A sign with its sides, and how they differ: ``left ankle jerk 2+ to 0``, ``saddle sensation was ...``."""
    if len(mine) == 1:
        return mine[0].text
    return f"{before_sides((mine[0].row,))} {how_of(mine)}"


def _name_of(mine: Sequence[SignChange]) -> str:
    """A sign with its sides alone, where there is no room for how they differ."""
    sign, side = mine[0].row, mine[0].key[1]
    return name_on(sign, side) if len(mine) == 1 else f"{names_of((sign,))}{BOTH}"


def _with_tails(
    what: list[str], new: tuple[str, ...], left: tuple[str, ...], *, kept: bool
) -> tuple[str, ...]:
    """What differs, with what is new and what was left out, the fullest first: the names of these give way first.

    Args:
        what: What differs, the fullest first.
        new: What is new.
        left: What was left out.
        kept: Whether that there is any of these never gives way.
    """
    both = (*new[-1:], *left[-1:])
    named = [(*new[:1], said) for said in left] + [(said, *left[-1:]) for said in new]
    short = [both] if kept else [both, new[-1:]]
    pairs = [(what[0], tail) for tail in (*named, *short)]
    pairs += [(said, tail) for said in what[1:] for tail in short]
    pairs += [] if kept else [(what[-1], ())]
    return tuple(dict.fromkeys("; ".join((said, *tail)) for said, tail in pairs))


def _named(findings: Iterable[Finding]) -> list[str]:
    """The signs of findings, the gravest part first, each once: with its side where it is of one."""
    sides: dict[str, list[Side]] = {}
    for f in sorted(findings, key=lambda f: _place(f.row)):
        sides.setdefault(f.sign, []).append(f.side)
    signs = catalogue()
    return [
        name_on(signs[sign], on[0]) if len(on) == 1 else names_of((signs[sign],))
        for sign, on in sides.items()
    ]


def _fewer(names: list[str]) -> list[str]:
    """The names in a row, and fewer of them with how many more there are."""
    return [
        ", ".join(names[:shown]) + (f" +{len(names) - shown}" if shown < len(names) else "")
        for shown in range(len(names), 0, -1)
    ]


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
    if finding.row.answers == "residual":
        least: int = change_row("first_found")["residual"]
        return (finding.amount or 0) >= least
    return finding.abnormal and _tells(finding)


def value(finding: Finding) -> float | None:
    """A finding as a number for a course over time, or None where it has no order."""
    if finding.answer is None:
        return None
    if finding.scale:
        return float(meaning_rank(finding.meaning))
    if finding.row.answers == "mrc":
        return mrc_number(finding.answer)
    if finding.row.answers == "residual":
        return float(finding.amount or 0)
    answers = answers_for(finding.row.answers)
    return float(answers.codes.index(finding.answer)) if answers.ordered else None


def differs(before: Finding, after: Finding) -> bool:
    """Whether a sign is not as it was, on whichever scales it was graded."""
    return _one(before, after) is not None or (before.answer is None) != (after.answer is None)


def _one(before: Finding, after: Finding) -> SignChange | None:
    if before.answer is None or after.answer is None:
        return None
    old, new = value(before), value(after)
    if old == new and (before.meaning == after.meaning or before.scale != after.scale):
        return _by_number(before, after)
    size = None if old is None or new is None else new - old
    kind = after.row.answers
    how = _how(in_short(before, after.scale), in_short(after), kind)
    was, now = (c is not None and c.usual for c in (before.choice, after.choice))
    worse, better = _direction(before, after)
    if kind == "level":
        size = float(segment_rank(str(after.answer)) - segment_rank(str(before.answer)))
        beyond = abs(size) >= step_beyond("level")
    elif kind == "mrc":
        beyond = abs(size or 0) >= step_beyond("power") - ROUNDING
    elif after.scale:
        now_from, was_from = from_normal(after.meaning), from_normal(before.meaning)
        # A limb in shock grows brisk as it recovers; a brisk one that falls silent does not.
        worse = abs(now_from) > abs(was_from) or now_from < 0 < was_from
        beyond = abs(size or 0) >= step_beyond("reflex")
    elif kind == "residual":
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
    if after.row.answers == "mrc":
        size = (value(after) or 0.0) - mrc_number(answers_for("mrc").codes[-1])
    elif after.scale:
        size = float(from_normal(after.meaning))
    step = step_beyond("power" if after.row.answers == "mrc" else "reflex")
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
    many = sum(s.row.answers == "mrc" for s in worse) >= change_row("patterns")["worse"]["weaker"]
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
    weaker = [s for s in worse if s.row.answers == "mrc"]
    duller = [s for s in signs if s.row.answers == "tendon" and (s.size or 0) < 0]
    plainly = [s for s in weaker if s.beyond]
    sides, limbs = {s.key[1] for s in plainly}, {s.row.limb for s in plainly}
    face, both = rows["one_sided_face_arm_leg"]["limb"], rows["one_sided_face_arm_leg"]["limbs"]
    full = answers_for("mrc").codes[-1]
    weak = [f for f in previous.findings if f.row.answers == "mrc" and f.answer not in (None, full)]
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


def sum_score(examination: Findings) -> int | None:
    """The MRC sum score, 0 to 60, where its twelve movements are all graded, else None.

    Six movements on two sides; 4- and 4+ count 4 (`change.toml`).
    """
    scored = [f for f in examination.findings if f.row.sum_score and f.answer is not None]
    if len(scored) != change_row("sum_score")["movements"]:
        return None
    return sum(int(f.answer[0]) for f in scored if f.answer)
