"""Which of two answers to one sign is the graver, whatever the sign is answered with."""

from functools import cache

from wardexam.anatomy.catalogue import MRC, SEGMENTS
from wardexam.errors import TableError
from wardexam.exam.answers import answer_sets, answers_for, meanings
from wardexam.exam.findings import Finding
from wardexam.reasoning.tables import change_row
from wardexam.tables import all_known


@cache
def _numbers(kind: str) -> dict[str, float]:
    """The number of each grade; which there are, and in which order, is said by the tables of `exam`.

    Raises:
        TableError: The grades are not those, or their numbers fall.
    """
    numbers: dict[str, float] = change_row(kind)["order"]
    grades = tuple(meanings()) if kind == "meaning" else answers_for(kind).codes
    if tuple(numbers) != grades or sorted(numbers.values()) != list(numbers.values()):
        raise TableError(
            f"the grades are {', '.join(grades)}, in this order", f"rules/change.toml, {kind}"
        )
    return numbers


@cache
def gravest_answers() -> dict[str, str]:
    """The answer that is graver than any other, ranked or not, by the kind of sign that has one.

    Raises:
        TableError: A row is of no kind of sign, or names no answer of it.
    """
    where = "rules/change.toml, gravest"
    rows = change_row("gravest")
    all_known(rows, answer_sets(), where)
    for kind, row in rows.items():
        all_known((row["answer"],), answer_sets()[kind].codes, f"{where}, {kind}")
    return {kind: row["answer"] for kind, row in rows.items()}


def meaning_rank(meaning: str) -> int:
    """A tendon grade's meaning as a number, from absent to clonic."""
    return int(_numbers("meaning")[meaning])


def mrc_number(grade: str) -> float:
    """An MRC grade as a number."""
    return _numbers(MRC)[grade]


def full_power() -> str:
    """The MRC grade of full power."""
    return answers_for(MRC).codes[-1]


def from_normal(meaning: str) -> int:
    """How many grades a tendon grade's meaning is above normal; below it less than 0."""
    return meaning_rank(meaning) - meaning_rank("normal")


def segment_rank(answer: str) -> int:
    """A sensory level as a number, the graver the less; none lies below them all."""
    return SEGMENTS.index(answer) if answer in SEGMENTS else len(SEGMENTS)


def as_number(finding: Finding) -> float | None:
    """A finding as a number for a course over time, or None where it has no order."""
    if finding.answer is None:
        return None
    if finding.scale:
        return float(meaning_rank(finding.meaning))
    if finding.row.mrc:
        return mrc_number(finding.answer)
    if finding.row.measured:
        return float(finding.amount or 0)
    answers = answers_for(finding.row.answers)
    return float(answers.codes.index(finding.answer)) if answers.ordered else None


def graver(finding: Finding, word: str, amount: int | None) -> bool:
    """Whether a finding is graver than an answer that was written down, or not comparable with it.

    Args:
        finding: What was found.
        word: The other answer to the same sign, of a tendon reflex its meaning.
        amount: Its number, where it has one.
    """
    row, answer = finding.row, str(finding.answer)
    if finding.scale:
        now, was = from_normal(finding.meaning), from_normal(word)
        return abs(now) > abs(was) or now * was < 0
    if row.mrc:
        return mrc_number(answer) < mrc_number(word)
    if row.level:
        return segment_rank(answer) < segment_rank(word)
    answers = answers_for(row.answers)
    if answer == word:
        if finding.amount is None or amount is None:
            return False
        less = answers.amount and answers.amount.less_is_graver
        return finding.amount < amount if less else finding.amount > amount
    rank = answers.graver
    return not {answer, word} <= set(rank) or rank.index(answer) > rank.index(word)
