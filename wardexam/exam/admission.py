"""Why a patient was admitted, and what that says of the story: the table `admission.toml`."""

import re
from collections.abc import Iterable
from functools import cache
from typing import Annotated, cast

from pydantic import Field

from wardexam.exam.examination import Complaint, Context
from wardexam.exam.story import complaints, question
from wardexam.exam.text import counted
from wardexam.tables import TableRow, all_known, all_there, checked_row, checked_rows, read_table

_ROWS = ("set_off", "injured", "injury", "came_after", "denied", "common", "adult")
# An empty word would be found in every reason.
Words = Annotated[tuple[Annotated[str, Field(min_length=1)], ...], Field(min_length=1)]


class _SetOff(TableRow):
    behind: Words


class _Injured(_SetOff):
    before: Words
    articles: Words


class _Words(TableRow):
    words: Words


class _Adult(TableRow):
    from_: Annotated[int, Field(alias="from", ge=1, le=120)]


def _any(words: Iterable[str]) -> str:
    return f"(?:{'|'.join(map(re.escape, words))})"


@cache
def _patterns() -> tuple[str, re.Pattern[str], frozenset[str]]:
    """What must follow a complaint that is to be set off, an injury as it stands in a reason, and words that mean no complaint by themselves.

    Raises:
        TableError: A row is malformed.
    """
    name = "admission.toml"
    table = read_table(name, "wardexam.exam")
    all_there(table, _ROWS, name)
    set_off = checked_row(_SetOff, table["set_off"], f"{name}, row set_off")
    injured = checked_row(_Injured, table["injured"], f"{name}, row injured")
    injuries = checked_rows(_Words, table["injury"], f"{name}, injury")
    begin = rf"(?:^|[,;:.(+] *|\b{_any(injured.before)} (?:{_any(injured.articles)} )?)"
    words = _any(word for row in injuries.values() for word in row.words)
    end = rf"(?:$|[,;:.)]| {_any(injured.behind)}\b)"
    common = checked_row(_Words, table["common"], f"{name}, row common")
    behind = rf"(?:$|[,;:.(]| {_any(set_off.behind)}\b)"
    injury = re.compile(begin + words + end, re.IGNORECASE)
    return behind, injury, frozenset(common.words)


@cache
def _settings() -> dict[str, re.Pattern[str]]:
    """What each setting is told by in a reason; ``*`` stands for two words or fewer.

    Raises:
        TableError: A row is malformed, or is of no setting.
    """
    name = "admission.toml"
    table = read_table(name, "wardexam.exam")
    rows = checked_rows(_Words, table["came_after"], f"{name}, came_after")
    all_known(rows, [a.code for a in question("setting").answers], f"{name}, came_after")
    denied = checked_row(_Words, table["denied"], f"{name}, row denied")
    not_behind = "".join(rf"(?<!\b{re.escape(word)} )" for word in denied.words)
    each = {setting: _any(row.words).replace(r"\*\ ", "(?:[a-z-]+ ){0,2}") for setting, row in rows.items()}  # fmt: skip
    return {s: re.compile(rf"\b{not_behind}{words}\b", re.IGNORECASE) for s, words in each.items()}


@cache
def _adult() -> int:
    """From which age a patient is an adult.

    Raises:
        TableError: The row is malformed.
    """
    name = "admission.toml"
    return checked_row(
        _Adult, read_table(name, "wardexam.exam")["adult"], f"{name}, row adult"
    ).from_


def no_adult(age: int | None) -> str:
    """That an age is a child's, for whom this is not meant, without a full stop; empty for an adult's, and where it is not known."""
    if age is None or age >= _adult():
        return ""
    return f"{counted(age, 'year')} is no adult, and this is meant for adults"


def told_already(remark: str, complaint: str | None) -> bool:
    """Whether a remark is the complaint in its words, and no more."""
    words = question("complaint").words(complaint) if complaint else ""
    return remark.strip(" .").casefold() == words.casefold()


def reason_text(typed: str) -> str:
    """Why the patient was admitted, as it is kept: a number of the list in its words, other text as it is typed.

    A number is taken alone or before a comma, as in ``1, since Monday``: "2 falls this week" is text.
    """
    text = " ".join(typed.split())
    number, comma, more = text.partition(",")
    if number.isdecimal() and len(number) < 4 and 1 <= int(number) <= len(complaints()):
        words = complaints()[int(number) - 1].words
        return f"{words}, {more.strip()}" if comma and more.strip() else words
    return text


def context_of(reason: str, age: int | None, sex: str) -> Context:
    """What is known of a patient's story from the admission alone."""
    _, injury, _ = _patterns()
    injured = "yes" if injury.search(reason.strip()) else None
    after = next((setting for setting, words in _settings().items() if words.search(reason)), None)
    told = {
        "age": age, "sex": sex, "complaint": complaint_in(reason), "trauma": injured, "setting": after,
    }  # fmt: skip
    return Context.model_validate(told)


def complaint_in(reason: str) -> Complaint | None:
    """The complaint that a reason for admission begins with, in the words of the list; None where it is another.

    What follows a single word, or a part of the body, must be set off from it: "fit for surgery" is no fit.
    """
    set_off, *_ = _patterns()
    for complaint in complaints():
        end = set_off if complaint.set_off else r"\b"
        if re.match(f"{complaint.words}{end}", reason.strip(), re.IGNORECASE):
            return cast(Complaint, complaint.code)
    return None


def near_complaints(reason: str) -> tuple[tuple[int, str], ...]:
    """Complaints of the list that share a word with a reason, each with its number: to be offered, never taken by itself."""
    *_, common = _patterns()
    words = set(re.findall(r"[a-z]+", reason.lower())) - common
    return tuple(
        (number, complaint.words)
        for number, complaint in enumerate(complaints(), 1)
        if words & set(complaint.words.split())
    )


def is_heard(reason: str) -> bool:
    """Whether a reason for admission says something that the rules hear; an empty one has nothing to be heard."""
    told = context_of(reason, None, "unknown")
    return not reason.strip() or bool(told.complaint or told.trauma)
