"""A rule that is switched off here is seen on every screen and paper on which it would have spoken."""

import io
import json
from dataclasses import replace

import pytest

import wardexam
from tests.terminal.screens import NOW, demo_app, dump, settled
from tests.terminal.test_identity import SCREENS
from wardexam import unsaved
from wardexam.commands.main import run
from wardexam.exam.entry import Change
from wardexam.exam.examination import Patient
from wardexam.face import answer_schema
from wardexam.note.headline import off_in
from wardexam.plain.conversation import converse
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.rules.wording import read_wording
from wardexam.records.paths import copy_demo
from wardexam.records.repository import Bed
from wardexam.records.ward import open_ward
from wardexam.session import Session
from wardexam.terminal.canvas import plain
from wardexam.terminal.urgent import told, urgent_line
from wardexam.terminal.ward_list import Teller, bed_lines
from wardexam.visit import Visit

WHY = "the night team has a pathway of its own"


def text_of(*names):
    return "".join(
        f'[{name}]\noff_by = "Dr A. Lead"\noff_why = "{WHY}"\noff_on = 2026-03-01\n'
        for name in names
    )


WORDING = read_wording(text_of("cauda_equina"))
SHORT = "Switched off here: possible cauda equina, by Dr A. Lead, 1 Mar 2026."
WHOLE = "Switched off here: possible cauda equina syndrome (now), by Dr A. Lead, 1 Mar 2026: "


@pytest.fixture
def home(tmp_path, monkeypatch):
    words = tmp_path / "words.toml"
    words.write_text(text_of("cauda_equina"))
    monkeypatch.setenv("WARDEXAM_WORDING", str(words))
    return copy_demo(tmp_path / "ward")


def joined(text):
    return " ".join(text.split())


def said(app):
    """All that the screen says, its bodies side by side apart."""
    parts = [joined(" ".join(canvas.text())) for canvas in app.screen.query("Canvas")]
    return " | ".join(parts)


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize("screen", list(SCREENS))
async def test_every_screen_of_a_patient_says_so_on_its_second_line(tmp_path, screen, size):
    app = demo_app(tmp_path / "ward", wording=WORDING)
    async with app.run_test(size=size) as pilot:
        await pilot.press("j", *SCREENS[screen])
        await pilot.pause()
        line = dump(app)[1]
        assert "OFF here" in line, line
        assert len(line) <= size[0]
        assert not line.startswith(" NOW  due 15:00  possible cauda equina")


async def test_every_screen_and_paper_says_so(tmp_path, home, capsys):
    app = demo_app(tmp_path / "screen", wording=WORDING)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter")  # the examination: beside the grid, never giving way
        await pilot.pause()
        assert SHORT in said(app)
        await pilot.press("exclamation_mark")  # every reason
        await pilot.pause()
        assert WHOLE + WHY + "." in said(app)
        await pilot.press("q", "q", "n")
        await pilot.pause()
        assert WHOLE.split(",")[0] in said(app)
    for command in (["note", "A2"], ["referral", "A2"], ["handover"], ["act", "A2"]):
        assert run([*command, "--db", str(home)]) == 0
        assert WHOLE + WHY + "." in joined(capsys.readouterr().out), command


async def test_the_list_says_so_of_what_was_saved_with_it(tmp_path):
    app = demo_app(tmp_path / "ward", wording=WORDING)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "f", "1")
        await settled(pilot)
        await pilot.press("s")
        for answer in ("enter", "enter", "enter", "q", "q"):
            await pilot.pause()
            await pilot.press(answer)
        await pilot.pause()
        bed = next(b for b in app.ward.beds() if b.bed == "A2")
        assert "switched off here: possible cauda equina" in bed.summary.headline
        assert "switched off here: possible cauda equina" in said(app)
        row = next(line for line in dump(app) if line.startswith(">A2 "))
        assert " (off) " in row


@pytest.mark.parametrize("each", [1, 2])
@pytest.mark.parametrize("width", [80, 120])
def test_of_every_rule_the_list_has_room_for_it(each, width):
    from wardexam.note.headline import summarise

    for name, row in rules().items():
        wording = read_wording(text_of(name))
        urgency = wardexam.assess(f"flag:low_glucose=yes flag:{_flag(row)}=yes", wording=wording)
        if not urgency.switched_off:
            continue
        made = summarise(urgency, None, None)
        assert off_in(made).startswith("switched off here: ")
        assert len(made.headline) <= 160
        bed = Bed("p1", "A1", "Beatrix Lundqvist-Holm", 40, "female", NOW.isoformat(), "x", 1, made, 4, None)  # fmt: skip
        lines = [plain(line) for line in bed_lines(bed, Teller(NOW, width, True, ">", False), each, chosen=False)]  # fmt: skip
        assert all(len(line) <= width for line in lines)
        assert " (off) " in lines[0]


def _flag(row):
    return next((i.split(":")[1] for i in (*row.some, *row.every) if i.startswith("flag:")), "worse")  # fmt: skip


async def test_on_plain_lines_it_is_said_at_once_and_under_why(tmp_path):
    ward, out = open_ward(tmp_path / "ward"), io.StringIO()
    ward.admit(Patient(id="patient1", bed="A1", name="Mo", number="1", admitted=NOW), "test")
    ids = iter(f"exam{n:04d}" for n in range(100))
    session = Session(ward, "Dr Test", lambda: NOW, lambda: next(ids), WORDING)
    answers = ["1", "", "", "/saddle numb", "y", "why", "q", "y"]
    converse(session, read=io.StringIO("".join(f"{a}\n" for a in answers)), write=out)
    heard = joined(out.getvalue())
    assert heard.count(WHOLE + WHY + ".") >= 2
    assert "NOW, within 4 h: possible cauda equina" not in heard


@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_localise_says_so(tmp_path, capsys, form):
    words = tmp_path / "words.toml"
    words.write_text(text_of("cauda_equina"))
    option = [] if form == "text" else [f"--{form}"]
    line = "flag:saddle_numb=yes knee 2/2"
    assert run(["localise", *option, "--signs", line, "--wording", str(words)]) == 0
    out = capsys.readouterr().out
    if form == "text":
        assert WHOLE + WHY + "." in joined(out)
    elif form == "csv":
        head, first, *_ = out.splitlines()
        assert head.endswith(",urgency,switched_off")
        assert first.endswith(",cauda_equina")
    else:
        import jsonschema

        made = json.loads(out)
        jsonschema.validate(made, answer_schema())
        (off,) = made["urgency"]["switched_off"]
        assert (off["rule"], off["by"], off["why"]) == ("cauda_equina", "Dr A. Lead", WHY)
    assert wardexam.assess(line, wording=WORDING).switched_off[0].rule == "cauda_equina"


def test_hazards_lists_what_is_switched_off_here(tmp_path, capsys):
    words = tmp_path / "words.toml"
    words.write_text(text_of("cauda_equina"))
    assert run(["hazards", "rule_switched_off", "--wording", str(words)]) == 0
    out = joined(capsys.readouterr().out)
    assert f"cauda_equina: possible cauda equina syndrome (now), by Dr A. Lead, 1 Mar 2026: {WHY}" in out  # fmt: skip


def test_a_file_that_switches_off_without_a_name_switches_nothing_off(tmp_path, capsys):
    words = tmp_path / "words.toml"
    words.write_text(text_of("cauda_equina").replace("off_by", "off_bye"))
    assert run(["localise", "--signs", "flag:saddle_numb=yes", "--wording", str(words)]) == 0
    told = capsys.readouterr()
    assert told.err.count("\n") == 1
    assert "line 2: 'off_bye' cannot be given" in told.err
    assert "NOW" in told.out
    assert "possible cauda equina syndrome" in told.out


def test_the_line_has_room_for_it_beside_every_reason():
    later = NOW.replace(day=9, hour=23)
    for name, row in rules().items():
        urgency = wardexam.assess(f"flag:saddle_numb=yes flag:{_flag(row)}=yes flag:low_glucose=yes", wording=WORDING)  # fmt: skip
        assert urgency.switched_off, name
        for count in range(1, len(urgency.reasons) + 1):
            made = replace(
                urgency,
                reasons=tuple(replace(r, due=later) for r in urgency.reasons[-count:]),
            )
            line = plain(urgent_line(made, 80, now=NOW, key="!"))
            assert len(line) <= 80, line
            assert "OFF here" in line
            assert made.reasons[0].brief in line or made.reasons[0].text in line
            assert SHORT in told(made, 80, NOW, "!").left


def test_the_audit_says_which_rules_are_in_no_figure(home, capsys):
    assert run(["audit", "--from", "2026-01-01", "--to", "2026-12-31", "--db", str(home)]) == 0
    out = capsys.readouterr().out
    assert "Switched off here, so in no figure: cauda_equina since 2026-03-01." in joined(out)
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.long
def test_of_who_was_never_examined_the_list_and_both_papers_say_so(home, capsys):
    words = home.parent / "words.toml"
    words.write_text(text_of("not_awake"))
    ward = open_ward(home)
    came = Patient(id="newcomer", bed="Z9", name="Mo", number="1", admitted=NOW, remark="unconscious")  # fmt: skip
    ward.admit(came, "test")
    off = "switched off here: not awake"
    for command in (["beds"], ["beds", "--json"], ["handover"], ["handover", "--json"]):
        assert run([*command, "--db", str(home)]) == 0
        assert off in joined(capsys.readouterr().out).lower(), command
    made = unsaved.told(ward, ward.beds(), (), read_wording(words.read_text()))
    bed = next(b for b in made if b.patient_id == "newcomer")
    assert off in bed.told.headline
    line = plain(bed_lines(bed, Teller(NOW, 80, True, ">", False), 2, chosen=False)[0])
    assert " (off) " in line


def test_a_draft_is_told_in_the_hospitals_words_as_when_it_is_saved(tmp_path):
    ward = open_ward(tmp_path / "ward")
    ward.admit(Patient(id="patient1", bed="A1", name="Mo", number="1", admitted=NOW), "test")
    session = Session(ward, "Dr Test", lambda: NOW, lambda: "exam0001", WORDING)
    visit = Visit.open(session, "patient1")
    visit.change(Change("flag", "saddle_numb", "yes"))
    visit.pause(1.0)
    (said,) = unsaved.begun(ward, ward.drafts(), WORDING).values()
    assert said.urgency == visit.case.urgency().level
    assert "switched off here" in said.headline
