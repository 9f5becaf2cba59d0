"""`wardexam audit`: the ward's own figures for a period, as text, CSV or a picture."""

import argparse
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.errors import InputError, RecordsError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from wardexam.records.repository import Repository
    from wardexam.review.counting import Period
    from wardexam.review.figures import Review

DAYS = 365  # before today, where no day is given
# Days that have a period before them and a day after.
FIRST, LAST = datetime.min + timedelta(days=DAYS), datetime.max - timedelta(days=1)
LINE = 80  # columns
MOST_HOURS = 168  # between two examinations of a pair


def _day(text: str, option: str, now: datetime) -> datetime:
    """The beginning of a day, in the zone of the terminal as it was on that day.

    Raises:
        InputError: It is no day.
    """
    try:
        day = datetime.strptime(text, "%Y-%m-%d")
    except ValueError:
        raise InputError("is no day; such as 2026-01-31", f"{option} {text[:20]}") from None
    try:
        if not FIRST <= day <= LAST:
            raise OverflowError
        return day.astimezone() if now.tzinfo else day
    except (OverflowError, OSError):
        raise InputError("is out of reach", f"{option} {text}") from None


def period(options: argparse.Namespace, now: datetime) -> "Period":
    """The period that is meant: both days are in it; the year up to today where none is given."""
    from wardexam.review.counting import Period

    today = now.replace(hour=0, minute=0, second=0, microsecond=0)
    last = _day(options.until, "--to", now) if options.until else today
    begin = _day(options.since, "--from", now) if options.since else last - timedelta(days=DAYS - 1)
    end = last + timedelta(days=1)
    if begin >= end:
        raise InputError("ends before it begins", f"--from {options.since} --to {options.until}")
    return Period(begin, end, now)


def audit(options: argparse.Namespace) -> int:
    """Print the figures of a period."""
    from wardexam.review.paper import paper
    from wardexam.review.standards import standards
    from wardexam.review.table import patients_table, table

    ward, now = edge.ward(options), edge.now()
    meant = period(options, now)
    ward.record("exported", "ward", edge.examiner(options), "audit")
    made = _review(ward, meant)
    if options.csv:
        text = "".join(table(made))
    elif options.patients:
        text = "".join(patients_table(made, standards()))
    elif options.svg:
        from wardexam.review.picture import picture

        text = picture(made, standards())
    else:
        text = paper(made, standards()) + _off(options)
    edge.put(text)
    return _left_out(made.unread)


def _left_out(unread: "Sequence[tuple[str, str]]") -> int:
    """Say whose record could not be read and why; the exit code of that."""
    for name, why in unread:
        edge.complain(f"left out: {name}: {why}")
    return RecordsError.exit_code if unread else 0


def _off(options: argparse.Namespace) -> str:
    """Which rules are switched off here, since their reasons are in no figure; empty where none is."""
    import textwrap

    from wardexam.reasoning.rules.switched_off import OFF_ON, switched_off

    wording = edge.spoken(options)
    named = [f"{rule} since {wording[rule][OFF_ON]}" for rule in switched_off(wording)]
    said = f"Switched off here, so in no figure: {', '.join(named)}."
    return "\n" + "\n".join(textwrap.wrap(said, LINE)) + "\n" if named else ""


def _review(ward: "Repository", meant: "Period") -> "Review":
    from wardexam.exam.text import counted
    from wardexam.review.figures import review
    from wardexam.review.gather import counted_stays
    from wardexam.review.standards import standards

    stays = ward.stays()
    made, unread = counted_stays(
        stays,
        meant,
        lambda number: edge.progress(f"read: {number} of {counted(len(stays), 'patient')}"),
    )
    edge.progress("")
    return review(made, ward.events(), meant, standards(), unread)


def agreement(options: argparse.Namespace) -> int:
    """Print two doctors' examinations of one patient side by side, or the agreement over the ward."""
    from wardexam.commands.whose import identifier
    from wardexam.review.pairing import HOURS

    ward = edge.ward(options)
    if not options.patient:
        return _ward_agreement(options, ward, HOURS if options.hours is None else options.hours)
    if options.csv or options.hours is not None or options.since or options.until:
        raise InputError("--from, --to, --hours and --csv go with the whole ward", options.patient)
    return _two(options, ward, identifier(ward, options.patient))


def _two(options: argparse.Namespace, ward: "Repository", whose: str) -> int:
    from wardexam.review.agreeing import last_two, side_by_side

    file = ward.file(whose)
    given = options.examinations
    if given and len(given) != 2:
        raise InputError("two examinations are compared", " ".join(given), "name two, or none")
    if given:
        known = {e.id: e for e in file.examinations}
        for name in given:
            if name not in known:
                last = ", ".join([*known][-10:]) or "none"
                raise InputError(f"no examination '{name}'", whose, f"known: {last}")
        chosen = known[given[0]], known[given[1]]
    else:
        found = last_two(tuple(file.examinations))
        if found is None:
            raise InputError("no two examinations by two doctors are stored", whose)
        chosen = found
    ward.record("exported", whose, edge.examiner(options))
    edge.put(side_by_side(file.patient, *chosen))
    return 0


def _ward_agreement(options: argparse.Namespace, ward: "Repository", hours: float) -> int:
    from wardexam.exam.text import counted
    from wardexam.review.agreeing import ward_agreement, ward_paper, ward_table
    from wardexam.review.gather import paired_stays

    if not 0 < hours <= MOST_HOURS:
        raise InputError(f"more than 0 and at most {MOST_HOURS}", f"--hours {hours:g}")
    meant, stays = period(options, edge.now()), ward.stays()
    ward.record("exported", "ward", edge.examiner(options), "agreement")
    found, unread = paired_stays(
        stays,
        meant,
        hours,
        lambda number: edge.progress(f"read: {number} of {counted(len(stays), 'patient')}"),
    )
    edge.progress("")
    made = ward_agreement(found, meant, hours, len(unread))
    edge.put("".join(ward_table(made)) if options.csv else ward_paper(made))
    return _left_out(unread)
