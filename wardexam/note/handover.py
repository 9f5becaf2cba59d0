"""The ward's handover sheet: sickest and most changed first, ten patients to a screen of 80x24.

After the overview every reason of urgency of each patient: what to do, by when, what was done; and what was found,
by the same sentences as in the note.
"""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from wardexam.exam import identity
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.moments import clock, moment
from wardexam.exam.text import COLUMN, capital, counted, cut, natural, to_ascii
from wardexam.note import cord_sheet, sentences
from wardexam.note.gone import HEAD as GONE_HEAD
from wardexam.note.gone import Gone
from wardexam.note.headline import of_admission, off_in, shortened, summarise, void_words
from wardexam.note.limits import late_words, listed_word, rounded, until
from wardexam.note.reasons import to_do_and_answered
from wardexam.note.since import by_examination, since_words, slides_sentence
from wardexam.note.switched_off import off_lines
from wardexam.reasoning.rules.change import Comparison, compare
from wardexam.reasoning.rules.change_words import told_bare, ways
from wardexam.reasoning.rules.deadlines import overdue
from wardexam.reasoning.rules.firing import WORSE
from wardexam.reasoning.rules.reason import Urgency
from wardexam.reasoning.rules.rule_table import WORDS
from wardexam.reasoning.rules.standing import standing, still_open
from wardexam.reasoning.rules.stay import Slide, Stay, stay_words
from wardexam.reasoning.rules.urgency import assess
from wardexam.records.repository import (
    Bed,
    DraftInfo,
    Papers,
    PatientFile,
    Summary,
    next_examination,
)

if TYPE_CHECKING:
    from wardexam.reasoning.rules.wording import Wording

PER_SCREEN = 10
# A page is its heading, two lines a patient and a blank line; without the blank it fills 80x24's room.
PAGE_LINES = 2 * PER_SCREEN + 2
WIDTH, REASON = 80, 29
WHOLE_HEAD = "REASONS, WHAT WAS DONE AND BY WHEN; WHAT WAS FOUND"
NOTHING_YET = "nothing examined, no flag asked"
SHORT = ("open", "days", "today", "NOW")
END = (
    "At the right of each: when the next examination is due, or how late it is.\n"
    "What was not examined or not asked is not known. Signs exclude no emergency.\n"
    "Urgency open: not assessed while a flag is not asked. Follow local policy."
)

# A patient with the examinations of the stay, oldest first, and what was stored of the last one.
Row = tuple[Patient, Sequence[Examination], Summary | None]


def due(patient: Patient, last: Examination | None) -> datetime | None:
    """When the next examination is due; None without a schedule."""
    return next_examination(patient.recheck_hours, last.at if last else None, patient.admitted)


def due_in(patient: Patient, last: Examination | None, now: datetime) -> str:
    """When the next examination is due, in words; empty without a schedule."""
    if (at := due(patient, last)) is None:
        return ""
    hours = (at - now).total_seconds() / 3600
    words = rounded(hours, " h")
    return f"{words} late" if hours < 0 else f"exam {words}"


@dataclass(frozen=True, slots=True)
class Told:
    """What is told of a patient's last examination: it, what stood before, what changed, how urgent it is, its headline, what is worse over the stay, and that."""

    last: Examination
    previous: Examination | None
    change: Comparison | None
    urgency: Urgency
    head: Summary
    slides: tuple[Slide, ...]
    stay: Stay


def told_of(examinations: Sequence[Examination], wording: "Wording | None" = None) -> Told | None:
    """What is told of a patient's last examination, the tool's own alarm as it was raised with it; None without one."""
    if not examinations:
        return None
    *before, last = examinations
    previous = standing(before)
    change = compare(previous, last) if previous else None
    stay = Stay(tuple(before))
    slides = stay.slides(last, change)
    urgency = assess(last, previous, None, wording, own=True, still=still_open(before), stay=stay)
    head = summarise(urgency, change, None, slides, sentences.count_open(last, previous))
    return Told(last, previous, change, urgency, head, slides, stay)


def headline_of(
    examinations: Sequence[Examination], wording: "Wording | None" = None
) -> Summary | None:
    """The headline of a patient's last examination against the one before; None without one."""
    of = told_of(examinations, wording)
    return of.head if of else None


def _changed(change: Comparison | None, slides: Sequence[Slide] = ()) -> list[str]:
    """What changed most, and how much more did; the fullest first. Whether it is worse stands above."""
    if change is None:
        return ["first examination", "first"]
    if slides and not change.worse:
        others = f", {len(slides) - 1} more" if len(slides) > 1 else ""
        return [f"{stay_words()}: {slides[0].change.text}{others}", stay_words()]
    return [told_bare(change, way) for way in ways(change)]


def _not_asked(last: Examination, previous: Examination | None) -> tuple[str, ...]:
    """The flags that were not asked, the first by its name or all by number; the fullest first. A yes of earlier in the stay counts as asked."""
    left = sentences.flags_open(last, previous)
    if not left and sentences.flags_before(last, previous):
        return (sentences.count_open(last, previous),)
    if not left:
        return ("all flags asked",)
    more = f" +{len(left) - 1}" if len(left) > 1 else ""
    number = counted(len(left), "flag")
    return f"not asked: {left[0]}{more}", f"{number} not asked", f"{len(left)} not asked"


def _second(
    heads: Sequence[str], examined: str, changed: list[str], not_asked: tuple[str, ...]
) -> str:
    """The second line of a patient: for want of room the flags' names and the change give way, each whole; the rest stands below.

    Args:
        heads: Who it is and what is due or not saved, the fullest first.
        examined: When and by whom it was examined last.
        changed: What changed, the fullest first.
        not_asked: The flags that were not asked, the fullest first.
    """
    pairs = [f"{what}; {left}" for what in changed for left in not_asked]
    rest = [*(f"; {said}" for said in (*pairs, *changed, *not_asked)), ""]
    return _fitting([*(f"{head}; {examined}{said}" for head in heads for said in rest), *heads])


def _fitting(tried: Sequence[str]) -> str:
    """The first that a line has room for; the last of them cut where none has."""
    return next((line for line in tried if len(line) <= WIDTH), cut(tried[-1], WIDTH))


@dataclass(frozen=True, slots=True)
class Unsaved:
    """What is said of an examination that was begun and is not saved.

    Attributes:
        text: In words, with how urgent it is; empty where there is none.
        brief: The same without who entered how much, where there is more to say.
        level: The urgency of what was entered, 0 to 3.
        worse: Whether it is worse than what was saved.
    """

    text: str = ""
    brief: str = ""
    level: int = 0
    worse: bool = False


@dataclass(frozen=True, slots=True)
class Entry:
    """One patient on the sheet.

    Attributes:
        patient: Who it is.
        told: What is told of the last examination; None where nobody examined.
        beside: What was found beside the examinations and is not in the urgency.
        level: The urgency that the patient stands with, 0 to 3.
        headline: Why.
        order: Where the patient stands, first to last.
        unsaved: What is said of an examination that was begun and is not saved.
        admission: What the reason for admission tells of a patient whom nobody examined, its limits since the admission; None where it raises nothing.
    """

    patient: Patient
    told: Told | None
    beside: str
    level: int
    headline: str
    order: tuple[float, ...]
    unsaved: Unsaved
    admission: Summary | None = None


def _entry(
    row: Row, beside: str, begun: Unsaved, now: datetime, wording: "Wording | None"
) -> Entry:
    patient, examinations, stored = row
    of = told_of(examinations, wording)
    if of is None:
        told = of_admission(patient.remark, patient.age, patient.sex, wording, patient.admitted)
        level, text = (told.urgency, told.short or told.headline) if told else (0, "")
        first = -max(2.5, begun.level, level)
        return Entry(patient, None, beside, level, text, (first, 0.0, 0.0, 0.0, 0.0), begun, told)
    head, change = of.head, of.change
    level, text = head.urgency, head.headline
    if (
        stored and stored.urgency > level
    ):  # raised by the inferred site when an earlier version saved it
        level, text = stored.urgency, stored.headline
    worst = sum(1 for s in change.signs if s.worse and s.beyond) if change else 0
    late = overdue(head.due_at, now)
    gravest = max(level, begun.level)
    undone = head.new and head.due_at is not None
    order = (
        -float(gravest),
        -float(undone),
        -float(head.worse or begun.worse),
        -float(worst),
        -float(late is not None),
    )
    return Entry(patient, of, beside, level, text, order, begun)


def _lines(entry: Entry, now: datetime) -> str:
    """The two lines of a patient in the overview."""
    patient, of = entry.patient, entry.told
    age = "" if patient.age is None else f"{patient.age}y"
    who = f"{to_ascii(patient.bed)[:5]:<6}{cut(to_ascii(patient.name), 18):<18}{age:>4} "
    mark = f"  {to_ascii(identity.mark(patient))}"
    due = due_in(patient, of.last if of else None, now)
    if of is None:
        # What was told at admission may be graver than it says.
        word = SHORT[-1] if entry.level == len(SHORT) - 1 else f"{SHORT[entry.level]}?" if entry.level else "not yet"  # fmt: skip
        why = shortened(to_ascii(entry.headline or "no examination is stored"), REASON)
        first = f"{who}{word:<12}{why:<{REASON}} {due:>9}"
        said = (entry.unsaved.text, entry.unsaved.brief) if entry.unsaved.text else (NOTHING_YET,)
        came = f"{to_ascii(patient.remark)}; " if patient.remark else ""
        ends = entry.admission.due_at if entry.admission else None
        late = overdue(ends, now)
        runs = f"; due {until(ends, now)}" if ends else ""
        limit = f"; {late_words(late)}" if late is not None else runs
        tried = [f"{mark}{limit}; {more}{text}" for more in (came, "") for text in said]
        return f"{first.rstrip()}\n{_fitting(tried)}"
    head, last = of.head, of.last
    level, text = entry.level, entry.headline
    brief = head.short or text
    if not level and last.impression:
        text = brief = last.impression
    late = overdue(head.due_at, now)
    runs = f"; due {until(head.due_at, now)}" if head.due_at else ""
    passed = f"; {late_words(late)}" if late is not None else runs
    short = listed_word(head, now, SHORT[level]) if level == head.urgency else SHORT[level]
    why = next((t for t in map(to_ascii, (text, brief)) if len(t) <= REASON), shortened(to_ascii(brief), REASON))  # fmt: skip
    word = f"{short}{' WORSE' if head.worse else ''}"
    first = f"{who}{word:<12}{why:<{REASON}} {due:>9}"
    examined = f"examined {clock(last.at, now)} {cut(to_ascii(last.examiner), 12)}".rstrip()
    begun = [f"; {text}" for text in (entry.unsaved.text, entry.unsaved.brief) if text] or [""]
    heads, changed = [f"{mark}{passed}{text}" for text in begun], _changed(of.change, of.slides)
    second = _second(heads, examined, changed, _not_asked(last, of.previous))
    # What changed goes before a limit that runs, but before none of now.
    if late is None and changed[0] not in second and WORDS[level] != "now":
        second = _second(
            [f"{mark}{text}" for text in begun], examined, changed, _not_asked(last, of.previous)
        )
    return f"{first.rstrip()}\n{second}"


def _whole(entry: Entry, now: datetime) -> list[str]:
    """Every reason of a patient's urgency and what was found, under who it is; nothing where nobody examined, but what is switched off here."""
    patient, of, beside = entry.patient, entry.told, entry.beside
    off = capital(off_in(entry.admission)) if entry.admission else ""
    if of is None and not beside and not off:
        return []
    who = f"{patient.bed} {patient.name}, {identity.mark(patient)}"
    lines = [cut(to_ascii(who), WIDTH)]
    told = list(filter(None, (off, entry.unsaved.text, beside)))
    if of is not None:
        to_do, answered = to_do_and_answered(of.urgency, now, now)
        told = [*off_lines(of.urgency), *to_do, *told, *found(of), *answered]
    for text in told:
        lines += textwrap.wrap(to_ascii(text), WIDTH, initial_indent="  ", subsequent_indent="    ")
    return lines


def found(of: Told) -> Iterator[str]:
    """The doctor's impression, what changed, was abnormal, could not be tested and was not examined, a sentence each."""
    if of.last.impression.strip():
        yield f"Impression: {of.last.impression.strip()}"
    if of.change and of.previous:
        for earlier, signs in by_examination(of.change.gravest, of.stay, of.previous):
            yield f"Changed since {since_words(earlier, of.last)}: {sentences.changes_of(signs)}."
        beside = sentences.beside_changes(of.change)
        yield from (f"{title}: {text}." for title, text in beside.items() if text)
    if text := slides_sentence(of.slides, of.last.at):
        yield text
    said = {
        "Abnormal": " ".join(f"{title}: {text}" for title, text in sentences.abnormal(of.last)),
        **sentences.beside_abnormal(of.previous, of.last),
    }
    yield from (f"{title}: {text.rstrip('.')}." for title, text in said.items() if text)


def left_out(beds: Sequence[Bed]) -> str:
    """The first line of a sheet from which patients are missing whose record cannot be read; else empty."""
    missing = ", ".join(to_ascii(bed.bed) for bed in beds)
    return f"NOT ON THIS SHEET, their record cannot be read: bed {missing}\n" if missing else ""


def _told(file: PatientFile) -> tuple[Examination, ...]:
    """The last examination and, before it, those that say what stood until then."""
    last = file.examinations[-1:]
    return (*file.telling(last[0].id), *last) if last else ()


def _rows(papers: Papers, now: datetime) -> tuple[list[Row], dict[str, str]]:
    """What the sheet is made from, and what was found beside the examinations by a patient's identifier."""
    rows = [(f.patient, _told(f), bed.summary) for bed, f in papers.rows]
    return list(rows), {f.patient.id: _beside(f, now) for _, f in papers.rows}


def _beside(file: PatientFile, now: datetime) -> str:
    """What is told beside the examinations that count: a cord injury sheet, that none counts of those saved, or the last does not."""
    last = file.examinations[-1] if file.examinations else None
    errors = len({name for name, _ in file.numbered()}) if last is None else 0
    none = f"{counted(errors, 'examination')} entered in error, none counts." if errors else ""
    if last and (void := void_words(file, now)):
        none = f"{capital(void)}, it counts no more."
    return " ".join(filter(None, (none, cord_sheet.line(file.sheets, last, now))))


def _unsaved(papers: Papers, begun: Mapping[str, Summary]) -> dict[str, Unsaved]:
    """What is said of each patient's gravest draft, of equal ones of the last, by the patient's identifier."""
    said = {d: _of_draft(d, begun.get(d.draft_id)) for d in papers.drafts}
    return {d.patient_id: said[d] for d in sorted(said, key=lambda d: (said[d].level, said[d].worse))}  # fmt: skip


def _of_draft(draft: DraftInfo, said: Summary | None) -> Unsaved:
    number = counted(draft.keys, "entry", "entries")
    who = f"{number} by {cut(to_ascii(draft.by), 12)}"
    if said is None or not said.urgency:
        return Unsaved(f"NOT SAVED: {who}", f"NOT SAVED: {number}")
    whole, brief = to_ascii(said.headline), to_ascii(said.short or said.headline)
    why = whole if len(whole) <= COLUMN else shortened(brief, COLUMN)
    worse = "," if why.startswith(WORSE) else f" {WORSE.upper()}" if said.worse else ""
    level = f"NOT SAVED: {SHORT[said.urgency]}{worse}"
    return Unsaved(f"{level} {whole}, {who}", f"{level} {why}", said.urgency, said.worse)


def _ordered(
    rows: Sequence[Row], beside: Mapping[str, str], now: datetime, wording: "Wording | None",
    unsaved: Mapping[str, Unsaved],
) -> list[Entry]:  # fmt: skip
    made = [
        _entry(row, beside.get(row[0].id, ""), unsaved.get(row[0].id, Unsaved()), now, wording)
        for row in rows
    ]
    return sorted(made, key=lambda e: (e.order, natural(e.patient.bed)))


def entries(
    papers: Papers, *, now: datetime, wording: "Wording | None" = None, begun: Mapping[str, Summary]
) -> list[Entry]:
    """The patients of a ward's sheet, in its order; the arguments are those of `sheet`."""
    return _ordered(*_rows(papers, now), now, wording, _unsaved(papers, begun))


def sheet(
    papers: Papers, head: str, *, now: datetime, wording: "Wording | None" = None,
    begun: Mapping[str, Summary], left: Sequence[Gone] = (),
) -> str:  # fmt: skip
    """The sheet of a ward, every file behind it verified as it was read.

    Its first line names those who are not on it; its last is the head of the audit trail, which
    ``wardexam check --trail`` compares with the trail as it then stands.

    Args:
        papers: The patients with their files, and who was left out.
        head: The head of the audit trail; empty where there is none.
        now: When it is made.
        wording: The hospital's own words for urgency.
        begun: What drafts say with what stands from before, by the draft's identifier (`wardexam.unsaved`).
        left: Who left with what is not answered (`wardexam.note.gone`).
    """
    rows, beside = _rows(papers, now)
    text = left_out(papers.left_out) + render(
        rows, now=now, wording=wording, beside=beside, unsaved=_unsaved(papers, begun), left=left
    )
    return text + (f"Audit trail {head}\n" if head else "")


def render(
    rows: Sequence[Row], *, now: datetime, wording: "Wording | None" = None,
    beside: Mapping[str, str] | None = None, unsaved: Mapping[str, Unsaved] | None = None,
    left: Sequence[Gone] = (),
) -> str:  # fmt: skip
    """The sheet as plain ASCII text, 80 columns, two lines a patient, a blank line between pages.

    By a patient's identifier `beside` says what was found beside the examinations and is not in the urgency,
    `unsaved` that an examination was begun and is not saved. Who is in `left` is named at its end.
    """
    made = _ordered(rows, beside or {}, now, wording, unsaved or {})
    pages = []
    for number in range(0, max(1, len(made)), PER_SCREEN):
        page = made[number : number + PER_SCREEN]
        places = f"{number + 1}-{number + len(page)}" if page else "0"
        head = f"HANDOVER {now:%d %b %Y %H:%M}  {places} of {len(made)}, sickest and most changed first"
        pages.append("\n".join([head, *(_lines(entry, now) for entry in page)]))
    reasons = [line for entry in made for line in _whole(entry, now)]
    told = ["\n".join([WHOLE_HEAD, *reasons])] if reasons else []
    gone = [line for one in left for line in _gone(one, now)]
    told += ["\n".join([GONE_HEAD, *gone])] if gone else []
    return "\n\n".join([*pages, *told, END]) + "\n"


def _gone(left: Gone, now: datetime) -> list[str]:
    """Who left with what is not answered."""
    text = f"{left.bed} {left.who}, discharged {moment(left.at, now)}. {left.said}."
    return textwrap.wrap(to_ascii(text), WIDTH, subsequent_indent="    ")
