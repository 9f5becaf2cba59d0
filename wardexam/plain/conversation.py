"""The examination on plain lines: for a screen reader, or where a full screen is impossible.

Asks sign by sign, side by side, with the same findings, reasoning, drafts and note as the screen.
One question is one line and one answer is one line; nothing moves and nothing is drawn. Needs no
Textual, so that it runs with ``TERM=dumb`` and through a pipe.
"""

import contextlib
import re
import signal
from collections.abc import Callable, Iterable
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, TextIO, TypeVar

from wardexam import signals
from wardexam.anatomy.catalogue import PARTS, signs_of
from wardexam.errors import InputError, RecordsError, WardexamError
from wardexam.exam.admission import is_heard, no_adult, reason_text
from wardexam.exam.entry import Change, valid
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.findings import Finding
from wardexam.exam.flags import flags
from wardexam.exam.identity import (
    CHECK,
    SEXES,
    day_words,
    missing,
    read_birth_date,
    read_number,
    years_completed,
)
from wardexam.exam.looking_up import looked_up
from wardexam.exam.row_sets import row_sets, set_for
from wardexam.exam.story import complaints
from wardexam.exam.text import clean, counted
from wardexam.exam.wording import spoken
from wardexam.governance.reviews import due_line
from wardexam.note.headline import listed_parts, of_admission
from wardexam.note.suggestion import accepted_text
from wardexam.plain import answers, words
from wardexam.plain.lookup import Question, ask_onset, enter_line, find, is_line, questions_of
from wardexam.plain.sitting import COMMANDS, HELP, KEEP, Sitting, ask_flags
from wardexam.plain.talk import WIDTH, LeavingError, Talk, Writer
from wardexam.reasoning.reading import CAUTION
from wardexam.records.locks import BusyError
from wardexam.records.outbox import Outbox
from wardexam.records.repository import AmendedMeanwhileError, OutageError
from wardexam.records.whose import (
    bed_words,
    name_words,
    namesake,
    number_words,
    other_with,
    stayed_before,
    stayed_words,
)  # fmt: skip
from wardexam.session import Session
from wardexam.visit import Visit

if TYPE_CHECKING:
    from wardexam.anatomy.catalogue import Sign
    from wardexam.records.repository import Bed

T = TypeVar("T")
WAITS = "The save waits for the ward's store and follows by itself, now or at the next start."


def converse(
    session: Session, *, read: TextIO, write: Writer, width: Callable[[], int] = lambda: WIDTH
) -> int:
    """Hold the whole conversation: which patient, the examination, saving, the note.

    Args:
        session: Who examines, where, and what comes in at the edge.
        read: Where answers come from.
        write: Where questions go.
        width: Gives how many columns a line has.

    Returns:
        0 when saved or left on purpose; 130 when interrupted. The draft is kept either way.
    """
    talk = Talk(read, write, width=width)
    sitting: Sitting | None = None

    def keep(timeout: float) -> None:
        if sitting is not None:
            sitting.visit.draft.flush(timeout)

    ending = signals.Ending(keep, leave=lambda: None, restore=lambda: None)
    with signals.watch(ending, (signal.SIGHUP, signal.SIGTERM)):
        try:
            talk.say("Examination on plain lines. Type h at any question for help.")
            if due := due_line(session.wording, session.now().date()):
                talk.say(due)
            _send_what_waited(talk, session)
            sitting = _begin(talk, session)
            _examine(sitting)
        except (LeavingError, KeyboardInterrupt) as reason:
            if sitting is not None:
                with contextlib.suppress(WardexamError):
                    sitting.visit.pause(KEEP)
                kept = (
                    sitting.visit.draft.problem
                    or "Kept as a draft; 'wardexam enter' offers it again."
                )
                waits = WAITS if sitting.waiting else ""
                talk.say("", *filter(None, (kept, waits)))
            with contextlib.suppress(RecordsError):
                session.ward.settle()
            return 130 if isinstance(reason, KeyboardInterrupt) else 0
    return 0


def _send_what_waited(talk: Talk, session: Session) -> None:
    """Send the saves that an earlier session could not."""
    for sent in Outbox(session.ward.spool).send(session.ward):
        talk.say(clean(sent.told))


def _insisting(talk: Talk, do: Callable[[], T]) -> T:
    """Do something of the store; where that cannot be reached or is held up, ask whether to try again.

    Raises:
        OutageError: It cannot be reached, and nobody tries again.
        BusyError: Another session is in the way, and nobody tries again.
    """
    while True:
        try:
            return do()
        except (OutageError, BusyError) as error:
            talk.say(f"Not done: {clean(error.line)}.")
            if not talk.yes("Try again? y or n:"):
                raise


# -- which patient


def _begin(talk: Talk, session: Session) -> Sitting:
    visit = _offer_drafts(talk, session)
    if visit is None:
        chosen = _choose_patient(talk, session).id
        visit = _insisting(talk, partial(Visit.begin, session, chosen))
    patient = visit.patient
    talk.help = HELP
    talk.say(f"Examining bed {clean(patient.bed)}, {patient.identity}.")
    return Sitting(talk, visit)


def _offer_drafts(talk: Talk, session: Session) -> Visit | None:
    ward = session.ward
    for info in _insisting(talk, ward.drafts):
        if info.held:
            continue
        try:
            if info.trouble:
                raise RecordsError(info.trouble)
            patient = ward.patient(info.patient_id)
        except WardexamError as error:
            talk.say(f"A draft cannot be offered: {clean(error.line)}.")
            continue
        minutes = max(0, round((session.now().timestamp() - info.last) / 60))
        talk.say(
            f"An examination was not finished: bed {clean(patient.bed)}, {patient.identity},"
            f" by {clean(info.by)}, {counted(info.keys, 'answer')}, last {words.ago(minutes)}."
        )
        resume = talk.yes("Go on with it? y, or n for later:")
        if resume:
            return _insisting(talk, partial(Visit.resume, session, info.draft_id))
    return None


def _never_examined(bed: "Bed", session: Session) -> str:
    """What is said of a patient whom nobody has examined: also how urgent the reason for admission makes it."""
    told = of_admission(bed.reason, bed.age, bed.sex, session.wording)
    return f"not examined yet, {told.urgency_word}: {told.headline}" if told else "not examined yet"


def _choose_patient(talk: Talk, session: Session) -> Patient:
    ward = session.ward
    while True:
        beds = _insisting(talk, ward.beds)
        if not beds:
            talk.say("The ward is empty.")
            return _admit(talk, session)
        if ward.problem:
            talk.say(clean(ward.problem) + ".")
        options = [
            f"Bed {clean(b.bed)}, {clean(b.name)}, "
            + (
                "RECORD UNREADABLE"
                if b.trouble
                else "; ".join(listed_parts(b.summary, session.now()))
                if b.summary
                else _never_examined(b, session)
            )
            for b in beds
        ]
        chosen = talk.choose("Which patient? A number, or Enter for a new one:", options)
        if chosen is not None:
            try:
                return ward.patient(beds[chosen].patient_id)
            except WardexamError as error:
                talk.say(f"Cannot be opened: {clean(error.line)}.")
                continue
        if talk.yes("Admit a new patient? y or n:"):
            return _admit(talk, session)


def _admit(talk: Talk, session: Session) -> Patient:
    while True:
        # "bed H": h alone is help.
        bed, name = re.sub("^bed +", "", talk.ask("Bed:"), flags=re.I), talk.ask("Name:")
        admitted = session.now()
        number, born = _identifiers(talk, admitted.date())
        born, age = _age(talk, born, admitted.date())
        sex = talk.ask("Sex: female, male, other; Enter if unknown:").lower()
        reason = _reason(talk)
        try:
            patient = valid(
                Patient,
                {
                    "id": session.new_id(),
                    "bed": bed,
                    "name": name,
                    "number": number,
                    "born": born,
                    "age": years_completed(born, admitted.date())
                    if born
                    else years
                    if (years := _years(age)) is not None
                    else age or None,
                    "sex": next((s for s in SEXES if sex and s.startswith(sex)), sex or "unknown"),
                    "remark": reason,
                    "admitted": admitted,
                },
            )
        except InputError as error:
            talk.say(f"Not accepted: {error.what}. Again, please.")
            continue
        if other := other_with(session.ward, "number", patient.number):
            talk.say(f"Not accepted: {number_words(clean(patient.number), other)}. Again, please.")
            continue
        before = stayed_before(session.ward, patient.name, patient.number)
        if before and not talk.yes(
            f"{stayed_words(before)}; the screen's list of the "
            "discharged restores that stay. Admit anew, without it? y or n:"
        ):
            continue
        if alike := namesake(session.ward, patient.name):
            talk.say(f"{name_words(alike)}.")
        other = other_with(session.ward, "bed", patient.bed)
        if other and not talk.yes(
            f"{bed_words(clean(patient.bed), other)}. Do both lie there? y or n:"
        ):
            continue
        _insisting(talk, partial(session.ward.admit, patient, session.examiner))
        if missing(patient):
            talk.say(f"Admitted {CHECK}")
        return patient


def _years(age: str) -> int | None:
    """A typed age as a number; None where it is none."""
    return int(age) if age.isdecimal() and len(age) < 6 else None


def _reason(talk: Talk) -> str:
    """Why the patient was admitted: words, or a number of the list of complaints."""
    typed = talk.ask("Why admitted? In words, or l for a list; Enter if unknown:")
    if typed.lower() == "l":
        talk.say(*(f"{n}. {c.words}" for n, c in enumerate(complaints(), 1)))
        typed = talk.ask("Why admitted? A number, or words; Enter if unknown:")
    if text := reason_text(typed):
        talk.say(f"Admitted for: {text}.")
        if not is_heard(text):
            talk.say("In these words no alarm can be raised: the examination tells.")
    return text


def _identifiers(talk: Talk, admitted: date) -> tuple[str, date | None]:
    """The hospital's number; where there is none, the birth date. Either may be left unknown."""
    number = talk.until("Hospital number, Enter if unknown:", read_number)
    if number:
        return number, None
    return "", _birth_date(talk, admitted)


def _birth_date(talk: Talk, admitted: date) -> date | None:
    born = talk.until(
        "Birth date such as 4 Mar 1985, Enter if unknown:",
        lambda text: read_birth_date(text, admitted),
    )
    if born:
        talk.say(f"Born {day_words(born)}.")
    return born


def _age(talk: Talk, born: date | None, admitted: date) -> tuple[date | None, str]:
    """The birth date, or the age as typed; a child's is asked about, and asked for again."""
    while True:
        age = "" if born else talk.ask("Age in years, Enter if unknown:")
        child = no_adult(years_completed(born, admitted) if born else _years(age))
        if not child or talk.yes(f"{child}. Keep it? y or n:"):
            return born, age
        born = _birth_date(talk, admitted) if born else None


# -- the questions


def _asked(signs: Iterable["Sign"]) -> list[Question]:
    return [question for sign in signs for question in questions_of(sign)]


def _choose_set(sitting: Sitting) -> list[Question]:
    """The questions of a set, or of a whole part; the reflexes are all in a set. Enter takes that of the complaint."""
    usual = row_sets()[set_for(sitting.examination.context.complaint)].name
    sets = {s.name: _asked(s.signs) for s in row_sets().values()}
    sets |= {f"all of {p}": _asked(signs_of(p)) for p in PARTS if p != "reflexes"}
    options = [f"{name}, {counted(len(asked), 'question')}" for name, asked in sets.items()]
    chosen = sitting.talk.choose(f"Which signs? A number, or Enter for {usual}:", options)
    return sets[usual] if chosen is None else list(sets.values())[chosen]


def _examine(sitting: Sitting) -> None:
    """Ask until saved."""
    talk = sitting.talk
    if sitting.visit.asks_onset:
        ask_onset(sitting)
    questions, at = _choose_set(sitting), 0
    explained: set[str] = set()
    sitting.warn()
    while True:
        if sitting.waiting and (saved := sitting.send()):
            _show_saved(sitting, saved)
            return
        if at >= len(questions):
            sitting.asked = None
            answer = talk.ask("That was the last. s saves, m more signs, b back, h help:")
            if not answer:
                continue
        else:
            sitting.asked = questions[at]
            sign = questions[at][0]
            if sign.answers not in explained:
                explained.add(sign.answers)
                talk.say(f"Answers: {answers.choices(sign, sitting.examination.scale)}.")
            answer = talk.ask(_question(sitting, questions, at))
        word = answer.lower()
        try:
            if word == "m":
                questions, at = _choose_set(sitting), 0
            elif word == "b":
                at = max(0, at - 1)
            elif word == "s":
                if _save(sitting):
                    return
            elif word in COMMANDS:
                COMMANDS[word](sitting)
            elif word.startswith("/"):
                questions[at:at] = find(sitting, word.removeprefix("/").strip())
            elif at >= len(questions) and is_line(answer):
                enter_line(sitting, answer)
            elif at >= len(questions):
                talk.say("There is no question open. h for help, / finds a sign by its name.")
            else:
                at += _answer(sitting, questions, at, answer)
        except InputError as error:
            talk.say(f"Not accepted: {error}.")
        except RecordsError as error:
            talk.say(f"Not done: {clean(error.line)}. Everything entered is kept.")


def _question(sitting: Sitting, questions: list[Question], at: int) -> str:
    sign, side = questions[at]
    found = sitting.examination.finding(sign.id, side)
    stated = sitting.examination.stated_normal(sign.id, side)
    now_is = f", now {spoken(found)}" if found else ", stated normal, w withdraws" if stated else ""
    where = f", {sign.place}" if sign.place else ""
    return f"{at + 1} of {len(questions)}. {sign.name}{words.place(side)}{where}{now_is}:"


def _pair(sitting: Sitting, sign: "Sign", text: str) -> tuple[Finding, ...] | None:
    """What a pair says of right and left; None where it is none, or is meant as one MRC grade."""
    found = answers.pair(sign, text, sitting.examination.scale)
    if found and len(found) == 2 and answers.out_of_five(sign, text):
        grade, right, left = text.split("/")[0].strip(), *(spoken(f) for f in found)
        if sitting.of_five(
            text,
            f"right {right}, left {left}",
            f"grade {grade} out of 5, on this side alone",
            f"type {grade} for one side",
        ):
            return None
    return found


def _answer(sitting: Sitting, questions: list[Question], at: int, text: str) -> int:
    """Take the answer to a question, or to both sides of it; how many questions to move on.

    Raises:
        InputError: The text is no answer here.
    """
    sign, side = questions[at]
    talk, key, word = sitting.talk, f"{sign.id} {side}", text.lower()
    if not text:
        return 1
    if word == "a":
        talk.say(f"Answers: {answers.choices(sign, sitting.examination.scale)}.")
        return 0
    if word == "x":
        if sitting.examination.finding(sign.id, side) is None:
            talk.say("Nothing is entered here.")
        else:
            sitting.change(Change("finding", key), f"{sign.name}{words.place(side)}: not examined.")
        return 0
    if word == "n":
        reasons = answers.reasons()
        chosen = talk.choose("Why not testable? A number:", [words for _, words in reasons])
        if chosen is None:
            return 0
        found = answers.not_testable(sign, side, reasons[chosen][0])
    elif (pair := _pair(sitting, sign, text)) is not None:
        made = [
            (
                Change("finding", f"{f.sign} {f.side}", f.model_dump(mode="json")),
                f"{sign.name}{words.place(f.side)}: {spoken(f)}.",
            )
            for f in pair
        ]
        sitting.change_together(made)
        return 2 if questions[at + 1 : at + 2] == [(sign, "left")] else 1
    else:
        try:
            found = answers.finding(sign, side, text, sitting.examination.scale)
        except InputError:
            if is_line(text):
                enter_line(sitting, text)
                return 0
            if looked_up(text):
                talk.say(f"To go to a sign or question by its name type /{text.strip()}")
            raise
    said = f"{sign.name}{words.place(side)}: {spoken(found)}."
    sitting.change(Change("finding", key, found.model_dump(mode="json")), said)
    return 1


# -- saving

TAKEN_OUT = "-"  # takes an impression away


def _save(sitting: Sitting) -> bool:
    """Save and print the note; whether it is saved."""
    talk, visit = sitting.talk, sitting.visit
    missing = [name for name in flags() if name not in sitting.examination.flags]
    if missing and talk.yes(
        f"Not asked yet: {counted(len(missing), 'red flag')}. Ask now? y or n:"
    ):
        ask_flags(sitting)
    written = sitting.examination.impression
    kept = (
        f"Enter to keep {clean(written)!r}, {TAKEN_OUT} for none" if written else "Enter for none"
    )
    impression = talk.ask(f"Your impression in your own words, {kept}:")
    if written and impression == TAKEN_OUT:
        sitting.change(Change("impression", "", ""), "No impression.")
    elif impression:
        sitting.change(Change("impression", "", impression), "Impression kept.")
    reading = visit.reading()
    suggestion = accepted_text(reading)
    if suggestion:
        talk.say(f"Suggestion: {suggestion}", CAUTION)
        if talk.yes("Put it into the note? y or n:"):
            sitting.change(Change("suggestion", "", suggestion), "Put into the note.")
        elif sitting.examination.suggestion:
            sitting.change(Change("suggestion", "", ""), "Taken out of the note.")
    if visit.changes_nothing and not talk.yes(
        "Nothing was changed. Amend it all the same? y or n:"
    ):
        talk.say("Not saved yet.")
        return False
    why = talk.ask("Why is it amended? Enter to leave it:") if visit.amends else ""
    if (visit.amends and not why) or not talk.yes("Save now? y or n:"):
        talk.say("Not saved yet.")
        return False
    try:
        saved = visit.save(reading, why)
    except AmendedMeanwhileError as error:
        talk.say(visit.go_after(error.stored, "s"), "Not saved yet.")
        return False
    except OutageError as error:
        sitting.wait(reading, why)
        talk.say(f"Not saved yet: {clean(error.what)}. {WAITS}")
        return False
    sitting.waited()
    _show_saved(sitting, saved)
    return True


def _show_saved(sitting: Sitting, saved: Examination) -> None:
    sitting.talk.say("Saved. The note:", "")
    sitting.talk.say(sitting.visit.case_of(saved).note().rstrip("\n"))
