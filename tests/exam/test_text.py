"""What `clean` lets through, over the whole of Unicode."""

import sys
import unicodedata

import pytest

from wardexam.exam.text import clean, clean_lines, columns, natural, to_ascii, whole_words


def every():
    return map(chr, range(sys.maxunicode + 1))


# Default_Ignorable_Code_Point, DerivedCoreProperties.txt of the Unicode Character Database, as printed
# there (https://www.unicode.org/Public/15.1.0/ucd/DerivedCoreProperties.txt).
DEFAULT_IGNORABLE = """
00AD 034F 061C 115F..1160 17B4..17B5 180B..180D 180E 180F 200B..200F 202A..202E 2060..2064 2065
2066..206F 3164 FE00..FE0F FEFF FFA0 FFF0..FFF8 1BCA0..1BCA3 1D173..1D17A E0000 E0001 E0002..E001F
E0020..E007F E0080..E00FF E0100..E01EF E01F0..E0FFF
"""


def default_ignorable():
    for entry in DEFAULT_IGNORABLE.split():
        first, _, last = entry.partition("..")
        yield from map(chr, range(int(first, 16), int(last or first, 16) + 1))


def test_no_default_ignorable_code_point_is_let_through():
    found = list(default_ignorable())
    assert len(found) == 4174  # the total that stands at the end of the published table
    assert {clean(c) for c in found} == {"?"}


@pytest.mark.parametrize("category", ["Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"])
def test_no_character_of_a_hidden_category_is_let_through(category):
    found = [c for c in every() if unicodedata.category(c) == category]
    assert found
    assert {clean(c) for c in found if c not in "\t\n\r"} == {"?"}


def test_every_blank_is_one_space():
    assert clean("\t\n\r") == "   "
    assert {clean(c) for c in every() if unicodedata.category(c) == "Zs"} == {" "}


@pytest.mark.long
def test_all_that_is_let_through_is_seen_and_as_it_was():
    ignorable = set(default_ignorable())
    for c in every():
        if clean(c) not in ("?", " "):
            assert clean(c) == c
            assert c.isprintable()
            assert c not in ignorable
    assert clean("Žofia Ångström 老王 e\u0301 ½ µ 😀") == "Žofia Ångström 老王 e\u0301 ½ µ 😀"


def test_lines_keep_their_ends_and_nothing_else():
    assert clean_lines("a\r\nb\x1b\n\u2028c\r d\n") == "a\r\nb?\n?c  d\n"


def test_ascii_is_ascii():
    assert to_ascii("Ångström\u00a0\u202e½") == "Angstrom ?1?2"


@pytest.mark.parametrize(
    ("room", "wanted"),
    [
        (19, "right knee reflex 0"),
        (18, "right knee .."),
        (8, "right .."),
        (3, ""),
        (0, ""),
        (-5, ""),
    ],
)
def test_a_text_that_is_too_long_ends_after_a_whole_word(room, wanted):
    assert whole_words("right knee reflex 0", room) == wanted


@pytest.mark.parametrize(
    "text", ["rechte Hand schwach", "右手 脱力 三日前 から", "one-sided weak-ness", "́a ́b"]
)
def test_it_is_never_wider_than_the_columns_there_are(text):
    for room in range(30):
        made = whole_words(text, room)
        assert columns(made) <= room
        assert made == text or set(made.removesuffix("..").split()) <= set(text.split())


@pytest.mark.parametrize(
    "ordered", [["4", "12", "14"], ["A2", "A10", "B1"], ["", "2", "2a", "C", "C1"], ["\u0664", "5"]]
)
def test_beds_stand_as_a_person_orders_them(ordered):
    assert sorted({*ordered}, key=natural) == ordered
