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
from wardexam.reasoning.model.severities import Severities


def _cord_fill(pattern: CordPattern, segment: int, side: int | None) -> Fill:
    def fill(body: Body, where: slice, u: Severities) -> None:
        body.level[where] = np.maximum(0, segment - np.round(pattern.extent * u.uneven))
        # Pain fibres cross over one or two segments; compression from outside lowers the level further.
        body.offset[where] = np.round(u.offset**2 * (4 if pattern.root or pattern.sided else 2))
        for s in (RIGHT, LEFT):
            if side is None:
                factor = 1 - pattern.gap * (1 - u.side(s))
            else:
                factor = np.ones_like(u.severity) if s == side else (1 - pattern.spare) * u.first
            loss = u.severity * factor
            grey = pattern.grey * (0.3 + 0.7 * u.first) * loss
            for step, share in ((0, 1.0), (-1, 0.35), (1, 0.5)):
                at = segment + step
                if not 0 <= at < len(SEGMENTS):
                    continue
                body.take(where, f"grey.{SEGMENTS[at]}", s, grey * share)
                if step >= 0 or pattern.crossing > 0.8:
                    crossing = pattern.crossing * loss * (1 - 0.3 * abs(step))
                    body.take(where, f"crossing.{SEGMENTS[at]}", s, crossing)
                    body.take(where, f"entry.{SEGMENTS[at]}", s, 0.7 * grey * share)
            if pattern.neuropathy:
                body.take(where, "length_reach", s, 0.45 + 0.4 * u.third)
                body.take(where, "length_large", s, pattern.neuropathy * (0.5 + 0.5 * u.first))
            if pattern.crossing > 0.8:  # a central lesion runs over several segments
                for step in (-2, 2, 3):
                    if 0 <= segment + step < len(SEGMENTS):
                        body.take(where, f"crossing.{SEGMENTS[segment + step]}", s, loss * u.second)
                        body.take(
                            where, f"grey.{SEGMENTS[segment + step]}", s, 0.5 * grey * u.third
                        )
            body.cut(where, "pyramid_arm", s, pattern.pyramid_arm * loss * (0.55 + 0.45 * u.motor))
            body.cut(where, "pyramid_leg", s, pattern.pyramid_leg * loss * (0.55 + 0.45 * u.motor))
            body.cut(
                where, "column_arm", s, pattern.column * loss * u.sensory * (0.5 + 0.5 * u.second)
            )
            body.cut(where, "column_leg", s, pattern.column * loss * u.sensory)
            body.cut(
                where, "spinothalamic", s, pattern.spinothalamic * loss * (0.4 + 0.6 * u.third)
            )
            body.cut(where, "autonomic", s, pattern.autonomic * loss * u.second)
            if pattern.root:
                body.take(
                    where, f"ventral.{SEGMENTS[segment]}", s, 0.7 * pattern.root * loss * u.third
                )
                body.take(
                    where, f"dorsal.{SEGMENTS[segment]}", s, 0.7 * pattern.root * loss * u.third
                )
            if segment <= index("T1"):
                body.take(where, "cervical_cord", s, 0.3 + 0.7 * pattern.column * loss)
                body.take(
                    where,
                    "cord_sympathetic",
                    s,
                    0.35 * loss * (pattern.grey if segment >= index("C8") else 0.4),
                )

    return fill


def cord(plan: Plan) -> None:
    """Every pattern at every segment, on either side where it has one."""
    for segment, row in cord_levels().items():
        at = index(segment)
        for pattern_id, pattern in cord_patterns().items():
            # Below the arms a central lesion is seldom told from others (judgement).
            rare = 0.3 if pattern_id == "central" and at > index("T4") else 1.0
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
                )


def _conus_fill(span: Span) -> Fill:
    first, last = index(span.first), index(span.last)

    def fill(body: Body, where: slice, u: Severities) -> None:
        body.level[where] = first
        for s in (RIGHT, LEFT):
            loss = u.severity * (1 - 0.25 * (1 - u.side(s)))
            for number, at in enumerate(range(first, last + 1)):
                name = SEGMENTS[at]
                body.take(where, f"grey.{name}", s, loss * u.motor * u.jitter(number))
                body.take(where, f"crossing.{name}", s, loss * u.sensory)
                body.take(where, f"entry.{name}", s, 0.8 * loss * u.sensory * u.jitter(number + 3))
            body.cut(where, "pyramid_leg", s, loss * u.first)
            body.cut(where, "autonomic", s, loss)
            body.cut(where, "column_leg", s, 0.8 * loss * u.second)
            body.cut(where, "spinothalamic", s, loss * u.third)

    return fill


def conus_medullaris(plan: Plan) -> None:
    """Grey matter of the lowest levels, and the tracts to those below."""
    for span in conus().values():
        plan.add(
            "conus",
            "both",
            "conus medullaris",
            span.weight,
            _conus_fill(span),
            level=index(span.first),
            upper=True,
            group="conus",
        )


def _cauda_fill(start: int, stop: int, side: int | None) -> Fill:
    def fill(body: Body, where: slice, u: Severities) -> None:
        for s in (RIGHT, LEFT):
            factor = u.side(s) if side is None else (1.0 if s == side else 0.12 * u.third)
            for number, at in enumerate(range(start, stop + 1)):
                loss = u.severity * factor * u.jitter(number)
                body.take(where, f"ventral.{SEGMENTS[at]}", s, loss * u.motor)
                body.take(where, f"dorsal.{SEGMENTS[at]}", s, loss * (0.3 + 0.7 * u.sensory))
            body.take(where, "stretch_low", s, 0.8 * u.first * factor)

    return fill


def cauda_equina(plan: Plan) -> None:
    """All roots from one downwards, on both sides or mostly on one."""
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
        for side in (RIGHT, LEFT):
            plan.add(
                "cauda",
                SIDE_NAMES[side],
                "cauda equina, one side",
                0.2 * span.weight,
                _cauda_fill(first, last - 1, side),
                level=first,
                group="cauda",
            )
