"""The examination on plain lines: the same findings, drafts and note as on the screen."""

import io
import itertools
import re
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta

import pytest

from wardexam.anatomy.catalogue import PARTS, catalogue
from wardexam.exam.examination import Context, Patient
from wardexam.exam.flags import flags
from wardexam.exam.row_sets import row_sets
from wardexam.exam.story import story
from wardexam.plain.answers import reasons
from wardexam.plain.conversation import converse
from wardexam.records.ward import open_ward
from wardexam.session import Session

START = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
ADMIT = [
    "7",
    "Invented Person",
    "40-3317",
    "63",
    "male",
    "",
    "",
]  # the last two: why admitted, and when it began, are not known
# The core signs in the order asked, right then left.
GRADES = ["2", "2", "2", "2", "2", "2", "3", "2", "3", "2", "up", "down", "none", "none"]
NO_SUGGESTION = ["s", "n", "", "y"]  # three reflexes alone name no place, so none is offered
FINISH = ["s", "n", "", "n", "y"]  # save; flags not now; no impression; no suggestion; yes


@pytest.fixture
def ward(tmp_path):
    return open_ward(tmp_path / "ward")


def talk(ward, *answers, stream=None, width=80):
    """Hold a conversation; the exit code and everything that was said."""
    clock = itertools.count()
    ids = (f"test{len(ward.beds()):04d}{n:08d}" for n in itertools.count())
    out = io.StringIO()
    code = converse(
        Session(ward, "Dr Test", lambda: START + timedelta(minutes=next(clock)), lambda: next(ids)),
        read=stream or io.StringIO("".join(a + "\n" for a in answers)),
        write=out,
        width=lambda: width,
    )
    return code, out.getvalue()


def stored(ward):
    """The one examination of the one patient."""
    (bed,) = ward.beds()
    (examination,) = ward.examinations(bed.patient_id)
    return examination


def answers(examination):
    return {(f.sign, f.side): f.answer or f.not_testable for f in examination.findings}


def test_a_first_run_admits_examines_saves_and_prints_the_note(ward):
    code, said = talk(ward, *ADMIT, "", *GRADES, *FINISH)
    assert code == 0
    assert "The ward is empty." in said
    found = answers(stored(ward))
    assert found["knee", "right"] == "3+"
    assert found["knee", "left"] == "2+"
    assert found["plantar", "right"] == "extensor"
    assert len(found) == len(GRADES)
    note = said.split("The note:")[1]
    assert "Invented Person" in note
    assert "3+" in note
    assert ward.drafts() == ()


def admitted(ward, *answers):
    """Admit somebody by these answers, for no known reason, and leave; the patient and what was said."""
    _, said = talk(ward, *answers, "", "", "q")
    (bed,) = ward.beds()
    return ward.patient(bed.patient_id), said


def test_a_number_is_enough_and_the_opening_sentence_says_it(ward):
    patient, said = admitted(ward, "7", "Otto Brandt", "40-3317", "63", "male")
    assert (patient.number, patient.born, patient.age) == ("40-3317", None, 63)
    assert "Birth date" not in said
    assert re.search(r"Examining bed 7, Otto Brandt, no. 40-3317\.$", said, re.MULTILINE)
    assert "bed 7, Otto Brandt, no. 40-3317, by" in talk(ward, "n", "1")[1]


def test_without_a_number_the_birth_date_is_asked_said_back_and_gives_the_age(ward):
    wrong = ["soon", "4.3.85", "04/13/1985", "31.2.1985"]
    patient, said = admitted(ward, "7", "Otto Brandt", "", *wrong, "05/03/1985", "male")
    assert (patient.number, patient.born, patient.age) == ("", date(1985, 3, 5), 40)
    assert said.count("Not accepted") == len(wrong)
    assert "Born 5 Mar 1985." in said
    assert "Age" not in said
    assert "Examining bed 7, Otto Brandt, born 5 Mar 1985." in said


def test_a_birth_date_typed_for_the_number_says_where_it_goes(ward):
    _, said = talk(ward, *ADMIT[:2], "4 Mar 1985", "", "4 Mar 1985", "", "", "", "q")
    assert "is a date: leave the number empty, the birth date is asked next" in " ".join(
        said.split()
    )
    assert "Born 4 Mar 1985." in said


def test_neither_is_said_as_missing(ward):
    patient, said = admitted(ward, "7", "Otto Brandt", "", "", "", "")
    assert patient.identity == "Otto Brandt, NUMBER AND BIRTH DATE MISSING"
    assert "Admitted without number or birth date: check the wristband." in said
    assert "Examining bed 7, Otto Brandt, NUMBER AND BIRTH DATE MISSING." in said


def test_a_birth_after_the_admission_is_refused(ward):
    patient, said = admitted(ward, "7", "Otto Brandt", "", "5.3.2026", "4.3.2026", "y", "")
    assert "Not accepted: birth after the admission." in said
    assert (patient.born, patient.age) == (date(2026, 3, 4), 0)


def test_enter_alone_leaves_a_sign_not_examined(ward):
    code, said = talk(ward, *ADMIT, "", *[""] * len(GRADES), "s", "n", "", "y")
    assert code == 0
    assert stored(ward).findings == ()
    assert stored(ward).rest_normal == ()
    note = said.split("The note:")[1].lower()
    assert "abnormal: nothing was examined." in note
    assert "normal" not in note.replace("abnormal", "")


def test_back_undo_take_away_and_not_testable(ward):
    script = ["1", "b", "3", "2", "u", "x", "b", "b", "n", "1", "0", "q"]
    code, said = talk(ward, *ADMIT, "", *script)
    assert code == 0
    assert "now 1+" in said
    assert "Undone: biceps, left" in said
    (draft,) = ward.drafts()
    _, examination = ward.resume_draft(draft.draft_id)
    assert answers(examination) == {("biceps", "right"): "pain", ("biceps", "left"): "0"}


def test_what_is_no_answer_is_refused_and_asked_again(ward):
    _, said = talk(ward, *ADMIT, "", "7", "2/9", "2", "q")
    asked = re.findall(r"1 of 14\. biceps, right", said)
    assert len(asked) == 3
    assert said.count("Not accepted") == 2
    (draft,) = ward.drafts()
    assert answers(ward.resume_draft(draft.draft_id)[1]) == {("biceps", "right"): "2+"}


def test_the_end_of_the_input_keeps_the_draft_and_the_next_start_offers_it(ward):
    code, said = talk(ward, *ADMIT, "", "1", "2")
    assert code == 0
    assert "Kept as a draft" in said
    _, again = talk(ward, "y", "", "", "", "3", *[""] * 11, *NO_SUGGESTION)
    assert "An examination was not finished: bed 7, Invented Person" in again
    found = answers(stored(ward))
    assert found == {
        ("biceps", "right"): "1+",
        ("biceps", "left"): "2+",
        ("brachioradialis", "right"): "3+",
    }


class Interrupted(io.StringIO):
    """Input in which Ctrl-C is pressed after the last line."""

    def readline(self, *_):
        line = super().readline()
        if not line:
            raise KeyboardInterrupt
        return line


def test_ctrl_c_keeps_the_draft(ward):
    stream = Interrupted("".join(a + "\n" for a in [*ADMIT, "", "0", "2"]))
    code, said = talk(ward, stream=stream)
    assert code == 130
    assert "Kept as a draft" in said
    (draft,) = ward.drafts()
    assert len(ward.resume_draft(draft.draft_id)[1].findings) == 2


def test_the_reading_is_a_suggestion_in_sentences(ward):
    _, said = talk(ward, *ADMIT, "", *GRADES, "?", "q")
    reading = said.split("h help:")[1]
    assert "rules nothing out" in reading
    assert re.search(r"(Very likely|Likely|Possible|Unlikely): .+, \d+%\.", reading)
    assert "Test next:" in reading
    assert not re.search(r"diagnos|\bclear\b|#", reading, re.IGNORECASE)


def test_a_red_flag_is_said_at_once(ward):
    script = ["f", "y", "y", "y", *[""] * 12, "q"]
    _, said = talk(ward, *ADMIT, "", *script)
    asked = said.split("back passage?")[1]
    before_next_question = asked.split("both legs?")[0]
    assert "cauda equina" in before_next_question.lower()


def test_the_rest_of_a_part_is_stated_for_one_limb_and_never_for_sphincters(ward):
    _, said = talk(ward, *ADMIT, "", "r", "1", "3", "q")
    assert "sphincters" not in said.rpartition("Which signs?")[2].split("rest of which part")[0]
    (draft,) = ward.drafts()
    (statement,) = ward.resume_draft(draft.draft_id)[1].rest_normal
    assert (statement.part, statement.limb) == ("reflexes", "right arm")


@pytest.mark.parametrize(("reason", "asks"), [("cast", True), ("declined", False)])
@pytest.mark.parametrize("answer", ["y", "n"])
def test_a_statement_of_a_limb_in_part_not_testable_is_asked_about_as_on_the_screen(
    ward, reason, asks, answer
):
    number = str(1 + [name for name, _ in reasons()].index(reason))
    sure = [answer] if asks else []
    _, said = talk(ward, *ADMIT, "", "n", number, "r", "2", "3", *sure, "q")
    assert ("Not testable: right biceps (cast)" in " ".join(said.split())) == asks
    (draft,) = ward.drafts()
    stated = ward.resume_draft(draft.draft_id)[1].rest_normal
    assert [(s.part, s.limb) for s in stated] == ([] if asks and answer == "n" else [("power", "right arm")])  # fmt: skip


def test_the_scale_can_be_changed_and_findings_keep_theirs(ward):
    _, _ = talk(ward, *ADMIT, "", "3", "g", "2", "3", "q")
    (draft,) = ward.drafts()
    _, examination = ward.resume_draft(draft.draft_id)
    assert [(f.answer, f.scale) for f in examination.findings] == [
        ("3+", "conventional"),
        ("3", "ninds"),
    ]


def test_help_names_every_letter_and_every_letter_is_answered(ward):
    _, said = talk(ward, *ADMIT, "", "h", "q")
    letters = set(re.findall(r"(?:^|\s{2,})([a-z?])  ", said, re.MULTILINE))
    assert letters == set("abfgklmnoqrsuwx?")


def test_nothing_is_drawn_only_said(ward):
    _, said = talk(ward, *ADMIT, "", *GRADES, "?", "l", *FINISH)
    assert set(said) <= {"\n", *map(chr, range(0x20, 0x7F))}


def test_what_another_wrote_cannot_move_the_cursor(ward):
    _, said = talk(ward, "7", "Evil \x1b[2J Name", "1", "", "", "", "", "q")
    assert "\x1b" not in said


def test_it_needs_no_screen():
    script = (
        "import sys, wardexam.plain.conversation\n"
        "print(*{'textual', 'rich'} & {m.split('.')[0] for m in sys.modules})\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.split() == []


def test_a_statement_keeps_who_and_when_and_is_withdrawn_by_the_same_answer(ward):
    code, said = talk(ward, *ADMIT, "", "r", "1", "3", "s", "n", "", "y")
    assert code == 0
    (statement,) = stored(ward).rest_normal
    assert statement.by == "Dr Test"
    assert statement.at is not None
    code, said = talk(ward, "1", "", "", "r", "1", "3", "r", "1", "3", "q")
    assert "Withdrawn: the rest of reflexes in the right arm." in said


def test_every_reason_is_heard_with_its_deadline_and_what_was_done_is_kept(ward):
    asked = ["f", "", "y", *[""] * (len(flags()) - 2)]
    script = [*asked, "why", "act", "1", "2", "", "why", "s", "n", "", "y"]
    _, said = talk(ward, *ADMIT, "", *script, width=1000)
    first, second = [t for t in said.splitlines() if t.startswith("NOW, WITHIN 4 H: possible")][:2]
    assert "nothing done yet, due" in first
    asked_for = "MRI of the lumbosacral spine; whole spine if an upper motor sign asked"
    assert asked_for in second
    assert "nothing done yet" not in second
    assert f"Kept: {asked_for}" in said
    saved = stored(ward)
    assert [(a.rule, a.kind, a.by) for a in saved.acts] == [("cauda_equina", "asked", "Dr Test")]
    assert asked_for in " ".join(said.split("The note:")[1].split())


def test_one_act_may_answer_every_reason_and_is_undone_as_one(ward):
    asked = ["f", "y", "y", *[""] * (len(flags()) - 2)]
    _, said = talk(ward, *ADMIT, "", *asked, "act", "3", "1", "Dr Spine", "u", "why", "q")
    assert "Kept: Dr Spine called" in said
    assert "Undone: called: Dr Spine" in said
    assert "nothing done yet" in said.split("Undone")[1]


def test_an_urgency_that_stands_first_still_is_not_said_again_with_each_flag(ward):
    script = [
        "/pinprick level",
        "T10/T8",
        "2/2",
        "f",
        *["y"] * 4,
        *[""] * (len(flags()) - 4),
    ]
    _, said = talk(ward, *ADMIT, "", *script, "q", width=1000)
    after = said.split("saddle numbness: yes.")[1]
    assert not re.search("^Urgency:", after, re.MULTILINE)
    assert "Urgency: now" in said


def test_what_cannot_bring_a_reason_down_is_refused_in_words(ward):
    worse = list(flags()).index("worse")
    answers_ = ["", "y", *[""] * (len(flags()) - 2)]
    answers_[worse] = "y"
    _, said = talk(ward, *ADMIT, "", "f", *answers_, "act", "1", "5", "MRI normal", "q")
    assert "Not accepted" in said
    assert "cannot be brought down: said to be worse" in said


def test_where_no_reason_stands_the_urgency_is_said_as_not_assessed(ward):
    _, said = talk(ward, *ADMIT, "", "why", "act", "?", "q")
    assert said.count(f"Urgency: not assessed, {len(flags())} not asked.") == 2
    assert "No reason stands" in said


# -- what stands in no set


def entered(ward, *script):
    """What is entered after an admission and these answers, and what was said."""
    _, said = talk(ward, *ADMIT, "", *script, "q")
    (draft,) = ward.drafts()
    return ward.resume_draft(draft.draft_id)[1], said


def test_a_typed_line_enters_signs_that_stand_in_no_set_at_any_question(ward):
    line = "knee 2/0 ankle 2/0 aphasia 2 ptosis 1/- neck flexion 3 deep fibular territory 1/2"
    examination, said = entered(ward, line, "2")
    assert answers(examination) == {
        ("knee", "right"): "2+",
        ("knee", "left"): "0",
        ("ankle", "right"): "2+",
        ("ankle", "left"): "0",
        ("aphasia", "midline"): "marked",
        ("ptosis", "right"): "present",
        ("neck_flexion", "midline"): "3",
        ("territory_deep_fibular", "right"): "reduced",
        ("territory_deep_fibular", "left"): "normal",
        ("biceps", "right"): "2+",  # the question that was open stays open
    }
    assert "ptosis, right: present." in said
    assert re.search(r"^.*knee, left: 0", said, re.MULTILINE)


def test_a_typed_line_is_all_or_nothing_and_undone_as_one(ward):
    examination, said = entered(ward, "knee 2/0 ankle 9/0", "knee 2/0 flag:fever=yes", "u")
    assert answers(examination) == {}
    assert examination.flags == {}
    assert "Not accepted: ankle: '9' is not an answer here" in said
    assert "fever: yes." in said


def test_a_line_takes_the_scale_that_is_graded_on_and_facts_of_the_story(ward):
    examination, _ = entered(ward, "g", "2", "knee 2/0 onset=sudden age=70")
    assert {f.scale for f in examination.findings} == {examination.scale} != {"conventional"}
    assert (examination.context.onset, examination.context.age) == ("sudden", 70)


@pytest.mark.parametrize(
    ("typed", "sign", "sides"),
    [
        ("/ptosis", "ptosis", ["right", "left"]),
        ("/dysph", "dysphagia", ["midline"]),
        ("/double vision", "diplopia", ["midline"]),
        ("/third-nerve palsy", "oculomotor", ["right", "left"]),
    ],
)
def test_a_sign_is_found_by_its_name_and_asked_on_each_side_before_going_on(ward, typed, sign, sides):  # fmt: skip
    script = [typed, *(["1"] if typed == "/dysph" else []), *["1"] * len(sides), "3"]
    examination, said = entered(ward, *script)
    assert [k for k in answers(examination) if k[0] == sign] == [(sign, side) for side in sides]
    assert answers(examination)["biceps", "right"] == "3+"
    assert len(re.findall("biceps, right", said)) >= 2


def test_a_search_says_what_is_a_sign_and_what_a_question_and_asks_either(ward):
    examination, said = entered(ward, "/sad", "2", "y", "/warfarin", "n", "/", "when it began", "4", "/xyzzy")  # fmt: skip
    assert "1. saddle sensation, sign" in said
    assert "2. saddle numbness, question, red flag" in said
    assert examination.flags == {"saddle_numb": "yes", "anticoagulant": "no"}
    assert examination.context.onset == "days"
    assert "Nothing is called 'xyzzy'." in said


def test_a_name_alone_is_no_answer_and_says_how_it_is_found(ward):
    examination, said = entered(ward, "ptosis")
    assert answers(examination) == {}
    assert "To go to a sign or question by its name type /ptosis" in said


@pytest.mark.parametrize(("number", "part"), list(enumerate(PARTS, len(row_sets()))))
def test_every_part_can_be_chosen_whole(ward, number, part):
    if part == "reflexes":  # all of them are a set
        number = 1 + list(row_sets()).index("everything")
    signs = [sign for sign in catalogue().values() if sign.part == part]
    count = sum(1 if sign.sides == "midline" else 2 for sign in signs)
    _, said = talk(ward, *ADMIT, str(number), "q")
    assert re.search(rf"^{number}\. .+, {count} questions$", said, re.MULTILINE)
    assert f"1 of {count}. " in said.rpartition("Which signs?")[2]


def test_when_it_began_is_asked_first_of_all(ward):
    _, said = talk(ward, *ADMIT[:-1], "3", "", "q")
    assert said.index("When did it begin?") < said.index("Which signs?")
    assert said.index("1. sudden") < said.index("Which signs?")
    (draft,) = ward.drafts()
    assert ward.resume_draft(draft.draft_id)[1].context.onset == "waking"
    _, again = talk(ward, "y", "", "q")
    assert "When did it begin?" not in again


def test_help_is_given_at_the_questions_of_an_admission_and_a_bed_may_be_called_h(ward):
    patient, said = admitted(ward, "h", "bed H", "H", "Otto Brandt", "h", "40-3317", "63", "male", "", "h")  # fmt: skip
    assert (patient.bed, patient.name, patient.number) == ("H", "Otto Brandt", "40-3317")
    assert said.count("a bed called H is typed as bed H") == 3
    assert said.count("Each letter or word works at every question of a sign.") == 1


def test_what_is_first_is_called_first(ward):
    _, said = talk(ward, *ADMIT, "", "/breath", "y", "q")
    assert "First: vital capacity" in " ".join(said.split())
    assert "Usual" not in said


# -- lines as a screen reader and a narrow terminal take them


@pytest.mark.parametrize("width", [40, 62, 80])
class Terminal(io.StringIO):
    """Input that is shown where it is typed."""

    def __init__(self, answers, out):
        super().__init__("".join(a + "\n" for a in answers))
        self.out = out

    def readline(self, *_):
        line = super().readline()
        self.out.write(line)
        return line


def shown(folder, *answers, width):
    """What a terminal of this width shows of a conversation in a ward of its own."""
    out, ids = io.StringIO(), (f"test{n:012d}" for n in itertools.count())
    session = Session(open_ward(folder), "Dr Test", lambda: START, lambda: next(ids))
    converse(session, read=Terminal(answers, out), write=out, width=lambda: width)
    return out.getvalue()


SAID = ["r", "1", "3", "f", *["y"] * 5, *[""] * (len(flags()) - 5), "why", "?", "h", "a", "l", "q"]


@pytest.mark.parametrize("width", [40, 62, 80])
def test_no_word_is_broken_at_the_end_of_a_line(tmp_path, width):
    narrow = shown(tmp_path / "narrow", *ADMIT, "", *SAID, width=width)
    assert width - 8 < max(map(len, narrow.splitlines())) <= width
    wide = shown(tmp_path / "wide", *ADMIT, "", *SAID, width=10_000)
    assert narrow.split() == wide.split()


def test_what_a_line_goes_on_with_stands_under_its_first_word(tmp_path):
    script = ["f", *["y"] * 6, *[""] * (len(flags()) - 6), "act", "", "q"]
    lines = shown(tmp_path / "ward", *ADMIT, "", *script, width=50).splitlines()
    first = next(n for n, line in enumerate(lines) if line.startswith("1. NOW, WITHIN"))
    assert lines[first + 1].startswith("   ")
    assert not lines[first + 1].startswith("    ")


# -- right and left at once


@pytest.mark.parametrize(
    ("set_", "typed", "found"),
    [
        ("", "2/1", {("biceps", "right"): "2+", ("biceps", "left"): "1+"}),
        ("", "2+ / 0", {("biceps", "right"): "2+", ("biceps", "left"): "0"}),
        ("", "2/-", {("biceps", "right"): "2+"}),
        ("", "-/2", {("biceps", "left"): "2+"}),
    ],
)
def test_a_pair_answers_right_and_left_and_goes_on_behind_both(ward, set_, typed, found):
    examination, said = entered(ward, typed, "3")
    assert answers(examination) == found | {("brachioradialis", "right"): "3+"}
    for sign, side in found:
        assert f"{sign}, {side}: " in said


def test_a_pair_is_right_and_left_at_the_question_of_the_left_too_and_is_undone_as_one(ward):
    examination, _ = entered(ward, "", "2/1", "3")
    assert answers(examination) == {
        ("biceps", "right"): "2+",
        ("biceps", "left"): "1+",
        ("brachioradialis", "right"): "3+",
    }


def test_a_pair_is_undone_as_one(ward):
    examination, said = entered(ward, "2/1", "u", "l")
    assert answers(examination) == {}
    assert "Nothing is entered yet." in said


def test_words_and_levels_are_pairs_and_what_has_no_sides_takes_one_answer(ward):
    script = ["/pinprick level", "T10/T8", "/aphasia", "2/0", "2"]
    examination, said = entered(ward, "up/down", *script)
    assert ("level_pin", "right") in answers(examination)
    assert answers(examination)["level_pin", "right"] == "T10"
    assert answers(examination)["level_pin", "left"] == "T8"
    assert answers(examination)["aphasia", "midline"] == "marked"
    assert "aphasia has no sides (give one answer)" in said
    assert "'up/down' is no answer here" in said  # biceps


POWER = str(9 + list(PARTS).index("power"))


@pytest.mark.parametrize(
    ("chosen", "found"),
    [("1", {"right": "4", "left": "5"}), ("2", {"right": "4"}), ("", {})],
)
def test_four_of_five_is_asked_about_once(ward, chosen, found):
    _, said = talk(ward, *ADMIT, POWER, "4/5", chosen, "q")
    assert "What is meant by 4/5?" in said
    (draft,) = ward.drafts()
    examination = ward.resume_draft(draft.draft_id)[1]
    assert {f.side: f.answer for f in examination.findings} == found


def test_once_told_the_next_grade_of_five_is_taken_so_and_others_never_ask(ward):
    _, said = talk(ward, *ADMIT, POWER, "4-/3", "4/5", "1", "", "3/5", "q")
    assert said.count("What is meant by") == 1
    (draft,) = ward.drafts()
    examination = ward.resume_draft(draft.draft_id)[1]
    assert [(f.side, f.answer) for f in examination.findings] == [
        ("right", "4-"), ("left", "3"), ("right", "4"), ("left", "5"), ("right", "3"), ("left", "5"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("chosen", "found"),
    [("1", {"right": "2", "left": "5"}), ("2", {"right": "2", "left": "2"}), ("", {})],
)
def test_two_of_five_on_a_typed_line_is_asked_about_too(ward, chosen, found):
    _, said = talk(ward, *ADMIT, "", "hip_flexion 2/5", chosen, "q")
    assert "What is meant by hip_flexion 2/5?" in said
    assert "right 2, left 5" in said
    assert "grade 2 out of 5, on both sides" in said
    (draft,) = ward.drafts()
    examination = ward.resume_draft(draft.draft_id)[1]
    assert {f.side: f.answer for f in examination.findings} == found


def test_a_typed_line_that_shows_right_and_left_is_not_asked_about(ward):
    _, said = talk(ward, *ADMIT, "", "hip_flexion 2/5 knee 2/0", "q")
    assert "What is meant" not in said
    (draft,) = ward.drafts()
    found = answers(ward.resume_draft(draft.draft_id)[1])
    assert (found["hip_flexion", "right"], found["hip_flexion", "left"]) == ("2", "5")


# -- statements


def test_a_statement_is_withdrawn_with_one_key(ward):
    examination, said = entered(ward, "r", "1", "3", "r", "1", "5", "w")
    # The one that covers the sign that is asked, and not the one made last.
    assert [(s.part, s.limb) for s in examination.rest_normal] == [("reflexes", "right leg")]
    assert "stated normal, w withdraws" in said
    assert "Withdrawn: the rest of reflexes in the right arm." in said


def test_with_none_that_covers_the_question_the_last_statement_is_withdrawn(ward):
    examination, said = entered(ward, "w", "r", "1", "5", "r", "1", "6", "w", "w", "u")
    assert [(s.part, s.limb) for s in examination.rest_normal] == [("reflexes", "right leg")]
    assert "Nothing was stated to be normal" in said


# -- the story, and why the patient came


def test_the_story_asks_all_that_urgency_uses_and_takes_an_answer_away(ward):
    examination, said = entered(ward, "o", "2", "6", "2", "2", "4", "1")
    context = examination.context
    assert (context.onset, context.complaint, context.complaint_side) == (
        "hours",
        "back_pain",
        "left",
    )
    assert (context.bears_weight, context.pain, context.trauma) == ("no", "back", "yes")
    assert "Pain: back." in said
    assert "Injury: yes." in said
    assert set(Context.model_fields) - {"age", "sex"} == {q.field for q in story()}


def test_an_answer_of_the_story_is_taken_away_by_the_last_number(ward):
    examination, said = entered(
        ward, "o", "", "", "", "", "4", "", "", "o", "", "", "", "", "7", "", ""
    )
    assert "Is there pain, and where? Now back." in said
    assert "Pain: not known." in said
    assert examination.context.pain is None


@pytest.mark.parametrize(
    ("typed", "kept", "complaint"),
    [
        (["l", "1"], "weak leg", "weak_leg"),
        (["weak leg since Monday"], "weak leg since Monday", "weak_leg"),
        (["1, since Monday"], "weak leg, since Monday", "weak_leg"),
        (["2 falls this week"], "2 falls this week", None),
        (["fit for surgery"], "fit for surgery", None),
        ([""], "", None),
    ],
)
def test_why_admitted_is_kept_and_is_the_complaint_of_the_first_examination(ward, typed, kept, complaint):  # fmt: skip
    _, said = talk(ward, *ADMIT[:5], *typed, "", "", "1", "q")
    (bed,) = ward.beds()
    assert ward.patient(bed.patient_id).remark == kept
    assert (f"Admitted for: {kept}." in said) == bool(kept)
    assert ("In these words no alarm can be raised" in said) == bool(kept and not complaint)
    (draft,) = ward.drafts()
    assert ward.resume_draft(draft.draft_id)[1].context.complaint == complaint


def test_an_age_of_a_child_is_asked_again(ward):
    _, said = talk(ward, *ADMIT[:3], "6", "n", "63", "male", "", "", "q")
    (bed,) = ward.beds()
    assert ward.patient(bed.patient_id).age == 63
    asked = "6 years is no adult, and this is meant for adults. Keep it? y or n:"
    assert " ".join(said.split()).count(asked) == 1


def test_an_age_of_a_child_may_be_kept(ward):
    patient, _ = admitted(ward, *ADMIT[:3], "6", "y", "male")
    assert patient.age == 6


def test_that_another_has_the_name_is_said_at_admission(ward):
    of = Patient(id="patient7", bed="A1", name="Person, Invented", admitted=START)
    ward.admit(of, "test")
    _, said = talk(ward, "", "y", *ADMIT[:5], "weak leg", "", "", "1", "q")
    assert "A1 is Person, Invented too: number or birth date tells them apart." in " ".join(
        said.split()
    )


def test_enter_takes_the_signs_of_the_complaint(ward):
    _, said = talk(ward, *ADMIT[:5], "1", "", "", "q")
    assert "or Enter for weak leg:" in said
    assert "1 of 54. knee, right:" in said


def test_what_was_told_earlier_in_the_stay_is_said_when_it_is_asked_again(ward):
    talk(ward, *ADMIT[:5], "1", "4", "", *[""] * 54, *NO_SUGGESTION)
    _, said = talk(ward, "1", "", "o", *[""] * 6, "q")
    assert "When did it begin? Earlier: days. A number" in said
    assert "What is the main complaint? Earlier: weak leg. A number" in said


def test_later_in_the_stay_it_is_asked_at_once_when_what_is_new_began(ward):
    talk(ward, *ADMIT[:5], "1", "6", "", *[""] * 54, *NO_SUGGESTION)
    _, said = talk(ward, "1", "", "/lower face", "3", "q")
    assert "until known when what is new began" in " ".join(said.split())
    assert "Ask when what is new began: type o." in said


def test_a_number_of_another_patient_is_refused_and_a_taken_bed_asked_for(ward):
    talk(ward, *ADMIT, "q")
    _, said = talk(ward, "n", "", "y", *ADMIT, "q")
    assert "40-3317 is Invented Person's, in bed 7. Again, please." in said
    assert len(ward.beds()) == 1


def test_what_cannot_be_both_is_said_once_when_it_is_entered_and_in_the_note(ward):
    _, said = talk(
        ward, *ADMIT, "", "ankle 2/0", "clonus_ankle none/sustained", "knee 2/2", *FINISH
    )
    text = " ".join(said.split())
    assert text.count("Stated both left ankle 0 and left ankle clonus sustained") == 2
    assert "left out of where, not of how urgent" in text


def test_a_line_that_says_both_is_asked_again_and_nothing_of_it_is_entered(ward):
    _, said = talk(ward, *ADMIT, "", "plantar flexor/flexor plantar extensor/flexor knee 2/2", "q")
    assert "stated both right plantar" in said
    assert "type the one that is so" in " ".join(said.split())
    assert "knee jerk, right: 2" not in said


def test_when_it_was_examined_is_told_in_words_and_taken_back(ward):
    _, said = talk(ward, *ADMIT, "", "2/0", "made", "noon", "made", "3 h", *FINISH)
    assert "no time of day and no time ago" in said
    assert "LATE ENTRY, entered" in said
    saved = stored(ward)
    assert saved.entered - saved.at == timedelta(hours=3)
    _, said = talk(ward, "1", "", "", "made", "20 min", "made", "", "u", "l", "q")
    assert "last examination was made" not in said
    assert "as it was entered." in said
    assert "Undone: Examined" in said


def test_right_and_left_are_swapped_after_a_yes_and_back_by_one_undo(ward):
    _, said = talk(ward, *ADMIT, "", "2/0", "1", "swap", "n", "l", "swap", "y", "l", "u", "l", "q")
    assert said.count("Swap right and left in 3 findings? y or n:") == 2
    begun = "biceps, right: 2+, normal\nbiceps, left: 0, absent\nbrachioradialis, right: 1+"
    there = "biceps, right: 0, absent\nbiceps, left: 2+, normal\nbrachioradialis, left: 1+"
    assert (said.count(begun), said.count(there)) == (2, 1)
    assert "Undone: Right and left swapped in 3 findings." in said


def test_who_was_never_examined_is_offered_with_what_the_reason_for_admission_tells(ward):
    who = Patient(id="newcomer", bed="9", name="Ana Invented", admitted=START, remark="unconscious")
    ward.admit(who, "test")
    _, said = talk(ward)
    assert "Bed 9, Ana Invented, not examined yet, now: " in " ".join(said.split())
