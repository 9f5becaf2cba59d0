"""What leads where a reading once went wrong: each by what a doctor would think of first (common practice)."""

import pytest

from wardexam import ready
from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.typed import read_line
from wardexam.reasoning.inference.evidence import terms

SHEETS = {
    "all limbs over days, no jerk, cranial nerves normal": (
        "onset=days complaint=weak_all power_all 1/1 reflexes_all 0/0 rest=cranial:head",
        {"polyradiculoneuropathy"},
    ),
    "a border on the trunk with brisk legs is of the cord": (
        "age=31 onset=hours complaint=numb_one_side complaint_side=left level_touch -/T10 level_pin -/T10 "
        "reflexes_leg 3+/3+ plantar mute/mute",
        {"cord"},
    ),
    "the same told by its dermatomes": (
        "age=31 onset=hours complaint=numb_one_side complaint_side=left touch_T8 -/normal touch_T12 -/reduced "
        "touch_L3 -/reduced touch_L5 -/reduced reflexes_leg 3+/3+ plantar mute/mute",
        {"cord"},
    ),
    "thumb and finger tips alone, woken with": (
        "age=46 onset=waking complaint=weak_arm complaint_side=left finger_flexion -/0 thumb_flexion -/0 "
        "territory_median -/normal",
        {"nerve"},
    ),
    "neck stiff and confused with a fever": (
        "age=24 onset=hours complaint=confused pain=head drowsiness slight attention present meningism present "
        "kernig present flag:fever=yes flag:drowsy=yes",
        {"meninges"},
    ),
    "vertigo, deaf in one ear and clumsy on that side is no inner ear alone": (
        "age=67 onset=sudden complaint=dizzy flag:vertigo=yes head_impulse present/- hearing present/absent "
        "finger_nose slight/none facial_sensation_touch reduced/normal",
        {"brainstem"},
    ),
    "both feet dropped after squatting, jerks usual": (
        "age=26 onset=days complaint=weak_leg complaint_side=both pain=none ankle_dorsiflexion 3/2 ankle_eversion 4-/3 "
        "ankle_plantarflexion 5/5 ankle 2+/2+ territory_superficial_fibular reduced/reduced",
        {"nerve"},
    ),
}


def leading(line):
    return ready.engine().read(read_line(line).spelled_out()).sites[0]


@pytest.mark.parametrize("name", sorted(SHEETS))
def test_what_leads(name):
    line, wanted = SHEETS[name]
    assert leading(line).region in wanted


def chance(line, region):
    sites = ready.engine().read(read_line(line).spelled_out()).sites
    return sum(s.probability for s in sites if s.region == region)


def test_a_side_far_worse_than_the_other_speaks_against_a_disease_of_the_whole_body():
    even = "onset=longer complaint=weak_all hip_flexion 2/2 ankle_dorsiflexion 2/2 shoulder_abduction 2/2"
    uneven = "onset=longer complaint=weak_all hip_flexion 1/4 ankle_dorsiflexion 1/4 shoulder_abduction 1/4"
    assert chance(uneven, "muscle") < chance(even, "muscle")


def test_a_weak_foot_on_a_numb_pair_of_feet_is_said_to_be_two():
    line = (
        "age=52 onset=waking complaint=weak_leg complaint_side=left stocking ankle/ankle ankle 0/0 vibration_leg reduced/reduced "
        "ankle_dorsiflexion 5/1 ankle_eversion 5/1 great_toe_extension 5/1 ankle_inversion 5/5 ankle_plantarflexion 5/5 "
        "territory_superficial_fibular normal/absent knee 2+/2+"
    )
    reading = ready.engine().read(read_line(line).spelled_out())
    assert reading.pair is not None


def pairs(line):
    """The signs that are weighed beside their fellows of the other side."""
    found = terms(read_line(line).spelled_out(), silence=False)
    return {p.key for t in found for p in t.pieces if p.beside}


def test_sides_are_unlike_where_one_is_usual_or_grades_are_far_apart():
    assert pairs("hip_flexion 4/5") == {("hip_flexion", "right")}
    assert pairs("hip_flexion 2/4") == {("hip_flexion", "right")}
    assert pairs("hip_flexion 3/4") == set()
    assert pairs("hip_flexion 3/3") == set()
    assert pairs("knee 0/2+") == set()  # a lost jerk of one side is what tells a root
    assert pairs("hip_flexion -/3 rest=power:right_leg") == {("hip_flexion", "left")}


@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("onset=sudden chorea -/present power_all 5/5", "right basal ganglia"),
        ("onset=longer tremor_rest present/- slowness present/- tone_arm rigid/normal", "left basal ganglia"),
    ],
)  # fmt: skip
def test_chorea_and_parkinsonism_of_one_side_are_of_the_other_basal_ganglia(line, name):
    # Common practice: the basal ganglia move the other side of the body.
    assert ready.engine().read(read_line(line).spelled_out()).sites[0].name == name


def test_a_conus_of_one_side_is_named_with_it():
    line = (
        "onset=days saddle normal/reduced perianal normal/absent plantar flexor/extensor ankle 2/0 "
        "power_leg 5/4 bladder altered"
    )
    first = ready.engine().read(read_line(line).spelled_out()).sites[0]
    assert (first.region, first.side) == ("conus", "left")


# As a tired doctor leaves them: what may lead, and the chance that the leader may not exceed.
SPARSE = {
    "a border on the trunk of both sides with strength and jerks stated normal": (
        "level_pin T10/T10 rest=power:all rest=reflexes:all",
        {"cord"},
        0.985,
    ),
    "a border on the trunk of one side with strength and jerks stated normal": (
        "level_pin T10/none rest=power:all rest=reflexes:all",
        {"cord", "root"},
        0.95,
    ),
    "two small pupils with a painful neck": (
        "complaint=neck_pain pain=neck pupil_small present/present",
        {"systemic", "brainstem", "none", "cord"},
        0.35,
    ),
    "a weak neck and no more": ("neck_flexion 3", {"muscle", "junction", "motor_neurone"}, 0.5),
}  # fmt: skip


@pytest.mark.parametrize("silence", [True, False])
@pytest.mark.parametrize("name", sorted(SPARSE))
def test_what_leads_where_little_was_written(name, silence):
    line, wanted, most = SPARSE[name]
    leader = ready.engine().read(read_line(line).spelled_out(), silence=silence).sites[0]
    assert leader.region in wanted
    assert leader.probability <= most


def test_weak_arms_without_a_jerk_over_brisk_knees_are_hardly_of_roots_alone():
    line = "power_arm 4/4 reflexes_arm 0/0 knee 3/3"
    assert chance(line, "polyradiculoneuropathy") < 0.5
    found = read_line(line).spelled_out()
    assert ready.engine().read(found, silence=False).sites[0].region == "cord"


def test_a_border_on_the_trunk_alone_does_not_say_how_much_of_the_cord_is_kept():
    assert "partial" not in leading("level_pin T10/T10").name
    assert "partial" in leading("onset=hours power_leg 0/0 knee 0/0 ankle 0/0 level_pin T6/T6").name


@pytest.mark.parametrize("line", ["knee 0/2", "knee -/0"])
def test_what_is_asked_after_one_lost_jerk_is_no_sign_of_the_head(line):
    first = ready.engine().read(read_line(line).spelled_out()).next_signs[0]
    assert catalogue()[first.key[0]].limb != "head"


def test_after_one_lost_jerk_its_own_muscles_are_among_what_is_asked():
    asked = {s.key[0] for s in ready.engine().read(read_line("knee 0/2").spelled_out()).next_signs}
    assert "knee_extension" in asked
