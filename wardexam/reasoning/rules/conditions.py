"""The named conditions on signs that rules of urgency speak of: rows of `conditions.toml`, read and tried.

Each looks only at what was found and told. What was not examined or not asked makes none hold, and no
condition ends by one more abnormal finding, "yes" or graver grade: there is no "not" in the table.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from itertools import count
from typing import Annotated, Literal, get_args

from pydantic import Field

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.anatomy.structures import Columns, TableRow, checked_row
from wardexam.errors import TableError
from wardexam.exam.answers import ScaleName, answer_sets
from wardexam.exam.examination import Context, Findings
from wardexam.exam.findings import Finding, Quality
from wardexam.exam.flags import every_flag
from wardexam.reasoning.tables import change_row, conditions_row

PLACE = "conditions.toml"
_BOTH = {"right", "left"}
_SIDES = (*sorted(_BOTH), "midline")

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
    weak: bool = False
    at_most: str = ""
    unconfined: bool = False
    numb_beyond: bool = False
    limbs: Annotated[int, Field(ge=1)] = 1
    one_side_limbs: Annotated[int, Field(ge=1)] = 1
    complaint_side: Names = ()
    older_than: int = 0
    trauma: bool = False
    no_weight: bool = False
    least: int = Field(default=0, alias="from")
    side: Literal["", "right", "left"] = ""
    sides: Literal["any", "both"] = "any"
    count: Annotated[int, Field(ge=1)] = 1
    complaint: Names = ()
    pain: Names = ()
    onset: Names = ()
    flag: str = ""

    @property
    def of_findings(self) -> bool:
        """Whether it looks at findings."""
        return bool(
            self.sign or self.kind or self.limb or self.answers or self.meanings or self.level
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
        "meanings": (test.meanings, set(change_row("meaning")["order"])),
        "complaint": (test.complaint, options("complaint")),
        "complaint_side": (test.complaint_side, options("complaint_side")),
        "pain": (test.pain, options("pain")),
        "onset": (test.onset, options("onset")),
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


def weak(finding: Finding) -> bool:
    """Whether a movement was graded less than full, in a limb or the face."""
    row = conditions_row("weak")
    return (
        finding.row.answers == row["kind"]
        and finding.answer is not None
        and finding.answer not in row["full"]
        and finding.sign not in row["but"]
    )


def _grade(answer: str) -> int:
    """Where an MRC grade stands among all, the weakest first."""
    row = conditions_row("weak")
    return int(row["grades"].index(answer))


def _is_one(test: Test, finding: Finding) -> bool:
    is_weak = weak(finding)
    if (test.weak and not is_weak) or (test.sign and finding.sign not in test.sign):
        return False
    if test.at_most and not (is_weak and _grade(str(finding.answer)) <= _grade(test.at_most)):
        return False
    row = finding.row
    return (
        (not test.kind or row.answers in test.kind)
        and (not test.limb or row.limb in test.limb)
        and (not test.answers or finding.answer in test.answers)
        and (not test.meanings or (bool(finding.scale) and finding.meaning in test.meanings))
        and (not test.level or finding.answer in SEGMENTS)
        and (not test.least or (finding.amount or 0) >= test.least)
    )


@dataclass(frozen=True, slots=True)
class _Tried:
    """A test with what is asked of every examination by it, worked out once.

    Attributes:
        test: The test.
        place: Its place among all tests.
        of_findings: Whether it looks at findings.
        told: Fields of the story, each with the answers that it names.
        only: The condition that it asks for, where it asks for nothing else.
    """

    test: Test
    place: int
    of_findings: bool
    told: tuple[tuple[str, Names], ...]
    only: str


def _tried(test: Test, place: int) -> _Tried:
    named = {
        field: getattr(test, field) for field in ("complaint", "complaint_side", "pain", "onset")
    }
    told = tuple((field, names) for field, names in named.items() if names)
    only = test.condition if test == Test(condition=test.condition) else ""
    return _Tried(test, place, test.of_findings, told, only)


# What a test asks of a finding; its side and what was written beside it are no part of that. There are
# only so many kinds, since every number has its limits.
_Kind = tuple[str, str | None, ScaleName | None, tuple[Quality, ...], int | None]


Row = tuple[str, tuple[_Tried, ...], tuple[_Tried, ...]]  # name, every test, some test


@dataclass(frozen=True, slots=True)
class Table:
    """Conditions in their order, ready to be tried, and what each kind of finding meets."""

    order: tuple[Row, ...]
    met: dict[_Kind, tuple[int, ...]] = field(default_factory=dict)

    def met_by(self, finding: Finding) -> tuple[int, ...]:
        """The places of the tests that a finding meets, the same for every finding of its kind."""
        kind = (finding.sign, finding.answer, finding.scale, finding.qualities, finding.amount)
        known = self.met.get(kind)
        if known is None:
            known = self.met[kind] = tuple(
                t.place
                for _, every, some in self.order
                for t in (*every, *some)
                if t.of_findings and _is_one(t.test, finding)
            )
        return known


def table_of(rows: Mapping[str, Condition]) -> Table:
    """Rows of conditions as a table that can be tried."""
    place = count()
    return Table(
        tuple(
            (
                name,
                tuple(_tried(test, next(place)) for test in row.every),
                tuple(_tried(test, next(place)) for test in row.some),
            )
            for name, row in rows.items()
        )
    )


@cache
def _table() -> Table:
    return table_of(conditions())


def _told(tried: _Tried, examination: Findings) -> bool:
    """Whether the story and the questions say what a test names."""
    story, test = examination.context, tried.test
    return (
        all(getattr(story, field) in names for field, names in tried.told)
        and (not test.flag or examination.flags.get(test.flag) == "yes")
        and (not test.older_than or story.age is None or story.age > test.older_than)
        and (not test.trauma or story.trauma == "yes")
        and (not test.no_weight or story.bears_weight == "no")
    )


Met = dict[int, list[Finding]]  # the findings that meet each test, by its place


def _passes(tried: _Tried, examination: Findings, met: Met, held: set[str]) -> bool:
    if tried.only:
        return tried.only in held
    test, those = tried.test, met.get(tried.place, [])
    if test.side:
        those = [f for f in those if f.side == test.side]
    if tried.of_findings and not those:
        return False
    if (test.condition and test.condition not in held) or not _told(tried, examination):
        return False
    if test.unconfined and not unconfined(examination):
        return False
    if test.numb_beyond and not numb_beyond(examination):
        return False
    if not tried.of_findings:
        return True
    places = {(f.row.limb, f.side) for f in those}
    return (
        len(those) >= test.count
        and len(places) >= test.limbs
        and any(sum(at == side for _, at in places) >= test.one_side_limbs for side in _SIDES)
        and (test.sides == "any" or {f.side for f in those} >= _BOTH)
    )


def _met(examination: Findings, table: Table) -> Met:
    met: Met = {}
    for finding in examination.findings:
        if finding.answer is not None:
            for place in table.met_by(finding):
                met.setdefault(place, []).append(finding)
    return met


def _hold(rows: Iterable[Row], examination: Findings, met: Met, held: set[str]) -> set[str]:
    """What holds already, and those of the rows that do."""
    for name, every, some in rows:
        if all(_passes(t, examination, met, held) for t in every) and (
            not some or any(_passes(t, examination, met, held) for t in some)
        ):
            held.add(name)
    return held


def holding(examination: Findings, table: Table | None = None) -> set[str]:
    """The names of the conditions that hold: those of `conditions.toml`, or of a table of one's own."""
    table = table or _table()
    return _hold(table.order, examination, _met(examination, table), set())


@cache
def _asking(flag: str) -> tuple[Row, ...]:
    """The rows that hang on a flag, by themselves or by a condition that does."""
    found: dict[str, Row] = {}
    for row in _table().order:
        tests = [t.test for t in (*row[1], *row[2])]
        if any(t.flag == flag or t.condition in found for t in tests):
            found[row[0]] = row
    return tuple(found.values())


class Held:
    """The conditions that hold of some findings, tried again only where one flag is answered otherwise.

    Args:
        examination: What was found.

    Attributes:
        names: The conditions that hold.
    """

    def __init__(self, examination: Findings) -> None:
        self._met = _met(examination, _table())
        self.names = _hold(_table().order, examination, self._met, set())

    def answered(self, flag: str, examination: Findings) -> set[str]:
        """What holds of the same findings with this flag answered as it is in `examination`."""
        rows = _asking(flag)
        if not rows:
            return self.names
        return _hold(rows, examination, self._met, self.names.difference(name for name, *_ in rows))


# --- what one nerve or root gives


@cache
def _suppliers() -> dict[str, frozenset[str]]:
    """The nerves and roots that each sign may fail by alone."""
    row = conditions_row("confined")
    least, family = row["share"], row["family"]
    made = {}
    for sign in catalogue().values():
        nerves = set(family.get(sign.nerve, [sign.nerve])) if sign.nerve else set()
        roots = {segment for segment, share in sign.segments.items() if share >= least}
        made[sign.id] = frozenset(nerves | roots)
    return made


def _lost(finding: Finding) -> bool:
    """Whether a finding is a loss that a nerve or root may give: power, sensation, a tendon reflex."""
    row = conditions_row("confined")
    if finding.answer is None:
        return False
    if finding.scale:
        return finding.meaning in row["reflex"]
    return weak(finding) or (
        finding.row.answers in row["kind"] and finding.answer in row["answers"]
    )


def _common(losses: list[Finding]) -> set[str]:
    """The nerves and roots that give every one of some losses."""
    shared: set[str] | None = None
    for finding in losses:
        mine = set(_suppliers()[finding.sign])
        shared = mine if shared is None else shared & mine
    return shared or set()


def unconfined(examination: Findings) -> bool:
    """Whether there is weakness that is not shown to be of one nerve or root.

    It is shown where every loss lies in one limb and one nerve or root gives them all, while movements
    outside of it in the same limb were each recorded as full, and nothing speaks of a lesion above. A
    further loss, or a movement that is not full after all, ends that; a blank shows nothing. Weakness
    that is told counts as long as no movement of that limb is recorded as full.
    """
    row = conditions_row("confined")
    found = [f for f in examination.findings if f.answer is not None]
    if _told_of_a_limb(examination):
        return True
    losses = [f for f in found if _lost(f)]
    if not any(weak(f) for f in losses):
        return False
    if len({(f.row.limb, f.side) for f in losses}) > 1:
        return True
    limb, side = losses[0].row.limb, losses[0].side
    if limb not in row["limb"]:
        return True
    if any(f.sign in row["above"] and f.choice and not f.choice.usual for f in found):
        return True
    full = [
        f
        for f in found
        if (f.row.limb, f.side) == (limb, side)
        and f.row.answers == conditions_row("weak")["kind"]
        and not weak(f)
    ]
    return not any(
        sum(supplier not in _suppliers()[f.sign] for f in full) >= row["shown_by"]
        for supplier in _common(losses)
    )


def _told_of_a_limb(examination: Findings) -> bool:
    """Whether a weak limb is the complaint and its power not shown: of either side where none is told."""
    story = examination.context
    limb = conditions_row("confined")["told"].get(story.complaint)
    if limb is None:
        return False
    sides = {story.complaint_side} if story.complaint_side in _BOTH else _BOTH
    full = {
        f.side
        for f in examination.findings
        if f.row.limb == limb
        and f.row.answers == conditions_row("weak")["kind"]
        and f.answer in conditions_row("weak")["full"]
    }
    return not sides <= full


def numb_beyond(examination: Findings) -> bool:
    """Whether sensation is lost in more than one nerve or root of one limb gives."""
    row = conditions_row("confined")
    lost = [f for f in examination.findings if _lost(f) and f.row.answers in row["kind"]]
    if not lost:
        return False
    return len({(f.row.limb, f.side) for f in lost}) > 1 or not _common(lost)
