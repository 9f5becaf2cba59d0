"""The questions that give a patient's details, at admission and where they are changed."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from wardexam.errors import InputError
from wardexam.exam.admission import is_heard, near_complaints, no_adult, reason_text
from wardexam.exam.identity import day_words, read_age_and_sex, read_number, years_completed
from wardexam.exam.story import complaints
from wardexam.exam.text import capital
from wardexam.records.repository import Bed
from wardexam.records.whose import (
    bed_words,
    name_words,
    namesake,
    number_words,
    other_with,
    stayed_before,
    stayed_words,
)  # fmt: skip
from wardexam.terminal.screens.base import LineScreen

if TYPE_CHECKING:
    from wardexam.exam.examination import Patient

# Each with its field; that of age and sex holds the birth date as well.
QUESTIONS = (
    ("bed", "Bed:"), ("name", "Name:"), ("number", "Hospital number (empty if not known):"),
    ("age_sex", "Age and sex, such as 63 m (or born: 4 Mar 1985 m):"),
    ("remark", "Why admitted? In words, or a number:"),
)  # fmt: skip
BORN = "No number: born and sex, such as 4 Mar 1985 m (or age: 63 m):"
RECHECK = ("recheck_hours", "Re-examine every how many hours (empty: no schedule):")
# What a detail is, said where what was typed is none.
WANTED = {
    "bed": "The bed is needed: at most 12 letters and digits, such as C5.",
    "name": "The name is needed, of at most 60 letters.",
    "recheck_hours": "A number of whole hours, such as 4; empty for no schedule.",
}
LONGEST_NUMBER = 4  # digits of hours


def patient_of(details: Mapping[str, Any]) -> "Patient":
    """The patient with these details.

    Raises:
        InputError: A detail is refused; its text says where and what is allowed.
    """
    from wardexam.exam.entry import valid  # what checks them is needed by no list
    from wardexam.exam.examination import Patient

    return valid(Patient, details)


def typed_details(patient: "Patient") -> dict[str, str]:
    """A patient's details by the field of their question, as they would be typed."""
    born = day_words(patient.born) if patient.born else ""
    age = "" if born or patient.age is None else str(patient.age)
    sex = "" if patient.sex == "unknown" else patient.sex
    return {
        "bed": patient.bed,
        "name": patient.name,
        "number": patient.number,
        "age_sex": f"{born}{age} {sex}".strip(),
        "remark": patient.remark,
        "recheck_hours": str(patient.recheck_hours or ""),
    }


def read_detail(field: str, text: str, admitted: datetime) -> tuple[dict[str, Any], str]:
    """A detail as it is kept, by its fields, and what is wrong with it, if anything."""
    value: Any = text
    try:
        if field == "recheck_hours":
            if text and not (text.isdecimal() and len(text) <= LONGEST_NUMBER):
                return {}, WANTED[field]
            value = int(text) if text else None
        elif field == "age_sex":
            born, age, sex = read_age_and_sex(text, admitted.date())
            return {"born": born, "age": age, "sex": sex}, ""
        elif field == "number":
            value = read_number(text)
        elif field == "remark":
            value = reason_text(text)
        elif not text:
            return {}, WANTED[field]
        whole = {"id": "checked0", "bed": "-", "name": "-", "admitted": admitted}
        patient_of({**whole, field: value})
    except InputError as error:
        wrong = error.what.removeprefix(f"{field}: ")
        return {}, WANTED.get(field, capital(wrong))
    return {field: value}, ""


class DetailQuestions:
    """Asks a patient's details on a screen, one after the other.

    Args:
        screen: Where they are asked.

    Attributes:
        offered: What may be chosen at the question that is open; empty where it is typed.
    """

    def __init__(self, screen: LineScreen) -> None:
        self._screen = screen
        self._warned: tuple[str, str] | None = None  # what was told to be another patient's
        self.offered: tuple[str, ...] = ()

    def ask(
        self,
        given: dict[str, str],
        done: Callable[[dict[str, Any]], None],
        admitted: datetime,
        of: str = "",
    ) -> None:
        """Ask every detail in turn; one that cannot be stays as it was typed, with what is wrong.

        Args:
            given: What is known already, as text.
            done: Gets the details as they are kept.
            admitted: When the patient came.
            of: Whose they are; empty for an admission, which leaves out the schedule.
        """
        values: dict[str, Any] = {}
        before_now, age_now = given.get("remark", ""), given.get("age_sex", "")
        self._warned = None
        questions = (*QUESTIONS, RECHECK) if of else QUESTIONS

        def step(number: int, first: str = "", beside: str = "") -> None:
            self.offered = ()
            if number == len(questions):
                self._screen.redraw()
                done(values)
                return
            field, question = questions[number]
            if field == "age_sex" and not values["number"]:
                question = BORN
            if field == "remark":
                self.offered = tuple(c.words for c in complaints())

            def asked(text: str, wrong: str = "") -> None:
                self._screen.ask(
                    f"{first}. {question}" if first else question, answered, text, wrong=wrong
                )
                self._screen.redraw()

            def answered(text: str) -> str:
                given[field] = text.strip()
                found, wrong = read_detail(field, given[field], admitted)
                if wrong:
                    return wrong
                said_before = field != "remark" or found[field] == before_now
                if not said_before and (unheard := self._unheard(found[field])):
                    return unheard
                changed = field == "age_sex" and given[field] != age_now
                if changed and (child := self._no_adult(found, admitted)):
                    return child

                def go_on(
                    other: Bed | None, before: Bed | None = None, alike: Bed | None = None
                ) -> None:
                    taken = self._taken(field, given[field], other)
                    if taken := taken or self._stayed(given[field], before):
                        asked(text, taken)
                        return
                    values.update(found)
                    said = f"Born {day_words(found['born'])}" if found.get("born") else ""
                    step(number + 1, said, name_words(alike) if alike else "")

                ward = self._screen.ward_app.ward
                if field in ("bed", "name", "number") and given[field]:
                    first_stay = field == "number" and not of

                    def look() -> tuple[Bed | None, Bed | None, Bed | None]:
                        name = given.get("name", "")
                        before = stayed_before(ward, name, given[field]) if first_stay else None
                        if field == "name":
                            return None, None, namesake(ward, given[field], of)
                        return other_with(ward, field, given[field], of), before, None

                    self._screen.ward_app.calls.open(look, lambda found: go_on(*found))
                else:
                    go_on(None)
                return ""

            asked(given.get(field, ""), beside)

        step(0)

    def _taken(self, field: str, text: str, other: Bed | None) -> str:
        """That a bed or a number is another patient's; a bed is taken where that is told a second time."""
        if other is None or (field, text) == self._warned:
            return ""
        if field == "number":
            return f"{number_words(text, other)}. The number of this patient, or empty."
        self._warned = (field, text)
        return f"{bed_words(text, other)}. Another bed; or enter again where both lie there."

    def _no_adult(self, found: dict[str, Any], admitted: datetime) -> str:
        """That an age is a child's; it is taken where that is told a second time."""
        born, age = found["born"], found["age"]
        age = years_completed(born, admitted.date()) if born else age
        if not (said := no_adult(age)) or ("age_sex", str(age)) == self._warned:
            return ""
        self._warned = ("age_sex", str(age))
        return f"{said}: check it, or enter again to keep it."

    def _unheard(self, reason: str) -> str:
        """That the words of a reason raise nothing by themselves; they are taken where that is told a second time."""
        if is_heard(reason) or ("remark", reason) == self._warned:
            return ""
        self._warned = ("remark", reason)
        near = ", ".join(f"{number} ({words})" for number, words in near_complaints(reason)[:2])
        such = f" such as {near}" if near else ""
        return (
            f"In these words no alarm can be raised. Put a number of the list and a comma before them{such}, "
            "or enter again to keep them."
        )

    def _stayed(self, number: str, before: Bed | None) -> str:
        """That the patient was here and is discharged; admitted anew where that is told a second time."""
        if before is None or ("number", number) == self._warned:
            return ""
        self._warned = ("number", number)
        return (
            f"{stayed_words(before)}: escape, then "
            f"{self._screen.key('discharged')} restores that stay. Or enter again: admitted anew, without it."
        )
