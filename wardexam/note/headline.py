"""One line for the ward list: urgency, whether worse, and the leading words."""

import textwrap
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from wardexam.exam.act_kinds import act_kinds
from wardexam.exam.admission import context_of
from wardexam.exam.examination import Examination, Findings
from wardexam.exam.moments import moment, there
from wardexam.exam.text import counted, to_ascii
from wardexam.note.limits import listed_word, running
from wardexam.note.reasons import first_due, next_step, settled_by
from wardexam.note.switched_off import off_brief
from wardexam.note.telling import worth_telling
from wardexam.reasoning.reading import Reading, Site
from wardexam.reasoning.rules.change import Comparison
from wardexam.reasoning.rules.reason import Urgency
from wardexam.reasoning.rules.stay import Slide
from wardexam.reasoning.rules.urgency import OFF_HERE, assess
from wardexam.records.repository import PatientFile, Summary

if TYPE_CHECKING:
    from wardexam.reasoning.rules.wording import Wording

LONGEST = 160  # characters of the words, more than any reason of the table takes
NOBODY = "nobody00"  # examined whom only the reason for admission speaks of
VOID = "last entered in error"  # where a list has little room, in at most `COLUMN` columns
LONGEST_STEP = 120  # and of the step that is due


def shortened(text: str, width: int) -> str:
    """The text in at most `width` characters, broken between words, ending in ``..`` where cut."""
    return textwrap.shorten(text, width, placeholder="..") if len(text) > width else text


def summarise(
    urgency: Urgency,
    change: Comparison | None,
    reading: Reading | None,
    slides: Sequence[Slide] = (),
    not_asked: str = "",
) -> Summary:
    """What the store keeps of an examination for the ward list; it is worse where it is so since the last one, or newly so over the stay.

    `not_asked` is how many flags were not asked beside those of earlier in the stay (`sentences.count_open`); all where it is empty.
    """
    worse, brief = bool(change and change.worse) or any(s.anew for s in slides), ""
    first = next(iter(urgency.reasons), None)
    if first:
        text, brief = first.text, first.brief
        if first.answered and first.due is None and first.acts:
            last = act_kinds()[first.acts[-1].kind].words
            text = f"{text}, {settled_by(first) or last}"
    elif urgency.answered_yes:
        text = "flag yes: " + ", ".join(urgency.answered_yes)
    else:
        asked, named = len(urgency.not_asked), _named(reading)
        brief = (not_asked or f"{counted(asked, 'flag')} not asked") if asked else ""
        place = f"{named.word}: {named.name}" if named else ""
        text = "; ".join(filter(None, (brief, place))) or urgency.word
    due, step = "", ""
    if (running := first_due(urgency)) and running.due:
        due = running.due.isoformat()
        # The step of another reason than the one that is named says of which.
        of = "" if running is first else f"({running.brief or running.text}) "
        step = shortened(
            to_ascii(f"{of}{next_step(running, there(running.due, running.since or running.due))}"),
            LONGEST_STEP,
        )
    off = f"; {to_ascii(off_brief(urgency))}" if urgency.switched_off else ""
    headline = shortened(to_ascii(text), LONGEST - len(off)) + off
    if off and not brief:
        brief = f"{len(urgency.switched_off)} {OFF_HERE}"
    new = any(not r.answered for r in urgency.reasons if r.urgency == urgency.level)
    return Summary(urgency.level, urgency.word, worse, headline, due, step, new, to_ascii(brief))


def of_admission(
    reason: str, age: int | None, sex: str, wording: "Wording | None" = None,
    admitted: datetime | None = None,
) -> Summary | None:  # fmt: skip
    """What the reason for admission says by itself of a patient whom nobody has examined; None where it raises nothing, nor would but for a rule that is switched off here.

    Its limits run from the admission where that is given.
    """
    context = context_of(reason, age, sex)
    found = (
        Findings(context=context)
        if admitted is None
        else Examination(id=NOBODY, patient=NOBODY, examiner=NOBODY, at=admitted, context=context)
    )
    urgency = assess(found, None, None, wording)
    return summarise(urgency, None, None) if urgency.level or urgency.switched_off else None


def _named(reading: Reading | None) -> Site | None:
    """The site that is named on the list; None where none stands out enough."""
    first = next(iter(reading.sites), None) if reading else None
    if reading is None or first is None:
        return None
    return first if worth_telling("site_on_list", first.probability, reading.entered) else None


def listed_parts(summary: Summary, now: datetime, *, clock: bool = True) -> tuple[str, ...]:
    """What a list says of a patient: how urgent, the clock that runs unless left out, what is switched off here."""
    runs = running(summary, now) if clock else ""
    level = listed_word(summary, now, summary.urgency_word)
    return level, *filter(None, (runs, off_in(summary)))


def void_words(file: PatientFile, beside: datetime) -> str:
    """That the examination saved last was entered in error and counts no more; empty where it counts, so that the next one ends it."""
    last = next(reversed(dict.fromkeys(name for name, _ in file.numbered())), "")
    if not last or file.in_error(last) is None:
        return ""
    return f"examination of {moment(file.revisions(last)[-1].at, beside)} entered in error"


def with_void(summary: Summary, file: PatientFile, beside: datetime) -> Summary:
    """What a list says, and that the examination saved last was entered in error: first where nothing is urgent, else last."""
    words = to_ascii(void_words(file, beside))
    if not words:
        return summary
    said = (summary.headline, words) if summary.urgency else (words, summary.headline)
    short = summary.short if summary.urgency else VOID
    return replace(summary, headline="; ".join(filter(None, said)), short=short)


def off_in(summary: Summary) -> str:
    """What a stored headline says to be switched off here; empty where it says nothing of it."""
    _, found, rest = summary.headline.partition(OFF_HERE)
    return f"{found}{rest}"
