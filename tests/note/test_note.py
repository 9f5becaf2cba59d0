"""The note pastes cleanly and never implies what was not examined."""

from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.examinations import examined
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.flags import flag_names
from wardexam.exam.text import clean, to_ascii
from wardexam.note import handover, headline, note, referral, svg
from wardexam.note.suggestion import accepted_text, reading_lines
from wardexam.reasoning.engine import load
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
    text = note.render(
        PATIENT,
        made(
            "biceps 2/2 knee 2/0 ankle nt:cast/2 plantar down/up clonus_ankle unsustained:4/none flag:cancer=no",
            comment="Tired.",
        ),
    )
    assert (
        text
        == """\
NEUROLOGICAL EXAMINATION
Ana Invented, no. 40-3317, born 4 Mar 1965, bed A1, 60 y
2026-03-02 08:00 UTC+0000, examined by Dr Ash
Reflex scale: 0 to 4+: 0 absent, 1+ reduced, 2+ normal, 3+ brisk, 4+
  very brisk with clonus.

Reflexes:
                                    Right     Left
  biceps C5-C6                         2+       2+
  knee L3-L4                           2+        0
  ankle S1                             NT       2+
      right: not testable: cast
  plantar L5-S1                      down       UP
  ankle clonus S1-S2                few 4     none
Sides differ: plantar: right down, left UP; knee: right 2+, left 0;
  ankle clonus: right few, left none.
Core signs not examined: brachioradialis, triceps.
Parts not examined: Power (MRC); Sensation; Tone, coordination, gait;
  Sphincters; Cortex, brainstem, cranial nerves; Stretch and provocation
  tests; Wasting, fasciculation, fatigability.
Red flags: cancer no.
Red flags not asked: bladder or bowel, saddle numbness, both legs,
  sexual function, weakness growing, walking lost, trauma, weight loss,
  thoracic, night pain, sudden onset, breath, cough, swallow, headache
  and flushing, anything worse, drowsy or confused, low glucose, sudden
  headache, new headache, stiff neck, fever, fit not over, fit over,
  sight, vertigo, gone again, pain in both legs, immune, diabetes,
  drugs, anticoagulant, spinal procedure, myasthenia, alcohol, vomiting,
  jaw, scalp, cold limb, tense limb, wound, groin pain, dark urine.
Comment: Tired.
Signs alone do not exclude an emergency, nor does a flag answered no.
"""
    )


@settings(max_examples=80, deadline=None)
@given(
    st.text(max_size=200),
    st.text(max_size=100),
    st.sampled_from(["table", "line", "figure"]),
    st.sampled_from([None, "conventional", "ninds", "plus"]),
)
def test_whatever_is_typed_the_note_is_plain(comment, impression, form, scale):
    examination = made(
        "knee 1:reinforced/3 ankle 4/0 jaw 2 plantar down/mute power_leg 4-/5 level_pin T10/none post_void_residual measured:310",
        comment=comment,
        impression=impression,
    )
    text = note.render(PATIENT, examination, form=form, scale=scale)
    assert text.isascii()
    for line in text.split("\n"):
        assert len(line) <= 72
        assert line == line.rstrip()
        assert all(c.isprintable() for c in line)


def test_line_ends_can_be_chosen():
    examination = made("knee 2/2 plantar down/up")
    plain = note.render(PATIENT, examination)
    assert plain.count("\n") > 8
    assert note.render(PATIENT, examination, line_end="\r\n") == plain.replace("\n", "\r\n")


def test_a_suggestion_is_absent_until_accepted():
    examination = made("knee 2/0")
    assert "suggestion" not in note.render(PATIENT, examination)
    accepted = examination.model_copy(
        update={"suggestion": "Findings compatible with: possible left L4 root."}
    )
    text = note.render(PATIENT, accepted)
    assert "accepted by Dr Ash for clinical correlation" in " ".join(text.split())
    assert "local policy" in text


def test_a_statement_is_printed_as_a_statement():
    text = note.render(PATIENT, made("rest=power:right_arm"))
    assert "right arm: rest examined, normal" in " ".join(text.split())
    assert "5" not in text.split("Power")[1].split("\n")[0]


def test_another_scale_says_what_it_cannot_keep():
    text = note.render(PATIENT, made("scale=ninds knee 3/3"), scale="conventional")
    assert "graded as NINDS 0 to 4 3" in " ".join(text.split())


@pytest.mark.parametrize("render", [
    lambda e, u: note.render(PATIENT, e, urgency=u), lambda e, u: referral.render(PATIENT, e, urgency=u),
    lambda e, u: handover.render([(PATIENT, [e], None)], now=AT), lambda e, u: "\n".join(reading_lines(load().read(e))),
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
        PATIENT,
        made("flag:saddle_numb=yes ankle 0/0"),
        urgency=assess(made("flag:saddle_numb=yes"), None, None),
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
    assert accepted_text(load().read(made(""))) == ""


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
        not in referral.render(PATIENT, asked, urgency=assess(asked, None, None)).lower()
    )
    text = " ".join(referral.render(PATIENT, some, urgency=assess(some, None, None)).split())
    assert "Red flags: cancer no." in text
    assert "Red flags not asked: bladder or bowel" in text


def test_a_referral_says_the_sphincters_as_found_and_as_not_examined():
    some = made("bladder retention post_void_residual measured:450 anal_tone 2 power_leg 5/4")
    text = " ".join(referral.render(PATIENT, some, urgency=assess(some, None, None)).split())
    assert "post-void residual 450 mL" in text
    assert "anal tone normal" in text
    assert "Not examined: saddle sensation, bowel, perianal sensation, anal squeeze." in text
    assert "left hip flexion 4/5" in text
    assert "found normal: right hip flexion" in text


def test_a_referral_says_the_worst_change_first_and_since_when():
    before = made("knee 2/2 power_leg 5/5 post_void_residual measured:40")
    after = made("knee 1/2 power_leg 3/5 post_void_residual measured:450")
    text = referral.render(PATIENT, after, previous=before, urgency=assess(after, before, None))
    said = " ".join(text.split())
    assert "Worse since 2026-03-02 08:00: sphincter new" in said
    order = [
        said.index(w)
        for w in ("residual 40 mL to 450 mL", "right hip flexion 5 to 3", "right knee 2+ to 1+")
    ]
    assert order == sorted(order)


def test_a_referral_prints_a_statement_and_never_its_signs():
    stated = made("rest=power:right_leg hip_flexion 5/3")
    text = " ".join(referral.render(PATIENT, stated, urgency=assess(stated, None, None)).split())
    assert "Power (MRC), right leg: rest examined, normal" in text
    assert "knee extension" not in text


def test_what_could_not_be_tested_is_said_with_its_reason():
    some = made("hip_flexion nt:pain/5")
    text = " ".join(referral.render(PATIENT, some, urgency=assess(some, None, None)).split())
    assert "right hip flexion not testable (pain)" in text


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
    text = note.render(PATIENT, made("knee 2/2", entered_by=entered_by, saved_by=saved_by))
    assert words in " ".join(text.split())
