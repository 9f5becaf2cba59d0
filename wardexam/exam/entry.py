"""One change to an examination at a time: what a key does, what a draft keeps, what undo reverses.

A draft on disk is a line per change. Changes are applied by rebuilding the document, so that every
step is validated.
"""

import json
from dataclasses import dataclass
from typing import Any, Literal, Self, TypeVar, get_args

from pydantic import BaseModel, ValidationError

from wardexam.errors import InputError
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Finding, RestNormal

What = Literal[
    "finding", "rest_normal", "flag", "context", "scale", "comment", "impression", "suggestion",
    "entered_by", "acts", "raised", "made",
]  # fmt: skip
# When it was made and when entered are told together: neither is valid alone.
_MADE = ("at", "entered")
# What a field that is replaced as a whole is when it is taken away.
_EMPTY: dict[str, Any] = {"entered_by": [], "acts": [], "raised": None}


@dataclass(frozen=True, slots=True)
class Change:
    """One change.

    Attributes:
        what: The field that changes.
        key: Which one: ``"knee right"`` for a finding, ``"power right arm"`` for a statement, the
            flag's or context field's name; empty for the rest.
        value: The new value as JSON; None takes it away.
    """

    what: What
    key: str = ""
    value: Any = None

    def to_json(self) -> dict[str, Any]:
        """As a JSON object."""
        return {"what": self.what, "key": self.key, "value": self.value}

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Self:
        """From a JSON object.

        Raises:
            InputError: The object is not a change.
        """
        if set(data) != {"what", "key", "value"} or data["what"] not in get_args(What):
            raise InputError("not a change to an examination", where=json.dumps(data)[:80])
        if not isinstance(data["key"], str):
            raise InputError("the key of a change is text", where=json.dumps(data)[:80])
        return cls(data["what"], data["key"], data["value"])


# What is wrong, by pydantic's name for it; what is allowed stands in its place.
FAULTS = {
    "string_too_long": "at most {max_length} characters",
    "string_too_short": "not empty",
    "string_pattern_mismatch": "cannot be written so",
    "string_type": "must be text",
    "string_unicode": "must be text, and holds what is none",
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number",
    "bool_type": "must be true or false",
    "greater_than_equal": "at least {ge}",
    "less_than_equal": "at most {le}",
    "literal_error": "must be {expected}",
    "missing": "is missing",
    "extra_forbidden": "is not known here",
    "timezone_aware": "must say its time zone",
    "timezone_naive": "must say its time zone",
    "datetime_type": "must be a date and time",
    "datetime_parsing": "must be a date and time",
    "datetime_from_date_parsing": "must be a date and time",
    "date_type": "must be a date such as 1985-03-04",
    "too_long": "at most {max_length} of these",
    "tuple_type": "must be a list",
    "dict_type": "must be an object with names and values",
    "model_type": "must be an object with names and values",
    "model_attributes_type": "must be an object with names and values",
}


def first_fault(error: ValidationError) -> str:
    """The first fault of a refused document as one line: where, what is allowed, what was given."""
    fault = error.errors(include_url=False)[0]
    place = ".".join(str(p) for p in fault["loc"])
    text = fault["msg"].removeprefix("Value error, ")
    if words := FAULTS.get(fault["type"]):
        text = words.format(**fault.get("ctx", {}))
    given = fault.get("input")
    shown = (
        f", not {given!r}"
        if isinstance(given, str | int | float | bool) and not text.startswith(place)
        else ""
    )
    if fault["type"] == "value_error":
        shown = ""
    return f"{place}: {text}{shown}" if place else f"{text}{shown}"


M = TypeVar("M", bound=BaseModel)


def valid(model: type[M], document: Any) -> M:
    """A document as its model.

    Raises:
        InputError: A field is refused; where it is, and what is allowed.
    """
    try:
        return model.model_validate(document)
    except ValidationError as error:
        raise InputError(first_fault(error)) from None


def _key(row: Finding | RestNormal) -> str:
    return f"{row.sign} {row.side}" if isinstance(row, Finding) else f"{row.part} {row.limb}"


def _rows(examination: Examination, what: What) -> tuple[Finding, ...] | tuple[RestNormal, ...]:
    return examination.findings if what == "finding" else examination.rest_normal


def _replaced(examination: Examination, change: Change) -> Examination:
    """One keyed row set or taken away; only that row is validated, since the rest already is."""
    model = Finding if change.what == "finding" else RestNormal
    rows: list[Any] = list(_rows(examination, change.what))
    if change.value is None:
        rows = [row for row in rows if _key(row) != change.key]
    else:
        row = model.model_validate(change.value)
        if _key(row) != change.key:
            raise InputError(f"the change speaks of '{change.key}' but holds '{_key(row)}'")
        index = next((n for n, row in enumerate(rows) if _key(row) == change.key), None)
        if index is None:
            rows.append(row)
        else:
            rows[index] = row
    field = "findings" if change.what == "finding" else "rest_normal"
    return examination.model_copy(update={field: tuple(rows)})


def apply(examination: Examination, change: Change) -> Examination:
    """The examination after a change.

    Raises:
        InputError: The change is not acceptable; the examination stays as it was.
    """
    try:
        if change.what in ("finding", "rest_normal"):
            return _replaced(examination, change)
        document = examination.model_dump(mode="json")
        if change.what in ("flag", "context"):
            table: dict[str, Any] = document["flags" if change.what == "flag" else "context"]
            if change.value is None:
                table.pop(change.key, None)
            else:
                table[change.key] = change.value
        elif change.what == "made":
            if not isinstance(change.value, list) or len(change.value) != len(_MADE):
                raise InputError("when it was made and when it was entered are told together")
            document |= dict(zip(_MADE, change.value, strict=True))
        else:
            empty = _EMPTY.get(change.what, "")
            document[change.what] = empty if change.value is None else change.value
        return Examination.model_validate(document)
    except ValidationError as error:
        raise InputError(first_fault(error)) from None


def inverse(examination: Examination, change: Change) -> Change:
    """The change that takes `change` back, given the examination before it was applied."""
    if change.what in ("finding", "rest_normal"):
        rows = _rows(examination, change.what)
        before = next((row for row in rows if _key(row) == change.key), None)
        return Change(change.what, change.key, before and before.model_dump(mode="json"))
    document = examination.model_dump(mode="json")
    if change.what == "flag":
        return Change("flag", change.key, document["flags"].get(change.key))
    if change.what == "context":
        return Change("context", change.key, document["context"].get(change.key))
    if change.what == "made":
        return Change("made", "", [document[field] for field in _MADE])
    return Change(change.what, "", document[change.what])
