"""What one stay adds to a review: counted once for each patient, and put together by `figures`."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cache

from wardexam.reasoning.rules.deadlines import limits
from wardexam.reasoning.rules.rule_table import NOW, TODAY, Rule, rules
from wardexam.review.standards import Ends, Item, Standards
from wardexam.review.stay import Done, Recorded, Seen, Stay

OTHERS = {"other_now": NOW, "other_today": TODAY}
SETTLED = ("not_needed", "lowered")


@dataclass(frozen=True, slots=True)
class Period:
    """From a moment on, and before another; `now` is when the review is made."""

    begin: datetime
    end: datetime
    now: datetime

    def holds(self, at: datetime) -> bool:
        """Whether a moment is in it."""
        return self.begin <= at < self.end

    @property
    def known_until(self) -> datetime:
        """Until when anything can be known of it."""
        return min(self.end, self.now)


@dataclass(frozen=True, slots=True)
class Timed:
    """Minutes from the beginning to the end of an interval, and its limit; None where there is none of these.

    `overdue` is whether what was asked for was not done when its limit had ended. `disordered` names an order of both that cannot be: then there are no minutes, rather than none that passed.
    """

    minutes: float | None
    limit: float | None
    overdue: bool = False
    disordered: str = ""

    @property
    def within(self) -> bool | None:
        """Whether the limit was kept; None where nothing was written and nothing is overdue, or there is no limit."""
        if self.overdue:
            return False
        if self.minutes is None or self.limit is None:
            return None
        return self.minutes <= self.limit


@dataclass(frozen=True, slots=True)
class Suspected:
    """A patient of a group: which items were examined at first, and by the end, and how soon what was done.

    `settled` is what was not done, since a doctor wrote that it was not needed, or brought it down, of every
    reason of the group, and that holds.
    """

    first: tuple[bool, ...]
    by_end: tuple[bool, ...]
    times: dict[Ends, Timed]
    settled: frozenset[Ends]


@dataclass(frozen=True, slots=True)
class Judged:
    """A suggestion held against the outcome: how sure, whether the first site was right, or one of the first ones.

    `side` is whether the side was right; None where the site was wrong or either said none.
    """

    chance: float
    right: bool
    among_first: bool
    side: bool | None


@dataclass(frozen=True, slots=True)
class Counted:
    """What one stay adds.

    Attributes:
        patient: The opaque identifier.
        examinations: The identifiers of those in the period, each with its time.
        not_kept: How many of these were kept without what was raised.
        groups: What is counted of each group that the patient is one of.
        earlier: Groups left out, since the suspicion was raised before the period.
        rechecks: Hours by which each re-examination that fell due was late, 0 where it was in time; None where
            none was made until now. One made after the end of the period was late.
        carried: How many of these were due after an examination of before the period.
        not_due: Of the examinations in the period those after which none fell due in it, by why.
        first_level: The level at the first examination; None where none is known or it was before the period.
        highest: The highest level by the end of the period.
        positive: Whether the image in the end was positive; None where that was not recorded.
        judged: The suggestion before the outcome; None where there is none to judge, and then why.
        why_not: Why there is none.
    """

    patient: str
    examinations: tuple[tuple[str, datetime], ...] = ()
    not_kept: int = 0
    groups: dict[str, Suspected] = field(default_factory=dict)
    earlier: tuple[str, ...] = ()
    rechecks: tuple[float | None, ...] = ()
    carried: int = 0
    not_due: dict[str, int] = field(default_factory=dict)
    first_level: int | None = None
    highest: int | None = None
    positive: bool | None = None
    judged: Judged | None = None
    why_not: str = ""


def count(stay: Stay, period: Period, standards: Standards) -> Counted | None:
    """What a stay adds to the review of a period; None where nobody examined the patient in it."""
    until = [s for s in stay.seen if s.at < period.end]
    inside = [s for s in until if period.holds(s.at)]
    if not inside:
        return None
    groups, earlier = _groups(stay, until, period, standards)
    rechecks, carried, not_due = _rechecks(stay, period)
    levels = [s.level for s in until if s.level is not None]
    begins_here = inside[0] is until[0]
    ending = stay.ending
    judged, why_not = _judged(stay, period, standards.first_sites)
    return Counted(
        stay.patient,
        tuple((s.id, s.at) for s in inside),
        sum(s.raised is None for s in inside),
        groups,
        earlier,
        rechecks,
        carried,
        not_due,
        until[0].level if begins_here else None,
        max(levels, default=None) if begins_here else None,
        {"yes": True, "no": False, None: None}[ending.positive] if ending else None,
        judged,
        why_not,
    )


# --- suspicions: how complete, how soon


@cache
def _rules_of(suspicions: tuple[tuple[str, tuple[str, ...]], ...]) -> dict[str, set[str]]:
    """The rules of each group; what is left of those that are urgent makes the others."""
    found = {name: set(own) for name, own in suspicions}
    named = set().union(*found.values())
    for name, level in OTHERS.items():
        found[name] = {n for n, r in rules().items() if r.urgency == level and n not in named}
    return found


def _groups(
    stay: Stay, until: list[Seen], period: Period, standards: Standards
) -> tuple[dict[str, Suspected], tuple[str, ...]]:
    found, earlier = {}, []
    raised_at_all = set().union(*(s.raised or {} for s in until))
    suspicions = tuple((name, s.rules) for name, s in standards.suspicions.items())
    for group, names in _rules_of(suspicions).items():
        if names.isdisjoint(raised_at_all):
            continue
        first = next(s for s in until if s.raised and not names.isdisjoint(s.raised))
        assert first.raised is not None
        since = min(at for name, at in first.raised.items() if name in names)
        if not period.holds(since):
            earlier.append(group)
            continue
        items = standards.items_of(group)
        at_first = first.recorded if items else Recorded()
        by_end = at_first
        for seen in until if items else ():
            by_end |= seen.recorded
        acts = [a for a in stay.acts if a.rule in names and a.at < period.end]
        times = _times(group, first, names, since, acts, stay, period, standards)
        ended = stay.ended(period.end)
        held = {a.rule for a in acts if a.kind in SETTLED and a not in ended}
        settling = held >= names & raised_at_all  # one reason left open leaves the group open
        found[group] = Suspected(
            tuple(examined(item, at_first) for item in items.values()),
            tuple(examined(item, by_end) for item in items.values()),
            times if not settling else {end: replace(t, overdue=False) for end, t in times.items()},
            frozenset(
                e for e, t in times.items() if settling and t.minutes is None and not t.disordered
            ),
        )
    return found, tuple(earlier)


def examined(item: Item, recorded: Recorded) -> bool:
    """Whether an item of a standard was done."""
    if item.every and all(map(recorded.whole, item.every)):
        return True
    return any(map(recorded.whole, item.some)) or not recorded.flags.isdisjoint(item.flags)


RESULT_FIRST = "result before image"
IMAGE_FIRST = "image before the first sign"


def _minutes(span: timedelta) -> float:
    """A span in minutes; what was done before its beginning was done at once."""
    return max(0.0, span.total_seconds() / 60)


def _times(
    group: str,
    first: Seen,
    names: set[str],
    since: datetime,
    acts: list[Done],
    stay: Stay,
    period: Period,
    standards: Standards,
) -> dict[Ends, Timed]:
    """Each interval of a group, by what it ends with."""
    at = {kind: next((a.at for a in acts if a.kind == kind), None) for kind in ("called", "asked")}
    written = [a.at for a in acts if a.kind == "done"]
    ending = stay.ending
    imaged = ending.imaged if ending and ending.imaged and ending.imaged < period.end else None
    image = imaged or (written[0] if written else None)
    # The result of an image is the first that is written after it.
    done = next((w for w in written if imaged is None or w >= imaged), None)
    rule = _soonest(names & set(first.raised or ()))
    limit = _minutes(limits()[rule.by])
    # Where the row's clock runs from the request, so does the time to the image that was asked for before it.
    asked = at["asked"] if rule.clock == "asked" else None
    begin = asked if asked and (image is None or asked <= image) else since
    overdue = (
        image is None
        and at["asked"] is not None
        and begin + limits()[rule.by] <= period.known_until
    )
    too_early = image is not None and image < since
    result = standards.intervals["result"]
    of_group = not result.groups or group in result.groups
    return {
        "call": Timed(_minutes(at["called"] - since) if at["called"] else None, limit),
        "image": Timed(
            _minutes(image - begin) if image and not too_early else None,
            limit,
            overdue,
            IMAGE_FIRST if too_early else "",
        ),
        "result": Timed(
            _minutes(done - imaged) if done and imaged else None,
            float(result.minutes) if of_group and result.minutes else None,
            disordered=RESULT_FIRST if imaged and written and not done else "",
        ),
    }


def _soonest(names: Iterable[str]) -> Rule:
    """Of several rules the one whose limit ends first; of equal limits one that runs from the first sign, not the request."""
    return min((rules()[n] for n in names), key=lambda r: (limits()[r.by], r.clock == "asked"))


# --- re-examinations


NO_SCHEDULE = "without a schedule"
LEFT = "due after the discharge"
LATER = "due after the period, or not yet"


def _rechecks(stay: Stay, period: Period) -> tuple[tuple[float | None, ...], int, dict[str, int]]:
    """What fell due in the period: by how many hours each was late, how many were due after an examination of before.

    Then of how many examinations in the period no further one fell due in it, by why.
    """
    if stay.recheck_hours is None:
        return (), 0, {NO_SCHEDULE: sum(period.holds(s.at) for s in stay.seen)}
    span = timedelta(hours=stay.recheck_hours)
    late: list[float | None] = []
    carried = 0
    not_due = Counter[str]()
    for number, seen in enumerate(stay.seen):
        due, inside = seen.at + span, period.holds(seen.at)
        left = stay.discharged is not None and due > stay.discharged
        if left or not period.holds(due) or due > period.now:
            if inside:
                not_due[LEFT if left else LATER] += 1
            continue
        carried += not inside
        after = stay.seen[number + 1].at if number + 1 < len(stay.seen) else None
        late.append(None if after is None else max(0.0, (after - due).total_seconds() / 3600))
    return tuple(late), carried, dict(not_due)


# --- the suggestion


def _judged(stay: Stay, period: Period, first_sites: int) -> tuple[Judged | None, str]:
    """The last suggestion saved before the image, or before the outcome was recorded, held against it."""
    ending = stay.ending
    if ending is None:
        return None, "no outcome recorded"
    if ending.site is None:
        return None, "outcome without a site"
    known = ending.imaged or ending.at
    told = [s for seen in stay.seen if period.holds(seen.at) for s in seen.suggested]
    before = [s for s in told if s.at <= known]
    if not before:
        return None, "suggestion kept only after the image" if told else "no suggestion kept"
    last = max(before, key=lambda s: s.at)
    site, side, chance = last.sites[0]
    right = site == ending.site
    compared = right and ending.side is not None and side != "none"
    return Judged(
        chance,
        right,
        any(s == ending.site for s, _, _ in last.sites[:first_sites]),
        side == ending.side if compared else None,
    ), ""
