"""The named conditions on signs that rules of urgency speak of: rows of `conditions.toml`, read and tried.

Each looks only at what was found and told. What was not examined or not asked makes none hold, and no
condition ends by one more abnormal finding, "yes" or graver grade: there is no "not" in the table.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property, lru_cache
from itertools import count
from typing import Annotated, Literal, get_args

from pydantic import Field

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.errors import TableError
from wardexam.exam.answers import ScaleName, answer_sets, meanings
from wardexam.exam.examination import Context, Findings, YesNo
from wardexam.exam.findings import Finding, Quality
from wardexam.exam.flags import every_flag
from wardexam.reasoning.rules.confined import (
    grade,
    numb_beyond,
    unconfined,
    weak,
)
from wardexam.reasoning.tables import conditions_row
from wardexam.tables import Columns, TableRow, checked_row

PLACE = "conditions.toml"
_BOTH = {"right", "left"}
_SIDES = (*sorted(_BOTH), "midline")
# Fields of the story whose words a test names.
_FIELDS = ("complaint", "complaint_side", "pain", "onset", "setting")

NO_PLACES = frozenset[int]()  # the same wherever there are none: there are thousands
KEPT_HELD = 8  # sets of what was found for which it is known what holds

Names = tuple[str, ...]


class Test(Columns):
    """One test of a condition; holds when all that it names is so (see the table's head)."""

    condition: str = ""
    sign: Names = ()
    kind: Names = ()
    limb: Names = ()
    answers: Names = ()
    meanings: Names = ()
    level: bool = False
    down_to: str = ""
    weak: bool = False
    at_most: str = ""
    unconfined: bool = False
    numb_beyond: bool = False
    limbs: Annotated[int, Field(ge=1)] = 1
    one_side_limbs: Annotated[int, Field(ge=1)] = 1
    complaint_side: Names = ()
    older_than: int = 0
    younger_than: int = 0
    trauma: bool = False
    no_weight: bool = False
    least: int = Field(default=0, alias="from")
    side: Literal["", "right", "left"] = ""
    sides: Literal["any", "both"] = "any"
    count: Annotated[int, Field(ge=1)] = 1
    complaint: Names = ()
    pain: Names = ()
    onset: Names = ()
    setting: Names = ()
    flag: str = ""

    @property
    def of_findings(self) -> bool:
        """Whether it looks at findings."""
        return bool(
            self.sign or self.kind or self.limb or self.answers or self.meanings or self.level or self.down_to
            or self.weak or self.least or self.at_most
        )  # fmt: skip


class Condition(TableRow):
    """A named condition: every test of `all`, and one of `any` where there are any."""

    every: tuple[Test, ...] = Field(default=(), alias="all")
    some: tuple[Test, ...] = Field(default=(), alias="any")


def _known(test: Test) -> dict[str, tuple[Names, set[str]]]:
    """What a test names, by column, beside what may be named."""
    signs = catalogue().values()
    sets = answer_sets()
    kinds = {s.answers for s in signs}
    fields = Context.model_fields

    def options(field: str) -> set[str]:
        found: set[str] = set()
        kinds = [fields[field].annotation]
        while kinds:
            kind = kinds.pop()
            found |= {a for a in get_args(kind) if isinstance(a, str)}
            kinds += [a for a in get_args(kind) if not isinstance(a, str)]
        return found

    return {
        "sign": (test.sign, set(catalogue())),
        "kind": (test.kind, kinds),
        "limb": (test.limb, {s.limb for s in signs}),
        "answers": (test.answers, {c for k in kinds & set(sets) for c in sets[k].codes}),
        "meanings": (test.meanings, set(meanings())),
        "complaint": (test.complaint, options("complaint")),
        "complaint_side": (test.complaint_side, options("complaint_side")),
        "pain": (test.pain, options("pain")),
        "onset": (test.onset, options("onset")),
        "setting": (test.setting, options("setting")),
        "down_to": ((test.down_to,) if test.down_to else (), set(SEGMENTS)),
        "flag": ((test.flag,) if test.flag else (), set(every_flag())),
    }


@cache
def conditions() -> dict[str, Condition]:
    """The conditions by name; one that speaks of another stands after it.

    Raises:
        TableError: A row is malformed, or names a sign, answer or condition that there is not.
    """
    made: dict[str, Condition] = {}
    for name, row in conditions_row("condition").items():
        where = f"{PLACE}, condition {name}"
        made[name] = checked_row(Condition, row, where)
        for test in (*made[name].every, *made[name].some):
            if test.condition and (test.condition not in made or test.condition == name):
                raise TableError(f"no condition '{test.condition}' before it", where=where)
            for column, (named, known) in _known(test).items():
                for word in named:
                    if word not in known:
                        raise TableError(f"unknown '{word}'", where=f"{where}, field {column}")
    return made


def _is_one(test: Test, finding: Finding) -> bool:
    is_weak = weak(finding)
    if (test.weak and not is_weak) or (test.sign and finding.sign not in test.sign):
        return False
    if test.at_most and not (is_weak and grade(str(finding.answer)) <= grade(test.at_most)):
        return False
    row = finding.row
    return (
        (not test.kind or row.answers in test.kind)
        and (not test.limb or row.limb in test.limb)
        and (not test.answers or finding.answer in test.answers)
        and (not test.meanings or (bool(finding.scale) and finding.meaning in test.meanings))
        and (not test.level or finding.answer in SEGMENTS)
        and (
            not test.down_to or str(finding.answer) in SEGMENTS[: SEGMENTS.index(test.down_to) + 1]
        )
        and (not test.least or (finding.amount or 0) >= test.least)
    )


@dataclass(frozen=True, slots=True)
class Tried:
    """A test with what is asked of every examination by it, worked out once.

    Attributes:
        test: The test.
        place: Its place among all tests.
        of_findings: Whether it looks at findings.
        of_several: Whether one such finding is not enough.
        told: Fields of the story, each with the answers that it names.
        only: The condition that it asks for, where it asks for nothing else.
    """

    test: Test
    place: int
    of_findings: bool
    of_several: bool
    told: tuple[tuple[str, Names], ...]
    only: str


def _tried(test: Test, place: int) -> Tried:
    named = {field: getattr(test, field) for field in _FIELDS}
    told = tuple((field, names) for field, names in named.items() if names)
    only = test.condition if test == Test(condition=test.condition) else ""
    numbers = max(test.count, test.limbs, test.one_side_limbs)
    several = test.of_findings and (numbers > 1 or test.sides != "any")
    return Tried(test, place, test.of_findings, several, told, only)


# What a test asks of a finding; its side and what was written beside it are no part of that. There are
# only so many kinds, since every number has its limits.
_Kind = tuple[str, str | None, ScaleName | None, tuple[Quality, ...], int | None]


Places = frozenset[int]  # of tests
Row = tuple[str, tuple[Tried, ...], tuple[Tried, ...]]  # name, every test, some test


@dataclass(frozen=True, slots=True)
class Table:
    """Conditions in their order, ready to be tried, and what each kind of finding meets.

    Attributes:
        order: The conditions.
        gates: For each of them, tests one of which is met wherever it holds; empty where none needs to be.
        by_word: The tests that look at no finding and may be met where a word was told, such as ``("onset", "days")``.
        untold: Those that may be met whatever was told.
        met: The places of the tests that each kind of finding meets, kept as it is asked for.
    """

    order: tuple[Row, ...]
    gates: tuple[Places, ...]
    by_word: Mapping[tuple[str, str], Places]
    untold: Places
    met: dict[_Kind, Places] = field(default_factory=dict)

    def open_to(self, seen: "Seen") -> list[Row]:
        """The conditions that may hold, in their order; whether they do is tried."""
        words = [(field, getattr(seen.story, field)) for field in _FIELDS]
        words += [("flag", flag) for flag, answer in seen.flags.items() if answer == "yes"]
        may_be_met = self.untold.union(seen.met, *(self.by_word.get(w, ()) for w in words))
        return [
            row
            for row, gate in zip(self.order, self.gates, strict=True)
            if not gate or not gate.isdisjoint(may_be_met)
        ]

    def met_by(self, finding: Finding) -> Places:
        """The places of the tests that a finding meets, the same for every finding of its kind."""
        kind = (finding.sign, finding.answer, finding.scale, finding.qualities, finding.amount)
        known = self.met.get(kind)
        if known is None:
            met = (
                t.place
                for _, every, some in self.order
                for t in (*every, *some)
                if t.of_findings and _is_one(t.test, finding)
            )
            known = self.met[kind] = frozenset(met) or NO_PLACES
        return known


def table_of(rows: Mapping[str, Condition]) -> Table:
    """Rows of conditions as a table that can be tried."""
    place = count()
    order: list[Row] = []
    gates: dict[str, Places] = {}
    for name, row in rows.items():
        every = tuple(_tried(test, next(place)) for test in row.every)
        some = tuple(_tried(test, next(place)) for test in row.some)
        order.append((name, every, some))
        gates[name] = _gate(every, some, gates)
    by_word: dict[tuple[str, str], Places] = {}
    untold = set[int]()
    for tried in (t for _, every, some in order for t in (*every, *some)):
        if tried.of_findings or tried.only:
            continue
        words = [("flag", tried.test.flag)] if tried.test.flag else []
        words = words or [(field, name) for field, names in tried.told[:1] for name in names]
        for word in words:
            by_word[word] = by_word.get(word, NO_PLACES) | {tried.place}
        if not words:
            untold.add(tried.place)
    return Table(tuple(order), tuple(gates.values()), by_word, frozenset(untold))


def _gate(every: Iterable[Tried], some: Iterable[Tried], before: Mapping[str, Places]) -> Places:
    """The fewest tests of which a condition needs one to be met: those of one that it asks for stand for it."""
    of = {t: before[t.only] if t.only else frozenset({t.place}) for t in (*every, *some)}
    needed = [of[t] for t in every]
    if all(choices := [of[t] for t in some]):
        needed.append(frozenset().union(*choices))
    return min(filter(None, needed), key=len, default=NO_PLACES)


@cache
def table() -> Table:
    """The conditions of `conditions.toml`, ready to be tried."""
    return table_of(conditions())


@dataclass
class Seen:
    """What conditions are tried on.

    Attributes:
        findings: What was found.
        story: What was told.
        flags: What was answered to the questions.
        met: The findings that meet each test, by its place.
        told: What the story and the answers say of each test, by its place; kept as it is asked for.
    """

    findings: Sequence[Finding]
    story: Context
    flags: Mapping[str, YesNo]
    met: Mapping[int, Sequence[Finding]]
    told: dict[int, bool] = field(default_factory=dict)

    @cached_property
    def unconfined(self) -> bool:
        """Whether a weakness is not shown to be of one nerve or root."""
        return unconfined(self.findings, self.story)

    @cached_property
    def numb_beyond(self) -> bool:
        """Whether more is numb than one nerve or root gives."""
        return numb_beyond(self.findings)

    def passes(self, tried: Tried, held: Collection[str]) -> bool:
        """Whether a test holds, where these conditions do."""
        if tried.only:
            return tried.only in held
        test, those = tried.test, self.met.get(tried.place, ())
        if test.side:
            those = [f for f in those if f.side == test.side]
        if tried.of_findings and not those:
            return False
        if (test.condition and test.condition not in held) or not self.says(tried):
            return False
        if (test.unconfined and not self.unconfined) or (test.numb_beyond and not self.numb_beyond):
            return False
        if not tried.of_several:
            return True
        places = {(f.row.limb, f.side) for f in those}
        return (
            len(those) >= test.count
            and len(places) >= test.limbs
            and any(sum(at == side for _, at in places) >= test.one_side_limbs for side in _SIDES)
            and (test.sides == "any" or {f.side for f in those} >= _BOTH)
        )

    def says(self, tried: Tried) -> bool:
        """Whether the story and the answers say what a test names."""
        known = self.told.get(tried.place)
        if known is None:
            known = self.told[tried.place] = self._says(tried)
        return known

    def _says(self, tried: Tried) -> bool:
        story, test = self.story, tried.test
        return (
            all(getattr(story, field) in names for field, names in tried.told)
            and (not test.flag or self.flags.get(test.flag) == "yes")
            and (not test.older_than or story.age is None or story.age > test.older_than)
            and (not test.younger_than or (story.age is not None and story.age < test.younger_than))
            and (not test.trauma or story.trauma == "yes")
            and (not test.no_weight or story.bears_weight == "no")
        )

    def hold(self, rows: Iterable[Row], held: Collection[str] = ()) -> set[str]:
        """What holds already, and those of the rows that do."""
        found = set(held)
        for name, every, some in rows:
            for tried in every:
                if not self.passes(tried, found):
                    break
            else:
                if not some or any(self.passes(t, found) for t in some):
                    found.add(name)
        return found


def _seen(examination: Findings, of: Table) -> Seen:
    met: dict[int, list[Finding]] = {}
    for finding in examination.findings:
        if finding.answer is not None:
            for place in of.met_by(finding):
                met.setdefault(place, []).append(finding)
    return Seen(examination.findings, examination.context, examination.flags, met)


def _names(seen: Seen, of: Table) -> frozenset[str]:
    """The names of the conditions of a table that hold."""
    return frozenset(seen.hold(of.open_to(seen)))


def holding(examination: Findings, own: Table | None = None) -> frozenset[str]:
    """The names of the conditions that hold: those of `conditions.toml`, or of a table of one's own."""
    return held(examination).names if own is None else _names(_seen(examination, own), own)


def held(examination: Findings) -> "Held":
    """What holds, kept for examinations that differ in nothing a condition hangs on."""
    flags = tuple(sorted(examination.flags.items()))
    return _held(counting(examination), examination.context, flags)


def counting(examination: Findings) -> tuple[Finding, ...]:
    """The findings that conditions hang on: what is odd, and movements, which may show that a weakness is of one nerve."""
    return tuple(
        f for f in examination.findings if f.abnormal or (f.answer is not None and f.row.mrc)
    )


@lru_cache(maxsize=KEPT_HELD)
def _held(
    counts: tuple[Finding, ...], story: Context, flags: tuple[tuple[str, YesNo], ...]
) -> "Held":
    return Held(Findings(context=story, findings=counts, flags=dict(flags)))


@cache
def _asking(flag: str) -> tuple[Row, ...]:
    """The rows that hang on a flag, by themselves or by a condition that does."""
    found: dict[str, Row] = {}
    for row in table().order:
        tests = [t.test for t in (*row[1], *row[2])]
        if any(t.flag == flag or t.condition in found for t in tests):
            found[row[0]] = row
    return tuple(found.values())


class Held:
    """What holds of some findings.

    Attributes:
        seen: What the conditions were tried on.
        names: Those that hold.
    """

    def __init__(self, examination: Findings) -> None:
        self.seen = _seen(examination, table())
        self.names = _names(self.seen, table())

    def answered(self, flag: str, examination: Findings) -> set[str]:
        """What holds of the same findings with this flag answered as it is in `examination`."""
        rows = _asking(flag)
        others = self.names.difference(name for name, *_ in rows)
        return replace(self.seen, flags=examination.flags, told={}).hold(rows, others)
