"""The course of a stay as text: examinations, revisions, cord injury sheets, what changed, was due and done, and charts."""

import itertools
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from wardexam.anatomy.catalogue import LEVEL, MEASURED, MRC, TENDON, catalogue
from wardexam.exam.act_kinds import ActKind, act_kinds
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Side
from wardexam.exam.identity import full
from wardexam.exam.in_error import error_line
from wardexam.exam.late_entry import late_words
from wardexam.exam.moments import clock, moment
from wardexam.exam.naming import name_on
from wardexam.exam.text import capital, clean, counted
from wardexam.exam.wording import in_short
from wardexam.injury.computed import compute
from wardexam.injury.kept import at_words
from wardexam.injury.worksheet import in_one_line
from wardexam.injury_visit import latest, since
from wardexam.note.differences import revised
from wardexam.note.page import wrapped
from wardexam.note.reasons import KINDS
from wardexam.note.sentences import beside_changes, changes_of
from wardexam.note.since import by_examination
from wardexam.reasoning.rules.change import Comparison, SignChange, compare
from wardexam.reasoning.rules.change_words import headline, patterns_moved
from wardexam.reasoning.rules.deadlines import end_of
from wardexam.reasoning.rules.firing import fired
from wardexam.reasoning.rules.own_alarm import rule_words
from wardexam.reasoning.rules.rule_table import WORDS, rules
from wardexam.reasoning.rules.standing import over, standing
from wardexam.reasoning.rules.stay import Stay
from wardexam.reasoning.rules.sum_score import full_score, sum_score

if TYPE_CHECKING:
    from wardexam.injury.kept import KeptSheet
    from wardexam.records.repository import PatientFile

SHOWN = 100  # examinations of a long stay
NAME, AXIS = 27, 44  # columns of a sign's name and of the time in a chart
GAP = 5  # columns from one examination to the next, at the least
SHORT = (TENDON, MRC, MEASURED, LEVEL)  # answers that are short enough to stand at their time
MARKS = {kind: row.mark for kind, row in act_kinds().items()}
DUE = "!"
UNEXAMINED = "-"
LEGEND = (
    f"Marked between the examinations: {', '.join(f'{m} {KINDS[k]}' for k, m in MARKS.items())}; "
    f"{DUE} when something was due. {UNEXAMINED} not examined."
)
SEEN = "Each sign is compared with the last look at it; one that was seen once is not."
NONE_COUNTS = "No examination counts: the patient is not examined yet."
OBSERVER = "Worse, but by no more than two observers differ"

Key = tuple[str, Side]
Dated = tuple[datetime, str]


# --- what was due and done


def due_of(examination: Examination) -> list[Dated]:
    """When each limit that began with an examination ends, and what of; those that end together as one."""
    found: dict[datetime, list[str]] = {}
    for raised in examination.raised or ():
        row = rules().get(raised.rule)
        if row is None or examination.at not in (raised.since, raised.again):
            continue
        end = end_of(examination.at, row.by)
        found.setdefault(end, []).append(f"{row.reason} ({WORDS[row.urgency]})")
    return [(end, f"due: {_pooled(said)}") for end, said in sorted(found.items())]


def done_with(examination: Examination) -> list[tuple[datetime, str, ActKind]]:
    """What was done about the reasons of an examination, in order; the same done about several as one."""
    found: dict[tuple[datetime, ActKind, str, str], list[str]] = {}
    for act in examination.acts:
        found.setdefault((act.at, act.kind, act.what, act.by), []).append(rule_words(act.rule))
    return [
        (at, f"{KINDS[kind]}: {clean(what)}, {clean(by)} ({_pooled(why)})", kind)
        for (at, kind, what, by), why in sorted(found.items(), key=lambda item: item[0][0])
    ]


def _pooled(said: Sequence[str]) -> str:
    return said[0] + (f"; {len(said) - 1} more" if len(said) > 1 else "")


# --- what changed


def _perhaps_observer(change: Comparison, after: Examination) -> set[Key]:
    """The signs whose change may be the observer's: within what two differ by, and no rule of urgency rests on them."""
    moving = bool(change.patterns)  # of grades and reflexes a pattern is made
    within = [
        s for s in change.signs if not s.beyond and not (moving and (s.row.tendon or s.row.mrc))
    ]
    if not within:
        return set()
    now = fired(after)
    return {s.key for s in within if fired(_without(after, s.key[0])) == now}


def _without(examination: Examination, sign: str) -> Examination:
    kept = tuple(f for f in examination.findings if f.sign != sign)
    return examination.model_copy(update={"findings": kept})


def _changed(stay: Stay, after: Examination, last: Examination) -> Iterator[str]:
    """What changed from what stood to an examination, the worst first; with since when where that was not the last one before."""
    before = standing(stay.before) or last
    change = compare(before, after)
    doubtful = _perhaps_observer(change, after)
    parts: dict[str, list[SignChange]] = {
        "Worse": [],
        OBSERVER: [],
        "Better": [],
        "Also changed": [],
    }
    for sign in change.gravest:
        title = "Better" if sign.better and sign.beyond else "Also changed"
        if sign.worse:
            title = OBSERVER if sign.key in doubtful else "Worse"
        parts[title].append(sign)
    if change.patterns:
        yield f"Worse altogether: {'; '.join(patterns_moved(change))}."
    if not change.signs:
        yield f"{capital(headline(change))}."
    for title, signs in parts.items():
        for seen, mine in by_examination(signs, stay, before):
            since = "" if seen.id == last.id else f" since {moment(seen.at, after.at)}"
            yield f"{title}{since}: {changes_of(mine)}."
    yield from (f"{title}: {text}." for title, text in beside_changes(change).items() if text)


def _over_stay(first: Examination, last: Examination) -> Iterator[str]:
    """What changed from the first look of the stay at each sign to the last examination."""
    yield from _changed(Stay((first,)), last, first)


# --- the charts


def places(times: Sequence[datetime], until: datetime) -> list[int]:
    """The columns at which times stand on the axis: by time, in their order, none on another."""
    first = min(times)
    whole = max((max(*times, until) - first).total_seconds(), 1.0)
    found: list[int] = []
    for number, at in enumerate(times):
        by_time = round((at - first).total_seconds() / whole * (AXIS - GAP))
        latest = AXIS - GAP * (len(times) - number)
        least = found[-1] + GAP if found else 0
        found.append(max(least, min(by_time, latest)))
    return found


def _between(at: datetime, times: Sequence[datetime], columns: Sequence[int]) -> int:
    """The column of a time between those of the examinations."""
    ordered = sorted(times)
    after = bisect_right(ordered, at)
    if after == 0:
        return columns[0]
    start, left = ordered[after - 1], columns[after - 1]
    if after == len(ordered):
        return min(AXIS - 1, left + 1)
    span = (ordered[after] - start).total_seconds()
    share = (at - start).total_seconds() / span if span else 0.0
    return max(left + 1, min(columns[after] - 1, left + round(share * (columns[after] - left))))


def _row(name: str, marks: Sequence[tuple[int, str]], fill: str = " ") -> str:
    """A line of a chart: a name, and texts at their columns."""
    cells = [fill] * AXIS
    for column, text in marks:
        free = next((c for c in range(column, AXIS) if cells[c] == fill), column)
        for n, character in enumerate(text[: AXIS - free]):
            cells[free + n] = character
    return f"{name[:NAME]:<{NAME}} {''.join(cells)}".rstrip()


def chart(
    examinations: Sequence[Examination],
    moved: Sequence[Key],
    called: Sequence[int] | None = None,
) -> list[str]:
    """A line for each sign with its grades at their times, what was due and done marked between.

    Of many examinations the first and the last ones stand in it.

    Args:
        examinations: In the order saved.
        moved: The signs that changed.
        called: The numbers by which they are called; from 1 on where none are given.
    """
    called = called or range(1, len(examinations) + 1)
    most = AXIS // GAP
    numbers = list(range(len(examinations)))
    if len(numbers) > most:
        numbers = [0, *numbers[1 - most :]]
    shown = [examinations[n] for n in numbers]
    times = [e.at for e in shown]
    due = [end for e in shown for end, _ in due_of(e)]
    done = [(at, MARKS[kind]) for e in shown for at, _, kind in done_with(e)]
    columns = places(times, max([*(at for at, _ in done), *times]))
    lines = [_row("", [(c, str(called[n])) for c, n in zip(columns, numbers, strict=True)])]
    if done:
        lines.append(_row("done", [(_between(at, times, columns), m) for at, m in done]))
    if due:
        lines.append(_row("due", [(_between(at, times, columns), DUE) for at in due]))
    scores = [sum_score(e) for e in shown]
    if sum(s is not None for s in scores) > 1:
        said = [UNEXAMINED if s is None else str(s) for s in scores]
        lines.append(
            _row(f"MRC sum score of {full_score()}", list(zip(columns, said, strict=True)), ".")
        )
    in_words: list[str] = []
    for sign, side in moved:
        row = catalogue()[sign]
        found = [e.finding(sign, side) for e in shown]
        said = [in_short(f) if f else UNEXAMINED for f in found]
        name = name_on(row, side)
        if row.answers in SHORT and max(map(len, said)) < GAP and len(name) <= NAME:
            lines.append(_row(name, list(zip(columns, said, strict=True)), "."))
            continue
        told = "; ".join(f"{called[n]} {text}" for n, text in zip(numbers, said, strict=True))
        in_words += wrapped(f"{name}: {told}")
    return lines + in_words


def _moved(examinations: Sequence[Examination]) -> list[Key]:
    """The signs that changed from one look at them to the next, those that did most first, both sides together."""
    size: dict[Key, tuple[bool, float]] = {}
    stands = [*itertools.accumulate(examinations, over)]
    for before, after in zip(stands, examinations[1:], strict=False):
        for sign in compare(before, after).signs:
            step = (sign.worse and sign.beyond, abs(sign.size or 1.0))
            size[sign.key] = max(size.get(sign.key, (False, 0.0)), step)
    most: dict[str, tuple[bool, float]] = {}
    for (name, _), moved in size.items():
        most[name] = max(most.get(name, (False, 0.0)), moved)
    places = list(catalogue())
    return sorted(size, key=lambda key: (not most[key[0]][0], -most[key[0]][1], places.index(key[0]), key[1] == "left"))  # fmt: skip


# --- the whole


def course_text(file: "PatientFile") -> str:
    """Whose it is, examinations and revisions, what was due and done, what changed, charts.

    Of a long stay the last `SHOWN` are told and the first is compared with the last; the text says so. What was
    entered in error has its number and says that, and nothing is compared with it.
    """
    patient, whole = file.patient, len(file.with_errors)
    lines = wrapped(f"COURSE OF {full(patient, unbroken=True)}, bed {clean(patient.bed)}")
    sheets = _sheets(file)
    if not whole:
        return "\n".join([*lines, "No examination is saved yet.", *sheets]) + "\n"
    begin = max(0, whole - SHOWN)
    listed = file.with_errors[begin:]
    if begin:
        lines += [
            f"The last {SHOWN} of {whole} examinations; the {begin} before them stand in the notes."
        ]
    before = file.telling(listed[0].id) if begin else ()
    counting: dict[int, Examination] = {}
    for number, e in enumerate(listed, begin + 1):
        lines += ["", *_told(number, e, Stay(before), file)]
        if not e.in_error:
            counting[number] = e
            before = (*before, e)
    examinations = tuple(counting.values())
    if not examinations:
        lines += ["", NONE_COUNTS]
    lines += _over(file, counting)
    if len(examinations) > 1:
        lines += ["", SEEN]
    lines += sheets
    if moved := _moved(examinations):
        lines += ["", "GRADES AT EACH EXAMINATION, by number and spaced by time"]
        lines += chart(examinations, moved, [*counting])
        lines += wrapped(LEGEND)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _over(file: "PatientFile", counting: "Mapping[int, Examination]") -> list[str]:
    """What changed from the first look at each sign to the last examination, where there are more than two."""
    if len(file.examinations) <= 2:
        return []
    number, last = [*counting.items()][-1]
    first = Stay(file.telling(last.id)).first
    if first is None:
        return []
    lines = ["", f"Over the stay, {number} against the first look at each sign:"]
    for text in _over_stay(first, last):
        lines += wrapped(text, "   ")
    return lines


def _sheets(file: "PatientFile") -> list[str]:
    """Each cord injury sheet with its results, and what changed from the one before, what fell first."""
    lines: list[str] = []
    before: KeptSheet | None = None
    for number, kept in enumerate(latest(file.sheets), 1):
        lines += [] if lines else ["", "CORD INJURY SHEETS"]
        computed = compute(kept.sheet, deciding=False)
        again = f", revision {kept.revision}" if kept.revision > 1 else ""
        who = f"{at_words(kept.at)} {clean(kept.examiner)}{again}"
        lines += wrapped(f"{number}. {who}: {in_one_line(computed)}")
        for text in since(before, computed)[1:]:
            lines += wrapped(text, "   ")
        before = kept
    return lines


def _told(number: int, e: Examination, stay: Stay, file: "PatientFile") -> list[str]:
    """One examination: when, by whom, its revisions, what changed, what was due and done; of one entered in error that it was."""
    count = counted(len(e.findings), "finding")
    late = late_words(e)
    lines = wrapped(
        f"{number}. {e.at.day} {e.at:%b %Y %H:%M} {clean(e.by_whom)}, {count}{late and f', {late}'}"
    )
    if error := file.in_error(e.id):
        return lines + wrapped(error_line(error), "   ")
    if e.revision > 1:
        revisions = file.revisions(e.id)
        for replaced, revision in itertools.pairwise(revisions):
            if a := revision.amendment:
                said = "; ".join(revised(replaced, revision)) or "nothing in what was found"
                text = f"revision {revision.revision}, {a.at:%Y-%m-%d %H:%M} {clean(a.by)}: {clean(a.why)}. Changed: {said}."
                lines += wrapped(text, "   ")
    if stay.before:
        before = stay.before[-1]
        if e.at < before.at:
            lines += wrapped("Saved after the one above, though its time is earlier: a clock was wrong, or it was entered late.", "   ")  # fmt: skip
        for text in _changed(stay, e, before):
            lines += wrapped(text, "   ")
    dated: list[Dated] = [*due_of(e), *((at, text) for at, text, _ in done_with(e))]
    for at, text in sorted(dated):
        lines += wrapped(f"{clock(at, e.at)} {text}", "   ")
    if e.impression.strip():
        lines += wrapped(f"Impression: {clean(e.impression.strip())}", "   ")
    return lines
