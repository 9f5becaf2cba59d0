"""Signs, flags and when it began, looked up by a few letters."""

import pytest

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.flags import flags
from wardexam.exam.looking_up import FLAG, looked_for, looked_up


def names(text: str) -> list[str]:
    return [what.name for what in looked_up(text)]


@pytest.mark.parametrize(
    ("typed", "first"),
    [
        ("s1", ["light touch S1", "pinprick S1"]),
        ("pin s1", ["pinprick S1"]),
        ("s1 pin", ["pinprick S1"]),
        ("S4-5", ["light touch S4-5", "pinprick S4-5"]),
        ("breath", ["breath, cough, swallow"]),
        (
            "knee",
            ["knee", "knee extension", "knee flexion"],
        ),  # the whole name before its beginnings
        ("onset", ["when it began", "sudden onset"]),
        ("ankle jerk", ["ankle"]),
        ("Babinski", ["plantar"]),
        ("big toe", ["great-toe extension"]),
        ("foot drop", ["ankle dorsiflexion"]),
        ("urine", ["bladder", "bladder or bowel", "post-void residual"]),
        ("umbil", ["light touch T10"]),
        ("light touch foot", ["light touch L5"]),  # by where to touch
        ("sens foot", ["light touch L5", "pinprick L5"]),
        ("flex", ["ankle dorsiflexion"]),  # begins no word, stands in one
    ],
)
def test_letters_find_what_a_doctor_means_by_them(typed, first):
    if typed == "flex":
        found = names(typed)
        assert found.index("elbow flexion") < found.index("ankle dorsiflexion")
    elif typed in ("umbil", "urine", "sens foot"):
        assert set(first) <= set(names(typed))
    else:
        assert names(typed)[: len(first)] == first


@pytest.mark.parametrize("typed", ["", " ", "-", "xyzzy", "s11"])
def test_what_means_nothing_finds_nothing(typed):
    assert looked_up(typed) == ()


def test_everything_is_found_first_by_its_whole_name():
    for sign in catalogue().values():
        assert (looked_up(sign.name)[0].kind, looked_up(sign.name)[0].id) == ("sign", sign.id)
    for flag in flags().values():
        assert (looked_up(flag.short)[0].name) == flag.short


def test_every_other_word_means_something_that_there_is_and_finds_it():
    for word, those in looked_for().items():
        found = {("flag:" if w.kind == "flag" else "") + w.id for w in looked_up(word)}
        for one in those:
            if one.startswith(FLAG):
                assert one.removeprefix(FLAG) in flags(), word
            else:
                assert one == "onset" or one in catalogue(), word
            assert one in found, word


def test_nothing_is_listed_twice():
    for typed in ("a", "s", "pain", "foot"):
        assert len(set(looked_up(typed))) == len(looked_up(typed))
