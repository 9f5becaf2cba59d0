"""Lesions of the cord at every segment, of the conus and of the cauda equina."""

import numpy as np

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.anatomy.lesion_tables import (
    CordPattern,
    Span,
    cauda,
    conus,
    cord_levels,
    cord_patterns,
)
from wardexam.reasoning.model.damage import Body
from wardexam.reasoning.model.forms import LEFT, RIGHT, SIDE_NAMES, Fill, Plan, index
from wardexam.reasoning.model.severities import Severities, between
from wardexam.reasoning.tables import damage_row


def _cord_fill(pattern: CordPattern, segment: int, side: int | None) -> Fill:
    n = damage_row("cord")
    own = SEGMENTS[segment]
    outside = bool(pattern.root or pattern.sided)
    central = pattern.crossing > n["central_from"]

    def fill(body: Body, where: slice, u: Severities) -> None:
        body.level[where] = np.maximum(0, segment - np.round(pattern.extent * u.uneven))
        below = n["pain_below_outside" if outside else "pain_below"]
        often = n["lowered_from"]
        lowered = np.round(pattern.lowers * np.maximum(0, u.offset - often) / (1 - often))
        body.lowered[where] = lowered
        body.offset[where] = lowered + np.round(u.offset**2 * below)
        for s in (RIGHT, LEFT):
            if side is None:
                factor = 1 - pattern.gap * (1 - u.side(s))
            else:
                factor = np.ones_like(u.severity) if s == side else (1 - pattern.spare) * u.first
            loss = u.severity * factor
            grey = pattern.grey * between(n["grey"], u.first) * loss
            for step, share in n["reach"]:
                at = segment + step
                if not 0 <= at < len(SEGMENTS):
                    continue
                body.take(where, f"grey.{SEGMENTS[at]}", s, grey * share)
                if step >= 0 or central:
                    crossing = pattern.crossing * loss * (1 - n["crossing_falls"] * abs(step))
                    body.take(where, f"crossing.{SEGMENTS[at]}", s, crossing)
                    body.take(where, f"entry.{SEGMENTS[at]}", s, n["entry"] * grey * share)
            if pattern.neuropathy:
                body.take(where, "length_reach", s, between(n["neuropathy_reach"], u.third))
                large = pattern.neuropathy * between(n["neuropathy"], u.first)
                body.take(where, "length_large", s, large)
            for step in n["central_reach"] if central else ():
                if 0 <= segment + step < len(SEGMENTS):
                    name = SEGMENTS[segment + step]
                    body.take(where, f"crossing.{name}", s, loss * u.second)
                    body.take(where, f"grey.{name}", s, n["central_grey"] * grey * u.third)
            pyramid = between(n["pyramid"], u.motor)
            body.cut(where, "pyramid_arm", s, pattern.pyramid_arm * loss * pyramid)
            body.cut(where, "pyramid_leg", s, pattern.pyramid_leg * loss * pyramid)
            column = pattern.column * loss * between(n["column"], u.sensory)
            body.cut(where, "column_arm", s, column * between(n["column_arm"], u.second))
            body.cut(where, "column_leg", s, column)
            crossed = pattern.spinothalamic * loss * between(n["spinothalamic"], u.third)
            body.cut(where, "spinothalamic", s, crossed)
            body.cut(
                where, "autonomic", s, pattern.autonomic * loss * between(n["autonomic"], u.second)
            )
            if pattern.root:
                for kind in ("ventral", "dorsal"):
                    body.take(where, f"{kind}.{own}", s, n["root"] * pattern.root * loss * u.third)
            if segment <= index(n["cervical_to"]):
                shock = between(n["cervical"], pattern.column * loss)
                body.take(where, "cervical_cord", s, shock)
                leaves = segment >= index(n["sympathetic_from"])
                share = pattern.grey if leaves else n["sympathetic_above"]
                body.take(where, "cord_sympathetic", s, n["sympathetic"] * loss * share)

    return fill


def commonness(pattern: CordPattern, segment: str) -> float:
    """How often a pattern is at a segment, as a share of its weight; 0 where it is made none of."""
    arms = index(segment) <= index(damage_row("cord")["central_arms_to"])
    return 1.0 if arms else pattern.below_arms


def cord(plan: Plan) -> None:
    """Every pattern at every segment, on either side where it has one."""
    for segment, row in cord_levels().items():
        at = index(segment)
        for pattern_id, pattern in cord_patterns().items():
            rare = commonness(pattern, segment)
            for side in (RIGHT, LEFT) if pattern.sided else (None,):
                plan.add(
                    "cord",
                    "both" if side is None else SIDE_NAMES[side],
                    f"cord, {pattern.name or pattern_id}",
                    pattern.weight * row.weight * rare * (0.5 if pattern.sided else 1),
                    _cord_fill(pattern, at, side),
                    level=at,
                    upper=True,
                    group="cord",
                    row=pattern,
                )


def _conus_fill(span: Span, side: int | None) -> Fill:
    n = damage_row("conus")
    first, last = index(span.first), index(span.last)

    def fill(body: Body, where: slice, u: Severities) -> None:
        body.level[where] = first
        for s in (RIGHT, LEFT):
            own = 1 - n["uneven"] * (1 - u.side(s)) if side is None else 1.0
            loss = u.severity * (own if side in (None, s) else n["other_side"] * u.third)
            for number, at in enumerate(range(first, last + 1)):
                name = SEGMENTS[at]
                grey = loss * between(n["grey"], u.motor)
                body.take(where, f"grey.{name}", s, grey * u.jitter(number))
                body.take(where, f"crossing.{name}", s, loss * u.sensory)
                entry = n["entry"] * loss * u.sensory * u.jitter(number + n["entry_shift"])
                body.take(where, f"entry.{name}", s, entry)
            body.cut(where, "pyramid_leg", s, loss * u.first)
            body.cut(where, "autonomic", s, loss)
            body.cut(where, "column_leg", s, n["column"] * loss * u.second)
            body.cut(where, "spinothalamic", s, loss * u.third)

    return fill


def conus_medullaris(plan: Plan) -> None:
    """Grey matter of the lowest levels, and the tracts to those below, on both sides or mostly on one."""
    one_side = damage_row("conus")["one_side"]
    for span in conus().values():
        for side, name, share in (
            (None, "conus medullaris", 1.0),
            (RIGHT, "conus medullaris, one side", one_side),
            (LEFT, "conus medullaris, one side", one_side),
        ):
            plan.add(
                "conus",
                "both" if side is None else SIDE_NAMES[side],
                name,
                share * span.weight,
                _conus_fill(span, side),
                level=index(span.first),
                upper=True,
                group="conus",
            )


def _cauda_fill(start: int, stop: int, side: int | None) -> Fill:
    n = damage_row("cauda")

    def fill(body: Body, where: slice, u: Severities) -> None:
        for s in (RIGHT, LEFT):
            factor = (
                u.side(s) if side is None else (1.0 if s == side else n["other_side"] * u.third)
            )
            for number, at in enumerate(range(start, stop + 1)):
                loss = u.severity * factor * u.jitter(number)
                motor = loss * between(n["ventral"], u.motor)
                body.take(where, f"ventral.{SEGMENTS[at]}", s, motor)
                body.take(
                    where, f"dorsal.{SEGMENTS[at]}", s, loss * between(n["dorsal"], u.sensory)
                )
            body.take(where, "stretch_low", s, n["stretch"] * u.first * factor)

    return fill


def cauda_equina(plan: Plan) -> None:
    """Roots from one downwards on both sides, or mostly on one where they are all: few of one side are a root's own forms."""
    for span in cauda().values():
        first, last = index(span.first), index(span.last)
        plan.add(
            "cauda",
            "both",
            "cauda equina",
            span.weight,
            _cauda_fill(first, last, None),
            level=first,
            group="cauda",
        )
        for side in (RIGHT, LEFT) if span.last == SEGMENTS[-1] else ():
            plan.add(
                "cauda",
                SIDE_NAMES[side],
                "cauda equina, one side",
                damage_row("cauda")["one_side"] * span.weight,
                _cauda_fill(first, last - 1, side),
                level=first,
                group="cauda",
            )
