"""Whether the sides differ, and where arms and legs part: from what was found alone, without arrays.

People differ, sides agree: both sides share one hidden value, and each is read with an error. The chance
that they truly differ weighs that against one side having moved (`asymmetry.toml`).
"""

import math
from functools import cache
from typing import Any

from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Findings
from wardexam.exam.findings import Finding
from wardexam.exam.wording import in_short
from wardexam.reasoning.reading import Asymmetry
from wardexam.reasoning.rules.graver import meaning_rank, segment_rank
from wardexam.reasoning.tables import (
    Interval,
    asymmetry_row,
    meaning_interval,
    mrc_interval,
    observation_row,
    sensation_interval,
)
from wardexam.reasoning.ties import even, ordered

LEAST = 1e-300  # no chance is less, so that it divides
_GRID = tuple((n - 14) / 4 for n in range(29))  # -3.5 to 3.5 standard deviations


def _below(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2))


def _read_as(interval: Interval, value: float, error: float) -> float:
    low, high = interval
    return _below((high - value) / error) - _below((low - value) / error)


def _bell(x: float) -> float:
    return math.exp(-x * x / 2)


@cache
def truly_differ(kind: str, right: Interval, left: Interval) -> float:
    """The chance that two sides truly differ, from the intervals of a hidden value they were read in.

    Args:
        kind: A row of `asymmetry.toml` with an error: ``tendon``, ``mrc`` or ``sensation``.
        right: The interval of the right side's grade on the scale of `model/observation.toml`.
        left: The same for the left.
    """
    row = asymmetry_row(kind)
    error, apart, people = row["error"], row["apart"], row["people"]
    centre = 0.0 if kind == "tendon" else (max(right[0], left[0]) + min(right[1], left[1])) / 2
    same = differ = 0.0
    for z in _GRID:
        shared = centre + people * z
        one, other = _read_as(right, shared, error), _read_as(left, shared, error)
        same += _bell(z) * one * other
        for step in _GRID[::2]:
            moved = shared + apart * step
            weight = _bell(z) * _bell(step)
            differ += weight * one * _read_as(left, moved, error) / 2
            differ += weight * other * _read_as(right, moved, error) / 2
    differ /= sum(_bell(step) for step in _GRID[::2])
    odds = row["truly"] * differ / max((1 - row["truly"]) * same, LEAST)
    return even(min(asymmetry_row("said")["sure"], odds / (1 + odds)))


def _ranked() -> dict[str, Any]:
    row: dict[str, Any] = asymmetry_row("ranked")
    return row


def _interval(finding: Finding) -> tuple[str, Interval] | None:
    """The kind of a finding's measure and the interval its answer stands for; None where it has none."""
    answer = str(finding.answer)
    if finding.scale:
        return "tendon", meaning_interval(
            observation_row("tendon")["meanings"][meaning_rank(finding.meaning)]
        )
    if finding.row.mrc:
        return "mrc", mrc_interval(answer)
    if finding.row.answers == "sensation" and answer != "heightened":
        return "sensation", sensation_interval(answer)
    return None


def asymmetries(examination: Findings) -> tuple[Asymmetry, ...]:
    """Signs whose sides differ, with the chance that they truly do, surest first."""
    found = []
    left = {f.sign: f for f in examination.findings if f.side == "left" and f.answer is not None}
    for finding in examination.findings:
        other = left.get(finding.sign)
        if finding.side != "right" or other is None or finding.answer is None:
            continue
        if _said(finding) == _said(other):
            continue
        gap = _rank(finding) - _rank(other)
        if gap:
            text = f"{finding.row.name}: right {in_short(finding)}, left {in_short(other)}"
            chance = _chance(finding, other, gap)
            found.append(Asymmetry(finding.sign, text, chance, "right" if gap < 0 else "left"))
    return tuple(ordered(found, lambda a: a.probability, lambda a: a.sign))


def _said(finding: Finding) -> tuple[object, ...]:
    """All that a finding's rank hangs on."""
    return finding.answer, finding.scale, finding.qualities


def _chance(right: Finding, left: Finding, gap: int) -> float:
    one, other = _interval(right), _interval(left)
    if one is None or other is None or one[0] != other[0]:
        row = asymmetry_row("other")
        return float(row["one"] if abs(gap) == 1 else row["more"])
    return truly_differ(one[0], one[1], other[1])


def _rank(finding: Finding) -> int:
    if finding.scale:
        return meaning_rank(finding.meaning)
    if finding.row.level:
        return segment_rank(str(finding.answer))
    answers = answers_in_order(finding)
    return answers.index(str(finding.answer))


def answers_in_order(finding: Finding) -> tuple[str, ...]:
    """The codes of a finding's answer set, from least to most abnormal where they have an order."""
    codes = answers_for(finding.row.answers, finding.scale or "conventional").codes
    if finding.row.answers in _ranked():
        return tuple(_ranked()[finding.row.answers])
    return codes


def level_note(examination: Findings) -> str:
    """Where arms and legs part, from the tendon reflexes; empty where they do not."""
    arms: list[int] = []
    legs: list[int] = []
    for finding in examination.findings:
        if finding.scale and finding.answer is not None and finding.row.limb in ("arm", "leg"):
            (arms if finding.row.limb == "arm" else legs).append(meaning_rank(finding.meaning))
    row = asymmetry_row("levels")
    if min(len(arms), len(legs)) >= row["reflexes"]:
        gap = sum(legs) / len(legs) - sum(arms) / len(arms)
        if gap >= row["gap"]:
            return "legs brisker than arms: look between neck and lumbar cord"
        if gap <= -row["gap"]:
            return "legs duller than arms: length, lumbar roots or shock"
    return ""
