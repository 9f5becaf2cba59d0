"""The rules as a table: every row whole, and what is said beside the urgency."""

import pytest

from wardexam.errors import TableError
from wardexam.exam.flags import flag_names, flags
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.own_alarm import OWN
from wardexam.reasoning.rules.rule_table import WORDS, rules
from wardexam.reasoning.rules.urgency import NOT_EXCLUDED, assess, lowered_by
from wardexam.reasoning.tables import conditions_row, read

NORMAL = "biceps 2/2 triceps 2/2 knee 2/2 ankle 2/2 plantar down/down power_leg 5/5"


def urgency(line):
    return assess(read_line(line).spelled_out(), None, None)


def test_a_quiet_examination_with_flags_not_asked_excludes_nothing():
    found = urgency(NORMAL)
    assert (found.level, found.word) == (0, f"not assessed, {len(flag_names())} not asked")
    assert set(found.not_asked) == set(flag_names())
    assert NOT_EXCLUDED in found.caution


DENIED = " ".join(f"flag:{name}=no" for name in flag_names())
WHOLE = f"{NORMAL} touch_L4 2/2 saddle 2/2 drowsiness none"


@pytest.mark.parametrize(("line", "word"), [
    ("", "not assessed, reflexes, power, sensation, saddle and cranial nerves not examined"),
    (NORMAL, "not assessed, sensation, saddle and cranial nerves not examined"),
    (WHOLE.replace("saddle 2/2", "saddle nt:pain/nt:pain"), "not assessed, saddle not examined"),
    (WHOLE.replace("saddle", "perianal"), WORDS[0]),
    (WHOLE.replace("power_leg 5/5", "rest=power:right_leg"), WORDS[0]),
    (WHOLE, WORDS[0]),
])  # fmt: skip
def test_with_every_flag_denied_it_is_said_what_was_not_examined(line, word):
    found = urgency(f"{DENIED} onset=longer {line}")
    assert (found.level, found.word) == (0, word)


def test_what_brings_a_reason_down_is_its_rows_and_nothing_brings_down_what_is_not_known():
    assert lowered_by(OWN) == conditions_row(OWN)["lowers"] != ""
    assert (lowered_by("stroke"), lowered_by("hypoglycaemia")) == (rules()["stroke"].lowers, "")
    assert lowered_by("a_rule_of_later") == ""


def test_a_step_whose_sign_is_recorded_now_is_not_asked_for_again():
    line = "complaint=back_pain flag:bladder_bowel=yes flag:saddle_numb=yes"

    def first(more=""):
        found = assess(read_line(line + more).spelled_out(), None, None)
        return {r.rule: r.first for r in found.reasons}

    scan, saddle = "bladder scan, without delay", "test the saddle"
    catheter = "catheter if retained"
    assert first()["cauda_equina"] == f"{scan}; {saddle}; {catheter}"
    assert first(" saddle 1/1")["cauda_equina"] == f"{scan}; {catheter}"
    done = first(" saddle 1/1 post_void_residual measured:450")
    assert done["cauda_equina"] == catheter
    assert not any("bladder scan" in steps for steps in done.values())


@pytest.mark.parametrize(("line", "step"), [
    ("perianal 0/0", "test the saddle"),
    ("saddle 1/1", "test the saddle"),
    ("onset=days plantar up/up level_pin T10/T10", "test the level on both sides"),
    ("onset=days plantar up/up level_touch T10/T10", "test the level on both sides"),
])  # fmt: skip
def test_a_step_is_done_by_any_sign_that_tests_the_same_and_on_both_sides(line, step):
    def asked(found):
        return [
            s
            for r in assess(read_line(found).spelled_out(), None, None).reasons
            for s in r.first.split("; ")
        ]

    one_side = line.replace("0/0", "0/-").replace("1/1", "1/-").replace("T10/T10", "T10/-")
    assert step in asked(one_side)
    assert step not in asked(line)


def test_a_sign_of_one_side_alone_leaves_its_step():
    line = "complaint=leg_pain flag:pain_both_legs=yes"
    asked = {
        r.rule
        for r in assess(read_line(line).spelled_out(), None, None).reasons
        if "saddle" in r.first
    }
    half = assess(read_line(f"{line} saddle 2/-").spelled_out(), None, None).reasons
    whole = assess(read_line(f"{line} saddle 2/2").spelled_out(), None, None).reasons
    assert asked
    assert all("test the saddle" in r.first for r in half if r.rule in asked)
    assert not any("test the saddle" in r.first for r in whole)


def test_the_gravest_reason_comes_first():
    found = urgency(
        "flag:both_legs=yes flag:saddle_numb=yes onset=days finger_abduction 3/5 age=30 flag:jaw_scalp=yes"
    )
    levels = [r.urgency for r in found.reasons]
    assert levels == sorted(levels, reverse=True)
    assert set(levels) == {3, 2, 1}


def test_flags_said_yes_are_named_whether_or_not_a_rule_fires():
    assert urgency("flag:cancer=yes flag:trauma=no").answered_yes == (flags()["cancer"].short,)


@pytest.mark.parametrize(
    ("line", "order"),
    [
        # The whole spine is imaged where signs lie above the cauda; the narrower is within it.
        ("flag:saddle_numb=yes", ["cauda_equina"]),
        (
            "bladder retention plantar up/up",
            ["cord_and_function", "cauda_whole_spine"],
        ),
        (
            "flag:cancer=yes bladder retention level_pin T8/T8",
            [
                "cord_and_function",
                "cauda_whole_spine",
                "metastatic_compression",
            ],
        ),
        (
            "flag:cancer=yes bladder retention",
            ["cauda_whole_spine", "metastatic_compression"],
        ),
    ],
)
def test_the_soonest_limit_is_said_first_and_among_equals_the_wider_image(line, order):
    named = [
        r.rule
        for r in urgency(line).reasons
        if r.rule
        in (
            "cord",
            "cord_and_function",
            "cauda_equina",
            "cauda_whole_spine",
            "metastatic_compression",
        )
    ]
    assert named == order


# --- words

VAGUE = ("that fits", "suggest", "the place", "the region", "the site")
BODY = (
    "head", "brain", "spine", "orbits", "pituitary", "temporal arteries", "arch to vertex", "limb", "plexus", "abdomen",
    "neck", "aorta", "pelvis",
)  # fmt: skip


def images():
    yield from ((name, row.image) for name, row in rules().items())
    yield from ((f"own alarm, {n}", row["image"]) for n, row in own_images().items())


def own_images():
    return conditions_row(OWN)["image"]


@pytest.mark.parametrize(("name", "image"), list(images()))
def test_every_image_is_named_by_modality_and_region(name, image):
    assert not any(word in image for word in VAGUE)
    if not image.startswith("none first"):
        assert any(word in image for word in BODY)
        assert any(word in image for word in ("MRI", "CT", "MRA", "ultrasound", "X-ray"))


def test_the_tools_own_alarm_has_an_image_for_every_dangerous_site():
    from wardexam.reasoning.inference.prior import sites

    dangerous = {name for name, row in sites().items() if row["urgent"]}
    assert dangerous <= set(own_images())


def test_the_caution_is_the_same_whatever_was_asked_and_answered():
    every = " ".join(f"flag:{name}=no" for name in flag_names())
    cautions = {urgency(line).caution for line in (NORMAL, f"{NORMAL} {every}", "flag:worse=yes")}
    assert len(cautions) == 1
    assert NOT_EXCLUDED in cautions.pop()


def test_a_dangerous_place_is_never_called_unlikely():
    from wardexam.ready import engine

    for line in (NORMAL, "wrist_extension 5/2 finger_extension 5/2 triceps 2/2", "knee 2/2"):
        reading = engine().read(read_line(line).spelled_out())
        words = {s.word for s in reading.sites if s.urgent or s.id == "other"}
        assert words
        assert "unlikely" not in words
    assert any(s.word == "less supported by these signs" for s in reading.sites)


@pytest.mark.parametrize(
    ("line", "first"),
    [
        # Of legs alone the cauda says more; of speech and face it says nothing, and the stroke has less time.
        ("onset=hours saddle reduced/normal hip_flexion 4/5", "cauda_equina"),
        ("onset=hours saddle reduced/normal aphasia marked face_lower 2/5", "stroke"),
        ("onset=hours bladder retention aphasia marked", "stroke"),
    ],
)
def test_a_reason_of_an_hour_is_not_said_behind_one_of_four_that_does_not_explain_it(line, first):
    assert urgency(line).reasons[0].rule == first


def test_now_has_no_limit_by_the_name_of_a_lower_level(rules_anew, monkeypatch):
    table = {**read("rules/urgency.toml")}
    table["stroke"] = {**table["stroke"], "by": "today"}
    monkeypatch.setattr("wardexam.reasoning.rules.rule_table.read", lambda _: table)
    with pytest.raises(TableError, match="no limit of what is 'now'"):
        rules()


@pytest.mark.parametrize(
    "name", [n for n, row in rules().items() if "sign:drowsy" in (*row.some, *row.every)]
)
def test_no_words_claim_that_a_patient_is_drowsy_who_was_found_inattentive(name):
    row = rules()[name]
    for words in (row.reason, row.short):
        assert "drows" not in words or "confus" in words or " or " in words
