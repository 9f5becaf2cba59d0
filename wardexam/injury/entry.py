"""One change to a sheet at a time: what a key does, what a draft keeps, what undo reverses."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

from wardexam.errors import InputError
from wardexam.exam.entry import valid
from wardexam.injury.sheet import (
    MARK,
    SIDES,
    TESTS,
    InjurySheet,
    Side,
    Test,
    places,
)

Given = Mapping[
    tuple[Test, Side], Mapping[str, str | None]
]  # codes by segment; None takes one away


@dataclass(frozen=True, slots=True)
class SheetChange:
    """A change of a sheet: each field that changes with its new value as JSON."""

    fields: dict[str, Any]

    def to_json(self) -> dict[str, Any]:
        """As a JSON object."""
        return {"sheet": self.fields}

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Self:
        """From a JSON object.

        Raises:
            InputError: The object is not a change of a sheet.
        """
        fields = data.get("sheet")
        if set(data) != {"sheet"} or not isinstance(fields, dict):
            raise InputError("not a change to a cord injury sheet")
        return cls(fields)


def apply(sheet: InjurySheet, change: SheetChange) -> InjurySheet:
    """The sheet after a change.

    Raises:
        InputError: The change is not acceptable; the sheet stays as it was.
    """
    return valid(InjurySheet, sheet.model_dump(mode="json") | change.fields)


def inverse(sheet: InjurySheet, change: SheetChange) -> SheetChange:
    """The change that takes `change` back, given the sheet before it was applied."""
    before = sheet.model_dump(mode="json")
    return SheetChange({name: before[name] for name in change.fields})


def scored(sheet: InjurySheet, given: Given) -> SheetChange:
    """Scores written over those that stand; what is said of a mark that goes with it, goes too."""
    fields: dict[str, Any] = {}
    for (test, side), codes in given.items():
        both = fields.setdefault(test, getattr(sheet, test).model_dump())
        held = both[side] | codes
        both[side] = {s: held[s] for s in places(test) if held.get(s) is not None}
    changed = {test: fields.get(test, getattr(sheet, test).model_dump()) for test in TESTS}
    rated = [
        row.model_dump()
        for row in sheet.rated
        if changed[row.test][row.side].get(row.segment, "").endswith(MARK)
    ]
    return SheetChange(fields | ({"rated": rated} if len(rated) < len(sheet.rated) else {}))


def written_over(sheet: InjurySheet, other: InjurySheet) -> SheetChange:
    """What another sheet says, written over this one; what it does not say stays as it was."""
    given: dict[tuple[Test, Side], dict[str, str]] = {
        (test, side): codes
        for test in TESTS
        for side in SIDES
        if (codes := getattr(getattr(other, test), side))
    }
    fields = scored(sheet, given).fields
    for name in ("anal_contraction", "anal_pressure", "earlier_deficit", "comment"):
        if said := getattr(other, name):
            fields[name] = said
    said_of = {side: told for side in SIDES if (told := getattr(other.movements, side))}
    if said_of:
        fields["movements"] = sheet.movements.model_dump() | said_of
    if other.rated:
        places_ = {row.place for row in other.rated}
        kept = [r for r in fields.get("rated", [r.model_dump() for r in sheet.rated])
                if (r["test"], r["side"], r["segment"]) not in places_]  # fmt: skip
        fields["rated"] = kept + [r.model_dump() for r in other.rated]
    return SheetChange(fields)
