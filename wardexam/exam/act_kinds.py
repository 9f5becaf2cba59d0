"""What may be done about a reason of urgency, read from the table `acts.toml`: its kinds, and what each is called where."""

from dataclasses import dataclass, replace
from functools import cache
from typing import ClassVar, Literal, get_args

ActKind = Literal["called", "asked", "done", "not_needed", "lowered"]
ACT_KINDS: tuple[ActKind, ...] = get_args(ActKind)


@dataclass(frozen=True, slots=True)
class KindRow:
    """One kind: the columns that the head of the table explains."""

    __pydantic_config__: ClassVar = {"extra": "forbid"}
    words: str
    told: str
    question: str
    asks: str
    mark: str
    short: str = ""
    label: str = ""
    choice: str = ""
    ends: bool = False


@cache
def act_kinds() -> dict[ActKind, KindRow]:
    """The kinds in the order of the digits that choose them.

    Raises:
        TableError: A row is malformed, or the rows are not those kinds.
    """
    from wardexam.tables import (  # a help text needs the names alone
        all_there,
        checked_row,
        read_table,
    )

    table = read_table("acts.toml", "wardexam.exam")
    all_there(table, ACT_KINDS, "acts.toml")

    def row(kind: ActKind) -> KindRow:
        made = checked_row(KindRow, table[kind], f"acts.toml, row {kind}")
        short, label, choice = (
            made.short or made.words,
            made.label or made.words,
            made.choice or made.told,
        )
        return replace(made, short=short, label=label, choice=choice)

    return {kind: row(kind) for kind in ACT_KINDS}
