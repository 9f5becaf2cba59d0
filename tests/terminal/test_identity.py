"""Nobody is taken for another: two identifiers on every screen of a patient and on every paper.

The name may be cut, the number and the birth date never; where there is neither, that is said.
"""

import os
import re
from dataclasses import replace
from datetime import date, timedelta
from html import unescape

import pytest

from tests.examinations import examined
from tests.records.memory import MemoryWard
from tests.terminal.admitting import ADMIT, presses
from tests.terminal.screens import NOW, demo_app, dump, status
from wardexam.exam import identity
from wardexam.exam.examination import Amendment, Patient
from wardexam.exam.text import columns, to_ascii
from wardexam.injury.computed import compute
from wardexam.injury.kept import KeptSheet
from wardexam.injury.typed import read_typed
from wardexam.injury_visit import paper
from wardexam.note import handover, note, referral, svg
from wardexam.note.charted import Charted
from wardexam.note.handover import headline_of
from wardexam.reasoning.rules.urgency import assess
from wardexam.records.repository import Arrival
from wardexam.terminal.canvas import Canvas
from wardexam.terminal.course import course_text
from wardexam.terminal.screens.ward import WardScreen

BORN = date(1985, 3, 4)
LONG = "Maximiliana Theodora Wolfeschlegelsteinhausenbergerdorff-Roe"
PEOPLE = {
    "number": {"name": "Otto Brandt", "number": "40-3317"},
    "both": {"name": "Otto Brandt", "number": "40-3317", "born": BORN},
    "birth date": {"name": "Otto Brandt", "born": date(1985, 9, 14)},
    "neither": {"name": "Otto Brandt"},
    "long name": {"name": LONG, "number": "40-3317", "bed": "Ward 12 Bay 3"[:12]},
    "one long word": {"name": "W" * 60, "born": date(1985, 9, 14)},
    "long number": {"name": LONG, "number": "123-456 789-012 345-678A", "born": BORN},
    "long, neither": {"name": LONG},
    "wide": {"name": "王小明" * 20, "number": "40-3317"},
    "wide number": {"name": "王" * 60, "number": "4" + "号" * 23, "bed": "床" * 12},
    "control": {"name": "Otto \x1b[2J\x07Brandt", "number": "40\x9b\n-3317"},
}  # fmt: skip
WHO = pytest.mark.parametrize("who", list(PEOPLE))
# On a larger screen there is more room: whoever takes the most of it, and one who takes little.
LARGE = ("both", "long number", "wide number")
EACH = pytest.mark.parametrize(
    ("who", "size"),
    [
        pytest.param(who, size, marks=[pytest.mark.long] if large and who not in LARGE else [])
        for who in PEOPLE
        for size, large in (((80, 24), False), ((120, 40), True))
    ],
)
# The keys from the ward that lead to a screen of a patient.
SCREENS = {
    "examination": ["enter"],
    "flags": ["enter", "f"],
    "power": ["enter", "tab"],
    "find": ["enter", "slash"],
    "story": ["enter", "w"],
    "reasons": ["exclamation_mark"],
    "reasons of what is entered": ["enter", "exclamation_mark"],
    "figure": ["enter", "d"],
    "note": ["n"],
    "note, earlier": ["n", "left"],
    "note as figure": ["n", "F", "F", "F"],
    "referral": ["n", "R"],
    "course": ["V"],
    "amendment": ["n", "M"],
    "cord injury sheet": ["J"],
    "sheet over an examination": ["enter", "J"],
    "worksheet, not saved": ["J", "0", "n"],
    "worksheet": ["J", "0", "s"],
}


def patient(who):
    given = {"id": "patient1", "bed": "A3", "age": 40, "admitted": NOW - timedelta(days=2)}
    return Patient(**(given | PEOPLE[who]))


def visits():
    lines = ("power_leg 5/5 knee 2/2", "power_leg 4/2 knee 0/2 pin_L4 1/2 flag:cancer=yes")
    return [
        examined(line, NOW - timedelta(hours=20 - 8 * n)).model_copy(
            update={"id": f"exam000{n}", "patient": "patient1", "examiner": "Dr Ash"}
        )
        for n, line in enumerate(lines)
    ]


def ward_of(who, tmp_path):
    app = demo_app(tmp_path / "ward", empty=True, ascii_only=False)
    app.ward.admit(patient(who), "test")
    for made in visits():
        app.ward.save(made, "test", headline_of([made]))
    return app


def shown(app):
    """The heading as the terminal gets it, as wide as the terminal."""
    heading = app.screen.query_one("#heading", Canvas)
    return heading.render_line(0).text


def begins(name, text):
    """Whether a text holds a name, or as much of its beginning as tells something, marked as cut."""
    name = " ".join(to_ascii(name).split())
    return name in text or (name[:10] in text and ".." in text)


@EACH
async def test_every_screen_of_a_patient_is_headed_by_two_identifiers(tmp_path, who, size):
    app, of = ward_of(who, tmp_path), patient(who)
    name = identity._line(of.name)
    # A bed and a number of wide characters alone fill 80 columns: then the bed gives way too.
    bed, least = (of.bed[:3], 8) if (who, size[0]) != ("wide number", 80) else ("", 5)
    async with app.run_test(size=size) as pilot:
        for screen, keys in SCREENS.items():
            await pilot.press(*keys)
            await pilot.pause()
            assert not isinstance(app.screen, WardScreen)
            line = shown(app)
            assert columns(line) == size[0], (screen, line)
            assert identity.mark(of) in line, (screen, line)
            assert ("NO NUMBER" in line) == (not of.number and of.born is None), (screen, line)
            assert (name if len(name) < 20 else name[:least]) in line, (screen, line)
            assert bed in line, (screen, line)
            assert all(c.isprintable() for c in line)
            while not isinstance(app.screen, WardScreen):
                await pilot.press("escape")  # a letter would be typed where one is typed


@WHO
async def test_at_80_columns_the_heading_of_an_examination_keeps_age_and_count(tmp_path, who):
    app = ward_of(who, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "down", "2")
        line = dump(app)[0]
        if who != "wide number":  # whose bed and number alone fill the line
            assert " 40 y  " in line
            assert line.endswith("  1 of 14")
        if len(PEOPLE[who]["name"]) < 20:
            assert "  examination 3" in line


def file_of(patient, examinations):
    """A patient's file in memory."""
    ward = MemoryWard()
    ward.take_in([Arrival(patient, tuple(examinations))], "x")
    return ward.file(patient.id)


def sheet_of(patient):
    """A patient's second sheet, amended, with the one before it."""
    first = KeptSheet(id="sheet001", patient="patient1", examiner="Dr Ash", at=NOW)
    why = Amendment(by="Dr Bex", at=NOW, why="a score was typed wrong")
    second = first.model_copy(update={"id": "sheet002", "revision": 2, "amendment": why})
    return paper(patient, second, compute(read_typed("sensation: 2t9, 0")), first)


PAPERS = {
    "note": lambda p, es: note.render(Charted(p, es[-1], previous=es[0])),
    "note in UTF-8": lambda p, es: note.render(Charted(p, es[-1]), ascii_only=False),
    "note with figure": lambda p, es: note.render(Charted(p, es[-1]), form="figure"),
    "referral": lambda p, es: referral.render(Charted(p, es[-1], urgency=assess(es[-1], es[0], None))),
    "handover": lambda p, es: handover.render([(p, es, None)], now=NOW),
    "handover, not examined": lambda p, es: handover.render([(p, [], None)], now=NOW),
    "course": lambda p, es: course_text(file_of(p, es)),
    "course, not examined": lambda p, es: course_text(file_of(p, [])),
    "cord injury sheet": lambda p, es: sheet_of(p),
    "picture": lambda p, es: unescape(svg.render(p, es[-1])),
}  # fmt: skip
WIDTHS = {"handover": 80, "handover, not examined": 80, "course": 80}


@WHO
@pytest.mark.parametrize("paper", list(PAPERS))
def test_every_paper_names_a_patient_by_two_identifiers(who, paper):
    of = patient(who)
    text = PAPERS[paper](of, visits())
    plain = to_ascii if text.isascii() or paper == "referral" else identity._line
    # Each stands whole on a line; the sheet has one beside the name, the other papers all.
    wanted = [identity.mark(of)] if "handover" in paper else identity.known(of)[1:]
    for mark in wanted:
        assert any(plain(mark) in plain(line) for line in text.splitlines()), mark
    whole = " ".join(to_ascii(text.replace("</text>\n", "")).split())
    if "handover" in paper:
        assert begins(of.name, whole)
    elif paper == "picture":
        assert identity.full(of) in re.search("<title>(.*)</title>", text)[1]
        words = "".join(re.findall("<text[^>]*>([^<]*)</text>", text))
        assert identity._line(of.name).replace(" ", "") in words.replace(" ", "")
        lines = re.findall(r'<text x="15" y="\d+">([^<]*)</text>', text)
        assert max(map(columns, lines)) <= svg.WIDEST
    else:
        assert begins(of.name, whole)
        assert to_ascii(identity._line(of.name)).replace(" ", "") in whole.replace(" ", "")
    if paper != "picture" and paper != "note in UTF-8":
        assert max(map(len, text.splitlines())) <= WIDTHS.get(paper, 72)
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", text)


async def test_what_leaves_the_figure_and_the_course_says_whose_it_is(tmp_path):
    app = ward_of("both", tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        for keys in (["enter", "d"], ["V"]):
            name = str(tmp_path / keys[-1])
            await pilot.press(*keys)
            await pilot.press("W", *name, "enter")
            assert "Written" in status(app)
            with open(name, encoding="utf-8") as file:
                assert "Otto Brandt, no. 40-3317, born 4 Mar 1985, bed A3" in file.readline()
            os.unlink(name)
            await pilot.press(*"qq" if keys[0] == "enter" else "q")


async def test_what_leaves_a_terminal_of_ascii_can_be_shown_on_it(tmp_path):
    app = ward_of("wide", tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        app.terminal = replace(app.terminal, ascii=True)
        for keys in (["V"], ["enter", "d"]):
            await pilot.press(*keys)
            assert app.screen._leaving.isascii()
            assert "no. 40-3317" in app.screen._leaving.splitlines()[keys[0] == "V"]
            await pilot.press("q")


# -- admission and editing


def typed(*answers):
    keys = []
    for answer in answers:
        keys += [*answer, "enter"]
    return keys


async def admitted(tmp_path, *answers):
    """The patient admitted by these answers, and the last two lines of the screen."""
    app = demo_app(tmp_path / "ward", empty=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*presses(*answers))
        (bed,) = app.ward.beds()
        return app.ward.patient(bed.patient_id), dump(app)[-2]


async def test_a_number_is_enough(tmp_path):
    of, said = await admitted(tmp_path, "B7", "Otto Brandt", " 40-3317 ", "40 m")
    assert (of.number, of.born, of.age, of.sex) == ("40-3317", None, 40, "male")
    assert said == "Admitted. Enter starts the examination."


@pytest.mark.parametrize("birth", ["4.3.1985", "04/03/1985", "1985-03-04", "4 Mar 1985"])
async def test_without_a_number_the_birth_date_is_asked_and_gives_the_age(tmp_path, birth):
    of, said = await admitted(tmp_path, "B7", "Otto Brandt", "", f"{birth} m")
    assert (of.number, of.born, of.age) == ("", BORN, 41)  # on the birthday itself
    assert said == "Admitted. Enter starts the examination."


async def test_both_are_passed_over_by_enter_and_then_said_to_be_missing(tmp_path):
    of, said = await admitted(tmp_path, "B7", "Otto Brandt")
    assert of.identity == "Otto Brandt, NUMBER AND BIRTH DATE MISSING"
    assert said == "Admitted without number or birth date: check the wristband. Enter examines."


async def test_a_date_that_cannot_be_is_asked_again_in_view_and_said_back_in_letters(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(ADMIT, *typed("B7", "Otto Brandt", "1" * 25))
        assert dump(app)[-3].startswith("! Longer than 24 characters")
        assert dump(app)[-2].startswith("Hospital number")
        await pilot.press(*["backspace"] * 25, "enter")
        for wrong, why in (
            ("4.3.85", "The year in four digits"),
            ("04/13/1985", "No month 13: the day comes first"),
            ("30 Feb 1985", "No 30 Feb 1985"),
            ("05.03.2026", "Birth after the admission"),
            ("4.3.1885", "Birth more than 120 years ago"),
            ("4 September", "No date such as 4 Mar 1985"),
            ("30 Feb 1985 f", "No 30 Feb 1985"),
            ("121 f", "An age is at most 120 years"),
            ("soon", "'soon' is neither an age, a birth date nor a sex"),
        ):
            await pilot.press(*wrong, "enter")
            assert dump(app)[-3].startswith(f"! {why}")
            assert dump(app)[-2].startswith("No number: born")
            assert dump(app)[-2].rstrip().endswith(wrong)  # what was typed is still in view
            await pilot.press(*["backspace"] * len(wrong))
        await pilot.press(*"04/03/1985 m", "enter")
        assert dump(app)[-2].startswith("Born 4 Mar 1985. Why admitted?")


async def test_editing_shows_and_changes_both(tmp_path):
    app = ward_of("number", tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("E", "enter", "enter")
        assert dump(app)[-2].rstrip().endswith("40-3317")
        await pilot.press("8", "enter")
        assert dump(app)[-2].startswith("Age and sex")
        assert dump(app)[-2].rstrip().endswith("40")
        await pilot.press("backspace", "backspace", *typed("4.3.1985", "", ""))
        of = app.ward.patient("patient1")
        assert (of.number, of.born, of.age) == (
            "40-33178",
            BORN,
            40,
        )  # at admission, two days before
        assert dump(app)[-2] == "Details saved."
        await pilot.press("E", "enter", "enter", *["backspace"] * 8, "enter")
        assert dump(app)[-2].rstrip().endswith("4 Mar 1985")
        await pilot.press(*["backspace"] * 10, *"40", "enter", "enter", "enter")
        of = app.ward.patient("patient1")
        assert (of.number, of.born, of.age) == ("", None, 40)
        assert dump(app)[-2] == "Saved without number or birth date: check the wristband."


@pytest.mark.parametrize(
    "then", [["down"], ["O"], ["enter", "2", "s", "q"], ["question_mark", "q"]]
)
async def test_what_was_said_of_an_admission_goes_with_the_next_action(tmp_path, then):
    app = demo_app(tmp_path / "ward", empty=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*presses("B7", "Otto Brandt", "40-3317", "40 m"))
        assert dump(app)[-2].startswith("Admitted.")
        await pilot.press(*then)
        for _ in range(50):
            if isinstance(app.screen, WardScreen):
                break
            await pilot.press("q")
        assert isinstance(app.screen, WardScreen)
        assert "Admitted" not in "\n".join(dump(app))
