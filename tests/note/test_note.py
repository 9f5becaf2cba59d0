"""The note pastes cleanly and never implies what was not examined."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.examinations import examined
from wardexam import ready
from wardexam.exam.acts import Act
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.flags import flag_names
from wardexam.exam.text import clean, to_ascii
from wardexam.note import handover, headline, note, referral, svg
from wardexam.note.charted import Charted
from wardexam.note.suggestion import accepted_text, reading_lines
from wardexam.reasoning.rules.urgency import assess

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
PATIENT = Patient(
    id="patient1", bed="A1", name="Ana Invented", number="40-3317", born=date(1965, 3, 4), age=60,
    admitted=AT,
)  # fmt: skip


def made(line: str, **more: object) -> Examination:
    document = examined(line, AT).model_dump(mode="json") | {
        "id": "exam0001",
        "patient": "patient1",
        "examiner": "Dr Ash",
    }
    return Examination.model_validate(document | more)


def test_a_note_in_full():
    line = "biceps 2/2 knee 2/0 ankle nt:cast/2 plantar down/up clonus_ankle unsustained:4/none jaw 3 flag:cancer=no"
    examination = made(line, comment="Tired.", impression="Left L4 root?")
    text = note.render(Charted(PATIENT, examination, urgency=assess(examination, None, None)))
    assert (
        text
        == """\
Ana Invented, no. 40-3317, born 4 Mar 1965, bed A1, 60 y
Urgency: TODAY, due 2 Mar 20:00. Extensor plantar: suspect an upper
  motor lesion, until the onset is known. First: level, power, walking.
First examination. Impression: Left L4 root?
NEUROLOGICAL EXAMINATION 2026-03-02 08:00 UTC+0000, examined by Dr Ash
Complaint and onset not recorded.
Comment: Tired.
To do, and why:
  TODAY: extensor plantar: suspect an upper motor lesion, until the
    onset is known (signs). Level, power, walking; MRI of the whole
    spine, or of the brain where face or arm are weak; call senior on
    call. Raised 2 Mar 08:00: nothing done yet, due 2 Mar 20:00.
  WITHIN DAYS: extensor plantar (signs). Due 5 Mar 08:00.
Abnormal:
  Reflexes: knee jerk normal (2+) on the right, absent (0) on the left;
    plantar flexor on the right, extensor on the left; ankle clonus
    unsustained (4 beats) on the right, none on the left; jaw jerk brisk
    (3+).
Not testable: ankle jerk not testable (cast) on the right, normal (2+)
  on the left.
Not examined: brachioradialis and triceps jerks; power; sensation; tone,
  coordination, gait; saddle sensation; sphincters; cortex, brainstem,
  cranial nerves; provocation tests; wasting, fasciculation,
  fatigability.
Normal: biceps jerk normal (2+). Reflexes: 0 to 4+, normal 2+.
Red flags asked: no to cancer. Red flags not asked: bladder or bowel;
  saddle numbness; both legs; sexual function; weakness growing; walking
  lost; trauma; weight loss; thoracic, night pain; sudden onset; breath,
  cough, swallow; headache and flushing; anything worse; drowsy or
  confused; low glucose; sudden headache; new headache; stiff neck;
  fever; fit not over; fit over; sight; vertigo; gone again; pain in
  both legs; immune, diabetes, drugs; anticoagulant; spinal procedure;
  myasthenia; alcohol, vomiting; jaw, scalp; cold limb; tense limb;
  wound; groin pain; dark urine.
Suggested urgency; do not wait for it: local policy and seniors decide.
  Signs alone do not exclude an emergency, nor does a flag answered no.
"""
    )


@pytest.mark.parametrize(
    ("form", "holds"),
    [
        (
            "table",
            ["  jaw jerk, midline: 3+", "  knee L3-L4                           2+            0"],
        ),
        ("line", ["Reflexes right/left: biceps 2+/2+, knee 2+/0,"]),
        ("figure", ["RIGHT", "weak: ankle plantarflexion right 4, left 3"]),
    ],
)
def test_a_form_is_added_and_no_sentence_goes(form, holds):
    examination = made("biceps 2/2 knee 2/0 jaw 3 ankle_plantarflexion 4/3")
    plain, formed = (
        note.render(Charted(PATIENT, examination), form=f) for f in ("sentences", form)
    )
    assert set(plain.splitlines()) <= set(formed.splitlines())
    assert all(text in formed and text not in plain for text in holds)
    key = "0 to 4+: 0 absent, 1+ reduced, 2+ normal, 3+ brisk"
    assert key in formed
    assert key not in plain


@settings(max_examples=settings.default.max_examples * 2 // 5, deadline=None)
@given(
    st.text(max_size=200),
    st.text(max_size=100),
    st.sampled_from(["sentences", "table", "line", "figure"]),
    st.sampled_from([None, "conventional", "ninds", "plus"]),
)
def test_whatever_is_typed_the_note_is_plain(comment, impression, form, scale):
    examination = made(
        "knee 1:reinforced/3 ankle 4/0 jaw 2 plantar down/mute power_leg 4-/5 level_pin T10/none post_void_residual measured:310",
        comment=comment,
        impression=impression,
    )
    text = note.render(Charted(PATIENT, examination), form=form, scale=scale)
    assert text.isascii()
    for line in text.split("\n"):
        assert len(line) <= 72
        assert line == line.rstrip()
        assert all(c.isprintable() for c in line)


def test_line_ends_can_be_chosen():
    examination = made("knee 2/2 plantar down/up")
    plain = note.render(Charted(PATIENT, examination))
    assert plain.count("\n") > 8
    assert note.render(Charted(PATIENT, examination), line_end="\r\n") == plain.replace(
        "\n", "\r\n"
    )


def test_a_suggestion_is_absent_until_accepted():
    examination = made("knee 2/0")
    assert "suggestion" not in note.render(Charted(PATIENT, examination))
    accepted = examination.model_copy(
        update={"suggestion": "Findings compatible with: possible left L4 root."}
    )
    text = note.render(Charted(PATIENT, accepted))
    assert "accepted by Dr Ash for clinical correlation" in " ".join(text.split())
    assert "local policy" in text


def test_a_statement_is_printed_as_a_statement():
    text = note.render(Charted(PATIENT, made("rest=power:right_arm")))
    assert "right arm: rest examined, normal" in " ".join(text.split())
    assert "5" not in text.split("Power")[1].split("\n")[0]


def test_another_scale_says_what_it_cannot_keep():
    text = note.render(Charted(PATIENT, made("scale=ninds knee 3/3")), scale="conventional")
    assert "graded as NINDS 0 to 4 3" in " ".join(text.split())


@pytest.mark.parametrize("render", [
    lambda e, u: note.render(Charted(PATIENT, e, urgency=u)), lambda e, u: referral.render(Charted(PATIENT, e, urgency=u)),
    lambda e, u: handover.render([(PATIENT, [e], None)], now=AT), lambda e, u: "\n".join(reading_lines(ready.engine().read(e))),
])  # fmt: skip
def test_nothing_not_examined_is_implied(render):
    examination = made("knee 2/2")
    text = render(examination, assess(examination, None, None)).lower()
    for word in (
        "diagnosis",
        "all clear",
        "ruled out",
        "ankle 2",
        "power normal",
        "sensation normal",
    ):
        assert word not in text


def test_a_referral_follows_its_order():
    text = referral.render(
        Charted(
            PATIENT,
            made("flag:saddle_numb=yes ankle 0/0"),
            urgency=assess(made("flag:saddle_numb=yes"), None, None),
        )
    )
    places = [text.index(w) for w in ("Situation", "Background", "Assessment", "Recommendation")]
    assert places == sorted(places)
    assert "cauda equina" in text


def test_the_headline_fits_the_list():
    examination = made("flag:cancer=yes power_leg 3/3")
    line = headline.summarise(assess(examination, None, None), None, None)
    assert (line.urgency_word, len(line.headline) <= headline.LONGEST, line.headline.isascii()) == (
        "now",
        True,
        True,
    )


def test_the_picture_is_escaped_and_the_right_is_on_the_left():
    text = svg.render(PATIENT.model_copy(update={"bed": "<b>&"}), made("knee 2/0 pin_L4 1/2"))
    assert "<b>" not in text
    assert text.index("RIGHT") < text.index("LEFT")
    assert text.count('class="reduced"') > 0


def test_nothing_entered_gives_no_sentence_to_accept():
    assert accepted_text(ready.engine().read(made(""))) == ""


def test_what_the_first_site_leaves_unexplained_stands_in_the_sentence_to_accept():
    line = "wasting_thenar slight/slight territory_median reduced/reduced tinel_wrist present/present plantar extensor/extensor"
    reading = ready.engine().read(made(f"onset=longer {line}"))
    assert reading.sites[0].region == "nerve"
    assert "Not explained by the first: " in accepted_text(reading)
    assert "plantar extensor" in accepted_text(reading)


@given(st.text())
def test_clean_text_holds_no_control(text):
    assert all(c.isprintable() or c == " " for c in to_ascii(text))
    assert "\x1b" not in clean(text)
    assert "\n" not in clean(text)


def test_a_referral_says_not_asked_only_of_flags_that_were_not():
    every = " ".join(f"flag:{name}=no" for name in flag_names())
    asked, some = made(every), made("flag:cancer=no")
    assert (
        "not asked"
        not in referral.render(Charted(PATIENT, asked, urgency=assess(asked, None, None))).lower()
    )
    text = " ".join(
        referral.render(Charted(PATIENT, some, urgency=assess(some, None, None))).split()
    )
    assert "Red flags asked: no to cancer." in text
    assert "Red flags not asked: bladder or bowel" in text


def test_a_referral_says_the_sphincters_as_found_and_as_not_examined():
    some = made("bladder retention post_void_residual measured:450 anal_tone 2 power_leg 5/4")
    text = " ".join(
        referral.render(Charted(PATIENT, some, urgency=assess(some, None, None))).split()
    )
    assert "post-void residual 450 mL" in text
    assert "anal tone normal" in text
    assert "saddle sensation; bowel; perianal sensation; anal squeeze;" in text
    assert (
        "hip flexion, knee extension, knee flexion, ankle dorsiflexion and ankle plantarflexion right 5, left 4"
        in text
    )


def test_a_referral_says_the_worst_change_first_and_since_when():
    before = made("knee 2/2 power_leg 5/5 post_void_residual measured:40")
    after = made("knee 1/2 power_leg 3/5 post_void_residual measured:450")
    text = referral.render(
        Charted(PATIENT, after, previous=before, urgency=assess(after, before, None))
    )
    said = " ".join(text.split())
    assert (
        "Worse since 2 Mar 08:00 (Dr Ash): sphincters: post-void residual 40 mL to 450 mL; 6 more."
        in said
    )
    order = [
        said.index(w)
        for w in (
            "residual 40 mL to 450 mL",
            "right 5 to 3",
            "knee jerk right 2+ to 1+",
        )
    ]
    assert order == sorted(order)


def test_a_referral_prints_a_statement_and_never_its_signs():
    stated = made("rest=power:right_leg hip_flexion 5/3")
    text = " ".join(
        referral.render(Charted(PATIENT, stated, urgency=assess(stated, None, None))).split()
    )
    assert "Power (MRC), right leg: rest examined, normal" in text
    assert "knee extension" not in text


def test_what_could_not_be_tested_is_said_with_its_reason():
    some = made("hip_flexion nt:pain/5")
    text = " ".join(
        referral.render(Charted(PATIENT, some, urgency=assess(some, None, None))).split()
    )
    assert "hip flexion not testable (pain) on the right, 5 on the left" in text


@pytest.mark.parametrize(
    ("entered_by", "saved_by", "words"),
    [
        ([], "Dr Ash", "examined by Dr Ash"),
        ([], "Dr Bex", "examined by Dr Ash, saved by Dr Bex"),
        (["Dr Bex"], "Dr Bex", "examined by Dr Ash, continued by Dr Bex"),
        (["Dr Bex"], "Dr Cole", "examined by Dr Ash, continued by Dr Bex, saved by Dr Cole"),
        (["Dr Bex"], "Dr Ash", "examined by Dr Ash, continued by Dr Bex, saved by Dr Ash"),
    ],
)
def test_who_entered_and_who_saved_stand_in_the_note(entered_by, saved_by, words):
    text = note.render(Charted(PATIENT, made("knee 2/2", entered_by=entered_by, saved_by=saved_by)))
    assert words in " ".join(text.split())


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("knee 2/2", "knee 1/2", "right knee jerk: normal (2+) to reduced (1+)."),
        (
            "knee 2/2 saddle 1/1",
            "knee 2/2",
            "right saddle sensation: reduced, taken back; left saddle sensation: reduced, taken back.",
        ),
        (
            "knee 2/2",
            "knee 2/2 plantar up/down",
            "right plantar: extensor, added; left plantar: flexor, added.",
        ),
        ("hip_flexion 4/4", "hip_flexion 4/nt:pain", "left hip flexion: 4 to not testable (pain)."),
        ("flag:cancer=no", "flag:cancer=yes", "question, cancer: no to yes."),
        ("onset=days", "onset=hours", "onset: days to hours."),
        (
            "knee 2/2",
            "knee 2/2 rest=power:left_leg",
            "rest of power, left leg: stated normal, added.",
        ),
        ("knee 2/2", "knee 2/2", "nothing in what was found."),
    ],
)
def test_a_revision_lists_what_it_changed_with_reason_and_author(before, after, said):
    amendment = {"by": "Dr Bex", "at": "2026-03-02T09:00:00+00:00", "why": "seen again"}
    old, new = made(before), made(after, revision=2, amendment=amendment)
    text = " ".join(note.render(Charted(PATIENT, new, replaced=old)).split())
    assert "Revision 2, amended 2026-03-02 09:00 by Dr Bex: seen again" in text
    assert f"Changed by it: {said}" in text
    assert "Changed by it" not in note.render(Charted(PATIENT, new))


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("knee 2/2", "ankle 2/2", "Not compared: no sign of 2 Mar 08:00 (Dr Ash) was examined again."),
        ("knee 2/2", "knee 2/2", "No change in 1 sign since 2 Mar 08:00 (Dr Ash)."),
        ("knee 2/2", "knee 0/2", "Worse since 2 Mar 08:00 (Dr Ash): right knee jerk 2+ to 0."),
        ("hip_flexion 3/5", "hip_flexion 4/5", "Better since 2 Mar 08:00 (Dr Ash): right hip flexion 3 to 4."),
        ("hip_flexion 4/5", "hip_flexion 4+/5", "Changed, not plainly worse, since 2 Mar 08:00 (Dr Ash): right hip flexion 4 to 4+."),
        ("hip_flexion 3/5 knee 2/2", "hip_flexion 4/5 knee 1/2", "Changed, not plainly worse, since 2 Mar 08:00 (Dr Ash): 1 worse, 1 better."),
        ("hip_flexion 3/3 saddle 1/1", "hip_flexion 4/4", "Better since 2 Mar 08:00 (Dr Ash): hip flexion 3 to 4 on both sides; not examined again: saddle sensation."),
        ("hip_flexion 4/4 knee_extension 4/4 elbow_extension 5/5", "hip_flexion 5/5 knee_extension 5/5 elbow_extension 4+/4+", "Worse since 2 Mar 08:00 (Dr Ash): elbow extension 5 to 4+ on both sides; 2 better."),
        ("hip_flexion 4/4+ knee_extension 5/5 saddle 1/1", "hip_flexion 3/3 knee_extension 4/4", "Worse since 2 Mar 08:00 (Dr Ash): hip flexion right 4 to 3, left 4+ to 3; 1 more worse; not examined again: saddle sensation."),
        ("hip_flexion 4/4+ knee_extension 5/5", "hip_flexion 3/3 knee_extension 4/4 saddle 1/1 perianal 1/1 bladder retention", "Worse since 2 Mar 08:00 (Dr Ash): hip flexion right 4 to 3, left 4+ to 3; 1 more worse; new, not examined before: perianal sensation +2."),
        ("rest=power:right_leg", "hip_flexion 3/5", "Worse since 2 Mar 08:00 (Dr Ash): right hip flexion stated normal, now 3."),
        ("knee 2/2 hip_flexion 3/5", "knee 2/2", "No change in the 1 sign examined again since 2 Mar 08:00 (Dr Ash); not examined again: right hip flexion."),
        ("knee 2/2 hip_flexion 3/3 ankle_dorsiflexion 3/3", "knee 2/2", "No change in the 1 sign examined again since 2 Mar 08:00 (Dr Ash); not examined again: hip flexion, ankle dorsiflexion."),
        ("knee 2/2 hip_flexion 4/5 level_pin T10/T10", "knee 0/2", "Worse since 2 Mar 08:00 (Dr Ash): right knee jerk 2+ to 0; not examined again: right hip flexion, pinprick level."),
        ("knee 2/2 hip_flexion 3/5 ankle_dorsiflexion 3/3 level_pin T10/T10", "knee 2/2 hip_flexion 4/5", "Better since 2 Mar 08:00 (Dr Ash): right hip flexion 3 to 4; not examined again: ankle dorsiflexion, pinprick level."),
        ("knee 2/2", "knee 2/2 saddle 1/1", "New since 2 Mar 08:00 (Dr Ash), not examined before: saddle sensation; no change in 1 sign."),
        ("knee 2/2 hip_flexion 3/5", "knee 2/2 hip_flexion 4/5 saddle 1/1", "Changed since 2 Mar 08:00 (Dr Ash): right hip flexion 3 to 4; new, not examined before: saddle sensation."),
        ("knee 2/2", "knee 0/2 saddle 1/1", "Worse since 2 Mar 08:00 (Dr Ash): right knee jerk 2+ to 0; new, not examined before: saddle sensation."),
        ("saddle 2/2 anal_tone 2", "saddle 1/1 anal_tone 1", "Worse since 2 Mar 08:00 (Dr Ash): sphincters: anal tone was normal, now reduced; 1 more."),
        ("power_leg 5/5", "power_leg 3/5", "Worse since 2 Mar 08:00 (Dr Ash): right hip flexion 5 to 3; 4 more worse."),
    ],
)  # fmt: skip
def test_whether_it_changed_and_since_when_takes_two_lines_at_most(before, after, said):
    lines = note.render(Charted(PATIENT, made(after), previous=made(before))).splitlines()
    assert said in (lines[1], " ".join(map(str.strip, lines[1:3])))


@pytest.mark.parametrize(
    ("after", "again"), [("knee 0/2 ankle 2/2", False), ("knee 0/2 ankle 1/2", True)]
)
def test_what_changed_stands_before_the_findings_unless_the_line_above_said_all_of_it(after, again):
    before = made("knee 2/2 ankle 2/2")
    text = note.render(Charted(PATIENT, made(after), previous=before))
    assert ("What changed: " in text) is again
    assert not again or text.index("What changed: ") < text.index("NEUROLOGICAL EXAMINATION")


@pytest.mark.parametrize(
    ("minutes", "who", "said"),
    [
        (40, "Dr Bex", "since 2 Mar 07:20 (Dr Bex, or two observers): "),
        (40, "Dr Ash", "since 2 Mar 07:20 (Dr Ash): "),
        (60, "Dr Bex", "since 2 Mar 07:00 (Dr Bex): "),
        (-40, "Dr Bex", "since 2 Mar 08:40 (Dr Bex): "),
    ],
)
def test_a_change_within_the_hour_by_another_doctor_may_be_two_observers(minutes, who, said):
    before = made("knee 2/2", examiner=who, at=(AT - timedelta(minutes=minutes)).isoformat())
    assert f"Worse {said}" in note.render(Charted(PATIENT, made("knee 0/2"), previous=before))


def test_what_is_found_first_now_is_told_in_words_under_what_changed():
    text = note.render(Charted(PATIENT, made("knee 2/2 saddle 1/1"), previous=made("knee 2/2")))
    assert "New, not examined before: saddle sensation reduced on both sides." in text


@pytest.mark.parametrize("form", ["table", "line", "figure"])
def test_a_form_says_what_its_words_and_marks_mean(form):
    line = "plantar up/down clonus_ankle unsustained:4/sustained abdominal_upper 0/1 hoffmann 1/0 ankle nt:cast/1 jaw 2"
    earlier = made("plantar down/down clonus_ankle sustained/unsustained:3 ankle 2/2 knee 2/2")
    text = note.render(Charted(PATIENT, made(line), previous=earlier), form=form)
    shown = text.split(
        "Reflexes right/left:" if form == "line" else "RIGHT" if form == "figure" else "  Reflexes "
    )[1]
    shown = shown.split("Red flags")[0]
    words = set(shown.replace("/", " ").replace(",", " ").replace(";", " ").split())
    assert max(map(len, text.splitlines())) <= 72
    if form == "figure":
        assert all(
            said in " ".join(shown.split())
            for said in ("UP = extensor", "down = flexor", "abs = absent", "NT = not testable")
        )
    else:
        assert not words & {"UP", "SUST", "few", "abs", "red", "YES", "NT"}
        assert {"extensor", "flexor"} <= words
        assert all(said in shown for said in ("sustained", "unsustained", "cast", "absent"))
        assert "4 beats" in shown


def test_the_chance_beside_sides_that_differ_says_of_what_it_is():
    lines = reading_lines(ready.engine().read(made("knee 3/2")))
    (said,) = [line for line in lines if "sides differ" in line]
    assert "% that it is more than two observers differ by)" in said


@pytest.mark.parametrize("paper", [note.render, referral.render])
def test_every_paper_says_the_age_that_was_told_in_the_examination(paper):
    older = made("knee 2/2 age=61")
    text = paper(Charted(PATIENT, older, urgency=assess(older, None, None)))
    assert "bed A1, 61 y" in " ".join(text.split())


@pytest.mark.parametrize("paper", [note.render, referral.render])
@pytest.mark.parametrize("letters", [30, 50, 71])
def test_no_line_is_longer_than_a_page_where_a_letter_becomes_two(paper, letters):
    words = " ".join(["\u00bd" * letters] * 3)
    found = made("saddle 1/1", comment=words, impression=words, examiner=words[:40])
    act = Act(rule="cauda_equina", kind="asked", what=words[:120], by="\u00bd" * 40, at=AT)
    found = found.model_copy(update={"acts": (act,)})
    text = paper(Charted(PATIENT, found, urgency=assess(found, None, None)))
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 72
