"""The sub-scores (rules 25 and 26): what was examined, added; marks are ignored."""

from dataclasses import dataclass

from wardexam.injury.segments import NAMES, limb
from wardexam.injury.sheet import SENSES, SIDES, InjurySheet, Side, Test, normal, places
from wardexam.injury.tables import Why, worded


@dataclass(frozen=True, slots=True)
class Sum:
    """A sub-score.

    Attributes:
        id: Such as ``arm_motor_right``, or ``arm_motor`` of both sides.
        least: With every unknown score at its lowest.
        most: With every unknown score normal.
        full: With every score normal.
        missing: The segments that leave it unknown, with their side.
    """

    id: str
    least: int
    most: int
    full: int
    missing: tuple[str, ...] = ()

    @property
    def determined(self) -> bool:
        """Whether every score of it was found."""
        return not self.missing

    @property
    def why(self) -> Why:
        """What it adds, or what leaves it unknown."""
        if self.determined:
            return worded("sum")
        return worded("sum_unknown", cells=", ".join(self.missing))

    @property
    def text(self) -> str:
        """The sum, or ``ND`` where it is not determinable."""
        return "ND" if self.missing else str(self.least)


def _side(sheet: InjurySheet, id_: str, test: Test, side: Side, at: tuple[str, ...]) -> Sum:
    found = {name: sheet.score(test, side, name) for name in at}
    digits = [s.digit for s in found.values() if s is not None and s.digit is not None]
    missing = tuple(f"{side} {name}" for name, s in found.items() if s is None or s.digit is None)
    unknown = len(missing) * normal(test)
    full = len(at) * normal(test)
    return Sum(f"{id_}_{side}", sum(digits), sum(digits) + unknown, full, missing)


def sums(sheet: InjurySheet) -> dict[str, Sum]:
    """Every sub-score by id: arms and legs, light touch and pinprick, each side and both."""
    found: dict[str, Sum] = {}
    parts: list[tuple[str, Test, tuple[str, ...]]] = [
        (f"{part}_motor", "motor", tuple(NAMES[k] for k in limb(part))) for part in ("arm", "leg")
    ]
    parts += [(test, test, places(test)) for test in SENSES]
    for id_, test, at in parts:
        sides = [_side(sheet, id_, test, side, at) for side in SIDES]
        for each in sides:
            found[each.id] = each
        found[id_] = Sum(
            id_,
            sum(s.least for s in sides),
            sum(s.most for s in sides),
            sum(s.full for s in sides),
            tuple(m for s in sides for m in s.missing),
        )
    return found
