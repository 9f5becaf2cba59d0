"""The story belongs to a form; kinds of no lesion never reassure and never quiet the alarm; signs asked apart."""

from typing import get_args

import pytest

from wardexam import ready
from wardexam.anatomy.catalogue import catalogue
from wardexam.anatomy.structures import brain_lesions, other_lesions
from wardexam.exam.examination import Context, Setting
from wardexam.exam.findings import RestNormal
from wardexam.exam.typed import read_line
from wardexam.reasoning.inference.posterior import answered_yes
from wardexam.reasoning.inference.prior import Priors, band, sites, told
from wardexam.reasoning.model.lesions import plan

CALM = {name for name, row in sites().items() if not row.get("lesion", True)}


def found(line: str):
    return read_line(line).spelled_out()


def reading(line: str):
    return ready.engine().read(found(line))


def mass(site: str, context: Context, flags=()) -> float:
    made = ready.engine().hypotheses
    chance = Priors(made).forms(context, flags)
    return float(sum(p for p, f in zip(chance, made.forms, strict=True) if f.site == site))


@pytest.mark.parametrize(
    ("age", "name"), [(None, ""), (0, "infant"), (6, "child"), (16, "young"), (64, "middle"), (65, "old"), (99, "old")]
)  # fmt: skip
def test_an_age_falls_in_one_band(age, name):
    assert band(age) == name


def test_what_is_not_told_is_in_no_column():
    assert told(Context()) == []
    assert told(Context(age=70, pain="none"), ("fever",)) == [
        ("pain", "none"), ("age", "old"), ("flag", "fever"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("site", "context", "flags"),
    [
        ("meninges", Context(complaint="headache"), ("neck_stiff",)),
        ("systemic", Context(complaint="confused"), ("drowsy",)),
        ("pain_limited", Context(complaint="leg_pain", pain="limb"), ()),
        ("basal_ganglia", Context(onset="longer"), ()),
        ("junction", Context(complaint="double_vision"), ("myasthenia",)),
    ],
)
def test_a_story_makes_its_site_likelier(site, context, flags):
    assert mass(site, context, flags) > 1.8 * mass(site, Context())


# What comes first with a setting told: without it a nerve has less (common practice; see the head of `nerves.toml`).
AFTER = [
    ("complaint=weak_leg complaint_side=left hip_adduction -/2 hip_flexion -/4", "operation", "nerve.obturator.left"),
    ("complaint=weak_leg complaint_side=right knee_extension 3/5 knee 0/2 territory_femoral 1/2", "childbirth", "nerve.femoral.right"),
    ("onset=waking wrist_extension 1/5 finger_extension 1/5 triceps 2/2", "pressed", "nerve.radial.right"),
    ("onset=hours ankle_dorsiflexion 5/2 ankle_plantarflexion 5/3 ankle 2/0", "injection", "nerve.sciatic.left"),
    ("complaint=numb_hands territory_median 1/1 thumb_abduction 5/5", "pregnancy", "nerve.median.both"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "setting", "site"), AFTER)
def test_what_it_came_after_makes_a_nerve_likelier(line, setting, site):
    before, after = (reading(f"{line}{more}").sites for more in ("", f" setting={setting}"))
    assert after[0].id == site
    assert after[0].probability > next(s.probability for s in before if s.id == site)


@pytest.mark.parametrize("silence", [True, False])
def test_an_operation_weighs_once_however_it_is_told(silence):
    """As the complaint, as what it came after, or as both."""
    line = "onset=days knee_extension 3/5 knee 0/2 "
    each = [
        ready.engine().read(found(line + words), silence=silence).sites
        for words in ("complaint=after_surgery", "setting=operation", "complaint=after_surgery setting=operation")
    ]  # fmt: skip
    assert each[0] == each[1] == each[2]


ALARMING = (
    "onset=sudden complaint=weak_leg ankle_dorsiflexion 5/2 great_toe_extension 5/2",
    "onset=days complaint=back_pain saddle 1/1 ankle 0/0",
    "onset=hours power_leg 4/4 knee 0/0 ankle 0/0",
)


@pytest.mark.parametrize("line", ALARMING)
def test_what_it_came_after_never_moves_the_tools_own_alarm(line):
    bare = reading(line).dangerous
    assert bare
    for setting in get_args(Setting):
        assert reading(f"{line} setting={setting}").dangerous == bare


def test_a_complaint_of_after_surgery_gives_way_to_a_setting_that_says_more():
    told_so = Context(complaint="after_surgery", setting="childbirth")
    assert told(told_so) == [("setting", "childbirth")]
    assert told(Context(complaint="after_surgery", setting="none")) == [("setting", "operation")]


def test_a_state_of_the_whole_body_raises_toes_where_something_speaks_for_it():
    """A toe that rises or sustained clonus speaks against it, but in who is drowsy, trembles or has low glucose."""
    odd = "onset=longer plantar up/up clonus_ankle sustained/sustained"
    assert "beyond_state" in answered_yes(found(odd))
    for told_too in (
        "drowsiness slight",
        "flag:low_glucose=yes",
        "complaint=confused",
        "tremor_action present/present",
    ):
        assert "beyond_state" not in answered_yes(found(f"{odd} {told_too}"))


def test_a_form_has_a_tempo_of_its_own():
    made = ready.engine().hypotheses
    slow = [n for n, f in enumerate(made.forms) if f.name.endswith("with neuropathy")]
    other = [n for n, f in enumerate(made.forms) if f.site == "cord" and n not in slow]
    priors = Priors(made)
    sudden, longer = (priors.forms(Context(onset=o)) for o in ("sudden", "longer"))
    assert sudden[slow].sum() / sudden[other].sum() < 0.1 * longer[slow].sum() / longer[other].sum()


def test_a_site_is_known_by_what_is_found():
    assert answered_yes(found("knee 2/2")) == ("unexplained", "unpainful", "unsupported")
    assert answered_yes(found("hip_extension_returns 0/1 flag:fever=yes")) == ("fever", "unpainful")
    assert answered_yes(found("hip_extension_returns 0/0 flag:fever=no")) == ("unexplained", "unpainful", "unsupported")  # fmt: skip


@pytest.mark.parametrize(
    ("line", "refuted"),
    [
        ("plantar flexor/extensor", {"beyond_will", "beyond_pain"}),
        ("ankle 2/0", {"beyond_will", "beyond_pain"}),
        ("ankle 0/0", set()),  # of age, or of both nerves
        ("ankle -/0", set()),  # the other side is not known
        ("ankle nt/0", set()),
        ("ankle 2/1", set()),
        ("saddle 1/2", {"beyond_pain", "beyond_will"}),
        ("wasting_calf marked/none", {"beyond_will"}),
    ],
)
def test_a_sign_that_no_will_and_no_pain_gives_refutes_it(line, refuted):
    assert set(answered_yes(found(line))) & {"beyond_will", "beyond_pain"} == refuted


@pytest.mark.parametrize(
    ("line", "word", "said"),
    [
        ("ankle 3/3", "beyond_length", True),  # by what it means, on any scale
        ("ankle 2/2", "beyond_length", False),
        ("knee 3/3", "beyond_roots", True),
        ("level_pin T10/none", "beyond_head", True),
        ("level_pin C6/none", "beyond_head", False),  # no border on the trunk
        ("neck_flexion 3", "beyond_health", True),
        ("neck_flexion 4", "beyond_health", False),
        ("neck_flexion nt", "beyond_health", False),
    ],
)
def test_a_sign_that_a_site_does_not_give_is_a_word_of_the_story(line, word, said):
    assert (word in answered_yes(found(line))) == said


@pytest.mark.parametrize("name", sorted(CALM))
def test_no_kind_of_no_lesion_says_that_there_is_none(name):
    words = sites()[name]["name"]
    assert not any(w in words for w in ("no lesion", "excluded", "healthy", "nothing wrong"))


def test_what_is_called_normal_says_of_how_many_signs():
    assert reading("").sites[0].id != "none" or "nothing examined" in reading("").sites[0].name
    names = {s.id: s.name for s in reading("knee 2/2 ankle 2/2 power_leg 5/5 plantar 1/1").sites}
    assert names["none"] == "normal as far as examined: 16 signs"
    # What was only stated of a part is not counted as if each of its signs had been written down.
    names = {
        s.id: s.name for s in reading("knee 2/2 rest=power:all rest=sensation:both_legs").sites
    }
    assert names["none"] == "normal as far as examined: 2 signs, 2 parts stated"


@pytest.mark.parametrize(
    ("line", "count"),
    [
        ("touch_L4 1/2 touch_L5 2/2", "4 signs"),
        ("level_pin T10/none touch_L5 2/2", "4 signs"),
        ("knee 2/2 rest=power:left_leg", "2 signs, 1 part stated"),
    ],
)
def test_normal_says_of_how_many_signs_however_each_is_weighed(line, count):
    names = {s.id: s.name for s in ready.engine().read(read_line(line).spelled_out()).sites}
    assert names["none"] == f"normal as far as examined: {count}"


def test_the_alarm_hears_no_flag_and_no_form_that_could_calm():
    line = "power_leg 3/3 knee 3/3 plantar 3/3 level_pin T8/T8"
    bare = reading(line).dangerous
    assert bare
    for more in ("flag:drowsy=yes flag:fever=yes", "flag:resolved=yes", "complaint=other age=30 sex=female"):  # fmt: skip
        assert reading(f"{line} {more}").dangerous[0].region == bare[0].region
    assert reading(f"{line} flag:drowsy=yes").dangerous == bare
    for form in plan().forms:
        if form.site in CALM and form.site != "none":
            assert not form.alarm
    assert {s.region for s in bare}.isdisjoint(CALM)


@pytest.mark.parametrize(
    "line",
    [
        "age=26 onset=days shoulder_abduction 4/4 elbow_flexion 0/0 elbow_extension 0/0 finger_abduction 0/0 power_leg 0/0 saddle absent/absent anal_tone reduced",
        "age=39 onset=hours pain=neck power_arm 2/2 power_leg 0/0 knee 0/0 ankle 0/0 plantar down/down saddle absent/absent anal_tone reduced",
        "onset=sudden power_leg 0/0 bladder retention",
        "onset=hours power_all 1/1",
    ],
)  # fmt: skip
def test_an_acute_loss_of_power_is_not_led_by_a_kind_of_no_lesion(line):
    assert reading(line).sites[0].region not in CALM


PATTERNS = [
    ("functional", "age=28 power_leg 5/2 knee 2/2 ankle 2/2 plantar down/down hip_extension_returns 0/1 give_way_leg 0/1"),
    ("functional", "age=40 power_arm 3/5 biceps 2/2 triceps 2/2 drift_without_pronation 1/0 inconsistent 1"),
    ("pain_limited", "complaint=arm_pain complaint_side=right pain=limb shoulder_abduction 4/5 pain_limits_arm 1/0 joint_limits_arm 1/0 biceps 2/2"),
    ("systemic", "age=80 onset=hours complaint=confused drowsiness slight attention 1 flapping_tremor 1 flag:drowsy=yes power_all 5/5"),
    ("meninges", "onset=sudden complaint=headache pain=head meningism 1 flag:headache_sudden=yes flag:neck_stiff=yes power_all 5/5"),
    ("meninges", "onset=weeks complaint=headache pain=head papilloedema 1/1 reflexes_all 2/2"),
    ("basal_ganglia", "age=70 onset=longer tone_arm rigid/rigid slowness 1/1 tremor_rest 1/0 gait shuffling power_all 5/5"),
    ("basal_ganglia", "onset=sudden chorea 0/1 power_all 5/5"),
    ("brainstem", "complaint=double_vision diplopia 1 internuclear 1/1 nystagmus 1/1 age=28"),
    ("nerve", "complaint=vision complaint_side=right acuity 1/0 afferent_pupil 1/0"),
    ("nerve", "complaint=dizzy spinning 1 nystagmus 1/0 head_impulse 0/1"),
    ("muscle", "onset=longer age=30 myotonia 1 finger_abduction 4/4 ankle_dorsiflexion 4/4 ptosis 1/1"),
    ("motor_neurone", "age=4 onset=days power_arm 0/5 biceps 0/2 triceps 0/2 wasting_shoulder marked/- touch_C5 2/- touch_C6 2/- touch_C7 2/- touch_C8 2/- touch_T1 2/-"),
    ("brain", "onset=hours shoulder_abduction 2/2 elbow_extension 2/2 finger_abduction 3/3 biceps 3/3 triceps 3/3 power_leg 5/5 face_lower 5/5 plantar up/up touch_T4 2/2"),
]  # fmt: skip


@pytest.mark.parametrize(("region", "line"), PATTERNS)
def test_the_plain_pattern_of_a_site_is_among_the_first_three(region, line):
    assert region in {s.region for s in reading(line).sites[:3]}


def test_what_is_asked_apart_is_not_stated_normal_and_its_silence_says_nothing():
    apart = [s for s in catalogue().values() if s.apart]
    assert len(apart) > 25
    for limb, part in (("head", "cranial"), ("left leg", "provocation"), ("right arm", "movement")):
        stated = RestNormal(part=part, limb=limb)
        assert not any(stated.covers(s, side) for s in apart for side in ("right", "left", "midline"))  # fmt: skip
    posterior = ready.engine().posterior(found("diplopia 1 rest=cranial:head"))
    keys = {p.key[0] for t in posterior.terms for p in t.pieces}
    assert keys.isdisjoint(s.id for s in apart)


def test_every_lesion_of_the_tables_has_a_site_and_a_story_that_can_be_told():
    known = {"onset": {"sudden", "hours", "waking", "days", "weeks", "longer"}, "trauma": {"yes", "no"}}  # fmt: skip
    for row in (*brain_lesions().values(), *other_lesions().values()):
        assert row.site in sites()
        for column, names in known.items():
            assert set(getattr(row, column)) <= names


def test_a_cord_lesion_is_said_to_be_of_the_whole_only_where_the_saddle_was_examined():
    line = "onset=hours power_leg 0/0 knee 0/0 level_pin T8/T8 bladder retention"
    severe = reading(line).sites[0].name
    assert severe.startswith("cord, ")
    assert "whole" not in severe
    whole = reading(f"{line} saddle absent/absent anal_tone absent").sites[0].name
    assert whole.startswith("cord, whole cross-section")


def test_no_site_is_named_by_a_word_of_the_cord_injury_standard():
    """A sheet says complete or incomplete by the standard, which a suggestion beside it never contradicts."""
    from wardexam.anatomy.lesion_tables import cord_patterns

    names = [pattern.name or id_ for id_, pattern in cord_patterns().items()]
    assert {"whole cross-section", "partial"} <= set(names)
    assert not any("complete" in name for name in names)
