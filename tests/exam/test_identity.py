"""Who a patient is in words, and what may be typed for a number and a birth date."""

import unicodedata
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from wardexam.errors import InputError
from wardexam.exam import identity
from wardexam.exam.examination import Patient
from wardexam.exam.identity import read_age_and_sex
from wardexam.exam.text import columns, cut, held, released, to_ascii

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
BORN = date(1985, 3, 4)


def patient(**more):
    given = {"id": "patient1", "bed": "A3", "name": "Otto Brandt", "admitted": AT}
    return Patient(**(given | more))


@pytest.mark.parametrize(
    ("known", "full", "short"),
    [
        (
            {"number": "40-3317", "born": BORN},
            "Otto Brandt, no. 40-3317, born 4 Mar 1985",
            "Otto Brandt no. 40-3317",
        ),
        ({"number": "40-3317"}, "Otto Brandt, no. 40-3317", "Otto Brandt no. 40-3317"),
        ({"born": BORN}, "Otto Brandt, born 4 Mar 1985", "Otto Brandt born 4 Mar 1985"),
        ({}, "Otto Brandt, NUMBER AND BIRTH DATE MISSING", "Otto Brandt NO NUMBER"),
        ({"number": " \n"}, "Otto Brandt, NUMBER AND BIRTH DATE MISSING", "Otto Brandt NO NUMBER"),
        (
            {"name": "Otto\x1b[2J\n Brandt", "number": "40\x9b-1\u202e"},
            "Otto?[2J Brandt, no. 40?-1?",
            "Otto?[2J Brandt no. 40?-1?",
        ),
    ],
)
def test_what_is_known_is_said_and_what_is_missing_too(known, full, short):
    who = patient(**known)
    assert who.identity == full
    assert identity.short(who, 80) == short
    assert identity.missing(who) == ("MISSING" in full)


@pytest.mark.parametrize("number", ["40-3317", "123456789012345678901234", "4" * 12 + "王" * 12])
@pytest.mark.parametrize("name", ["Bo", "x" * 60, "王" * 60, "Maria " * 9 + "Lopez"])
@pytest.mark.parametrize("bed", ["A3", "B" * 12, "床" * 12])
@pytest.mark.parametrize("width", [80, 100, 120])
def test_a_heading_fits_and_cuts_neither_number_nor_date(bed, name, number, width):
    tails = (" 38y  04 Mar 14:00 Dr Test", " 38y", "")
    for who in (patient(bed=bed, name=name, number=number), patient(bed=bed, name=name, born=BORN)):
        line = identity.heading(who, f"{bed} ", tails, width)
        assert columns(line) <= width
        assert identity.mark(who) in line
        assert name[:3] in line
        assert bed[:2] in line
        if columns(name) > columns(line):
            assert ".." in line


def test_the_name_gives_way_to_its_least_before_the_fullest_tail_does():
    who = patient(name="Abcdefghij Klmnopqrst Uvwxyz", number="40-3317")
    tails = ("  all of it", "  all", "")
    line = identity.heading(who, "A3 ", tails, 3 + 18 + 12 + 11)
    assert line == "A3 Abcdefghij Klmno.. no. 40-3317  all of it"
    assert identity.heading(who, "A3 ", tails, 3 + 18 + 12 + 10).endswith("40-3317  all")
    # What a dropped part leaves is the name's.
    assert identity.heading(who, "A3 ", tails, 37) == "A3 Abcdefghij Klmnopqrs.. no. 40-3317"


@pytest.mark.parametrize(
    "typed",
    [
        "4.3.1985", "04.03.1985", "04/03/1985", "4/3/1985", "1985-03-04", "1985-3-4", "4 Mar 1985",
        "4 March 1985", "04-mar-1985", "4. mar. 1985",
        " 4 . 3 . 1985 ", "４.３.１９８５", "٤/٣/١٩٨٥",
    ],
)  # fmt: skip
def test_a_birth_date_is_read_day_first(typed):
    assert identity.read_birth_date(typed, AT.date()) == BORN


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("", "no date such as"), ("1985", "no date such as"), ("040385", "no date such as"),
        ("Mar 4 1985", "no date such as"), ("4.3.1985.1", "no date such as"),
        ("about 4.3.1985", "no date such as"), ("4.3.85", "four digits"), ("4 Mar 85", "four digits"),
        ("4.3.19855", "four digits"), ("04/13/1985", "no month 13: the day comes first"),
        ("1985-13-04", "no month 13"), ("4.0.1985", "no month 0"), ("29.2.1985", "no 29 Feb 1985"),
        ("0.3.1985", "no 0 Mar 1985"), ("32 Jan 1985", "no 32 Jan 1985"), ("4 Ma 1985", "no one month"),
        ("4 Ju 1985", "no one month"), ("4 Mrz 1985", "no one month"), ("4.3.0000", "no 4 Mar 0000"),
        ("3.3.2026", "birth after the admission"), ("4.3.1885", "birth more than 120 years ago"),
        ("4\x1b3\x1b1985", "no date such as"),
    ],
)  # fmt: skip
def test_a_date_that_is_none_or_could_be_two_is_refused_in_words(typed, why):
    with pytest.raises(InputError, match=why):
        identity.read_birth_date(typed, AT.date())


@given(st.dates(date(1906, 1, 1), AT.date()))
def test_every_date_is_read_back_from_its_words(day):
    for typed in (
        identity.day_words(day),
        day.isoformat(),
        f"{day:%d/%m/}{day.year}",
        f"{day:%d %B} {day.year}",
    ):
        assert identity.read_birth_date(typed, AT.date()) == day


@given(st.text(max_size=40))
def test_nothing_typed_does_more_than_be_refused(text):
    said = [""]
    for read in (lambda t: identity.read_birth_date(t, AT.date()), identity.read_number):
        try:
            read(text)
        except InputError as error:
            said.append(error.what)
    assert max(map(len, said)) <= 40  # with its question it fits a line of 80


def test_a_number_has_one_form_and_no_letters_that_a_note_cannot_hold():
    assert identity.read_number(" 943  476 5919 ") == "943 476 5919"
    assert identity.read_number("４０-٣") == "40-3"
    assert identity.read_number("") == ""
    for wrong in ("1" * 25, "Ä1", "4\x1b[0m"):
        with pytest.raises(InputError):
            identity.read_number(wrong)


@pytest.mark.parametrize(
    ("born", "on", "age"),
    [
        (date(1985, 3, 4), date(2026, 3, 3), 40), (date(1985, 3, 4), date(2026, 3, 4), 41),
        (date(2024, 2, 29), date(2026, 2, 28), 1), (date(2024, 2, 29), date(2026, 3, 1), 2),
        (date(2026, 3, 2), date(2026, 3, 2), 0),
    ],
)  # fmt: skip
def test_the_age_is_of_years_completed(born, on, age):
    assert identity.years_completed(born, on) == age


def test_a_birth_date_is_plausible_for_the_admission():
    assert patient(born=AT.date()).born == AT.date()
    for wrong in (date(2026, 3, 3), date(1905, 3, 2)):
        with pytest.raises(ValidationError, match="birth"):
            patient(born=wrong)
    assert patient(born=date(1905, 3, 3)).born


@pytest.mark.parametrize("stored", [5, 1.5, True, "19850304", "1985-03-04T00:00:00", "1985-02-30"])
def test_a_stored_birth_date_is_a_day_and_nothing_like_one(stored):
    with pytest.raises(ValidationError):
        Patient.model_validate(patient().model_dump(mode="json") | {"born": stored})


def test_a_document_without_a_birth_date_reads_as_before_and_one_with_it_as_written():
    old = patient(number="40-3317").model_dump(mode="json")
    del old["born"]
    assert Patient.model_validate(old) == patient(number="40-3317")
    whole = patient(number="40-3317", born=BORN)
    assert whole.model_dump(mode="json")["born"] == "1985-03-04"
    assert Patient.model_validate(whole.model_dump(mode="json")) == whole


@given(st.text(st.characters(categories=["L", "M", "N", "P", "S", "Zs"])), st.integers(0, 40))
def test_a_cut_text_fits(text, width):
    shown = cut(text, width)
    assert columns(shown) <= width
    assert shown == text or text.startswith(shown.removesuffix(".."))


def test_columns_are_those_of_the_screen():
    from rich.cells import cell_len

    for text in ("Ottö", "王小明", "Ａ１", "e\u0301a", "ｱ", "김철수", "👩", "Łódź"):
        assert columns(text) == cell_len(text), text


def test_digits_stay_on_a_plain_paper_and_held_text_is_given_back():
    assert to_ascii("٤٠-٣٣١٧ 王") == "40-3317 ?"
    assert all(to_ascii(c).isdigit() for c in map(chr, range(0x2FFFF)) if unicodedata.decimal(c, None) is not None)  # fmt: skip
    assert released(held("943 476-5919")) == "943 476-5919"
    assert not set(held("943 476-5919")) & set(" -")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("63 m", (None, 63, "male")), ("63m", (None, 63, "male")), ("44F", (None, 44, "female")), ("63", (None, 63, "unknown")), ("f", (None, None, "female")),
        ("f 63", (None, 63, "female")), ("63 y female", (None, 63, "female")), ("63y f", (None, 63, "female")),
        ("4 Mar 1985 f", (date(1985, 3, 4), 41, "female")), ("4.3.1985", (date(1985, 3, 4), 41, "unknown")),
        ("m, 1985-03-04", None), ("male 1985-03-04", (date(1985, 3, 4), 41, "male")),
        ("", (None, None, "unknown")), ("0 o", (None, 0, "other")), ("63 unknown", (None, 63, "unknown")),
        ("\u0666\u0663 m", (None, 63, "male")),
        ("121", None), ("63 m f", None), ("63 x", None), ("old", None), ("4.3.85 m", None), ("m m", None),
    ],
)  # fmt: skip
def test_age_or_birth_date_and_sex_are_typed_together(text, found):
    if found is None:
        with pytest.raises(InputError):
            read_age_and_sex(text, date(2026, 3, 4))
    else:
        assert read_age_and_sex(text, date(2026, 3, 4)) == found


@pytest.mark.parametrize(
    "typed", ["4.3.1985", "04/03/1985", "04-03-1985", "1985-03-04", "4 Mar 1985", "4 march 2024"]
)
def test_a_birth_date_typed_for_the_number_is_refused_with_where_it_goes(typed):
    with pytest.raises(
        InputError, match="is a date: leave the number empty, the birth date is asked next"
    ):
        identity.read_number(typed)


@pytest.mark.parametrize(
    "typed", ["40-3317", "12-03-85", "943 476 5919", "850304-1234", "40-33-1700", "31-02-1985", "13-13-1985", "04031985", "01-02-3456"]
)  # fmt: skip
def test_a_number_that_is_like_a_date_and_is_none_is_taken(typed):
    assert identity.read_number(typed) == typed


@pytest.mark.parametrize("typed", ["78 m", "78m", "63 female", "8 y f"])
def test_an_age_and_a_sex_are_no_number_of_the_hospital(typed):
    with pytest.raises(InputError, match="is an age: leave the number empty"):
        identity.read_number(typed)
