"""The README speaks true: its screen is the screen, its commands and keys are those there are."""

import argparse
import re
import tomllib
from pathlib import Path

from tests.terminal.screens import demo_app, dump, settled
from wardexam.commands.arguments import parser
from wardexam.terminal.keys import SCREENS

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"


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


# --- what it says of keeping

KEEPING = re.compile(r"^## Where data lives\n\n(.*?)^## ", re.S | re.M)


def sentences(text):
    """The sentences of a text; a colon or an abbreviation ends none."""
    return [
        s.strip() for s in re.split(r"(?<=[.])\s+(?=[A-Z`*])", " ".join(text.split())) if s.strip()
    ]


def every_test():
    found = set()
    for path in (ROOT / "tests").rglob("test_*.py"):
        found |= set(re.findall(r"^(?:async )?def (test_\w+)", path.read_text(), re.M))
    return found


def test_every_sentence_on_keeping_is_held_by_a_test():
    claims = tomllib.loads((ROOT / "tests" / "claims.toml").read_text())
    there, held = every_test(), set()
    said = sentences(KEEPING.search(README.read_text())[1])
    assert len(said) > 20
    for sentence in said:
        begin = [b for b in claims if sentence.startswith(b)]
        assert len(begin) == 1, sentence
        held.add(begin[0])
        row = claims[begin[0]]
        assert row.get("says") or row["tests"], sentence
        for name in row.get("tests", ()):
            assert name in there, f"{sentence}: no test {name}"
    assert held == set(claims)


def test_no_module_opens_a_connection():
    for path in (ROOT / "wardexam").rglob("*.py"):
        text = path.read_text()
        for module in (
            "socket",
            "urllib",
            "http",
            "ftplib",
            "smtplib",
            "requests",
            "httpx",
            "asyncio.streams",
        ):
            assert not re.search(rf"^\s*(import|from) {module}\b", text, re.M), f"{path}: {module}"
