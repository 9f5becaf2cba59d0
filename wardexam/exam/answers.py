"""What may be answered: answer sets and tendon reflex scales, read from the tables beside this file.

A tendon reflex is stored on the scale it was graded on. Its `meaning` is common to all scales.
"""

from dataclasses import dataclass, field
from functools import cache
from typing import Annotated, Literal

from pydantic import Field

from wardexam.anatomy.catalogue import MEASURED, TENDON, catalogue
from wardexam.errors import TableError
from wardexam.tables import (
    CLOSED,
    MEND,
    Columns,
    all_known,
    all_there,
    checked_row,
    no_twice,
    read_rows,
    read_table,
)

ScaleName = Literal["conventional", "ninds", "plus"]
SCALES: tuple[ScaleName, ...] = ("conventional", "ninds", "plus")


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer: the key that gives it, the code stored, the mark in a cell, the note's words.

    `usual` is whether the answer is ordinarily found in health; it is never a judgement on a
    patient. `tells` is whether it says anything of what the sign is examined for.
    """

    __pydantic_config__ = CLOSED
    key: str
    code: str
    mark: str
    words: str
    usual: bool
    tells: bool = True


@dataclass(frozen=True, slots=True)
class Amount:
    """A number that goes with some answers: beats, degrees or mL, from `least` to `most`.

    Where it is `required` it is the answer. It is graver the larger it is, or where `less_is_graver` the smaller.
    `short` is its unit in a narrow cell, in which it then stands alone.
    """

    __pydantic_config__ = CLOSED
    unit: str
    answers: tuple[str, ...]
    least: int
    most: int
    required: bool = False
    less_is_graver: bool = False
    short: str = ""


@dataclass(frozen=True, slots=True)
class AnswerSet:
    """The answers one kind of sign takes, in order; `ordered` where they run least to most.

    `graver` lists those that can be ranked from the usual to the gravest.
    """

    name: str
    answers: tuple[Answer, ...]
    ordered: bool
    amount: Amount | None = None
    graver: tuple[str, ...] = ()
    _by_code: dict[str, Answer] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        # The first of one code, as they stand in order; asked for by every finding that is made.
        by_code = {a.code: a for a in reversed(self.answers)}
        object.__setattr__(self, "_by_code", by_code)

    def get(self, code: str) -> Answer | None:
        """The answer with this code, or None."""
        return self._by_code.get(code)

    @property
    def codes(self) -> tuple[str, ...]:
        """The codes in order."""
        return tuple(a.code for a in self.answers)


@dataclass(frozen=True, slots=True)
class Scale:
    """One tendon reflex scale.

    Attributes:
        id: Stored name.
        name: What the note calls it.
        key_line: The key that the note prints.
        grades: As answers; `words` is the common meaning spelled out.
        meanings: Grade code to meaning.
        show: Meaning to the nearest grade on this scale.
        loses: Meanings that this scale cannot tell apart.

    """

    id: ScaleName
    name: str
    key_line: str
    grades: AnswerSet
    meanings: dict[str, str]
    show: dict[str, str]
    loses: frozenset[str]


class _SetRow(Columns):
    answers: Annotated[tuple[Answer, ...], Field(min_length=1)]
    ordered: bool
    amount: Amount | None = None
    graver: tuple[str, ...] = ()


@cache
def answer_sets() -> dict[str, AnswerSet]:
    """Every answer set by name, tendon scales excepted (see `scales`).

    Raises:
        TableError: A row is malformed, gives a key or a code twice, or names what is no code; a sign has no set.
    """
    name = "answers.toml"
    sets = {
        kind: AnswerSet(kind, row.answers, row.ordered, row.amount, row.graver)
        for kind, row in read_rows(name, "wardexam.exam", _SetRow).items()
    }
    for kind, made in sets.items():
        where = f"{name}, row {kind}"
        _told_apart(made, where)
        all_known(made.graver, made.codes, f"{where}, field graver")
        if made.amount:
            all_known(made.amount.answers, made.codes, f"{where}, field amount.answers")
            if made.amount.required != (kind == MEASURED):
                raise TableError(f"only of '{MEASURED}'", f"{where}, field amount.required", MEND)
            if made.amount.least > made.amount.most:
                raise TableError("the least is above the most", f"{where}, field amount", MEND)
    for sign in catalogue().values():
        all_known((sign.answers,), (TENDON, *sets), f"{name}, of sign {sign.id}")
    return sets


def _told_apart(made: AnswerSet, where: str) -> None:
    """Refuse answers that share a key or a code."""
    no_twice((a.key for a in made.answers), f"{where}, field answers")
    no_twice(made.codes, f"{where}, field answers")


_SCALES = "scales.toml"


@cache
def meanings() -> dict[str, str]:
    """What a tendon reflex grade can mean, in words, from absent to clonic.

    Raises:
        TableError: The section is malformed.
    """
    return read_rows(_SCALES, "wardexam.exam", str, "meanings")


class _Grade(Columns):
    key: str
    code: str
    mark: str
    meaning: str


class _ScaleRow(Columns):
    name: str
    key_line: str
    grades: Annotated[tuple[_Grade, ...], Field(min_length=1)]
    show: dict[str, str]
    loses: tuple[str, ...]


@cache
def scales() -> dict[ScaleName, Scale]:
    """The tendon reflex scales by stored name.

    Raises:
        TableError: A row is malformed, gives a key or a code twice, or names what is no meaning or no grade.
    """
    table = read_table(_SCALES, "wardexam.exam")
    all_there(table, ("meanings", *SCALES), _SCALES)
    return {name: _scale(name, table[name]) for name in SCALES}


def _scale(name: ScaleName, found: object) -> Scale:
    where, words = f"{_SCALES}, row {name}", meanings()
    row = checked_row(_ScaleRow, found, where)
    all_known((g.meaning for g in row.grades), words, f"{where}, field grades")
    all_there(row.show, words, f"{where}, field show")
    all_known(row.loses, words, f"{where}, field loses")
    usual = {"low_normal", "normal", "high_normal"}
    answers = (
        Answer(g.key, g.code, g.mark, words[g.meaning], g.meaning in usual) for g in row.grades
    )
    grades = AnswerSet(f"tendon, {row.name}", tuple(answers), ordered=True)
    _told_apart(grades, where)
    all_known(row.show.values(), grades.codes, f"{where}, field show")
    means = {g.code: g.meaning for g in row.grades}
    return Scale(name, row.name, row.key_line, grades, means, row.show, frozenset(row.loses))


def answers_for(kind: str, scale: ScaleName = "conventional") -> AnswerSet:
    """The answer set of a sign's kind; tendon reflexes take the grades of `scale`."""
    return scales()[scale].grades if kind == TENDON else answer_sets()[kind]


@dataclass(frozen=True, slots=True)
class Shown:
    """A tendon grade on a chosen scale; `lost` says what the conversion could not keep."""

    mark: str
    lost: str = ""


def convert(code: str, stored: ScaleName, chosen: ScaleName, *, reinforced: bool = False) -> Shown:
    """A stored tendon grade shown on another scale.

    Args:
        code: Grade code on the stored scale.
        stored: Scale it was graded on.
        chosen: Scale to show it on.
        reinforced: Whether it came only with reinforcement.

    Returns:
        The mark on the chosen scale, and in words what detail is lost, if any.

    """
    source, target = scales()[stored], scales()[chosen]
    meaning = source.meanings[code]
    if reinforced and meaning == "reduced" and chosen == "plus":
        meaning = "trace"
    mark = target.show[meaning]
    if stored == chosen:
        return Shown(mark)
    lost = f"{source.name} {code} ({meanings()[meaning]})" if meaning in target.loses else ""
    if stored == "ninds" and code == "4" and chosen != "ninds":
        lost = f"{source.name} 4 (above normal, with or without clonus)"
    return Shown(mark, lost)
