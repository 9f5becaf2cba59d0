"""Which examinations make a pair of two doctors, and what each of both found of the same sign."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.exam.answers import answers_for
from wardexam.records.light_file import LightFile
from wardexam.review.counting import Period
from wardexam.review.kappa import Pair

WORSE = "worse"  # the flag by which a change is recorded
HOURS = 4  # between two examinations of a pair, where nothing else is said: judgement


@dataclass(frozen=True, slots=True)
class Order:
    """The answers of a kind of sign in their order; not `ordered` where they have none."""

    codes: tuple[str, ...]
    ordered: bool


def order_of(sign: str, scale: str | None) -> Order:
    """The order of a sign's answers: from the usual to the gravest where the table ranks them, else that of its scale.

    An answer that is not ranked among the others, as a mute plantar or heightened feeling, is not in it.
    """
    row = catalogue()[sign]
    if row.level:
        return Order((*SEGMENTS, "none"), ordered=True)
    found = answers_for(row.answers, scale or "conventional")  # type: ignore[arg-type]
    if found.graver:
        return Order(found.graver, ordered=True)
    return Order(found.codes, ordered=found.ordered or row.tendon)


def places(sign: str, one: Mapping[str, Any], other: Mapping[str, Any]) -> Pair | None:
    """The places of two answers to one sign in its order.

    None where one is not graded, is graded on another scale, or is an answer outside the order.
    """
    scale = one.get("scale")
    if one.get("answer") is None or other.get("answer") is None or scale != other.get("scale"):
        return None
    codes = order_of(sign, scale).codes
    try:
        return codes.index(one["answer"]), codes.index(other["answer"])
    except ValueError:
        return None


NOT_GRADED = "not testable at one or both"
TWO_SCALES = "on two scales"
NO_PLACE = "an answer without a place in the order"


def why_no_pair(one: Mapping[str, Any], other: Mapping[str, Any]) -> str:
    """Why two findings of one sign that `places` gives nothing of make no pair."""
    if one.get("answer") is None or other.get("answer") is None:
        return NOT_GRADED
    return TWO_SCALES if one.get("scale") != other.get("scale") else NO_PLACE


Key = tuple[str, str, str]  # sign, scale or empty, side


@dataclass(frozen=True, slots=True)
class Paired:
    """What two doctors found in one patient.

    Attributes:
        answers: By sign, scale (or empty) and side, the places of both answers.
        left_out: Likewise why two findings make no pair; the scale is that of the second.
        asked: Whether 'anything worse' was answered no at the second; else a change is not excluded.
    """

    answers: dict[Key, Pair]
    left_out: dict[Key, str]
    asked: bool


@dataclass(frozen=True, slots=True)
class Pairs:
    """The pairs of one patient.

    Attributes:
        pairs: Those that count.
        changed: How many were left out, since a change was recorded.
        apart: How many by two doctors were left out, being further apart.
    """

    pairs: tuple[Paired, ...] = ()
    changed: int = 0
    apart: int = 0


def pairs_of(file: LightFile, period: Period, hours: float) -> Pairs:
    """The pairs of one patient: an examination and the next, by two doctors, so many hours apart at most.

    Where somebody went on with another's examination, neither is the work of one alone, and it makes no pair.
    """
    last = sorted(
        (revisions[-1] for revisions in file.revisions.values()),
        key=lambda e: datetime.fromisoformat(e.fields["at"]),
    )
    made, changed, apart = [], 0, 0
    for one, other in pairwise(last):
        begin, then = (datetime.fromisoformat(e.fields["at"]) for e in (one, other))
        alone = not one.fields.get("entered_by") and not other.fields.get("entered_by")
        if not alone or one.fields["examiner"] == other.fields["examiner"]:
            continue
        if not (period.holds(begin) and period.holds(then)):
            continue
        if then - begin > timedelta(hours=hours):
            apart += 1
            continue
        worse = (other.fields.get("flags") or {}).get(WORSE)
        if worse == "yes":
            changed += 1
            continue
        answers, left_out = _both(one.findings, other.findings)
        made.append(Paired(answers, left_out, worse == "no"))
    return Pairs(tuple(made), changed, apart)


def _both(
    one: Iterable[Mapping[str, Any]], other: Iterable[Mapping[str, Any]]
) -> tuple[dict[Key, Pair], dict[Key, str]]:
    first = {(f["sign"], f["side"]): f for f in one}
    found: dict[Key, Pair] = {}
    left_out: dict[Key, str] = {}
    for finding in other:
        sign, side = finding["sign"], finding["side"]
        before = first.get((sign, side))
        if before is None or sign not in catalogue():
            continue
        key = sign, finding.get("scale") or "", side
        if (pair := places(sign, before, finding)) is not None:
            found[key] = pair
        else:
            left_out[key] = why_no_pair(before, finding)
    return found, left_out
