"""A kind of no lesion does not lead over a plain picture of an emergency; what is written is common practice."""

import pytest

from wardexam import ready
from wardexam.exam.typed import read_line
from wardexam.reasoning.inference.evidence import said_of_others, terms
from wardexam.reasoning.inference.prior import sites

# What may lead, by region.
LEADS = {
    "a sudden lower face with a usual brow is of the hemisphere": (
        "age=75 onset=sudden complaint=face complaint_side=right face_upper 5/5 face_lower 3/5 dysarthria slight "
        "power_arm 5/5 power_leg 5/5 plantar flexor/flexor",
        {"brain"},
    ),
    "weak legs, back pain and cancer are of the cord": (
        "age=69 onset=days pain=back complaint=back_pain flag:cancer=yes flag:thoracic_night=yes flag:gait_lost=yes "
        "hip_flexion 4/4 knee_flexion 4+/4+ knee 2+/2+ ankle 2+/2+ plantar flexor/flexor power_arm 5/5",
        {"cord"},
    ),
    "an upgoing toe and a brisk knee weigh more than one sign of effort": (
        "age=55 onset=sudden complaint=weak_leg complaint_side=left hip_extension_returns absent/present "
        "hip_flexion 5/3 ankle_dorsiflexion 5/3 knee 2+/3+ plantar flexor/extensor",
        {"brain", "cord"},
    ),
    "an upgoing toe is of no will, whatever else is found": (
        "age=37 sex=female onset=hours complaint=weak_one_side complaint_side=right power_arm 2/5 "
        "drift_without_pronation present/absent midline_split present/absent hip_extension_returns present/absent "
        "plantar extensor/flexor reflexes_arm 3+/2+ face_lower 5/5",
        {"brain", "cord"},
    ),
    "an upgoing toe and two signs of effort": (
        "age=40 onset=days complaint=weak_leg complaint_side=left power_leg 5/3 plantar flexor/extensor "
        "hip_extension_returns absent/present give_way_leg absent/present",
        {"brain", "cord"},
    ),
    "one ankle jerk absent and two signs of effort": (
        "age=40 onset=days complaint=weak_leg complaint_side=left power_leg 5/3 ankle 2/0 "
        "hip_extension_returns absent/present give_way_leg absent/present",
        {"plexus", "root", "cauda", "motor_neurone"},
    ),
    "back pain and a numb saddle": ("age=50 complaint=back_pain saddle 1/1", {"cauda"}),
    "back pain and a slack anus": ("age=50 complaint=back_pain anal_tone reduced", {"cauda"}),
    "back pain and one ankle jerk absent": ("complaint=back_pain ankle 2/0", {"root"}),
    "clonus with upgoing toes for months, awake and well": (
        "age=59 onset=longer reflexes_leg 4+/4+ clonus_ankle sustained/sustained hoffmann present/present "
        "power_arm 5/5 power_leg 5/5 plantar extensor/extensor",
        {"cord"},
    ),
    "back pain at night with cancer and one hip a little weak": (
        "age=68 sex=male onset=weeks complaint=back_pain pain=back flag:cancer=yes flag:thoracic_night=yes "
        "flag:bladder_bowel=no hip_flexion 4+/4 knee 2+/2+ ankle 2+/2+ plantar flexor/flexor power_arm 5/5",
        {"cord"},
    ),
    "a numb saddle and a full bladder beside signs of effort": (
        "age=40 onset=days complaint=back_pain pain=back give_way_leg present/present inconsistent present power_leg 4/4 "
        "knee 2+/2+ ankle 2+/2+ plantar flexor/flexor saddle reduced/reduced bladder retention post_void_residual measured:500",
        {"cauda", "conus", "cord"},
    ),
    "headache with clonus that goes on is not normal": (
        "complaint=headache pain=head clonus_ankle sustained/sustained knee 3+/3+ ankle 3+/3+",
        {"brain", "parasagittal", "cord", "systemic"},
    ),
    "the same in pregnancy": (
        "age=38 sex=female onset=hours complaint=headache pain=head setting=pregnancy power_all 5/5 "
        "clonus_ankle sustained/sustained knee 3+/3+ ankle 3+/3+ biceps 3+/3+",
        {"brain", "meninges", "systemic"},
    ),
    "drowsy, on an anticoagulant, one side a little weak": (
        "age=81 onset=weeks complaint=confused flag:anticoagulant=yes flag:headache_new=yes flag:drowsy=yes "
        "drowsiness slight attention present shoulder_abduction 5/4+ hip_flexion 5/4+ plantar flexor/equivocal",
        {"brain"},
    ),
    "weakness of all limbs over days with no reflexes": (
        "age=19 onset=days complaint=weak_all flag:progressive=yes power_arm 3/3 power_leg 2/2 reflexes_all 0/0 "
        "plantar flexor/flexor face 5/5 drowsiness none bladder normal rest=sensation:all",
        {"polyradiculoneuropathy"},
    ),
    "a sudden weak leg without a sign of effort, in whom it may be": (
        "age=34 sex=female onset=sudden complaint=weak_leg complaint_side=right hip_flexion 3/5 knee_flexion 3/5 "
        "ankle_dorsiflexion 3/5 knee_extension 4/5 knee 2+/2+ ankle 2+/2+ plantar flexor/flexor rest=sensation:all "
        "power_arm 5/5 face 5/5 inconsistent absent give_way_leg absent/absent",
        {"brain"},
    ),
    "a paralysis of all limbs within hours without one": (
        "age=23 onset=hours complaint=weak_all power_all 1/1 reflexes_all 2+/2+ rest=cranial:head",
        {"cord", "polyradiculoneuropathy", "systemic"},  # published: low potassium; each needs action the same day
    ),
    "numb from the neck pain down, with brisk arms": (
        "age=60 onset=longer pain=neck power_leg 4/4 reflexes_all 3+/3+ hoffmann present/present "
        "plantar extensor/extensor level_touch T8/T8 gait spastic",
        {"cord"},
    ),
    "the tongue alone": ("onset=longer complaint=speech tongue_deviation absent/present fasciculation_tongue present", {"nerve"}),
    "an eye that does not look down after a blow": (
        "onset=days trauma=yes complaint=double_vision diplopia present eye_vertical present/absent "
        "ptosis absent/absent pupil_large absent/absent eye_abduction absent/absent",
        {"nerve"},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", LEADS)
def test_what_leads(name):
    line, regions = LEADS[name]
    assert ready.engine().read(read_line(line).spelled_out()).sites[0].region in regions


def test_the_rest_said_of_all_limbs_does_not_speak_of_one_that_is_all_odd():
    found = read_line("power_leg 5/0 rest=power:all").spelled_out()
    assert said_of_others(found) == {("power", "left leg")}
    own = read_line("power_leg 5/0 rest=power:left_leg").spelled_out()
    assert said_of_others(own) == set()
    told = {t.key for t in terms(found, silence=False) if t.kind == "stated"}
    assert ("power", "left leg") not in told
    assert ("power", "right leg") in told


def test_a_sensory_level_below_a_lesion_of_the_neck_leaves_the_neck_open():
    line, _ = LEADS["numb from the neck pain down, with brisk arms"]
    leader = ready.engine().read(read_line(line).spelled_out()).sites[0]
    assert leader.levels is not None
    assert leader.levels[0].startswith("C")


def test_every_kind_of_no_lesion_is_named_so():
    assert {s for s, row in sites().items() if row.get("lesion") is False} == {
        "none", "systemic", "functional", "pain_limited",
    }  # fmt: skip


def test_jerks_that_are_lost_leave_a_functional_weakness_less_than_likely():
    line = "onset=days flag:progressive=yes give_way_leg present/present power_leg 3/3 power_arm 4/4 knee 0/0 ankle 0/0 biceps 1+/1+"
    sites = ready.engine().read(read_line(line).spelled_out()).sites
    assert next(s.probability for s in sites if s.region == "functional") < 0.5
