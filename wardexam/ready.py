"""The reasoning engine, ready for use: its rows made from the tables once, then kept between starts."""

from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wardexam.reasoning.engine import Engine


@cache
def engine() -> "Engine":
    """The engine, one for a process.

    The rows are kept under a name that stands for every table and module they depend on, with a
    checksum: a copy that is old, cut short or changed is made anew.
    """
    from wardexam.reasoning.engine import Engine
    from wardexam.reasoning.model.hypotheses import fingerprint, make, packed, unpacked
    from wardexam.records import cache as store

    name = f"rows-{fingerprint()}"
    held = store.kept(name)
    rows = unpacked(held) if held else None
    if rows is None:
        rows = make()
        store.keep(name, packed(rows))
    return Engine(rows)
