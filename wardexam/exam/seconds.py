"""What testing a sign takes at the bedside, from `seconds.toml`."""

from functools import cache
from typing import Annotated

from pydantic import Field

from wardexam.anatomy.catalogue import catalogue
from wardexam.tables import TableRow, all_known, all_there, checked_rows, read_table


class Cost(TableRow):
    """What something takes."""

    seconds: Annotated[int, Field(gt=0)]


@cache
def _costs() -> tuple[dict[str, Cost], dict[str, Cost]]:
    """What testing takes by kind of sign and by sign.

    Raises:
        TableError: A row is malformed or has no source, a kind of answer has none, or one speaks of no sign.
    """
    name = "seconds.toml"
    table = read_table(name, "wardexam.exam")
    all_there(table, ("kinds", "signs"), name)
    kinds, signs = (
        checked_rows(Cost, rows, f"{name}, {section}") for section, rows in table.items()
    )
    all_there(kinds, dict.fromkeys(s.answers for s in catalogue().values()), f"{name}, kinds")
    all_known(signs, catalogue(), f"{name}, signs")
    return kinds, signs


def seconds(sign: str) -> int:
    """What testing a sign takes on one side, in seconds."""
    kinds, own = _costs()
    return (own.get(sign) or kinds[catalogue()[sign].answers]).seconds
