"""Two of one name, who is sought by a number or without accents, and what the list of the discharged says."""

import os

import pytest

from tests.terminal.admitting import presses
from tests.terminal.screens import demo_app, dump
from wardexam.terminal.screens.ward import WardScreen


@pytest.fixture
def app(tmp_path):
    return demo_app(tmp_path / "ward", empty=True)


async def two_of_one_name(pilot):
    await pilot.press(*presses("A1", "Smith", "", "", "6"))
    await pilot.press(*presses("A3", "Smith, John", "40-778", "70 f", "6"))
    await pilot.press(*presses("B1", "Müller, Jörg", "40-999", "63 m", "6"))


async def test_that_another_has_the_name_is_said_while_the_number_is_asked(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*presses("A1", "Smith", "", "", ""))
        await pilot.press("A", *"A3", "enter", *"Smith", "enter")
        seen = dump(app)
        assert seen[-3] == "! A1 is Smith too: number or birth date tells them apart"
        assert seen[-2].startswith("Hospital number")
        await pilot.press(*"40-778", "enter")
        assert not any("too: number" in line for line in dump(app))


async def test_two_of_one_name_are_marked_on_the_list_and_told_apart_below(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await two_of_one_name(pilot)
        rows = [line for line in dump(app) if "Smith" in line or "ller" in line]
        assert ["(twice)" in row for row in rows] == [True, True, False]


@pytest.mark.parametrize(
    ("sought", "bed"), [("mull", "B1"), ("MÜL", "B1"), ("40-99", "B1"), ("40-778", "A3"), ("b1", "B1")]
)  # fmt: skip
async def test_somebody_is_found_by_number_and_without_accents(app, sought, bed):
    async with app.run_test(size=(80, 24)) as pilot:
        await two_of_one_name(pilot)
        await pilot.press("slash", *sought, "enter")
        await pilot.pause()
        seen = dump(app)
        assert "1 of 3 patients" in seen[0]
        assert bed in seen[2]
        assert seen[-1].startswith("escape shows all")
        await pilot.press("escape")
        assert "3 patients, by bed" in dump(app)[0]


async def test_who_is_discharged_is_named_with_a_second_identifier(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await two_of_one_name(pilot)
        await pilot.press("home", "D")
        assert dump(app)[-2] == "Discharge A1 Smith NO NUMBER? Type yes:"
        await pilot.press("escape", "j", "D")
        assert dump(app)[-2] == "Discharge A3 Smith, John no. 40-778? Type yes:"


async def test_the_list_of_the_discharged_says_what_it_is_and_what_its_keys_do(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await two_of_one_name(pilot)
        await pilot.press("home", "j", "X")
        seen = dump(app)
        assert "  Nobody is discharged. X shows the ward." in seen
        assert "D restore" in seen[-1]
        assert "X the ward" in seen[-1]
        assert "admit" not in seen[-1]
        await pilot.press("X", "D", *"yes", "enter", "X")
        assert any("A1" in line for line in dump(app))


@pytest.mark.long
async def test_where_a_file_was_written_is_said_whole(tmp_path):
    app = demo_app(tmp_path / "ward")
    place = tmp_path / "a folder whose name is long" / ("x" * 60)
    os.makedirs(place)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", "W", *[{" ": "space", "/": "slash"}.get(c, c) for c in str(place / "note.txt")], "enter")  # fmt: skip
        for _ in range(20):
            await pilot.pause(0.05)
        assert not isinstance(app.screen, WardScreen)
        said = "".join(dump(app)[-5:]).replace(" ", "")
        assert f"Writtento{place}/note.txt;onlyyoucanreadit.".replace(" ", "") in said


async def test_home_and_end_move_in_a_text(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", "end")
        heading = dump(app)[0]
        assert not heading.endswith("lines 1-20") and "no such key" not in dump(app)[-2]  # noqa: PT018
        last = dump(app)[-4:-2]
        await pilot.press("down")
        assert dump(app)[-4:-2] == last
        await pilot.press("home")
        assert " 1-" in dump(app)[0]
