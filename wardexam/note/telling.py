"""From which chance on what is inferred is said, on screen, plain lines, note and list: the table `telling.toml`."""

from functools import cache
from typing import Annotated, Literal, get_args

from pydantic import Field

from wardexam.tables import TableRow, all_there, read_rows

What = Literal[
    "site_in_panel", "second_in_panel", "site_on_plain_lines", "site_in_note", "site_on_list", "sides_that_differ",
]  # fmt: skip


class Threshold(TableRow):
    """From which chance on, and of how many findings at least."""

    least: Annotated[float, Field(ge=0, le=1)]
    entered: Annotated[int, Field(ge=0)] = 0


@cache
def thresholds() -> dict[str, Threshold]:
    """Every row by what is said.

    Raises:
        TableError: A row is malformed or has no source, or the rows are not those.
    """
    rows = read_rows("telling.toml", "wardexam.note", Threshold)
    all_there(rows, get_args(What), "telling.toml")
    return rows


def worth_telling(what: What, chance: float, entered: int | None = None) -> bool:
    """Whether so likely a thing is said; of fewer findings than its row asks for it is not, where their number is given."""
    row = thresholds()[what]
    return chance >= row.least and (entered is None or entered >= row.entered)
