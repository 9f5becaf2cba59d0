"""The body in the terminal: by one key at 80x24, below the panel at 120x40, in ASCII by the locale."""

import pytest

from tests.terminal.pty.harness import environ, running, wardexam
from tests.terminal.screens import demo_app, dump
from wardexam.anatomy.catalogue import catalogue
from wardexam.note.body import table
from wardexam.terminal.examine.screen import ExamineScreen


async def test_one_key_draws_the_body_at_80x24_whole_and_another_goes_back(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1", *"22", "b", "3", "down")
        app.screen.go("level_pin", "right")
        await pilot.press("b", *"10", "enter", "d")
        lines = dump(app)
        assert "lines 1" not in lines[0]  # nothing of it is below the edge
        assert lines[2].split() == ["RIGHT", "....", "LEFT", "skin:"]
        assert [lines[n].split()[-1] for n in (3, 4)] == ["examined", "reduced"]
        assert lines[21].split()[-1] == "plantar"
        assert any("2+" in line and "biceps" in line for line in lines)
        shaded = [line for line in lines if "////" in line]
        assert len(shaded) >= 8  # T11 to S1
        await pilot.press("q")
        assert isinstance(app.screen, ExamineScreen)


async def test_it_follows_every_key_below_the_panel_at_120x40(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.press("enter")

        def body() -> list[str]:
            lines = app.screen.canvas("panel").text()
            return lines[next(n for n, line in enumerate(lines) if line.split()[:1] == ["RIGHT"]) :]

        assert "/" not in "".join(line[7:25] for line in body()[:20])
        app.screen.go("pin_S1", "left")
        await pilot.press("1")
        assert "/" in "".join(line[7:25] for line in body()[:20])
        assert len(body()) == 20
        assert [line.split()[-1] for line in body()[:3]] == ["skin:", "examined", "reduced"]
        beside = [" ".join(line[32:50].split()) for line in body()]
        names = {catalogue()[sign].name for sign in table()["grades"]}
        assert {name for name in beside if name} - {"LEFT"} <= names  # each of them whole
        assert {"brachioradialis", "plantar"} <= set(beside)
        assert max(map(len, dump(app))) <= 120


@pytest.mark.long
@pytest.mark.parametrize(("locale", "mark", "other"), [("C", "/", "▒"), ("C.UTF-8", "▒", "///")])
def test_the_locale_decides_how_the_loss_is_shaded(tmp_path, locale, mark, other):
    env = environ(tmp_path, LANG=locale, LC_ALL=locale)
    with running(wardexam("demo"), env) as session:
        session.wait("12 patients")
        session.type("\rm1\t\t" + "0" + "10\r" + "d")
        session.wait("RIGHT")
        session.wait("skin:")
        body = "\n".join(line[6:24] for line in session.lines[2:22])
        assert mark in body
        assert other not in body
        if locale == "C":
            assert all(byte < 0x80 for byte in session.raw)
        session.send("qqq")
        assert session.ended() == 0
