"""The worked cases of `cases.toml`, their expected results spelled out, and sheets as plain dicts."""

import re
import tomllib
from pathlib import Path

from wardexam.injury.sheet import InjurySheet
from wardexam.injury.typed import read_typed

CASES = tomllib.loads((Path(__file__).parent / "cases.toml").read_text(encoding="utf-8"))
PUBLISHED = {name for name, case in CASES.items() if "source" in case}
# Its key answers B, its own explanation at least C; the rules give C.
CONTRADICTS_ITS_KEY = "P8"
OF_A_SIDE = ("sensory_level", "motor_level", "sensory_zone", "motor_zone")
OF_BOTH = ("neurological_level", "completeness", "impairment")
SUMS = ("arm_motor", "leg_motor", "light_touch", "pinprick")
_WORDS = {"com": "complete", "inc": "incomplete"}


def _values(text: str) -> tuple[set[str], bool]:
    """The values that a word of a case stands for, and whether it is starred."""
    starred = text.endswith("*")
    bare = text.rstrip("*")
    within = re.fullmatch(r"ND\((.*)\)", bare)
    values = within[1].split("/") if within else [bare]
    return {_WORDS.get(v, v) for v in values}, starred


def expected(name: str) -> dict[str, tuple[set[str], bool]]:
    """Values and star of every result of a case by its id."""
    case, found = CASES[name], {}
    for kind in OF_A_SIDE:
        parts = re.split(r"/(?![^(]*\))", case[kind])
        for side, part in zip(("right", "left"), parts * (3 - len(parts)), strict=False):
            found[f"{kind}_{side}"] = _values(part)
    return found | {kind: _values(case[kind]) for kind in OF_BOTH}


def expected_sums(name: str) -> dict[str, int | None]:
    """Every sub-score of a case; None where it is not determinable. Halves only where they are known."""
    case, found = CASES[name], {}
    for kind in SUMS:
        halves, _, total = case[kind].rpartition("=")
        found[kind] = None if total == "ND" else int(total)
        if halves:
            parts = [None if p == "ND" else int(p) for p in halves.split("+")]
        elif total == "ND":
            continue
        else:
            parts = [int(total) // 2] * 2
        found |= {f"{kind}_{s}": p for s, p in zip(("right", "left"), parts, strict=True)}
    return found


def sheet_of(name: str) -> InjurySheet:
    """The sheet of a case."""
    return read_typed(CASES[name]["sheet"])


def plain(sheet: InjurySheet) -> dict:
    """A sheet as the dict that `enumerated` takes."""
    document = sheet.model_dump(mode="json")
    movement = document["movements"]
    rated = {(r["side"], r["test"], r["segment"]): r["counts"] for r in document["rated"]}
    return document | {"movement": movement, "rated": rated}
