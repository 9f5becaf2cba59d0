"""The examination on plain lines: for a screen reader, or where a full screen is impossible.

Asks sign by sign, side by side, with the same findings, reasoning, drafts and note as the screen.
One question is one line and one answer is one line; nothing moves and nothing is drawn. Needs no
Textual, so that it runs with ``TERM=dumb`` and through a pipe.
"""

import contextlib
import signal
from collections.abc import Callable
from datetime import date, datetime
from typing import TYPE_CHECKING, TextIO

from wardexam.errors import InputError, RecordsError, WardexamError
from wardexam.exam.entry import Change
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.findings import Side
from wardexam.exam.flags import flags
from wardexam.exam.identity import (
    CHECK,
    day_words,
    missing,
    read_birth_date,
    read_number,
    years_completed,
)
from wardexam.exam.row_sets import row_sets
from wardexam.exam.text import clean
from wardexam.terminal import line_answers, line_words, signals
from wardexam.terminal.line_sitting import COMMANDS, Sitting, ask_flags
from wardexam.terminal.line_talk import LeavingError, Talk, Writer

if TYPE_CHECKING:
    from wardexam.anatomy.catalogue import Sign
    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.repository import DraftWriter, Repository


def converse(
    ward: "Repository",
    *,
    examiner: str,
    now: Callable[[], datetime],
    new_id: Callable[[], str],
    wording: "Wording",
    read: TextIO,
    write: Writer,
) -> int:
    """Hold the whole conversation: which patient, the examination, saving, the note.

    Returns:
        0 when saved or left on purpose; 130 when interrupted. The draft is kept either way.
    """
    talk = Talk(read, write)
    sitting: Sitting | None = None

    def keep(timeout: float) -> None:
        if sitting is not None:
            sitting.draft.flush(timeout)

    ending = signals.Ending(keep, leave=lambda: None, restore=lambda: None)
    with signals.watch(ending, (signal.SIGHUP, signal.SIGTERM)):
        try:
            talk.say("Examination on plain lines. Type h at any question for help.")
            sitting = _begin(talk, ward, examiner, now, new_id, wording)
            _examine(sitting, now)
        except (LeavingError, KeyboardInterrupt) as reason:
            if sitting is not None:
                with contextlib.suppress(WardexamError):
                    sitting.draft.flush(2.0)
                    sitting.draft.close()
                kept = sitting.draft.problem or "Kept as a draft; 'wardexam enter' offers it again."
                talk.say("", kept)
            ward.settle()
            return 130 if isinstance(reason, KeyboardInterrupt) else 0
    return 0


# -- which patient


def _begin(
    talk: Talk,
    ward: "Repository",
    examiner: str,
    now: Callable[[], datetime],
    new_id: Callable[[], str],
    wording: "Wording",
) -> Sitting:
    from wardexam.ready import engine
    from wardexam.reasoning.rules.standing import standing

    resumed = _offer_drafts(talk, ward, examiner, now)
    if resumed:
        draft, examination = resumed
        file = ward.file(examination.patient)
    else:
        file = ward.file(_choose_patient(talk, ward, examiner, now, new_id).id)
    patient = file.patient
    ward.record("viewed", patient.id, examiner)
    if not resumed:
        examination = Examination.model_validate(
            {
                "id": new_id(),
                "patient": patient.id,
                "examiner": examiner,
                "at": now(),
                "context": {"age": patient.age, "sex": patient.sex},
            }
        )
        draft = ward.start_draft(examination, examiner)
    talk.say(f"Examining bed {clean(patient.bed)}, {patient.identity}.")
    previous = standing(file.telling(examination.id))
    return Sitting(
        talk, ward, patient, examination, draft, engine(), previous, wording, now, examiner
    )


def _offer_drafts(
    talk: Talk, ward: "Repository", examiner: str, now: Callable[[], datetime]
) -> "tuple[DraftWriter, Examination] | None":
    for info in ward.drafts():
        if info.held:
            continue
        try:
            if info.trouble:
                raise RecordsError(info.trouble)
            patient = ward.patient(info.patient_id)
        except WardexamError as error:
            talk.say(f"A draft cannot be offered: {clean(error.line)}.")
            continue
        minutes = max(0, round((now().timestamp() - info.last) / 60))
        talk.say(
            f"An examination was not finished: bed {clean(patient.bed)}, {patient.identity},"
            f" by {clean(info.by)}, {info.keys} answers, last {line_words.ago(minutes)}."
        )
        resume = talk.yes("Go on with it? y, or n for later:")
        if resume:
            return ward.resume_draft(info.draft_id, examiner)
    return None


def _choose_patient(
    talk: Talk,
    ward: "Repository",
    examiner: str,
    now: Callable[[], datetime],
    new_id: Callable[[], str],
) -> Patient:
    while True:
        beds = ward.beds()
        if not beds:
            talk.say("The ward is empty.")
            return _admit(talk, ward, examiner, now, new_id)
        if ward.problem:
            talk.say(clean(ward.problem) + ".")
        options = [
            f"Bed {clean(b.bed)}, {clean(b.name)}, "
            + (
                "RECORD UNREADABLE"
                if b.trouble
                else b.summary.urgency_word
                if b.summary
                else "not examined yet"
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
            return _admit(talk, ward, examiner, now, new_id)


def _admit(
    talk: Talk,
    ward: "Repository",
    examiner: str,
    now: Callable[[], datetime],
    new_id: Callable[[], str],
) -> Patient:
    from pydantic import ValidationError

    from wardexam.exam.entry import first_fault

    while True:
        bed, name = talk.ask("Bed:"), talk.ask("Name:")
        admitted = now()
        number, born = _identifiers(talk, admitted.date())
        age = "" if born else talk.ask("Age in years, Enter if unknown:")
        sex = talk.ask("Sex: female, male, other; Enter if unknown:").lower()
        try:
            patient = Patient.model_validate(
                {
                    "id": new_id(),
                    "bed": bed,
                    "name": name,
                    "number": number,
                    "born": born,
                    "age": years_completed(born, admitted.date())
                    if born
                    else int(age)
                    if age.isdecimal() and len(age) < 6
                    else age or None,
                    "sex": sex or "unknown",
                    "admitted": admitted,
                }
            )
        except ValidationError as error:
            talk.say(f"Not accepted: {first_fault(error)}. Again, please.")
            continue
        ward.admit(patient, examiner)
        if missing(patient):
            talk.say(f"Admitted {CHECK}")
        return patient


def _identifiers(talk: Talk, admitted: date) -> tuple[str, date | None]:
    """The hospital's number; where there is none, the birth date. Either may be left unknown."""
    number = talk.until("Hospital number, Enter if unknown:", read_number)
    if number:
        return number, None
    born = talk.until(
        "Birth date such as 4 Mar 1985, Enter if unknown:",
        lambda text: read_birth_date(text, admitted),
    )
    if born:
        talk.say(f"Born {day_words(born)}.")
    return "", born


# -- the questions


Question = tuple["Sign", Side]


def _questions(set_id: str) -> list[Question]:
    sides: dict[str, tuple[Side, ...]] = {"each": ("right", "left"), "midline": ("midline",)}
    return [(sign, side) for sign in row_sets()[set_id].signs for side in sides[sign.sides]]


def _choose_set(talk: Talk) -> list[Question]:
    sets = list(row_sets().values())
    options = [f"{s.name}, {len(_questions(s.id))} questions" for s in sets]
    chosen = talk.choose(f"Which signs? A number, or Enter for {sets[0].name}:", options)
    return _questions(sets[chosen or 0].id)


def _examine(sitting: Sitting, now: Callable[[], datetime]) -> None:
    """Ask until saved."""
    talk = sitting.talk
    questions, at = _choose_set(talk), 0
    explained: set[str] = set()
    sitting.warn()
    while True:
        if at >= len(questions):
            answer = talk.ask("That was the last. s saves, m more signs, b back, h help:")
            if not answer:
                continue
        else:
            sign = questions[at][0]
            if sign.answers not in explained:
                explained.add(sign.answers)
                talk.say(f"Answers: {line_answers.choices(sign, sitting.examination.scale)}.")
            answer = talk.ask(_question(sitting, questions, at))
        word = answer.lower()
        try:
            if word == "m":
                questions, at = _choose_set(talk), 0
            elif word == "b":
                at = max(0, at - 1)
            elif word == "s":
                if _save(sitting, now):
                    return
            elif word in COMMANDS:
                COMMANDS[word](sitting)
            elif at >= len(questions):
                talk.say("There is no question open. h for help.")
            else:
                at += _answer(sitting, *questions[at], answer)
        except InputError as error:
            talk.say(f"Not accepted: {error}.")
        except RecordsError as error:
            talk.say(f"Not done: {clean(error.line)}. Everything entered is kept.")


def _question(sitting: Sitting, questions: list[Question], at: int) -> str:
    sign, side = questions[at]
    found = sitting.examination.finding(sign.id, side)
    now_is = f", now {line_words.answer(found)}" if found else ""
    where = f", {sign.place}" if sign.place else ""
    return f"{at + 1} of {len(questions)}. {sign.name}{line_words.place(side)}{where}{now_is}:"


def _answer(sitting: Sitting, sign: "Sign", side: Side, text: str) -> int:
    """Take the answer to a question; how many questions to move on.

    Raises:
        InputError: The text is no answer here.
    """
    talk, key, word = sitting.talk, f"{sign.id} {side}", text.lower()
    if not text:
        return 1
    if word == "a":
        talk.say(f"Answers: {line_answers.choices(sign, sitting.examination.scale)}.")
        return 0
    if word == "x":
        if sitting.examination.finding(sign.id, side) is None:
            talk.say("Nothing is entered here.")
        else:
            sitting.change(
                Change("finding", key), f"{sign.name}{line_words.place(side)}: not examined."
            )
        return 0
    if word == "n":
        reasons = line_answers.reasons()
        chosen = talk.choose("Why not testable? A number:", [words for _, words in reasons])
        if chosen is None:
            return 0
        found = line_answers.not_testable(sign, side, reasons[chosen][0])
    else:
        found = line_answers.finding(sign, side, text, sitting.examination.scale)
    said = f"{sign.name}{line_words.place(side)}: {line_words.answer(found)}."
    sitting.change(Change("finding", key, found.model_dump(mode="json")), said)
    return 1


# -- saving


def _save(sitting: Sitting, now: Callable[[], datetime]) -> bool:
    """Save and print the note; whether it is saved."""
    from wardexam.note.headline import summarise
    from wardexam.note.note import render
    from wardexam.note.suggestion import CAUTION, accepted_text
    from wardexam.reasoning.rules.change import compare

    talk = sitting.talk
    missing = [name for name in flags() if name not in sitting.examination.flags]
    if missing and talk.yes(f"{len(missing)} red flags were not asked. Ask them now? y or n:"):
        ask_flags(sitting)
    impression = talk.ask("Your impression in your own words, Enter for none:")
    if impression:
        sitting.change(Change("impression", "", impression), "Impression kept.")
    reading = sitting.engine.read(sitting.examination)
    suggestion = accepted_text(reading)
    if suggestion:
        talk.say(f"Suggestion: {suggestion}", CAUTION)
        if talk.yes("Put it into the note? y or n:"):
            sitting.change(Change("suggestion", "", suggestion), "Put into the note.")
    urgency = sitting.urgency(reading)
    if not talk.yes("Save now? y or n:"):
        talk.say("Not saved yet.")
        return False
    change = compare(sitting.previous, sitting.examination) if sitting.previous else None
    summary = summarise(urgency, change, reading)
    saved = sitting.ward.save(sitting.examination, sitting.examiner, summary)
    sitting.ward.drop_draft(sitting.draft)
    talk.say("Saved. The note:", "")
    # The tool's reading stays out of the note until it is accepted.
    urgency = sitting.urgency(None)
    note = render(sitting.patient, saved, previous=sitting.previous, urgency=urgency)
    talk.say(note.rstrip("\n"))
    return True
