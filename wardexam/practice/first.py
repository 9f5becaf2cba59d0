"""What is done first: what fits the place that it truly was, and what the rules, which know no place, would do."""

from collections.abc import Iterable
from dataclasses import dataclass

from wardexam.practice.case import Truth
from wardexam.practice.tables import Place, actions, first_rows
from wardexam.reasoning.rules.reason import Reason, Urgency


@dataclass(frozen=True, slots=True)
class First:
    """What may be done first.

    Attributes:
        fit: What is right: it fits the place, or begins the gravest reason that the place can explain. Empty where
            nothing sound can be said.
        ruled: What else the rules would do for the gravest reasons found; neither right nor wrong.
    """

    fit: tuple[str, ...]
    ruled: tuple[str, ...]


def first(truth: Truth, urgency: Urgency) -> First:
    """What may be done first for a patient.

    Args:
        truth: What the patient has; of several places that count as right each has its say.
        urgency: By the rules, on what the patient has.
    """
    own = [_row(place, truth.level) for place in truth.places]
    told = [r for r in urgency.reasons if any(_explains(row, r) for row in own)]
    gravest = max((r.urgency for r in told), default=0)
    of_rules = [r for r in urgency.reasons if r.urgency == urgency.level]
    fit = {action for row in own for action in row.fits}
    fit |= _images([r for r in told if r.urgency == gravest]) | _steps(of_rules)
    possible = [name for name, row in actions().items() if urgency.level <= row.most]
    ruled = (_images(of_rules) if of_rules else _plans()) - fit
    return First(
        tuple(name for name in possible if name in fit),
        tuple(name for name in possible if name in ruled),
    )


def calms(action: str) -> bool:
    """Whether an action is to do nothing at once."""
    return action in _plans()


def _row(place: str, level: str) -> Place:
    """The row of a place: with its segment, else of the place, else of its site."""
    found = first_rows()
    names = (f"{place}.{level[:1]}", place, place.partition(".")[0])
    return next(found[name] for name in names if name in found)


def _explains(row: Place, reason: Reason) -> bool:
    """Whether a place can be why a reason was found."""
    return reason.region in row.regions or reason.rule in row.rules


def _images(reasons: Iterable[Reason]) -> set[str]:
    """The actions that image what the rules image for some reasons."""
    regions = {r.region or "none" for r in reasons}
    return {name for name, row in actions().items() if not regions.isdisjoint(row.regions)}


def _steps(reasons: Iterable[Reason]) -> set[str]:
    """The actions that are a first step of some reasons."""
    steps = [r.first for r in reasons]
    return {
        n for n, row in actions().items() if any(s in step for s in row.steps for step in steps)
    }


def _plans() -> set[str]:
    """The actions that are nothing at once."""
    return {name for name, row in actions().items() if "none" in row.regions}
