"""Signs, flags and when it began, looked up by a few letters."""

import pytest

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.flags import flags
from wardexam.exam.looking_up import FLAG, looked_for, looked_up, shared


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
        ("arm weak", ["elbow flexion", "shoulder abduction", "elbow extension"]),
        ("weak leg", ["hip flexion", "knee extension", "ankle dorsiflexion"]),
        ("dysph", ["swallowing impaired"]),
        ("neck f", ["neck flexion"]),
        ("apixaban", ["anticoagulant"]),
        ("warfarin", ["anticoagulant"]),
        ("DOAC", ["anticoagulant"]),
        ("plaster", ["tense limb"]),
        ("cast", ["tense limb"]),
        ("neck pain", ["trauma"]),
        ("collar", ["trauma"]),
        ("hemiparesis", ["elbow flexion", "hip flexion", "lower face"]),
        ("paralysis", ["elbow flexion", "hip flexion", "both legs"]),
        ("sweat", ["low glucose"]),
        ("words", ["aphasia"]),
        ("vital capacity", ["breath, cough, swallow"]),
        ("neck stiff", ["neck resists flexion"]),
        ("vertigo", ["spinning"]),
        ("confus", ["inattentive, disoriented"]),
        ("delirium", ["inattentive, disoriented"]),
        ("gag", ["palate does not rise"]),
        ("corneal", ["facial sensation, light touch"]),
        ("Hoover", ["hip extension returns"]),
        ("functional", ["hip extension returns"]),
        ("count", ["breath, cough, swallow"]),
        ("jaw", ["jaw jerk", "jaw, scalp"]),
        ("flex", ["ankle dorsiflexion"]),  # begins no word, stands in one
    ],
)
def test_letters_find_what_a_doctor_means_by_them(typed, first):
    if typed == "flex":
        found = names(typed)
        assert found.index("elbow flexion") < found.index("ankle dorsiflexion")
    elif typed in ("umbil", "urine", "sens foot", "neck stiff", "confus", "vertigo"):
        assert set(first) <= set(names(typed))
    else:
        assert names(typed)[: len(first)] == first


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("can't pee", "bladder or bowel"), ("cant pee", "bladder or bowel"), ("can\u2019t walk", "walking lost"),
        ("numb bum", "saddle numbness"), ("pins and needles", "both legs"), ("wobbly", "gait"), ("sleepy", "drowsy or confused"),
        ("squint", "eye does not abduct"), ("cant speak", "aphasia"), ("fell", "trauma"), ("anus", "anal tone"), ("shaky", "tremor at rest"),
    ],
)  # fmt: skip
def test_what_a_patient_calls_it_finds_it_too(said, name):
    assert name in [what.name for what in looked_up(said)][:4]


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


def every_name():
    """All that anything is called: here, by its id and by other names."""
    own = [name for s in catalogue().values() for name in (s.name, s.id)]
    own += [name for f in flags().values() for name in (f.short, f.id)]
    return [name.replace("_", " ") for name in (*own, *looked_for())]


@pytest.mark.slow
@pytest.mark.parametrize("most", [6, pytest.param(80, marks=pytest.mark.long)])
def test_a_sign_and_a_question_that_look_alike_keep_their_order_however_far_is_typed(most):
    offered = set()
    for typed in {name[:length] for name in every_name() for length in range(1, most + 1)}:
        pair = shared(typed)
        if pair is None:
            continue
        found = looked_up(typed)
        assert found.index(pair[0]) < found.index(pair[1]), typed
        assert [what.kind for what in pair] == ["sign", "flag"]
        offered.add(typed)
    assert {"s", "sa", "sad", "sadd", "saddle", "br", "jaw"} <= offered


@pytest.mark.parametrize("typed", ["gait", "fever", "bladder", "dysph", "saddle n", "saddle s", "knee", "sight", "s1"])  # fmt: skip
def test_what_alone_is_meant_is_not_offered_beside_another(typed):
    assert shared(typed) is None
