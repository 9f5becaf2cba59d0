"""A plan of lesions: forms, each a lesion at a place, drawn at several severities.

A site has many forms; its prior mass is fixed and shared among them, so that more rows never mean
more prior.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.anatomy.structures import Storied
from wardexam.reasoning.model.damage import Body, Structures
from wardexam.reasoning.model.severities import Severities, severities

RIGHT, LEFT = 0, 1
SIDE_NAMES = ("right", "left")
PAIRS = 12  # mirrored pairs of severities for each form and stage
STAGES = ("shock", "early", "established")

Fill = Callable[[Body, slice, Severities], None]


@dataclass(frozen=True, slots=True)
class Form:
    """One form of a lesion.

    Attributes:
        site: The site's id in ``sites.toml``.
        group: What is ranked as one place: site, and side, nerve or plexus where these matter.
        side: ``right``, ``left``, ``both`` or ``none``: the side of the lesion.
        level: Number of its segment, or None.
        name: In words, without side and level.
        weight: How often within the site.
        upper: Whether it has upper motor signs, and so stages.
        draws: Its severities at each of its stages, numbered through all forms.
        rows: Its rows: of the draws that show alike, one; before that is known, one for each.
        story: How onset, age, sex and the other columns of its row multiply it, where unlike its site's.
        alarm: Whether the tool's own alarm weighs it.
    """

    site: str
    group: str
    side: str
    level: int | None
    name: str
    weight: float
    upper: bool
    draws: slice
    rows: slice
    story: dict[str, dict[str, float]] = field(default_factory=dict)
    alarm: bool = True


@dataclass(slots=True)
class Plan:
    """Forms in the making, with what each does to the body."""

    forms: list[Form] = field(default_factory=list)
    fills: list[Fill] = field(default_factory=list)
    draws: int = 0

    def add(
        self,
        site: str,
        side: str,
        name: str,
        weight: float,
        fill: Fill,
        *,
        level: int | None = None,
        upper: bool = False,
        group: str = "",
        row: Storied | None = None,
    ) -> None:
        """Add a form; `group` defaults to the site and side, and its `row` says what its story is."""
        if weight <= 0:
            return
        count = 2 * PAIRS * (len(STAGES) if upper else 1)
        where = slice(self.draws, self.draws + count)
        self.forms.append(
            Form(
                site,
                group or f"{site}.{side}",
                side,
                level,
                name,
                weight,
                upper,
                where,
                where,
                row.story if row else {},
                row.alarm if row else True,
            )
        )
        self.fills.append(fill)
        self.draws += count

    def body(self, first: int, last: int, structures: Structures) -> Body:
        """The damage of the forms from `first` to before `last`, at every severity."""
        forms, fills = self.forms[first:last], self.fills[first:last]
        start = forms[0].draws.start
        body = Body(forms[-1].draws.stop - start, structures)
        plain, staged = severities(PAIRS), severities(PAIRS, len(STAGES))
        for form, fill in zip(forms, fills, strict=True):
            where = slice(form.draws.start - start, form.draws.stop - start)
            body.now = form.name
            fill(body, where, staged if form.upper else plain)
        return body


def index(segment: str) -> int:
    """The number of a segment, C1 being 0."""
    return SEGMENTS.index(segment)
