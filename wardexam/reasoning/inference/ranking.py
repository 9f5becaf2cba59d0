"""From a posterior to the sites a doctor thinks in: region, side and level, most probable first."""

from dataclasses import replace
from functools import cache
from math import fsum, sqrt
from typing import cast

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.exam.text import counted
from wardexam.reasoning.inference.greatest import first_likely, largest, leading
from wardexam.reasoning.inference.posterior import Posterior
from wardexam.reasoning.inference.prior import sites
from wardexam.reasoning.model.forms import Form
from wardexam.reasoning.model.hypotheses import SIDES, Hypotheses
from wardexam.reasoning.reading import Site, SiteSide, Word
from wardexam.reasoning.tables import weighing_row
from wardexam.reasoning.ties import EQUAL, even_chance, ordered

_RIGHT, _LEFT = SIDES.index("right"), SIDES.index("left")
_BELOW = 1 - sqrt(EQUAL)  # of the last that is shown: what equals it by steps of `EQUAL` lies above
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


def spoken(group: str) -> str:
    """A group's id in words, without its level: ``"nerve.radial.left"`` is the left radial nerve."""
    site, *more = group.split(".")
    side = more.pop() if more and more[-1] in ("right", "left", "both", "none") else ""
    words = [side if side in ("right", "left") else "", *more, sites()[site]["name"]]
    return " ".join(w for w in words if w).replace("_", " ")


def either(name: str, groups: list[str]) -> str:
    """The name of the first of equally likely groups; where right and left are as likely, neither is named."""
    site, _, side = groups[0].rpartition(".")
    twins = side == "left" and f"{site}.right" in groups
    return f"either {name.removeprefix('left ')}" if twins else name


def shortest(mass: NDArray[np.float64], held: float) -> tuple[int, int]:
    """First and last index of the shortest run that holds so much of the mass."""
    total = np.concatenate([[0.0], np.cumsum(mass)])
    first, after = np.nonzero(total[None, :] - total[:, None] >= held - EQUAL)
    if not len(first):
        return 0, len(mass) - 1
    length = int((after - first).min())
    at = leading(total[length:] - total[:-length])
    return at, at + length - 1


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


def dangerous(posterior: Posterior) -> tuple[Site, ...]:
    """The urgent ones among the sites that `ranked` gives, in its order."""
    made = posterior.hypotheses
    return tuple(
        place(made, number, posterior.forms)
        for number in _shown(posterior, weighing_row("sites")["least_alarm"])[0]
        if sites()[made.forms[made.forms_of[number][0]].site]["urgent"]
    )


def ranked(posterior: Posterior) -> tuple[Site, ...]:
    """The sites, most probable first; the probabilities add up to 1."""
    made, mass, n = posterior.hypotheses, posterior.groups, weighing_row("sites")
    shown, left = _shown(posterior, n["least"])
    found = [_claimed(place(made, number, posterior.forms), posterior) for number in shown]
    rest = float(mass[left].sum())
    if rest > n["other"]:
        found.append(Site(
            "other", "other", "other sites together", "none", None, None, even_chance(rest),
            word(rest, urgent=True),
        ))  # fmt: skip
    return tuple(found)


def _claimed(site: Site, posterior: Posterior) -> Site:
    """The same, its name claiming only what was found; what is called normal says of how many signs."""
    terms = posterior.terms
    if site.region == "none":
        said = [t for t in terms if t.kind in ("finding", "stated")]
        count = sum(len(t.pieces) for t in said)
        words = counted(count, "sign") if count else "nothing examined"
        return replace(site, name=f"{site.name}: {words}")
    for row in weighing_row("claims").values():
        if site.name.startswith(row["name"]) and not any(
            t.kind == "finding" and catalogue()[t.key[0]].limb == row["limb"] for t in terms
        ):
            return replace(site, name=row["else"] + site.name.removeprefix(row["name"]))
    return site


def place(made: Hypotheses, group: int, forms: NDArray[np.float64]) -> Site:
    """One group as a site, from the probability of every form."""
    members = made.forms_of[group]
    chances = forms.take(members).tolist()
    mass = fsum(chances)
    best = made.forms[members[first_likely(chances)]]
    by_side = [0.0] * len(SIDES)
    for number, chance in zip(made.sides_of[group], chances, strict=True):
        by_side[number] += chance
    side = _side(by_side)
    level, levels = (
        _levels(made, members, forms) if best.level is not None and mass > 0 else (None, None)
    )
    row = sites()[best.site]
    return Site(
        best.group, best.site, _name(best, side, level), side, levels, level, even_chance(mass),
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
    low, high = shortest(held / held.sum(), n["levels_hold"])
    return SEGMENTS[leading(held)], (SEGMENTS[low], SEGMENTS[high])


def _name(best: Form, side: str, level: str | None) -> str:
    n = weighing_row("sites")
    if best.site in n["side_first"]:
        where = "" if side in ("both", "none") else f"{side} "
        return f"{where}{level} {best.name}" if best.name == "root" else f"{where}{best.name}"
    name = best.name
    if best.site in n["side_last"]:
        if side in ("right", "left"):
            for words in n["side_words"]:
                name = name.replace(words, "")
            name = f"{name}, {side}"
        if best.site == "cord":
            name = f"{name}, about {level}"
    return name
