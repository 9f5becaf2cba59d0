"""What may be answered: answer sets and tendon reflex scales, read from the tables beside this file.

A tendon reflex is stored on the scale it was graded on. Its `meaning` is common to all scales.
"""

import tomllib
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any, Literal

ScaleName = Literal["conventional", "ninds", "plus"]
SCALES: tuple[ScaleName, ...] = ("conventional", "ninds", "plus")


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer: the key that gives it, the code stored, the mark in a cell, the note's words.

    `usual` is whether the answer is ordinarily found in health; it is never a judgement on a
    patient. `tells` is whether it says anything of what the sign is examined for.
    """

    key: str
    code: str
    mark: str
    words: str
    usual: bool
    tells: bool = True


@dataclass(frozen=True, slots=True)
class Amount:
    """A number that goes with some answers: beats, degrees or mL, from `least` to `most`."""

    unit: str
    answers: tuple[str, ...]
    least: int
    most: int
    required: bool = False


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


def _table(name: str) -> dict[str, dict[str, Any]]:
    return tomllib.loads((files("wardexam.exam") / name).read_text(encoding="utf-8"))


@cache
def answer_sets() -> dict[str, AnswerSet]:
    """Every answer set by name, tendon scales excepted (see `scales`)."""
    sets: dict[str, AnswerSet] = {}
    for name, row in _table("answers.toml").items():
        answers: list[dict[str, Any]] = row["answers"]
        amount: dict[str, Any] | None = row.get("amount")
        sets[name] = AnswerSet(
            name=name,
            answers=tuple(Answer(**a) for a in answers),
            ordered=bool(row["ordered"]),
            amount=Amount(**{**amount, "answers": tuple(amount["answers"])}) if amount else None,
            graver=tuple(row.get("graver", ())),
        )
    return sets


@cache
def meanings() -> dict[str, str]:
    """What a tendon reflex grade can mean, in words, from absent to clonic."""
    return {k: str(v) for k, v in _table("scales.toml")["meanings"].items()}


@cache
def scales() -> dict[ScaleName, Scale]:
    """The tendon reflex scales by stored name."""
    table = _table("scales.toml")
    words = meanings()
    found: dict[ScaleName, Scale] = {}
    for name in SCALES:
        row = table[name]
        grades: list[dict[str, str]] = row["grades"]
        usual = {"low_normal", "normal", "high_normal"}
        found[name] = Scale(
            id=name,
            name=str(row["name"]),
            key_line=str(row["key_line"]),
            grades=AnswerSet(
                name=f"tendon, {row['name']}",
                answers=tuple(
                    Answer(
                        g["key"], g["code"], g["mark"], words[g["meaning"]], g["meaning"] in usual
                    )
                    for g in grades
                ),
                ordered=True,
            ),
            meanings={g["code"]: g["meaning"] for g in grades},
            show=dict(row["show"]),
            loses=frozenset(row["loses"]),
        )
    return found


def answers_for(kind: str, scale: ScaleName = "conventional") -> AnswerSet:
    """The answer set of a sign's kind; tendon reflexes take the grades of `scale`."""
    return scales()[scale].grades if kind == "tendon" else answer_sets()[kind]


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
