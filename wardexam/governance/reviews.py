"""Who owns each rule file and the hospital's wording, and whether a review is due.

Only the tables that say so are read, so that the first screen can ask. The day comes in.
"""

import re
import tomllib
from collections.abc import Mapping
from datetime import date
from functools import cache
from importlib.resources import files

from wardexam.errors import TableError
from wardexam.exam.identity import day_words
from wardexam.reasoning.rules.owners import REVIEW, RULE_FILES, Owned, owned

WORDING = "wording"  # the hospital's own file
WIDTH = 79  # columns of the line that says what is due
_TABLE = re.compile(rf"^\[{REVIEW}\]\n(.*?)(?=^\[|\Z)", re.M | re.S)


def owner_in(text: str, where: str) -> Owned:
    """What the review table of a rule file's text says.

    Raises:
        TableError: There is none, or it is malformed.
    """
    found = _TABLE.search(text)
    if found is None:
        raise TableError("nobody is said to own it: no table 'review'", where, "add the table")
    try:
        row = tomllib.loads(found[1])
    except tomllib.TOMLDecodeError as error:
        raise TableError(str(error), f"{where}, {REVIEW}", "mend the table") from None
    return owned(row, f"{where}, {REVIEW}")


@cache
def rule_files() -> dict[str, Owned]:
    """Who owns each rule file as it was delivered, by the file's name. Raises TableError as `owner_in` does."""
    package = files("wardexam")
    return {
        name: owner_in((package / path).read_text(encoding="utf-8"), path)
        for name, path in RULE_FILES.items()
    }


def reviews(wording: Mapping[str, Mapping[str, str]]) -> dict[str, Owned]:
    """Who owns what here: each rule file, as the hospital says where it does, then its own wording.

    Args:
        wording: The hospital's own file; empty where there is none, or where it says nothing.
    """
    made = dict(rule_files())
    for name in made:
        if row := wording.get(f"{REVIEW}.{name}"):
            made[name] = owned(row, f"{REVIEW}.{name}")
    if wording:
        row = wording.get(REVIEW)
        made[WORDING] = owned(row, REVIEW) if row else Owned()
    return made


def due(wording: Mapping[str, Mapping[str, str]], today: date) -> dict[str, Owned]:
    """Those of which a review is due on a day, the longest due first."""
    found = {n: o for n, o in reviews(wording).items() if o.due and o.is_due(today)}
    return dict(sorted(found.items(), key=lambda item: (item[1].due or today, item[0])))


def due_line(wording: Mapping[str, Mapping[str, str]], today: date) -> str:
    """That a review is due, of what and since when, in one line; empty where none is."""
    late = due(wording, today)
    if not late:
        return ""
    since = min(owner.due for owner in late.values() if owner.due)
    named = ", ".join(late)
    tried = [
        f"Rules: review due since {day_words(since)}: {named} ('wardexam hazards').",
        f"Rules: review due since {day_words(since)}: {len(late)} files ('wardexam hazards').",
    ]
    return next((line for line in tried if len(line) <= WIDTH), tried[-1])
