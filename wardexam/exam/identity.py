"""Who a patient is, in words: the name and at least one more identifier, wherever a patient is named.

At least two identifiers, neither of them the bed or room, as asked for by the WHO Collaborating
Centre for Patient Safety Solutions, "Patient Identification" (Patient Safety Solutions, volume 1,
solution 2, May 2007). Here these are the name and the hospital's number, else the name and the
birth date. Where only the name is known that is said. A number or a date is never cut: the name is
cut first, then what stands beside it.
"""

import calendar
import re
import unicodedata
from collections.abc import Iterable
from datetime import date
from typing import Protocol

from wardexam.errors import InputError
from wardexam.exam.text import clean, columns, cut, digits, held

OLDEST = 120  # years
SEXES = ("female", "male", "other", "unknown")
BORN = range(1900, 2100)  # years in which a number that reads as a date is taken for a birth date
LONGEST_NUMBER = 24
LEAST_NAME = 18  # columns of the name that stay before anything beside it is dropped
LEAST_BED = 12  # columns of what stands before the name, likewise
NO_NUMBER = "NO NUMBER"
MISSING = "NUMBER AND BIRTH DATE MISSING"
CHECK = "without number or birth date: check the wristband."
_MONTHS = [name.lower() for name in calendar.month_name]


class Identified(Protocol):
    """Whoever is named with a number and a birth date, as far as they are known: a patient."""

    @property
    def name(self) -> str:
        """As the ward writes it."""

    @property
    def number(self) -> str:
        """The hospital's number; empty where it is not known."""

    @property
    def born(self) -> date | None:
        """The birth date; None where it is not known."""


def day_words(day: date) -> str:
    """A date with its month in letters, so that day and month are not taken for each other."""
    return f"{day.day} {calendar.month_abbr[day.month]} {day.year}"


def years_completed(born: date, on: date) -> int:
    """The age on a day; who is born on 29 February completes a year on 1 March of a common year."""
    return on.year - born.year - ((on.month, on.day) < (born.month, born.day))


def _parts(patient: Identified) -> tuple[str, str, str]:
    """The name, the number and the birth date in words, the last two empty where not known."""
    number = _line(patient.number)
    return (
        _line(patient.name),
        f"no. {number}" if number else "",
        f"born {day_words(patient.born)}" if patient.born else "",
    )


def _line(text: str) -> str:
    return " ".join(clean(text).split())


def missing(patient: Identified) -> bool:
    """Whether nothing but the name tells who it is."""
    return not any(_parts(patient)[1:])


def known(patient: Identified) -> list[str]:
    """The name, then number and birth date as far as they are known, or that neither is."""
    name, *more = _parts(patient)
    return [name, *([part for part in more if part] or [MISSING])]


def full(patient: Identified, *, unbroken: bool = False) -> str:
    """All that is known, for papers: ``"Otto Brandt, no. 40-3317, born 4 Mar 1985"``.

    Args:
        patient: Who it is.
        unbroken: Number and date in a form that no wrapping breaks; see `held`.
    """
    name, *more = known(patient)
    return ", ".join([name, *(held(part) if unbroken else part for part in more)])


def mark(patient: Identified) -> str:
    """The one identifier beside the name where room is short; that there is none is said."""
    return next((part for part in _parts(patient)[1:] if part), NO_NUMBER)


def short(patient: Identified, width: int) -> str:
    """Name and identifier in so many columns: ``"Otto Brandt no. 40-3317"``; the name gives way."""
    beside = mark(patient)
    return f"{cut(_line(patient.name), max(1, width - columns(beside) - 1))} {beside}"


def heading(patient: Identified, before: str, tails: Iterable[str], width: int) -> str:
    """A heading of at most `width` columns: what stands before, who it is, and the first tail that fits.

    Args:
        patient: Who it is.
        before: The bed, or what the screen is and the bed; with the blank before the name.
        tails: What may stand behind, the fullest first.
        width: Columns there are.
    """
    name, beside = _line(patient.name), columns(mark(patient)) + 1
    least = min(LEAST_NAME, columns(name))
    for tail in tails:
        room = width - columns(before) - columns(tail)
        if room >= least + beside:
            return f"{before}{short(patient, room)}{tail}"
    if columns(before) > LEAST_BED and width - columns(before) < least + beside:
        before = f"{cut(before.rstrip(), max(LEAST_BED, width - least - beside - 1))} "
    return f"{before}{short(patient, width - columns(before))}"


_AGE_AND_SEX = re.compile(r"\d{1,3} ?(?:y(?:ears?)? ?)?(?:m|f|male|female)", re.IGNORECASE)


def read_number(text: str) -> str:
    """A hospital's number as typed, in one form.

    Raises:
        InputError: It is too long, has characters that a plain-text note cannot hold, or is a birth date, or an age and sex.
    """
    number = in_one_form(text)
    if _AGE_AND_SEX.fullmatch(number):
        raise InputError(f"{number} is an age: leave the number empty, the age is asked next")
    if _may_be_birth(number):
        raise InputError(
            f"{number} is a date: leave the number empty, the birth date is asked next"
        )
    return number


def _may_be_birth(text: str) -> bool:
    """Whether somebody who is alive may be born on what is typed, in any form of a date."""
    try:
        return _date(text).year in BORN
    except InputError:
        return False


def in_one_form(text: str) -> str:
    """A hospital's number in one form, whatever it is like.

    Raises:
        InputError: It is too long, or has characters that a plain-text note cannot hold.
    """
    number = " ".join(digits(unicodedata.normalize("NFKC", text)).split())
    if len(number) > LONGEST_NUMBER:
        raise InputError(f"longer than {LONGEST_NUMBER} characters")
    if not number.isascii() or not number.isprintable():
        raise InputError("only A to Z, digits and plain signs")
    return number


def read_age_and_sex(text: str, admitted: date) -> tuple[date | None, int | None, str]:
    """A birth date or an age, and a sex, as typed together: ``63 m``, ``4 Mar 1985 female``, ``f``; each may be left out.

    Returns:
        The birth date, the age in years, and the sex; None, None and ``"unknown"`` where it is not said.

    Raises:
        InputError: It is neither; or the date cannot be.
    """
    words, sex = re.sub(r"^\s*(\d{1,3})([A-Za-z]+)\s*$", r"\1 \2", text).split(), ""
    for at in (-1, 0):
        fits = [s for s in SEXES if words and s.startswith(words[at].lower())]
        if fits and not sex:
            sex = fits[0]
            del words[at]
    told = " ".join(words).strip(" ,")
    age = re.fullmatch(r"(\d{1,3}) ?y?(?:ears)?", digits(told))
    if not told:
        return None, None, sex or "unknown"
    if age:
        if int(age[1]) > OLDEST:
            raise InputError(f"an age is at most {OLDEST} years")
        return None, int(age[1]), sex or "unknown"
    if not told[0].isdecimal():
        raise InputError(f"'{told[:20]}' is neither an age, a birth date nor a sex")
    born = read_birth_date(told, admitted)
    return born, years_completed(born, admitted), sex or "unknown"


def read_birth_date(text: str, admitted: date) -> date:
    """A birth date as typed: 4.3.1985, 04/03/1985 (day first), 1985-03-04, 4 Mar 1985.

    Raises:
        InputError: It is no date, can be read in more than one way, or nobody admitted on that day
            can be born on it.
    """
    born = _date(text)
    if fault := fault_of_birth(born, admitted):
        raise InputError(fault)
    return born


def _date(text: str) -> date:
    """A date as typed.

    Raises:
        InputError: It is none, or can be read in more than one way.
    """
    parts = re.split(r"[\s./-]+", digits(unicodedata.normalize("NFKC", text)).strip(" ."))
    if len(parts) != 3 or not all(re.fullmatch(r"[0-9]+|[A-Za-z]+", part) for part in parts):
        raise InputError("no date such as 4 Mar 1985")
    year_first = len(parts[0]) == 4
    day, month, year = reversed(parts) if year_first else parts
    if not year.isdecimal() or len(year) != 4:
        raise InputError("the year in four digits")
    if not day.isdecimal() or len(day) > 2 or (month.isdecimal() and len(month) > 2):
        raise InputError("no date such as 4 Mar 1985")
    number = int(month) if month.isdecimal() else _month(month)
    if not 1 <= number <= 12:
        raise InputError(f"no month {number}" + ("" if year_first else ": the day comes first"))
    try:
        return date(int(year), number, int(day))
    except ValueError:
        raise InputError(f"no {int(day)} {calendar.month_abbr[number]} {year}") from None


def _month(word: str) -> int:
    """The number of a month by its name or the first letters of it."""
    fits = [n for n, name in enumerate(_MONTHS) if n and name.startswith(word.lower())]
    if len(fits) != 1 or len(word) < 3:
        raise InputError(f"no one month is '{word[:10]}'")
    return fits[0]


def fault_of_birth(born: date, admitted: date) -> str:
    """Why somebody admitted on a day cannot be born on another; empty when they can."""
    if born > admitted:
        return "birth after the admission"
    if years_completed(born, admitted) > OLDEST:
        return f"birth more than {OLDEST} years ago"
    return ""
