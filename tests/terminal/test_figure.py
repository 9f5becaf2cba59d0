"""The body in the terminal: by one key at 80x24, beside the panel at 120x40, in ASCII by the locale."""

import pytest

from tests.terminal.pty.harness import environ, running, wardexam
from tests.terminal.screens import demo_app, dump
from wardexam.terminal.examine.screen import ExamineScreen


async def test_one_key_draws_the_body_at_80x24_whole_and_another_goes_back(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", *"22", "b", "3", "down")
        app.screen.go("level_pin", "right")
        await pilot.press("b", *"10", "enter", "d")
        lines = dump(app)
        assert lines[1].split()[0] == "RIGHT"
        assert any(line.startswith("skin:") for line in lines)
        assert any("2+" in line and line.rstrip().endswith("biceps") for line in lines)
        shaded = [line for line in lines if "////" in line]
        assert len(shaded) >= 8  # T11 to S1
        await pilot.press("q")
        assert isinstance(app.screen, ExamineScreen)


async def test_it_follows_every_key_beside_the_panel_at_120x40(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.press("enter")
        figure = app.screen.canvas("figure")
        assert "/" not in "".join(line[6:24] for line in figure.text()[:20])
        app.screen.go("pin_S1", "left")
        await pilot.press("1")
        assert "/" in "".join(line[6:24] for line in figure.text()[:20])
        assert figure.text()[0].split()[0] == "RIGHT"
        assert max(map(len, dump(app))) <= 120


@pytest.mark.parametrize(("locale", "mark", "other"), [("C", "/", "▒"), ("C.UTF-8", "▒", "///")])
def test_the_locale_decides_how_the_loss_is_shaded(tmp_path, locale, mark, other):
    env = environ(tmp_path, LANG=locale, LC_ALL=locale)
    with running(wardexam("demo"), env) as session:
        session.wait("12 patients")
        session.send("\rpp" + "0" + "10\r" + "d")
        session.wait("RIGHT")
        session.wait("skin:")
        body = "\n".join(line[6:24] for line in session.lines[1:21])
        assert mark in body
        assert other not in body
        if locale == "C":
            assert all(byte < 0x80 for byte in session.raw)
        session.send("qqq")
        assert session.ended() == 0
