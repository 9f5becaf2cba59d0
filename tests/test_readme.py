"""The README speaks true: its screen is the screen, its commands and keys are those there are."""

import argparse
import re
from pathlib import Path

from tests.terminal.screens import demo_app, dump, settled
from wardexam.commands.arguments import parser
from wardexam.terminal.keys import SCREENS

README = Path(__file__).parents[1] / "README.md"


async def screen(tmp_path) -> str:
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "enter", *"2222222220")
        await settled(pilot)
        return "\n".join(dump(app))


async def test_the_capture_is_the_real_screen(tmp_path):
    shown = re.search(r"<!-- screen -->\n```text\n(.*?)\n```", README.read_text(), re.S)
    assert shown
    assert shown[1] == await screen(tmp_path)


def test_the_readme_opens_with_the_job_and_has_two_commands():
    text = README.read_text()
    assert re.match(r"# wardexam\n\nA ward or emergency doctor", text)
    assert len(re.findall(r"```sh\n[^\n]+\n```", text)) == 2
    assert re.findall(r"^## (\w+)\n\n```sh", text, re.M) == ["Run", "Test"]


def commands() -> set[str]:
    """The commands that the parser takes."""
    (grammars,) = (a for a in parser()._actions if isinstance(a, argparse._SubParsersAction))
    return set(grammars.choices)


def test_every_command_is_in_the_readme_and_every_one_there_is_a_command():
    table = re.search(r"## The commands\n(.*?)\n## ", README.read_text(), re.S)
    assert table
    named = set(re.findall(r"`wardexam ([a-z]+)", table[1]))
    assert named == commands()
    assert len(named) > 10


def test_every_key_of_the_examination_is_in_the_readme():
    text = README.read_text()
    for rows in SCREENS.values():
        for row in rows:
            if row.action not in ("up", "down", "left", "right"):
                assert row.does in text, row
