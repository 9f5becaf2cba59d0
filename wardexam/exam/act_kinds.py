"""What may be done about a reason of urgency, read from the table `acts.toml`: its kinds, and what each is called where."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal, get_args

ActKind = Literal["called", "asked", "done", "not_needed", "lowered"]
ACT_KINDS: tuple[ActKind, ...] = get_args(ActKind)


@dataclass(frozen=True, slots=True)
class KindRow:
    """One kind: the columns that the head of the table explains."""

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
    """The kinds in the order of the digits that choose them."""
    table = tomllib.loads((files("wardexam.exam") / "acts.toml").read_text(encoding="utf-8"))

    def row(kind: ActKind) -> KindRow:
        given = table[kind]
        same = {"short": given["words"], "label": given["words"], "choice": given["told"]}
        return KindRow(**same | given)

    return {kind: row(kind) for kind in ACT_KINDS}
