"""From a posterior to the sites a doctor thinks in: region, side and level, most probable first."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import accumulate
from math import fsum, sqrt
from typing import cast

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.exam.examination import Onset
from wardexam.exam.text import counted
from wardexam.reasoning.inference.claims import Known, claimed, limit, plain_name
from wardexam.reasoning.inference.greatest import first_likely, largest, leading
from wardexam.reasoning.inference.posterior import Posterior
from wardexam.reasoning.inference.prior import is_urgent, sites
from wardexam.reasoning.model.hypotheses import SIDES, Hypotheses
from wardexam.reasoning.reading import AlikeCases, Site, SiteSide, Word
from wardexam.reasoning.tables import weighing_row
from wardexam.reasoning.ties import EQUAL, even_chance, ordered

_RIGHT, _LEFT = SIDES.index("right"), SIDES.index("left")
_BELOW = 1 - sqrt(EQUAL)  # of the last that is shown: what equals it by steps of `EQUAL` lies above
_NOTHING = Known(())
_LEAST = 1e-300  # no mass is less, so that it has a logarithm


def word(probability: float, *, urgent: bool = False) -> Word:
    """A probability as a word; an urgent place is never unlikely, only less supported."""
    probability = even_chance(probability)
    said = next(said for said, least in _words() if probability >= least)
    return cast(Word, weighing_row("urgent_words").get(said, said) if urgent else said)


@cache
def _words() -> tuple[tuple[str, float], ...]:
    """The words, and the probability from which each is said."""
    return tuple((w, least) for w, least in weighing_row("words").items() if w != "source")


@cache
def spoken(group: str) -> str:
    """A group's id in words, without its level: ``"nerve.radial.left"`` is the left radial nerve."""
    site, *more = group.split(".")
    side = more.pop() if more and more[-1] in ("right", "left", "both", "none") else ""
    own = plain_name(".".join((site, *more))) if site == "nerve" else ""
    words = [
        side if side in ("right", "left") else "",
        own or " ".join((*more, sites()[site]["name"])),
    ]
    return " ".join(w for w in words if w).replace("_", " ")


def either(name: str, groups: list[str]) -> str:
    """The name of the first of equally likely groups; where right and left are as likely, neither is named."""
    site, _, side = groups[0].rpartition(".")
    twins = side == "left" and f"{site}.right" in groups
    return f"either {name.removeprefix('left ')}" if twins else name


def shortest(mass: Sequence[float], held: float) -> tuple[int, int]:
    """First and last index of the shortest run that holds so much of the mass; all of it where there is not so much."""
    total = list(accumulate(mass, initial=0.0))
    after = [bisect_left(total, before + (held - EQUAL)) for before in total]
    lengths = [end - start for start, end in enumerate(after) if end < len(total)]
    if not lengths:
        return 0, len(mass) - 1
    least = min(lengths)
    at = leading([end - start for start, end in zip(total, total[least:], strict=False)])
    return at, at + least - 1


def _shown(posterior: Posterior, least: float) -> tuple[list[int], list[int]]:
    """The groups that are ranked, most probable first, and those left together."""
    made, mass, n = posterior.hypotheses, posterior.groups, weighing_row("sites")
    log = np.log(np.maximum(mass, _LEAST)).tolist()
    chance = mass.tolist()
    last = 0.0
    low = min(least, float(mass[largest(mass, n["shown"])].min())) * _BELOW
    may = np.flatnonzero(mass >= low)
    never = np.flatnonzero(mass < low).tolist()
    every = ordered(may.tolist(), log.__getitem__, made.groups.__getitem__)
    for at, number in enumerate(every):
        apart = last - log[number] > EQUAL or not chance[number]
        if chance[number] < least and at >= n["shown"] and apart:
            return every[:at], every[at:] + never
        last = log[number]
    return every, never


def dangerous(posterior: Posterior, onset: Onset = "unknown") -> tuple[Site, ...]:
    """The urgent ones among the sites that `ranked` gives, in its order."""
    made = posterior.hypotheses
    known = Known.of(posterior.terms, onset)
    return tuple(
        place(made, number, posterior.forms, known)
        for number in _shown(posterior, weighing_row("sites")["least_alarm"])[0]
        if is_urgent(made.groups[number])
    )


def ranked(posterior: Posterior, onset: Onset = "unknown") -> tuple[Site, ...]:
    """The sites, most probable first; the probabilities add up to 1. A name claims no onset that is not told."""
    made, mass, n = posterior.hypotheses, posterior.groups, weighing_row("sites")
    shown, left = _shown(posterior, n["least"])
    known = Known.of(posterior.terms, onset)
    found = [_counted(place(made, n, posterior.forms, known), posterior) for n in shown]
    rest = float(mass[left].sum())
    if rest > n["other"]:
        found.append(Site(
            "other", "other", "other sites together", "none", None, None, even_chance(rest),
            word(rest, urgent=True),
        ))  # fmt: skip
    return tuple(found)


def alike_cases(posterior: Posterior) -> tuple[AlikeCases, ...]:
    """What published cases that are like it were, the greatest share first; nothing where they have little share in what is told."""
    n, alike = weighing_row("neighbours"), posterior.alike
    if alike is None or alike.share < n["told"]:
        return ()
    shares = zip(posterior.hypotheses.groups, alike.places.tolist(), strict=True)
    found = [
        AlikeCases(spoken(g), even_chance(share)) for g, share in shares if share >= n["least"]
    ]
    return tuple(ordered(found, lambda a: a.share, lambda a: a.name)[: n["shown"]])


def _counted(site: Site, posterior: Posterior) -> Site:
    """The same; what is called normal says of how many signs, and apart from them of how many parts that was only stated."""
    if site.region != "none":
        return site
    signs = sum(t.kind in ("finding", "before") for t in posterior.terms)
    parts = len({t.key[0] for t in posterior.terms if t.kind == "stated"})
    told = [counted(signs, "sign")] if signs else []
    told += [f"{counted(parts, 'part')} stated"] if parts else []
    words = ", ".join(told) or "nothing examined"
    return replace(site, name=f"{site.name}: {words}")


def place(
    made: Hypotheses, group: int, forms: NDArray[np.float64], known: Known = _NOTHING
) -> Site:
    """One group as a site, from the probability of every form, its name claiming only what is known."""
    members = made.forms_of[group]
    held = forms.take(members)
    chances = held.tolist()
    mass = fsum(chances)
    at = first_likely(chances)
    best = made.forms[members[at]]
    side = _side(np.bincount(made.sides_of[group], held, len(SIDES)).tolist())
    level, levels = (
        _levels(made, members, forms) if best.level is not None and mass > 0 else (None, None)
    )
    row = sites()[best.site]
    share = 1.0
    if made.named_apart[group] and mass > 0:
        names = made.names_of[group]
        share = float(held[names == names[at]].sum()) / mass
    name = claimed(best.name, best.group, share, known)
    said = _name(best.site, name, side, _level(best.site, level, levels, known))
    return Site(
        best.group, best.site, said, side, levels, level, even_chance(mass),
        word(mass, urgent=bool(row["urgent"])),
        bool(row["urgent"]),
    )  # fmt: skip


def _side(by_side: list[float]) -> SiteSide:
    """The likeliest side; where right and left are as likely, neither is named."""
    side = SIDES[first_likely(by_side)]
    right, left = by_side[_RIGHT], by_side[_LEFT]
    return "both" if side in ("right", "left") and abs(right - left) <= EQUAL * right else side


def _levels(
    made: Hypotheses, members: NDArray[np.intp], forms: NDArray[np.float64]
) -> tuple[str, tuple[str, str]]:
    """The likeliest segment and the shortest range that holds 90 %."""
    n = weighing_row("sites")
    at = made.level_of_form[members]
    here = at >= 0
    held = np.bincount(at[here], forms[members[here]], len(SEGMENTS)).astype(float)
    held = np.convolve(held / held.sum(), n["blur"], "same")
    low, high = shortest((held / held.sum()).tolist(), n["levels_hold"])
    return SEGMENTS[leading(held.tolist())], (SEGMENTS[low], SEGMENTS[high])


def _level(site: str, level: str | None, levels: tuple[str, str] | None, known: Known) -> str:
    """The level in words: as found, or about where it is inferred and the range is narrow; else empty."""
    if level is None or levels is None:
        return ""
    first, last = map(SEGMENTS.index, levels)
    if site == "root":
        return f"{level} " if last - first < limit("root") else ""
    if known.level and first <= SEGMENTS.index(known.level) <= last:
        return f", level {known.level}"
    return f", about {level}" if last - first < limit("level") else ""


def _name(site: str, name: str, side: str, level: str) -> str:
    n = weighing_row("sites")
    if site in n["side_first"]:
        where = "" if side in ("both", "none") else f"{side} "
        return f"{where}{level if name == 'root' else ''}{name}"
    if site in n["side_last"]:
        if side in ("right", "left"):
            for words in n["side_words"]:
                name = name.replace(words, "")
            name = f"{name}, {side}"
        if site == "cord":
            name = f"{name}{level}"
    return name
