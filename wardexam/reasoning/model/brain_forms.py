"""Lesions of the hemispheres, brainstem and cerebellum."""

from wardexam.anatomy.structures import BrainLesion, brain_lesions, other_lesions
from wardexam.reasoning.model.damage import Body
from wardexam.reasoning.model.forms import LEFT, RIGHT, SIDE_NAMES, Fill, Plan
from wardexam.reasoning.model.severities import Severities


def _fill(row: BrainLesion, own: int) -> Fill:
    def fill(body: Body, where: slice, u: Severities) -> None:
        for taken, at in ((row.takes, own), (row.other, 1 - own)):
            for number, (structure, share) in enumerate(taken.items()):
                factor = 1.0 if row.paired else u.side(at)
                body.take(where, structure, at, share * u.severity * u.jitter(number) * factor)
        for number, (structure, share) in enumerate(row.both.items()):
            for at in (RIGHT, LEFT):
                body.take(where, structure, at, share * u.severity * u.jitter(number))

    return fill


def brain(plan: Plan) -> None:
    """Every row of the table of brain lesions, on either side."""
    _every(plan, brain_lesions())


def other(plan: Plan) -> None:
    """Every row of the table of other lesions, on either side."""
    _every(plan, other_lesions())


def _every(plan: Plan, table: dict[str, BrainLesion]) -> None:
    for row in table.values():
        # A lesion without a side of its own comes both ways round, so that the mirror holds.
        for own in (RIGHT, LEFT):
            side = SIDE_NAMES[own] if row.paired else "both"
            weight = row.weight * (1.0 if row.paired else 0.5)
            plan.add(
                row.site,
                side,
                row.name,
                weight,
                _fill(row, own),
                upper=row.upper,
                group=row.group.replace("SIDE", side),
                row=row,
            )
