"""The named conditions on signs that rules of urgency speak of: rows of `conditions.toml`, read and tried.

Each looks only at what was found and told. What was not examined or not asked makes none hold.
"""

from functools import cache
from typing import Annotated, Literal, get_args

from pydantic import Field, ValidationError

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.anatomy.structures import Columns, TableRow
from wardexam.errors import TableError
from wardexam.exam.answers import answer_sets
from wardexam.exam.examination import Context, Findings
from wardexam.exam.findings import Finding
from wardexam.exam.flags import flag_names
from wardexam.reasoning.tables import change_row, conditions_row

PLACE = "conditions.toml"
_BOTH = {"right", "left"}

Names = tuple[str, ...]
Found = tuple[Finding, bool]  # a finding, and whether it is a weak movement


class Test(Columns):
    """One test of a condition; holds when all that it names is so (see the table's head)."""

    condition: str = ""
    unless: str = Field(default="", alias="not")
    sign: Names = ()
    kind: Names = ()
    limb: Names = ()
    answers: Names = ()
    meanings: Names = ()
    level: bool = False
    weak: bool = False
    least: int = Field(default=0, alias="from")
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
            or self.weak or self.least
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
        "pain": (test.pain, options("pain")),
        "onset": (test.onset, options("onset")),
        "flag": ((test.flag,) if test.flag else (), set(flag_names())),
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
        try:
            made[name] = Condition.model_validate(row)
        except ValidationError as error:
            fault = error.errors(include_url=False)[0]
            field = ".".join(map(str, fault["loc"]))
            raise TableError(fault["msg"], where=f"{where}, field {field}") from None
        for test in (*made[name].every, *made[name].some):
            for other in (test.condition, test.unless):
                if other and (other not in made or other == name):
                    raise TableError(f"no condition '{other}' before it", where=where)
            for column, (named, known) in _known(test).items():
                for word in named:
                    if word not in known:
                        raise TableError(f"unknown '{word}'", where=f"{where}, field {column}")
    return made


def weak(finding: Finding) -> bool:
    """Whether a movement was graded weak, in a limb or the face."""
    row = conditions_row("weak")
    return (
        finding.row.answers == row["kind"]
        and finding.answer is not None
        and finding.answer not in row["full"]
        and finding.sign not in row["but"]
    )


def _is_one(test: Test, finding: Finding, is_weak: bool) -> bool:
    if (test.weak and not is_weak) or (test.sign and finding.sign not in test.sign):
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


def _passes(test: Test, examination: Findings, found: list[Found], held: set[str]) -> bool:
    if (test.condition and test.condition not in held) or test.unless in held:
        return False
    story = examination.context
    for named, told in (
        (test.complaint, story.complaint),
        (test.pain, story.pain),
        (test.onset, story.onset),
    ):
        if named and told not in named:
            return False
    if test.flag and examination.flags.get(test.flag) != "yes":
        return False
    if not test.of_findings:
        return True
    those = [f for f, is_weak in found if _is_one(test, f, is_weak)]
    enough = len(those) >= test.count
    return enough and (test.sides == "any" or {f.side for f in those} >= _BOTH)


def holding(examination: Findings) -> set[str]:
    """The names of the conditions that hold."""
    held: set[str] = set()
    found = [(f, weak(f)) for f in examination.findings if f.answer is not None]
    for name, row in conditions().items():
        every = all(_passes(t, examination, found, held) for t in row.every)
        if every and (not row.some or any(_passes(t, examination, found, held) for t in row.some)):
            held.add(name)
    return held
