"""The invented ward: who lies where, and what was found when, as typed lines.

Nobody here exists. Each course is made up to show one kind of lesion; none is a published case.
Times are hours from the start of the scenario.
"""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
# The demo opens at this hour of the scenario, so that the ward looks freshly examined.
NOW_HOURS = 54.0

ALL = ("all",)  # every reason that stands
REST = ("rest",)  # every one about which nothing was done yet
SPINE = ("cauda_equina", "both_legs_weak_pain", "bladder_or_bowel")
HURT = ("trauma", "head_injury_older", "head_injury_anticoagulant")
ARMS_2 = "biceps 2/2 brachioradialis 2/2 triceps 2/2"
LEGS_2 = "knee 2/2 ankle 2/2 plantar down/down clonus_ankle none/none"


@dataclass(frozen=True)
class Did:
    """What was done about reasons of urgency: hours from the start, by whom, which rules, what."""

    hours: float
    by: str
    rules: tuple[str, ...]
    kind: str
    what: str


@dataclass(frozen=True)
class Visit:
    """One examination: hours from the start, examiner, signs as a typed line, words, and what was done."""

    hours: float
    by: str
    signs: str
    comment: str = ""
    impression: str = ""
    did: tuple[Did, ...] = ()


@dataclass(frozen=True)
class Stay:
    """One invented patient."""

    bed: str
    name: str
    age: int
    sex: str
    recheck: int | None
    remark: str
    visits: tuple[Visit, ...] = field(default=())
    discharged: float | None = None
    number: str = ""
    born: date | None = None


STAYS = (
    Stay(
        "A1",
        "Ottoline Marsh",
        71,
        "female",
        4,
        "breast cancer 2019, new back pain",
        (
            Visit(
                2,
                "Dr Ash",
                f"age=71 sex=female onset=days complaint=weak_leg complaint_side=both bears_weight=yes {ARMS_2}"
                " knee 3/3 ankle 3/3 plantar up/up clonus_ankle none/unsustained:4 abdominal_upper 2/2 abdominal_lower 0/0"
                " hip_flexion 4/4+ knee_extension 5/5 ankle_dorsiflexion 4/4 level_pin T9/T9 vibration_leg 1/1"
                " flag:cancer=yes flag:progressive=yes flag:bladder_bowel=no flag:thoracic_night=yes",
                "Walks with one person.",
                "Thoracic cord, level about T9. Discussed with the registrar.",
            ),
            Visit(
                26,
                "Dr Bex",
                f"age=71 sex=female onset=days complaint=weak_leg complaint_side=both bears_weight=no {ARMS_2}"
                " knee 3/3 ankle 4/4 plantar up/up clonus_ankle sustained/sustained abdominal_upper 2/2 abdominal_lower 0/0"
                " hip_flexion 3/3 knee_extension 4/4 ankle_dorsiflexion 2/2 level_pin T8/T8 vibration_leg 0/0 bladder retention"
                " post_void_residual measured:480 perianal 1/1 anal_tone 1"
                " flag:cancer=yes flag:progressive=yes flag:bladder_bowel=yes flag:gait_lost=yes flag:thoracic_night=yes",
                "Can no longer stand.",
                "Cord compression getting worse.",
                did=(
                    Did(26.2, "Dr Bex", ("cord_and_function",), "called", "spinal team, registrar"),
                    Did(26.3, "Dr Bex", ALL, "asked", "MRI of the whole spine"),
                    Did(
                        29.5,
                        "Dr Bex",
                        ALL,
                        "done",
                        "T8 compression, theatre 3 Mar 14:00",
                    ),
                ),
            ),
        ),
        number="40-1182",
        born=date(1954, 9, 17),
    ),
    Stay(
        "A2",
        "Idris Calloway",
        44,
        "male",
        4,
        "back pain after lifting",
        (
            Visit(
                6,
                "Dr Ash",
                "age=44 sex=male onset=days complaint=leg_pain complaint_side=left pain=radiating bears_weight=yes"
                " knee 2/2 ankle 2/0 plantar down/down clonus_ankle none/none ankle_plantarflexion 5/4 great_toe_extension 5/5"
                " knee_extension 5/5 straight_leg_raise negative/positive:35 pin_S1 2/1 pin_L5 2/2"
                " flag:bladder_bowel=no flag:saddle_numb=no flag:both_legs=no flag:cancer=no flag:infection=no flag:trauma=no",
                "",
                "Left S1 root.",
            ),
            Visit(
                51,
                "Dr Cole",
                "age=44 sex=male onset=hours complaint=leg_pain complaint_side=both pain=radiating bears_weight=yes"
                " knee 2/2 ankle 0/0 plantar down/mute clonus_ankle none/none ankle_plantarflexion 4/3 great_toe_extension 4/4-"
                " knee_extension 5/5 straight_leg_raise positive:50/positive:30 pin_S1 1/0 pin_L5 2/1 saddle 1/1 perianal 1/1"
                " anal_tone 1 bladder altered post_void_residual measured:320"
                " flag:bladder_bowel=yes flag:saddle_numb=yes flag:both_legs=yes flag:cancer=no flag:infection=no",
                "Woke with numbness between the legs.",
                did=(
                    Did(52.5, "Dr Cole", SPINE, "asked", "MRI of the lumbosacral spine"),
                    Did(
                        52.6,
                        "Dr Cole",
                        REST,
                        "not_needed",
                        "cauda equina first, spinal team agrees",
                    ),
                ),
            ),
        ),
        number="40-2956",
        born=date(1981, 11, 7),
    ),
    Stay(
        "A3",
        "Beatrix Lund",
        38,
        "female",
        24,
        "foot slaps since Sunday",
        (
            Visit(
                20,
                "Dr Bex",
                "age=38 sex=female onset=days complaint=weak_leg complaint_side=left pain=radiating bears_weight=yes"
                " knee 2/2 medial_hamstring 2/1 ankle 2/2 plantar down/down clonus_ankle none/none ankle_dorsiflexion 5/4-"
                " great_toe_extension 5/3 ankle_inversion 5/4 ankle_eversion 5/4 hip_abduction 5/4 ankle_plantarflexion 5/5"
                " knee_extension 5/5 pin_L5 2/1 pin_L4 2/2 pin_S1 2/2 straight_leg_raise negative/positive:40"
                " flag:bladder_bowel=no flag:saddle_numb=no flag:both_legs=no",
                "",
                "Left L5 root.",
            ),
        ),
        number="40-3317",
    ),
    Stay(
        "A4",
        "Tomasz Wieczorek",
        66,
        "male",
        2,
        "found slumped at breakfast",
        (
            Visit(
                1,
                "Dr Cole",
                "age=66 sex=male onset=sudden complaint=weak_one_side complaint_side=right bears_weight=no"
                " biceps 1/2 brachioradialis 1/2 triceps 1/2 knee 1/2 ankle 1/2 plantar up/down clonus_ankle none/none"
                " face_lower 3/5 face_upper 5/5 shoulder_abduction 1/5 elbow_extension 1/5 finger_abduction 0/5 hip_flexion 3/5"
                " ankle_dorsiflexion 2/5 aphasia marked field_loss present/absent gaze_palsy present/absent"
                " flag:sudden=yes flag:bleeding=no",
                "Cannot name objects.",
                did=(
                    Did(1.1, "Dr Cole", ("stroke",), "called", "stroke team"),
                    Did(1.2, "Dr Cole", ALL, "asked", "CT and CTA of the head"),
                    Did(1.8, "Dr Cole", ALL, "done", "CT: no bleed; left middle cerebral artery"),
                ),
            ),
            Visit(
                30,
                "Dr Ash",
                "age=66 sex=male onset=sudden complaint=weak_one_side complaint_side=right bears_weight=no"
                " biceps 3/2 brachioradialis 3/2 triceps 3/2 knee 3/2 ankle 3/2 plantar up/down clonus_ankle unsustained:3/none"
                " face_lower 4/5 face_upper 5/5 shoulder_abduction 2/5 elbow_extension 2/5 finger_abduction 1/5 hip_flexion 4-/5"
                " ankle_dorsiflexion 3/5 aphasia marked field_loss present/absent gaze_palsy absent/absent"
                " flag:sudden=yes flag:bleeding=no",
                "",
                "Left hemisphere, established.",
                did=(
                    Did(
                        30.5,
                        "Dr Ash",
                        ALL,
                        "not_needed",
                        "infarct on CT of 2 Mar, stroke unit treats it",
                    ),
                ),
            ),
        ),
    ),
    Stay(
        "B1",
        "Farida Qureshi",
        29,
        "female",
        4,
        "legs heavy after a stomach upset",
        (
            Visit(
                10,
                "Dr Bex",
                f"age=29 sex=female onset=days complaint=weak_leg complaint_side=both bears_weight=yes {ARMS_2}"
                " knee 1/1 ankle 0/0 plantar down/down clonus_ankle none/none hip_flexion 4/4 ankle_dorsiflexion 4-/4-"
                " shoulder_abduction 5/5 finger_abduction 5/5 vibration_leg 1/1 level_pin none/none bladder normal"
                " flag:breathing=no flag:progressive=yes flag:bladder_bowel=no flag:both_legs=yes",
            ),
            Visit(
                34,
                "Dr Cole",
                "age=29 sex=female onset=days complaint=weak_all complaint_side=both bears_weight=no"
                " biceps 1/1 brachioradialis 0/0 triceps 1/1 knee 0/0 ankle 0/0 plantar down/down clonus_ankle none/none"
                " hip_flexion 3/3 ankle_dorsiflexion 2/2 shoulder_abduction 4/4 finger_abduction 4-/4- face_lower 4/4 face_upper 4/4"
                " neck_flexion 4 vibration_leg 0/0 level_pin none/none bladder normal"
                " flag:breathing=yes flag:progressive=yes flag:gait_lost=yes flag:bladder_bowel=no flag:both_legs=yes",
                "Speaks in half sentences.",
                did=(
                    Did(34.1, "Dr Cole", ("breathing",), "called", "neurology, intensive care"),
                    Did(
                        35.5,
                        "Dr Cole",
                        REST,
                        "not_needed",
                        "neurology examined her: Guillain-Barre syndrome",
                    ),
                    Did(
                        36,
                        "Dr Cole",
                        ("breathing",),
                        "called",
                        "intensive care again (vital capacity 2.1 L)",
                    ),
                ),
            ),
        ),
        number="40-0874",
    ),
    Stay(
        "B2",
        "Gwen Pritchard",
        58,
        "female",
        None,
        "tingling soles; diabetes for 20 years",
        (
            Visit(
                8,
                "Dr Ash",
                f"age=58 sex=female onset=longer complaint=numb_feet complaint_side=both bears_weight=yes {ARMS_2}"
                " knee 1/1 ankle 0/0 plantar mute/mute clonus_ankle none/none stocking shin/shin glove none/none vibration_leg 0/0"
                " vibration_arm 2/2 position_leg 1/1 great_toe_extension 4+/4+ ankle_dorsiflexion 5/5 romberg present"
                " flag:bladder_bowel=no flag:saddle_numb=no",
                "",
                "Length-dependent polyneuropathy.",
            ),
        ),
        number="38-5521",
    ),
    Stay(
        "B3",
        "Mateo Alvarado",
        24,
        "male",
        None,
        "tingling lips in an exam hall",
        (
            Visit(
                28,
                "Dr Cole",
                "age=24 sex=male onset=hours complaint=numb_hands complaint_side=both bears_weight=yes"
                " biceps 3/3 brachioradialis 3/3 triceps 3/3 knee 3/3 ankle 3/3 plantar down/down clonus_ankle unsustained:2/unsustained:2"
                " hoffmann absent/absent power_arm 5/5 power_leg 5/5 gait normal flag:sudden=no flag:bladder_bowel=no",
            ),
        ),
        number="40-3402",
    ),
    Stay(
        "B4",
        "Harold Finch",
        84,
        "male",
        24,
        "fell in the garden",
        (
            Visit(
                12,
                "Dr Bex",
                f"age=84 sex=male onset=sudden complaint=other bears_weight=yes {ARMS_2}"
                " knee 2/2 ankle 0/0 plantar down/down clonus_ankle none/none vibration_leg 1/1 position_leg 2/2"
                " power_leg 5/5 flag:trauma=yes flag:anticoagulant=yes flag:bladder_bowel=no",
                "On apixaban. Legs heavier since the fall.",
                did=(
                    Did(13, "Dr Bex", HURT, "done", "CT of head and spine: no fracture, no bleed"),
                ),
            ),
        ),
        born=date(1941, 8, 19),
    ),
    Stay(
        "C1",
        "Nadia Petrova",
        52,
        "female",
        24,
        "neck pain, dead middle finger",
        (
            Visit(
                16,
                "Dr Ash",
                "age=52 sex=female onset=weeks complaint=arm_pain complaint_side=right pain=neck bears_weight=yes"
                " biceps 2/2 brachioradialis 2/2 triceps 0/2 finger_flexors 2/2 knee 2/2 ankle 2/2 plantar down/down clonus_ankle none/none"
                " hoffmann absent/absent elbow_extension 4-/5 wrist_flexion 4/5 finger_extension 4/5 shoulder_abduction 5/5"
                " finger_abduction 5/5 pin_C7 1/2 pin_C6 2/2 pin_C8 2/2 neck_compression present/absent"
                " flag:gait_lost=no flag:bladder_bowel=no",
                "",
                "Right C7 root.",
            ),
        ),
        number="39-7765",
    ),
    Stay(
        "C2",
        "Kwabena Asante",
        63,
        "male",
        12,
        "clumsy hands, stiff walk",
        (
            Visit(
                4,
                "Dr Cole",
                "age=63 sex=male onset=longer complaint=numb_hands complaint_side=both bears_weight=yes"
                " biceps 1/1 brachioradialis 0:inverted/0:inverted triceps 3/3 finger_flexors 3/3 hoffmann present/present"
                " knee 3/3 ankle 3/3 plantar up/up clonus_ankle unsustained:5/none elbow_flexion 4/4 finger_abduction 4/4"
                " hip_flexion 4+/4+ vibration_leg 1/1 gait spastic lhermitte present jaw 2 flag:bladder_bowel=no flag:progressive=yes",
                "",
                "Cervical cord, about C5 to C6.",
            ),
        ),
        number="37-1490",
    ),
    Stay(
        "C3",
        "Lucille Moreau",
        47,
        "female",
        None,
        "wrist dropped on waking",
        (
            Visit(
                22,
                "Dr Bex",
                "age=47 sex=female onset=waking complaint=weak_arm complaint_side=right bears_weight=yes"
                " biceps 2/2 brachioradialis 0/2 triceps 2/2 wrist_extension 1/5 finger_extension 1/5 elbow_extension 5/5"
                " elbow_flexion 5/5 wrist_flexion 5/5 finger_abduction 5/5 shoulder_abduction 5/5 territory_radial 1/2"
                " territory_median 2/2 knee 2/2 ankle 2/2 plantar down/down face_lower 5/5",
                "Slept with the arm over a chair.",
            ),
        ),
        number="40-2238",
    ),
    Stay(
        "C4",
        "Siobhan Keane",
        69,
        "female",
        4,
        "first night after lumbar decompression",
        (
            Visit(
                52,
                "Dr Cole",
                "age=69 sex=female onset=hours complaint=after_surgery bears_weight=no"
                " knee 2/2 ankle 1/1 plantar down/down hip_flexion nt:pain/nt:pain ankle_dorsiflexion 5/5 great_toe_extension 5/5"
                " ankle_plantarflexion 5/5 bladder catheter flag:spinal_procedure=yes",
                "In pain; sensation not yet examined.",
            ),
        ),
        number="36-9013",
    ),
    Stay(
        "D2",
        "Ravi Menon",
        35,
        "male",
        None,
        "back pain into the right foot",
        (
            Visit(
                0,
                "Dr Ash",
                f"age=35 sex=male onset=weeks complaint=leg_pain complaint_side=right pain=radiating bears_weight=yes {LEGS_2}"
                " straight_leg_raise positive:45/negative great_toe_extension 4+/5 pin_L5 1/2 flag:bladder_bowel=no flag:saddle_numb=no",
            ),
            Visit(
                24,
                "Dr Ash",
                f"age=35 sex=male onset=weeks complaint=leg_pain complaint_side=right pain=radiating bears_weight=yes {LEGS_2}"
                " straight_leg_raise negative/negative great_toe_extension 5/5 pin_L5 2/2 flag:bladder_bowel=no flag:saddle_numb=no",
                "",
                "Right L5 root, recovering.",
            ),
        ),
        discharged=29,
        number="40-1654",
    ),
)
