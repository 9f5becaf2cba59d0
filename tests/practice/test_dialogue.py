"""Practice on plain lines: the whole of a case, what may be typed, and that nothing but the result is kept."""

import io
import re
from datetime import UTC, datetime

import pytest

from wardexam.anatomy.catalogue import PARTS
from wardexam.commands.arguments import parse
from wardexam.commands.main import run
from wardexam.errors import InputError, RecordsError
from wardexam.exam.flags import flags
from wardexam.exam.text import columns
from wardexam.plain.practising import practise
from wardexam.practice.drawing import Drawing
from wardexam.practice.published import published
from wardexam.ready import engine
from wardexam.records import practice_file

NOW = datetime(2026, 11, 26, 12, tzinfo=UTC)
COMMIT = ["answer", "left S1 root", "2", "3", "70%"]


class Echoed(io.StringIO):
    """Typed lines that are seen as on a terminal, where they end the line of their question."""

    def __init__(self, typed, out):
        super().__init__("".join(f"{line}\n" for line in typed))
        self.out = out

    def readline(self):
        line = super().readline()
        self.out.write(line)
        return line


class Sitting:
    """A sitting with its answers typed, and what was said and kept."""

    def __init__(self, *typed, cases=None, read=None, keep=None):
        self.rows = []
        out = io.StringIO()
        drawing = Drawing(engine().hypotheses)
        given = iter(cases if cases is not None else [drawing.draw(1, n) for n in range(3, 6)])
        self.code = practise(
            engine(),
            given,
            keep=keep or (lambda row: self.rows.append(row) or ""),
            kept=lambda: self.rows,
            now=lambda: NOW,
            read=read or Echoed(typed, out),
            write=out,
            width=lambda: 80,
        )
        self.said = out.getvalue()

    @property
    def lines(self):
        return self.said.split("\n")


def test_a_case_is_tested_answered_and_told():
    sitting = Sitting("knee, left ankle", "biceps", *COMMIT, "ways", "progress", "q")
    assert sitting.code == 0
    assert "82 years, a man; weak arm, left; it began days ago." in sitting.said
    assert "knee, both sides: normal (2+). (12 s)" in sitting.said
    assert re.search(r"left ankle: \w+ \(\S+\)\. \(6 s\)", sitting.said)
    assert "PRACTICE, 30 s. Test what?" in sitting.said
    assert "It was: left lower trunk of the brachial plexus." in sitting.said
    assert (
        "You tested 3 signs and asked no red flag: 'none found' does not reassure." in sitting.said
    )
    assert "Place: root: NOT right. Side: left: right." in sitting.said
    assert "The two ways" in sitting.said
    assert "Answered: 1 case." in sitting.said
    (row,) = sitting.rows
    assert (row["site"], row["side"], row["sure"], row["seconds"], row["case"]) == ("root", "left", 70, 30, "1-3")  # fmt: skip


@pytest.mark.long
def test_every_page_says_practice_and_every_line_fits():
    sitting = Sitting(
        "?", "h", "questions", *(f"signs {part}" for part in PARTS), "signs", "", "nothing called so", "weak", "seen",
        "power_leg, pin_leg", "pain", "injury", "pain", "cancer", "cancer", "seen", "answer", "?", "l", "zzz", "nerve",
        "ulnar", "x", "r", "9", "2", "", "8", "3", "400", "60", "?", "what", "ways", "progress", "again", "q",
    )  # fmt: skip
    assert sitting.code == 0
    assert [x for x in sitting.lines if columns(x) > 80] == []
    # Whatever 24 lines are on the screen when a question waits, one of them says it.
    waits = [n for n, x in enumerate(sitting.lines) if re.match(r"PRACTICE\b.*[:?] ", x)]
    assert len(waits) > 35
    for first in range(len(sitting.lines) - 23):
        assert any("PRACTICE" in x for x in sitting.lines[first : first + 24])


@pytest.mark.long
def test_what_is_said_after_an_answer_fits_a_page():
    drawing = Drawing(engine().hypotheses)
    for case in [drawing.draw(level, seed) for level in (1, 2, 3) for seed in (1,)] + list(published().values())[::23]:  # fmt: skip
        sitting = Sitting("knee", *COMMIT, "ways", "progress", "q", cases=[case])
        pages = re.split(r"\n(?=\nPRACTICE, no real patient)", sitting.said)
        for page in pages[2:]:  # after the opening and the examination
            assert len(page.strip("\n").split("\n")) <= 23, page
        assert len(pages) >= 5


def test_help_stands_at_every_question():
    sitting = Sitting("?", "answer", "?", "root", "?", "l", "?", "2", "?", "3", "?", "50", "?", "q")
    assert sitting.said.count("no real patient. Type what you would test") == 1
    assert sitting.said.count("You commit to one place") == 5
    assert "  ways        your tests" in sitting.said


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("kneee", "Nothing is called 'kneee'; 'signs power' lists names, ? helps."),
        ("", "Type a sign such as knee, or answer; ? helps."),
        ("signs all", "Type signs and one of: reflexes, power,"),
        ("seen", "Nothing yet."),
    ],
)
def test_a_wrong_word_gets_a_remedy_of_one_line(typed, said):
    assert said in Sitting(typed, "q").said


def test_several_that_fit_are_offered_by_number_and_trap_nobody():
    sitting = Sitting("pinprick c", "3", "weak", "knee", "99", "q")
    assert re.search(r"\d+ fit 'pinprick c': type one of these numbers", sitting.said)
    offered = re.findall(r"^(\d)\. (.+)$", sitting.said, re.M)
    assert offered[2][1] in sitting.said.split("type one of these")[1]
    assert "knee, both sides" in sitting.said  # a name is taken where a number was offered
    assert "Nothing is called '99'" in sitting.said


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["tone, arm"], ["tone, arm"]),
        (["left knee, r ankle"], ["left knee:", "right ankle:"]),
        (["Knee Jerk"], ["knee"]),
        (["left pinprick c", "3"], ["left pinprick C"]),
        (["power_leg"], ["hip flexion", "knee extension", "ankle dorsiflexion"]),
        (["weight l"], ["Weight loss without a reason?"]),
        (["both plantar"], ["plantar"]),
    ],
)
def test_what_is_typed_is_understood(typed, said):
    text = Sitting(*typed, "seen", "q").said
    assert "Nothing is called" not in text
    for one in said:
        assert re.search(rf"^{re.escape(one)}.*\(\d+ s\)$", text, re.M), text


def test_what_was_tested_is_told_again_at_no_cost():
    sitting = Sitting("left knee", "knee", "knee", "cancer", "cancer", "q")
    assert sitting.said.count("(6 s)") == 3  # left, then the right alone, then the question
    assert "as before. (0 s)" in sitting.said
    assert "PRACTICE, 18 s." in sitting.said


def test_enter_alone_goes_back_to_the_patient_and_skip_keeps_nothing():
    sitting = Sitting("answer", "", "skip", "q")
    assert "Back to the patient." in sitting.said
    assert "Left without an answer" in sitting.said
    assert sitting.rows == []
    assert "Case 1-4" in sitting.said


STEPS = ["answer", "root", "l", "2", "3"]  # the questions of an answer, one typed line each


@pytest.mark.long
@pytest.mark.parametrize("at", range(1, len(STEPS) + 1))
def test_back_returns_to_testing_from_any_question_of_the_answer(at):
    sitting = Sitting("knee", *STEPS[:at], "back", "seen", *COMMIT, "q")
    assert sitting.said.count("Back to the patient.") == 1
    assert re.search(r"PRACTICE, 12 s\. Test what\?[^\n]*seen\nknee ", sitting.said)
    assert [r["case"] for r in sitting.rows] == ["1-3"]  # what is answered then counts as ever
    assert "dropped" not in sitting.said


@pytest.mark.parametrize("at", range(1, len(STEPS) + 1))
@pytest.mark.parametrize("leaves", ["q", None])
def test_leaving_within_an_answer_says_that_it_is_dropped(at, leaves):
    sitting = Sitting("knee", *STEPS[:at], *([leaves] if leaves else []))
    assert sitting.code == 0
    assert sitting.rows == []
    assert "The answer that you had begun is dropped." in " ".join(sitting.said.split())


@pytest.mark.long
@pytest.mark.parametrize(
    ("typed", "level"),
    [("now", 3), ("TODAY", 2), ("within  days", 1), ("days", 1), ("none", 0), ("none found", 0), ("3", 3)],
)  # fmt: skip
def test_urgency_is_typed_as_a_number_or_a_word(typed, level):
    (row,) = Sitting("knee", "answer", "left S1 root", typed, "3", "70", "q").rows
    assert row["urgency"] == level


@pytest.mark.long
def test_a_word_that_is_no_urgency_gets_what_may_be_typed():
    sitting = Sitting("answer", "left S1 root", "soon", "4", "now", "3", "70", "q")
    assert sitting.said.count("Type a number from 0 to 3, or now, today, within days, none; or back.") == 2  # fmt: skip
    assert sitting.rows[0]["urgency"] == 3


@pytest.mark.long
def test_the_input_may_end_anywhere_and_what_was_answered_is_kept():
    whole = ["knee", *COMMIT, "next", "knee", *COMMIT]
    for end, begun in (
        (0, False),
        (1, False),
        (3, True),
        (5, True),
        (6, False),
        (len(whole) - 1, True),
    ):
        sitting = Sitting(*whole[:end])
        assert sitting.code == 0
        dropped = " The answer that you had begun is dropped." if begun else ""
        said = " ".join(sitting.said.split())
        assert said.endswith(f"PRACTICE, no real patient.{dropped} What you answered is kept.")
        assert len(sitting.rows) == (end >= 6)


@pytest.mark.long
def test_an_interrupt_leaves_and_keeps():
    class Interrupted(io.StringIO):
        def readline(self):
            line = super().readline()
            if not line:
                raise KeyboardInterrupt
            return line

    sitting = Sitting(read=Interrupted("".join(f"{x}\n" for x in ["knee", *COMMIT])))
    assert sitting.code == 130
    assert len(sitting.rows) == 1
    assert "What you answered is kept." in sitting.said


def test_a_result_that_cannot_be_kept_is_said_and_the_sitting_goes_on():
    def refuse(row):
        raise RecordsError("cannot be kept: No space left on device", "progress.json")

    sitting = Sitting("knee", *COMMIT, "next", "q", keep=refuse)
    assert "This result is not kept: cannot be kept: No space left on device" in sitting.said
    assert "Case 1-4" in sitting.said


@pytest.mark.long
@pytest.mark.parametrize(
    ("typed", "site", "side"),
    [
        ("left S1 root", "root", "left"),
        ("Brachial plexus, RIGHT", "plexus.brachial", "right"),
        ("cord T4 left", "cord", "left"),
        ("left median nerve", "nerve.median", "left"),
        ("median left", "nerve.median", "left"),
        ("functional right", "functional", "right"),
        ("left cauda", "cauda", "left"),
        ("left hemisphere", "brain", "left"),
        ("left lower trunk of the brachial plexus", "plexus.brachial", "left"),
        ("median nerve at the wrist, right", "nerve.median", "right"),
    ],
)
def test_a_place_is_understood_with_its_side(typed, site, side):
    (row,) = Sitting("knee", "answer", typed, "2", "3", "70", "q").rows
    assert (row["site"], row["side"]) == (site, side)


def test_a_published_case_tells_what_its_text_tells_and_its_source():
    case = published()["h048"]
    sitting = Sitting("ankle", "jaw", "cancer", *COMMIT, "q", cases=[case])
    assert "Published case h048" in sitting.said
    assert "Low back and left leg pain." in sitting.said
    assert "jaw jerk: the text does not tell. (0 s)" in sitting.said
    assert "Cancer, now or in the past? The text does not tell. (0 s)" in sitting.said
    assert "Source: neupsykey.com" in " ".join(sitting.said.split())
    assert sitting.rows[0]["kind"] == "published"
    assert sitting.rows[0]["site_right"]


def test_a_text_begins_and_no_further_case_ends_it():
    sitting = Sitting(cases=[])
    assert sitting.said == "\nPRACTICE, no real patient. There is no further case.\n"
    assert set(flags()) >= {"cancer", "sudden"}


# --- the command


def typed(monkeypatch, *lines):
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{x}\n" for x in lines)))


def test_the_command_opens_no_ward_and_makes_no_file_but_its_own(
    tmp_path, monkeypatch, capsys, own_state_folder
):
    ward, data = tmp_path / "ward", tmp_path / "data"
    monkeypatch.setenv("WARDEXAM_DB", str(ward))
    monkeypatch.setenv("XDG_DATA_HOME", str(data))
    monkeypatch.setattr("wardexam.records.ward.open_ward", lambda *a, **k: pytest.fail("a ward"))
    typed(monkeypatch, "knee", *COMMIT, "next", "q")
    assert run(["practise", "--seed", "3"]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert "Case 1-3 (classic)" in said.out
    assert not any(p.is_file() for p in tmp_path.rglob("*"))
    own = own_state_folder.parent
    made = sorted(str(p.relative_to(own)) for p in own.rglob("*") if p.is_file())
    assert made == [
        "state/wardexam/practice/progress.json",
        "state/wardexam/practice/progress.lock",
    ]
    assert len(practice_file.rows()) == 1


@pytest.mark.long
def test_progress_is_said_and_exported(tmp_path, monkeypatch, capsys):
    typed(monkeypatch, "knee", *COMMIT, "next", "knee", *COMMIT, "q")
    assert run(["practise", "--seed", "3", "--level", "2"]) == 0
    capsys.readouterr()
    assert run(["practise", "--progress"]) == 0
    assert "Answered: 2 cases." in capsys.readouterr().out
    assert run(["practise", "--export", "-"]) == 0
    assert capsys.readouterr().out.count("\n") == 3
    assert run(["practise", "--export", "-", "--json"]) == 0
    assert capsys.readouterr().out.startswith('{\n "practice": true')
    target = tmp_path / "mine.json"
    assert run(["practise", "--export", str(target)]) == 0
    assert '"case": "2-4"' in target.read_text()
    assert run(["practise", "--export", str(target)]) == 3
    assert "is there already" in capsys.readouterr().err


@pytest.mark.long
def test_a_damaged_file_is_named_by_progress_and_by_the_next_result(monkeypatch, capsys):
    practice_file.keep({"any": "row"})
    place = practice_file.practice_file()
    place.write_text("damaged")
    assert run(["practise", "--progress"]) == 3
    assert f"{place}: the results of practice cannot be read" in capsys.readouterr().err
    typed(monkeypatch, "knee", *COMMIT, "progress", "q")
    assert run(["practise", "--seed", "3"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "The results of practice were damaged; they lie in" in said
    assert "Answered: 1 case." in said


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--level", "4"], "a level is 1 to 3, not 4"),
        (["--seed", "-5"], "a case's number is 0 to 999999999, not -5"),
        (["--published", "zz9"], "there is no published case 'zz9'"),
        (["--published", "h048", "--seed", "3"], "--level and --seed draw a patient"),
        (["--progress", "--level", "2"], "--level and --seed draw a patient"),
        (["--json"], "--json does nothing here"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(capsys, arguments, said):
    assert run(["practise", *arguments]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert said in out.err
    assert out.err.count("\n") == 1


def test_no_option_of_a_ward_acts_here():
    with pytest.raises(InputError, match="--db does nothing here"):
        parse(["--db", "x", "practise"])


def test_without_a_seed_the_cases_differ(monkeypatch, capsys):
    seen = set()
    for _ in range(3):
        typed(monkeypatch, "q")
        assert run(["practise"]) == 0
        seen |= set(re.findall(r"Case 1-(\d+)", capsys.readouterr().out))
    assert len(seen) > 1
