"""The hazard log, the owners of the rules and what is switched off here, as text of 80 columns and as JSON."""

import textwrap
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from wardexam.exam.identity import day_words
from wardexam.exam.text import clean
from wardexam.governance.hazards import Hazard, Scale, hazards, scale
from wardexam.governance.reviews import reviews
from wardexam.reasoning.rules.owners import read_day
from wardexam.reasoning.rules.rule_table import WORDS, rules
from wardexam.reasoning.rules.switched_off import OFF_BY, OFF_ON, OFF_WHY, switched_off
from wardexam.tables import Columns
from wardexam.version import __version__

WIDTH = 80  # columns
LABEL = 9  # columns of what a line of a hazard is called
FILE = 10  # columns of a rule file's name

Words = Mapping[str, Mapping[str, str]]


class ListedHazard(Hazard):
    """A hazard with its name."""

    id: str


class ListedOwner(Columns):
    """A rule file, or the hospital's wording, with whose it is; `owner` is empty where nobody is named."""

    file: str
    owner: str
    reviewed: date | None
    due: date | None
    is_due: bool


class ListedOff(Columns):
    """A rule that is switched off here."""

    rule: str
    urgency: int
    reason: str
    by: str
    why: str
    since: date


class Log(Columns):
    """All that `wardexam hazards --json` prints."""

    program: str
    scale: Scale
    hazards: tuple[ListedHazard, ...]
    owners: tuple[ListedOwner, ...]
    switched_off: tuple[ListedOff, ...]


def log(of: Mapping[str, Hazard] | None, wording: Words, today: date) -> Log:
    """The log as one value.

    Args:
        of: The hazards that are wanted; all where None.
        wording: The hospital's own file: who owns what, and what is switched off here.
        today: The day on which a review may be due.
    """
    wanted = hazards() if of is None else of
    owners = reviews(wording)
    off = {name: wording[name] for name in switched_off(wording)}
    return Log(
        program=__version__,
        scale=scale(),
        hazards=tuple(ListedHazard(id=n, **row.model_dump()) for n, row in wanted.items()),
        owners=tuple(
            ListedOwner(
                file=name, owner=o.owner, reviewed=o.reviewed, due=o.due, is_due=o.is_due(today)
            )
            for name, o in owners.items()
        ),
        switched_off=tuple(
            ListedOff(
                rule=name, urgency=rules()[name].urgency, reason=rules()[name].reason,
                by=row[OFF_BY], why=row[OFF_WHY], since=read_day(row[OFF_ON]) or today,
            )
            for name, row in off.items()
        ),
    )  # fmt: skip


def log_json(made: Log) -> dict[str, Any]:
    """The log as a JSON object."""
    return made.model_dump(mode="json")


def log_schema() -> dict[str, Any]:
    """The JSON Schema of what `log_json` gives."""
    made = Log.model_json_schema(mode="serialization")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}


# --- as text


def _level(levels: tuple[int, int], of: Scale) -> str:
    severity, likelihood = levels
    return (
        f"severity {severity} {of.severity[severity - 1]}, "
        f"likelihood {likelihood} {of.likelihood[likelihood - 1]}"
    )


def _wrapped(text: str, first: str, then: str) -> list[str]:
    return textwrap.wrap(
        clean(text), WIDTH, initial_indent=first, subsequent_indent=then, break_on_hyphens=False
    )


def _labelled(label: str, text: str) -> list[str]:
    """A text behind what it is, broken between words."""
    return _wrapped(text, f"  {label:<{LABEL}} ", " " * (LABEL + 3))


def _paragraph(row: ListedHazard, of: Scale) -> list[str]:
    lines = [row.id]
    for label, text in {
        "hazard": row.hazard, "cause": row.cause, "leads to": row.consequence,
        "before": _level(row.before, of), "guard": row.guard, "after": _level(row.after, of),
        "rules": ", ".join(row.rules), "source": row.source,
    }.items():  # fmt: skip
        lines += _labelled(label, text) if text else []
    for number, test in enumerate(row.tests):
        path, _, called = test.partition("::")
        lines += _labelled("" if number else "tests", path)
        lines += _wrapped(called, "    ", "    ")
    return lines


def log_lines(made: Log, wording: Words, today: date) -> Iterator[str]:
    """The log as text: what its figures are, a paragraph for each hazard, whose the rules are, what is off."""
    yield from _wrapped(f"HAZARD LOG of wardexam {made.program}. {made.scale.judgement}", "", "")
    for title, words in (
        ("Severity", made.scale.severity),
        ("Likelihood", made.scale.likelihood),
    ):
        yield f"{title}: {', '.join(f'{n} {word}' for n, word in enumerate(words, 1))}."
    for row in made.hazards:
        yield ""
        yield from _paragraph(row, made.scale)
    yield ""
    yield "WHO OWNS THE RULES, AND WHEN THEY ARE REVIEWED"
    for name, owner in reviews(wording).items():
        yield from _wrapped(owner.words(today), f"  {name:<{FILE}} ", " " * (FILE + 3))
    yield ""
    if not made.switched_off:
        yield "SWITCHED OFF HERE: no rule."
        return
    yield "SWITCHED OFF HERE"
    for off in made.switched_off:
        said = f"{off.reason} ({WORDS[off.urgency]}), by {off.by}, {day_words(off.since)}: "
        yield from _wrapped(f"{off.rule}: {said}{off.why}", "  ", "    ")
