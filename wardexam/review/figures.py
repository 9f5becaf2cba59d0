"""The figures of a review: each a count of a number with its interval, or a span, and what was left out of it."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from statistics import fmean

from wardexam.reasoning.rules.rule_table import WORDS
from wardexam.records.light_file import Event
from wardexam.review.counting import OTHERS, Counted, Judged, Period, Suspected
from wardexam.review.intervals import quartiles, wilson
from wardexam.review.standards import Ends, Standards

GROUP_WORDS = {"other_now": "other reasons: now", "other_today": "other reasons: today"}


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure.

    Attributes:
        section: Which part of the review it is of.
        group: Of whom.
        name: What is counted.
        count: How many; None where it is a span alone.
        of: Of how many.
        low: The interval's lower end, from 0 to 1; None where no share is meant.
        high: Its upper end.
        spans: Lower quartile, median and upper quartile of what is measured; None where nothing is.
        unit: What the spans are in.
        left_out: How many were left out of it.
        why: Why they were.
        few: Whether there are too few to say much.
        patients: Those for whom it was not so, by their opaque names; of a time those late or without it.
    """

    section: str
    group: str
    name: str
    count: int | None
    of: int
    low: float | None = None
    high: float | None = None
    spans: tuple[float, float, float] | None = None
    unit: str = ""
    left_out: int = 0
    why: str = ""
    few: bool = False
    patients: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Review:
    """A review of a period.

    Attributes:
        period: Of when.
        figures: In the order of the paper.
        patients: How many patients were examined in it.
        examinations: How many examinations.
        unread: Whose record could not be read, by the opaque name, and why.
        rows: What each patient adds, for the table.
    """

    period: Period
    figures: tuple[Figure, ...]
    patients: int
    examinations: int
    unread: tuple[tuple[str, str], ...] = ()
    rows: tuple[Counted, ...] = field(default=(), repr=False)

    def of(self, section: str) -> tuple[Figure, ...]:
        """The figures of a section."""
        return tuple(f for f in self.figures if f.section == section)


def group_name(group: str, standards: Standards) -> str:
    """A group in words."""
    suspicion = standards.suspicions.get(group)
    return suspicion.name if suspicion else GROUP_WORDS[group]


def review(
    counted: Iterable[Counted],
    events: Iterable[Event],
    period: Period,
    standards: Standards,
    unread: Sequence[tuple[str, str]] = (),
) -> Review:
    """The review of a period.

    Args:
        counted: What each stay adds; those without an examination in the period are not among them.
        events: The events of the trail.
        period: Of when.
        standards: What is counted against.
        unread: Whose record could not be read, and why.
    """
    rows = tuple(sorted(counted, key=lambda c: c.patient))
    made: list[Figure] = []
    for group in (*standards.suspicions, *OTHERS):
        having = [(c.patient, c.groups[group]) for c in rows if group in c.groups]
        earlier = sum(group in c.earlier for c in rows)
        made += _complete(group, having, earlier, standards)
    for group in (*standards.suspicions, *OTHERS):
        having = [(c.patient, c.groups[group]) for c in rows if group in c.groups]
        earlier = sum(group in c.earlier for c in rows)
        made += _soon(group, having, earlier, standards)
    made += _rechecked(rows, standards)
    made += _first_called(rows, standards)
    made += _suggested(rows, standards)
    made += _trail(rows, events, period, standards)
    return Review(
        period,
        tuple(made),
        len(rows),
        sum(len(c.examinations) for c in rows),
        tuple(unread),
        rows,
    )


def share(
    section: str, group: str, name: str, count: int, of: int, standards: Standards, *,
    left_out: int = 0, why: str = "", patients: Iterable[str] = (),
    spans: tuple[float, float, float] | None = None, unit: str = "",
) -> Figure:  # fmt: skip
    """A share with its interval."""
    low, high = wilson(count, of)
    return Figure(
        section, group, name, count, of, low if of else None, high if of else None, spans, unit,
        left_out, why if left_out else "", of < standards.few, tuple(patients),
    )  # fmt: skip


Having = list[tuple[str, Suspected]]
ERROR = "entered in error"  # what the trail calls it
OVERDUE = "of these asked for, overdue"
BEFORE = "raised before the period"


def _complete(group: str, having: Having, earlier: int, standards: Standards) -> list[Figure]:
    """How complete the examinations of a group were, item by item, at first and by the end."""
    items = standards.items_of(group)
    if not items:
        return []
    words = group_name(group, standards)
    made = []
    needed = [n for n, item in enumerate(items.values()) if item.counts]

    def add(name: str, done: Callable[[tuple[bool, ...]], bool]) -> None:
        for when in ("first", "by_end"):
            lacking = [who for who, s in having if not done(getattr(s, when))]
            made.append(
                share(
                    f"complete, {'first examination' if when == 'first' else 'by the end'}", words,
                    name, len(having) - len(lacking), len(having), standards,
                    left_out=earlier, why=BEFORE, patients=lacking,
                )
            )  # fmt: skip

    add("all that counts", lambda found: all(found[n] for n in needed))
    for number, item in enumerate(items.values()):
        name = item.name if item.counts else f"{item.name} (not needed)"
        add(name, lambda found, number=number: found[number])  # type: ignore[misc]
    return made


def _soon(group: str, having: Having, earlier: int, standards: Standards) -> list[Figure]:
    """How soon what was done, against the limits."""
    ends: tuple[Ends, ...] = ("call", "image", "result")
    made = []
    for end in ends:
        figure = _interval(group, end, having, earlier, standards)
        made.append(figure)
        overdue = [who for who, s in having if s.times[end].overdue]
        if overdue:
            made.append(
                Figure("times", figure.group, OVERDUE, len(overdue), figure.of, few=figure.few)
            )
    return made


def _interval(group: str, end: Ends, having: Having, earlier: int, standards: Standards) -> Figure:
    """One interval: how many kept its limit, of those timed or overdue, and how long it took."""
    timed = [(who, s.times[end]) for who, s in having]
    known = [t.minutes for _, t in timed if t.minutes is not None]
    limited = [t.within for _, t in timed if t.within is not None]
    kept = sum(limited)
    low, high = wilson(kept, len(limited)) if limited else (None, None)
    overdue = sum(t.overdue for _, t in timed)
    settled = sum(end in s.settled for _, s in having)
    disordered = Counter(t.disordered for _, t in timed if t.disordered)
    missing = len(timed) - len(known) - overdue - settled - disordered.total()
    why = {
        f"{missing} not written": missing,
        f"{settled} not needed": settled,
        **{f"{number} {words}": number for words, number in disordered.items()},
        f"{earlier} {BEFORE}": earlier,
        "no standard for it was found": len(known) + overdue - len(limited),
    }
    return Figure(
        "times",
        group_name(group, standards),
        standards.intervals[end].name,
        kept if limited else None,
        len(limited) if limited else len(known),
        low,
        high,
        quartiles(known) if known else None,
        "min",
        missing + settled + disordered.total() + earlier,
        "; ".join(words for words, number in why.items() if number),
        len(limited or known) < standards.few,
        tuple(
            who
            for who, s in having
            for t in (s.times[end],)
            if t.within is False
            or (t.minutes is None and not t.disordered and end not in s.settled)
        ),
    )


def _rechecked(rows: Sequence[Counted], standards: Standards) -> list[Figure]:
    due = [(c.patient, late) for c in rows for late in c.rechecks]
    late = [hours for _, hours in due if hours]
    never = [who for who, hours in due if hours is None]
    not_due = Counter[str]()
    for row in rows:
        not_due.update(row.not_due)
    section, group = "re-examinations", "all with a schedule"
    overdue = [who for who, hours in due if hours is None or hours > 0]
    spans = quartiles(late) if late else None
    kwargs = {
        "left_out": not_due.total(),
        "why": "; ".join(
            f"{number} {words}" for words, number in sorted(not_due.items()) if number
        ),
    }
    return [
        share(
            section, group, "overdue", len(overdue), len(due), standards,
            patients=dict.fromkeys(overdue), **kwargs,  # type: ignore[arg-type]
        ),
        Figure(
            section, group, "of these late", len(late), len(overdue), spans=spans, unit="h late",
            few=len(overdue) < standards.few,
        ),
        Figure(
            section, group, "of these never made", len(never), len(overdue),
            few=len(overdue) < standards.few, patients=tuple(dict.fromkeys(never)),
        ),
        Figure(
            section, group, "due after one of before the period", sum(c.carried for c in rows), len(due),
            few=len(due) < standards.few,
        ),
    ]  # fmt: skip


def _first_called(rows: Sequence[Counted], standards: Standards) -> list[Figure]:
    """Emergencies, and what the first examination called them."""
    known = [c for c in rows if c.first_level is not None and c.highest is not None]
    left_out = len(rows) - len(known)
    why = "begun before the period, or saved without what was raised"
    emergencies: dict[str, list[Counted]] = {
        "highest level now": [c for c in known if c.highest == len(WORDS) - 1],
        "highest level today": [c for c in known if c.highest == len(WORDS) - 2],
        "image positive in the end": [c for c in known if c.positive],
    }
    made = []
    for group, those in emergencies.items():
        levels = Counter(c.first_level for c in those)
        for level in range(len(WORDS) - 1, -1, -1):
            if group != "image positive in the end" and level > max(
                (c.highest or 0 for c in those), default=0
            ):
                continue
            word = WORDS[level] if level else "no reason found"
            made.append(
                share(
                    "emergencies", group, f"first called: {word}", levels[level], len(those),
                    standards, left_out=left_out, why=why,
                    patients=(c.patient for c in those if c.first_level == level and level < 2),
                )
            )  # fmt: skip
    return made


def bins_of(judged: Sequence[Judged], edges: Sequence[float]) -> list[list[Judged]]:
    """The suggestions by how sure they were; the last bin holds its upper edge."""
    last = len(edges) - 2
    made: list[list[Judged]] = [[] for _ in range(last + 1)]
    for each in judged:
        place = next((n for n in range(last) if each.chance < edges[n + 1]), last)
        made[place].append(each)
    return made


def _suggested(rows: Sequence[Counted], standards: Standards) -> list[Figure]:
    judged = [(c.patient, c.judged) for c in rows if c.judged]
    reasons = Counter(c.why_not for c in rows if c.why_not)
    left_out = sum(reasons.values())
    why = "; ".join(f"{number} {word}" for word, number in sorted(reasons.items()))
    section, group = "suggestion", "patients with an outcome"
    each = [j for _, j in judged]
    sided = [j for j in each if j.side is not None]
    made = [
        share(
            section, group, "first site right", sum(j.right for j in each), len(each), standards,
            left_out=left_out, why=why, patients=(who for who, j in judged if not j.right),
        ),
        share(
            section, group, f"right among the first {standards.first_sites}",
            sum(j.among_first for j in each), len(each), standards, left_out=left_out, why=why,
            patients=(who for who, j in judged if not j.among_first),
        ),
        share(
            section, group, "side right, where the site was", sum(bool(j.side) for j in sided),
            len(sided), standards, left_out=len(each) - len(sided), why="site wrong, or no side said",
        ),
    ]  # fmt: skip
    for number, members in enumerate(bins_of(each, standards.bins)):
        low, high = standards.bins[number : number + 2]
        mean = fmean(j.chance for j in members) * 100 if members else None
        made.append(
            share(
                "how sure", group, f"said {low * 100:.0f} to {high * 100:.0f} %",
                sum(j.right for j in members), len(members), standards,
                spans=None if mean is None else (mean, mean, mean), unit="% said",
            )
        )  # fmt: skip
    return made


def _trail(
    rows: Sequence[Counted], events: Iterable[Event], period: Period, standards: Standards
) -> list[Figure]:
    """What the trail says of the same period, beside the records."""
    saved: dict[str, str] = {}
    seen: Counter[str] = Counter()
    concluded: set[tuple[str, str]] = set()
    for event in events:
        if event.event == "saved":
            saved.setdefault(event.what.split(" ", 1)[0], event.at)
        if event.event not in ("amended", ERROR, "concluded", "found changed") or not period.holds(
            datetime.fromisoformat(event.at)
        ):
            continue
        if event.event == "concluded":
            # "outcome 2, by whom": a line said twice is one revision.
            concluded.add((event.patient, event.what.split(",", 1)[0]))
        else:
            seen[event.event] += 1
    all_of = [each for c in rows for each in c.examinations]
    spans = [
        (datetime.fromisoformat(saved[name]) - at).total_seconds() / 60
        for name, at in all_of
        if name in saved
    ]
    known = len(spans)
    seen["outcomes"] = len({patient for patient, _ in concluded})
    seen["revisions"] = sum(what != "outcome 1" for _, what in concluded)
    named = {
        "amended": "further revisions saved",
        ERROR: "examinations marked as entered in error",
        "outcomes": "patients with an outcome recorded",
        "revisions": "further revisions of outcomes",
        "found changed": "records changed past the program",
    }
    made = [
        share(
            "trail", "examinations of the period", "examinations saved by the trail", known,
            len(all_of), standards, left_out=len(all_of) - known, why="imported, or from before the trail",
            spans=quartiles(spans) if spans else None, unit="min",
        ),
        share(
            "trail", "examinations of the period", "examinations with reasons kept",
            len(all_of) - sum(c.not_kept for c in rows), len(all_of), standards,
        ),
    ]  # fmt: skip
    made += [
        Figure("trail", "events of the period", words, None, seen[event])
        for event, words in named.items()
    ]
    return made
