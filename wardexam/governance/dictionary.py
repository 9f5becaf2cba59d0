"""The data dictionary of the research export, made from the tables that the program itself reads."""

from collections.abc import Iterator
from functools import cache

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.act_kinds import act_kinds
from wardexam.exam.answers import answer_sets, meanings, scales
from wardexam.exam.final_sites import FINAL_SITES
from wardexam.exam.findings import REASON_WORDS, qualities
from wardexam.exam.flags import every_flag
from wardexam.exam.story import story
from wardexam.reasoning.rules.own_alarm import OWN, rule_words
from wardexam.reasoning.rules.rule_table import WORDS, in_time, rules
from wardexam.reasoning.tables import read
from wardexam.tables import Columns, TableRow, checked_rows, read_table
from wardexam.version import __version__

TABLE = "columns.toml"


class Column(TableRow):
    """What a column of the export says."""

    says: str


class Entry(Columns):
    """A row of the dictionary.

    Attributes:
        kind: What is explained: ``column``, ``sign``, ``answer``, ``grade``, ``flag``, ``rule``, ``story``, ...
        of: In what it stands: the file of a column, the answers of a code; empty where in nothing.
        id: The stable name.
        words: What it is, in words.
        more: What else there is to know.
        source: Where it is from; empty where its table names none.
    """

    kind: str
    of: str
    id: str
    words: str
    more: str = ""
    source: str = ""


@cache
def columns() -> dict[str, dict[str, Column]]:
    """The columns of each file, in their order.

    Raises:
        TableError: A row is malformed.
    """
    table = read_table(TABLE, "wardexam.governance")
    return {name: checked_rows(Column, rows, f"{TABLE}, {name}") for name, rows in table.items()}


def _signs() -> Iterator[Entry]:
    for sign in catalogue().values():
        more = [f"part {sign.part}", f"limb {sign.limb}", f"sides {sign.sides}", f"answers {sign.answers}"]  # fmt: skip
        more += [f"segments {' '.join(sign.segments)}"] if sign.segments else []
        yield Entry(kind="sign", of=sign.part, id=sign.id, words=sign.name, more="; ".join(more), source=sign.source)  # fmt: skip


def _answers() -> Iterator[Entry]:
    for name, row in answer_sets().items():
        for answer in row.answers:
            number = f"; with a number of {row.amount.unit}, {row.amount.least} to {row.amount.most}" if row.amount and answer.code in row.amount.answers else ""  # fmt: skip
            usual = "usual" if answer.usual else "not usual"
            yield Entry(kind="answer", of=name, id=answer.code, words=answer.words, more=f"{usual}{number}")  # fmt: skip
    for scale in scales().values():
        for answer in scale.grades.answers:
            meaning = scale.meanings[answer.code]
            yield Entry(kind="grade", of=scale.id, id=answer.code, words=answer.words, more=f"meaning {meaning}")  # fmt: skip
    for name, words in meanings().items():
        yield Entry(kind="meaning", of="tendon", id=name, words=words)
    yield Entry(
        kind="answer", of="level", id="C1 to S5", words="the lowest segment that is still normal",
    )  # fmt: skip


def _told() -> Iterator[Entry]:
    for flag in every_flag().values():
        more = "not asked any more" if flag.retired else ""
        yield Entry(kind="flag", of="", id=flag.id, words=flag.ask, more=more)
    for question in story():
        for answer in question.answers:
            yield Entry(kind="story", of=question.field, id=answer.code, words=answer.words)
    yield Entry(kind="story", of="onset", id="unknown", words="not told: counts as acute")
    for reason, words in REASON_WORDS.items():
        yield Entry(kind="not_testable", of="", id=reason, words=words)
    for quality, found in qualities().items():
        yield Entry(kind="quality", of="tendon", id=quality, words=found.words)


def _meant() -> Iterator[Entry]:
    for name, row in rules().items():
        more = f"{WORDS[row.urgency]}, {in_time(row.by)}"
        yield Entry(kind="rule", of="", id=name, words=row.reason, more=more, source=row.source)
    own = f"{rule_words(OWN)}, from the places it thinks likely"
    yield Entry(kind="rule", of="", id=OWN, words=own)
    for kind, act in act_kinds().items():
        yield Entry(kind="act", of="", id=kind, words=act.told)
    sites = read("inference/sites.toml")
    for site in FINAL_SITES:
        words = str(sites[site]["name"]) if site in sites else "no lesion"
        yield Entry(kind="final_site", of="", id=site, words=words)


def dictionary() -> Iterator[Entry]:
    """Every column of the export, and every code that may stand in one, from the tables."""
    yield Entry(kind="program", of="", id="wardexam", words=__version__)
    for name, rows in columns().items():
        for column, row in rows.items():
            yield Entry(kind="column", of=f"{name}.csv", id=column, words=row.says, source=row.source)  # fmt: skip
    yield from _signs()
    yield from _answers()
    yield from _told()
    yield from _meant()
