"""In which order the flags are asked: by what is entered, and none is left out."""

import pytest

from wardexam.exam.examination import Context, Findings
from wardexam.exam.flags import flag_names, flags
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.asking import order
from wardexam.reasoning.rules.firing import Firing, fired
from wardexam.reasoning.rules.urgency import assess


def found(line: str) -> Findings:
    return read_line(line).spelled_out()


def asked(line: str, answered: tuple[str, ...] = ()) -> list[str]:
    return list(order(found(line), answered))


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        # What turns the picture into its emergency, or into another, is among the first.
        ("complaint=back_pain", {"bladder_bowel", "saddle_numb", "fever", "cancer", "anticoagulant", "trauma"}),
        ("ankle 0/0 ankle_plantarflexion 4/4 onset=days pain=back", {"bladder_bowel", "saddle_numb", "gait_lost"}),
        ("complaint=headache", {"headache_sudden", "drowsy", "neck_stiff", "fever", "fit", "anticoagulant"}),
        ("ptosis present/present complaint=double_vision", {"breathing", "drowsy"}),
        ("complaint=weak_all", {"breathing", "drowsy", "bladder_bowel"}),
        ("complaint=vision", {"sight", "headache_sudden", "jaw_scalp"}),
        ("complaint=fit", {"drowsy", "fever", "headache_new", "anticoagulant"}),
        ("", {"breathing", "low_glucose", "drowsy", "fitting", "bladder_bowel"}),
    ],
)  # fmt: skip
def test_what_matters_now_is_among_the_first_twelve(line, wanted):
    assert wanted <= set(asked(line)[:12])


@pytest.mark.parametrize(
    ("line", "first"),
    [
        ("onset=days complaint=back_pain ankle 1/2 ankle_dorsiflexion 4/5", ["bladder_bowel", "saddle_numb"]),
        ("onset=sudden face_lower 5/3 power_arm 5/2", ["low_glucose", "anticoagulant"]),
        ("pain=back power_leg 4/4 saddle 1/1", ["bladder_bowel", "saddle_numb"]),
        ("onset=hours drowsiness 1", ["low_glucose", "anticoagulant"]),
        ("complaint=headache", ["headache_sudden", "fever"]),
    ],
)  # fmt: skip
def test_what_would_change_the_first_step_is_asked_before_all(line, first):
    assert asked(line)[:2] == first


def test_a_flag_that_the_story_tells_already_is_asked_after_the_others():
    unknown, told = asked("thumb_abduction 4/5"), asked("onset=longer thumb_abduction 4/5")
    assert unknown.index("sudden") < told.index("sudden") == len(flag_names()) - 1


@pytest.mark.parametrize("line", ["", "complaint=fit onset=days", "flag:cancer=yes knee 0/0"])
def test_every_flag_is_asked_once(line):
    assert sorted(asked(line)) == sorted(flag_names())


def test_where_nothing_more_is_known_those_come_first_that_alone_are_an_emergency():
    levels = [
        assess(found(f"onset=longer flag:{name}=yes"), None, None).level
        for name in asked("onset=longer")
    ]
    assert levels == sorted(levels, reverse=True)
    assert levels[0] == 3


def test_a_flag_that_needs_a_finding_comes_before_those_that_need_none_once_it_is_there():
    without, there = (
        asked("onset=days"),
        asked("onset=days finger_abduction 4/5 flag:dark_urine=yes"),
    )
    assert without.index("myasthenia") > without.index("low_glucose")
    assert there.index("myasthenia") < there.index("low_glucose")


def test_what_is_answered_comes_last_and_what_was_answered_earlier_is_asked_again():
    assert asked("complaint=back_pain", ("bladder_bowel", "fever"))[-2:] == [
        "bladder_bowel",
        "fever",
    ]
    earlier = asked("complaint=back_pain flag:bladder_bowel=yes flag:fever=no")
    assert {"bladder_bowel", "fever"} <= set(earlier[:12])


def test_a_finding_marked_as_known_asks_no_more_than_its_rules_let_it():
    new, known = asked("onset=days hip_flexion 3/3"), asked("onset=days hip_flexion known:3/3")
    assert new.index("myasthenia") < known.index("myasthenia")


def test_no_finding_is_changed_by_asking():
    before = found("complaint=back_pain flag:cancer=yes")
    copy = before.model_copy(deep=True)
    order(before, before.flags)
    assert before == copy


SHEETS = (
    "",
    "age=70 onset=hours complaint=weak_leg hip_flexion 4/5 knee 3/1 plantar up/down flag:worse=no",
    "ankle 0/0 saddle reduced/reduced onset=days pain=back flag:cancer=yes flag:fever=no",
    "complaint=headache flag:headache_sudden=yes flag:worse=yes knee 3/3",
    "onset=longer flag:worse=no hip_flexion 3/3 bladder retention level_pin T8/T8 plantar up/up",
)


@pytest.mark.parametrize("known", [False, True], ids=["new", "known before"])
@pytest.mark.parametrize("line", SHEETS)
def test_one_yes_more_fires_what_the_whole_table_tried_anew_does(line, known):
    sheet = found(line)
    if known:
        old = tuple(f.model_copy(update={"known": "old"}) for f in sheet.findings[::2])
        sheet = sheet.model_copy(update={"findings": old + sheet.findings[1::2]})
    firing, rose = Firing(sheet), 0
    for name in set(flag_names()) - {n for n, a in sheet.flags.items() if a == "yes"}:
        told = sheet.model_copy(update={"flags": {**sheet.flags, name: "yes"}})
        assert firing.by_yes(name) == fired(told), name
        rose += firing.by_yes(name) != firing.now
    assert rose > 5


def test_what_a_flag_is_told_by_is_a_word_of_the_story():
    told_by = {row.told_by for row in flags().values() if row.told_by}
    assert told_by <= Context.model_fields.keys()
    assert told_by
