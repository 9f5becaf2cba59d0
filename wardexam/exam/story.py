"""What is asked beside the signs, with the answers that may be chosen: the table `story.toml`."""

from functools import cache
from typing import Literal, NamedTuple, get_args

from wardexam.exam.examination import Context, Findings
from wardexam.tables import Columns, TableRow, all_there, checked_row, no_twice, read_table

NOT_KNOWN = "not known"  # the answer that takes an answer away
Asked = Literal["onset", "complaint", "complaint_side", "bears_weight", "pain", "trauma", "setting"]


class _AnswerRow(Columns):
    words: str
    key: str = ""
    yes: bool = False
    set_off: bool = False


class _QuestionRow(TableRow):
    name: str
    ask: str
    most_acute_first: tuple[str, ...] = ()
    answers: dict[str, _AnswerRow]


class StoryAnswer(NamedTuple):
    """An answer.

    Attributes:
        code: Its value in the field of `Context`.
        words: What it is called.
        key: The key that gives it among the signs; of an onset alone.
        yes: Whether it says yes to the red flag that the question answers as well.
        set_off: Whether what follows it in a reason for admission must be set off from it; of a complaint alone.
    """

    code: str
    words: str
    key: str
    yes: bool
    set_off: bool


class StoryQuestion(NamedTuple):
    """A question.

    Attributes:
        field: The field of `Context` that it fills.
        name: What it is called.
        ask: How it is asked.
        every: All answers in the order in which they are offered, that of an onset that is not known among them.
        most_acute_first: The codes of an onset; nothing of any other.
    """

    field: Asked
    name: str
    ask: str
    every: tuple[StoryAnswer, ...]
    most_acute_first: tuple[str, ...]

    @property
    def id(self) -> str:
        """What it is called among the signs and flags of a grid."""
        return self.field

    @property
    def unknown(self) -> str | None:
        """The value of the field while it is not told."""
        return "unknown" if self.field == "onset" else None

    @property
    def answers(self) -> tuple[StoryAnswer, ...]:
        """The answers that tell something."""
        return tuple(a for a in self.every if a.code != self.unknown)

    def words(self, code: str | None) -> str:
        """An answer in words; `NOT_KNOWN` for one that was not told."""
        return next((a.words for a in self.answers if a.code == code), NOT_KNOWN)

    def says_yes(self, code: str | None) -> bool:
        """Whether an answer says yes to the red flag that the question answers as well."""
        return any(a.yes for a in self.every if a.code == code)


def _codes(field: Asked) -> tuple[str, ...]:
    """The values that a field of `Context` takes, but for None."""
    kinds = get_args(Context.model_fields[field].annotation)
    return tuple(code for kind in kinds for code in (get_args(kind) or (kind,)) if isinstance(code, str))  # fmt: skip


def _question(field: Asked, row: object) -> StoryQuestion:
    where = f"story.toml, row {field}"
    made = checked_row(_QuestionRow, row, where)
    all_there(made.answers, _codes(field), f"{where}, field answers")
    no_twice((a.key for a in made.answers.values() if a.key), f"{where}, field answers")
    if field == "onset":
        all_there(made.most_acute_first, _codes(field), f"{where}, field most_acute_first")
    every = tuple(StoryAnswer(code, **a.model_dump()) for code, a in made.answers.items())
    return StoryQuestion(field, made.name, made.ask, every, made.most_acute_first)


@cache
def story() -> tuple[StoryQuestion, ...]:
    """The questions in the order in which they are asked.

    Raises:
        TableError: A row is malformed, or rows or answers are not those that `Context` has.
    """
    rows = read_table("story.toml", "wardexam.exam")
    fields: tuple[Asked, ...] = get_args(Asked)
    all_there(rows, fields, "story.toml")
    return tuple(_question(field, rows[field]) for field in sorted(fields, key=[*rows].index))


def question(field: Asked) -> StoryQuestion:
    """The question that fills a field of `Context`."""
    return next(q for q in story() if q.field == field)


def complaints() -> tuple[StoryAnswer, ...]:
    """The complaints in the order of the numbers that choose them."""
    return question("complaint").answers


def told_earlier(asked: StoryQuestion, previous: Findings | None) -> str:
    """What was answered earlier in the stay, in words; empty where nothing was."""
    code = getattr(previous.context, asked.field) if previous else asked.unknown
    return "" if code == asked.unknown else asked.words(code)
