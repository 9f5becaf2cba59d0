"""What published cases taught of signs that are out of the usual: by how much each multiplies every site.

`learned.toml` has it under `found`, by sign and way; apart for a site on the side of the sign, for one on the other
side, and for one that has no side. The skin of a limb counts once, however many of its areas are named and in
whatever words. The tool's own alarm weighs none of it.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.errors import TableError
from wardexam.exam.answers import ScaleName, scales
from wardexam.exam.findings import Finding
from wardexam.reasoning.inference.evidence import LOST, skin_of_level
from wardexam.reasoning.inference.prior import learned, sites
from wardexam.reasoning.model.forms import SIDE_NAMES, Form
from wardexam.reasoning.model.hypotheses import Hypotheses, Key
from wardexam.reasoning.tables import weighing_row

Floats = NDArray[np.float64]
Odd = tuple[str, str]  # a sign, or the skin of a limb, and the way in which it is out of the usual
RELATIONS = ("same", "other", "none")  # of a form's side to that of the sign
SKIN = "skin_"
_KEPT = 2000  # answers with what they show, some 0.2 kB each
ODD = "odd"  # the way of all that has none of its own


Named = Callable[[Sign], str]  # what a sign is counted as


def limb_of(sign: Sign) -> str:
    """What a sign is counted as: the skin of a limb as one."""
    of_skin = sign.answers in ("sensation", "stocking", "glove") and sign.limb != "head"
    return f"{SKIN}{sign.limb}" if of_skin else sign.id


def area_of(sign: Sign) -> str:
    """The same, but the skin of a nerve by itself, and of an arm that of a segment: of legs a level says too much at once."""
    name = limb_of(sign)
    if not name.startswith(SKIN):
        return name
    if sign.territory:
        return f"{name}_{sign.nerve.replace(' ', '_')}"
    by_segment = sign.segments and sign.limb in weighing_row("neighbours")["by_segment"]
    return (
        f"{name}_{max(sign.segments, key=lambda s: (sign.segments[s], s))}" if by_segment else name
    )


@cache
def named() -> frozenset[Odd]:
    """Every sign, and the skin of every limb and of its areas, with each way in which it may be out of the usual."""
    names = {name(s) for s in catalogue().values() for name in (limb_of, area_of)} | {*catalogue()}
    ways = {ODD, *weighing_row("ways")["named"].values()}
    return frozenset((name, way) for name in names for way in ways)


def odd(finding: Finding, name: Named = limb_of) -> tuple[Odd, ...]:
    """What a finding shows that is out of the usual; nothing where it is usual or was not assessed."""
    return _odd(finding.sign, finding.answer, finding.scale, name)


@lru_cache(maxsize=_KEPT)
def _odd(sign_id: str, answer: str | None, scale: ScaleName | None, name: Named) -> tuple[Odd, ...]:
    finding = Finding.model_construct(sign=sign_id, side="midline", answer=answer, scale=scale)
    if answer in SEGMENTS:
        areas = {name(area) for area, said in skin_of_level(finding, ()) if said == LOST}
        return tuple((area, ODD) for area in sorted(areas))
    if finding.choice is None or finding.choice.usual:
        return ()
    said = scales()[scale].meanings[str(answer)] if scale else str(answer)
    return ((name(finding.row), weighing_row("ways")["named"].get(said, ODD)),)


@cache
def _counted_as(sign_id: str, name: Named) -> str:
    return name(catalogue()[sign_id])


@dataclass(frozen=True, slots=True)
class Seen:
    """A finding, what is left of its weight, 0 to 1, and what it shows that is out of the usual.

    Attributes:
        name: What its sign is counted as.
    """

    finding: Finding
    left: float
    odd: tuple[Odd, ...]
    name: str


def seen(found: Iterable[tuple[Finding, float]], name: Named = limb_of) -> list[Seen]:
    """Findings, each with what is left of its weight, as they are looked at here, or, by areas, beside cases like it."""
    return [Seen(f, left, odd(f, name), _counted_as(f.sign, name)) for f, left in found]


def shown(those: Iterable[Seen]) -> dict[tuple[Odd, str], float]:
    """What is out of the usual, by its side, with what is left of the weight of the freshest."""
    left: dict[tuple[Odd, str], float] = {}
    for each in those:
        for what in each.odd:
            key = what, each.finding.side
            left[key] = max(each.left, left.get(key, 0.0))
    return left


def usual(those: Iterable[Seen]) -> set[tuple[str, str]]:
    """The signs, or the skin of a limb, of which something was found usual and nothing out of it, with their side."""
    odds, signs = set[tuple[str, str]](), set[tuple[str, str]]()
    for each in those:
        choice, side = each.finding.choice, each.finding.side
        odds |= {(name, side) for name, _ in each.odd}
        if choice is not None and choice.usual:
            signs.add((each.name, side))
    return signs - odds


def relation(form: Form, side: str) -> int:
    """The number of the relation of a form's side to that of a sign."""
    if side not in SIDE_NAMES or form.side not in SIDE_NAMES:
        return RELATIONS.index("none")
    return RELATIONS.index("same" if form.side == side else "other")


class Taught:
    """What each sign out of the usual multiplies the forms by, worked out once.

    Raises:
        TableError: The table names a sign, a way, a relation or a site that is none, or a factor that is no factor.
    """

    def __init__(self, hypotheses: Hypotheses) -> None:
        self._forms = hypotheses.forms
        self._held: dict[tuple[Odd, str], Floats] = {}
        known = named()
        for name, ways in learned()["found"].items():
            for way, row in ways.items():
                factors = {r: row[r] for r in row if r != "source"}
                told = [
                    s in sites() and f > 0 for each in factors.values() for s, f in each.items()
                ]
                if (name, way) not in known or not (factors.keys() <= {*RELATIONS} and all(told)):
                    raise TableError(
                        "it names what is unknown, or no factor",
                        where=f"learned.toml, found, {name}, {way}",
                    )

    @cached_property
    def _nothing(self) -> Floats:
        return np.zeros(len(self._forms))

    def _of(self, what: Odd, side: str) -> Floats:
        """Log of the factor of every form, shape (forms,)."""
        if (what, side) not in self._held:
            name, way = what
            row = learned()["found"].get(name, {}).get(way, {})
            tables = [row.get(r, {}) for r in RELATIONS]
            factors = [tables[relation(form, side)].get(form.site, 1.0) for form in self._forms]
            self._held[what, side] = np.log(factors) if row else self._nothing
        return self._held[what, side]

    def each(self, those: Sequence[Seen]) -> dict[Key, Floats]:
        """What each finding adds to the log of every form, by sign and side, shape (forms,).

        Of several that show the same the freshest counts, and each has its share of it.
        """
        left = shown(those)
        count = Counter((what, each.finding.side) for each in those for what in each.odd)
        added: dict[Key, Floats] = {}
        for each in those:
            for what in each.odd:
                key, of = (what, each.finding.side), each.finding.key
                own = self._of(*key) * (left[key] / count[key])
                added[of] = added.get(of, self._nothing) + own
        return added


def whole(added: dict[Key, Floats], forms: int) -> Floats:
    """What findings add together, shape (forms,); the sides of a sign are added first, so that the mirror is exact."""
    total, pairs = np.zeros(forms), dict[str, Floats]()
    for (sign, _), each in sorted(added.items(), key=lambda a: a[0]):
        pairs[sign] = pairs[sign] + each if sign in pairs else each
    for each in pairs.values():
        total = total + each
    return total
