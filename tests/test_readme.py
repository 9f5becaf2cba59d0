"""The README and the guide speak true: commands, keys, figures, and what is said of keeping."""

import json
import re
import tomllib
from pathlib import Path

import pytest

from tests import keys_page
from wardexam import __version__
from wardexam.commands.arguments import parser
from wardexam.commands.main import run
from wardexam.terminal import keys
from wardexam.terminal.keys import SCREENS

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"


def test_the_readme_opens_with_the_job_and_has_two_commands():
    text = README.read_text()
    assert re.match(r"# wardexam\n\nA ward or emergency doctor", text)
    assert re.findall(r"^## ([^\n]+)", text, re.M)[:3] == ["Run", "Test", "Five keys"]
    assert len(re.findall(r"```sh\n[^\n]+\n```", text)) == 2
    assert re.findall(r"^## (\w+)\n\n```sh", text, re.M) == ["Run", "Test"]


def test_every_command_is_in_the_readme_and_every_one_there_is_a_command():
    table = re.search(r"## The commands\n(.*?)\n## ", README.read_text(), re.S)
    assert table
    named = set(re.findall(r"`wardexam ([a-z]+)", table[1]))
    assert named == set(parser().names)
    assert len(named) > 10


def test_the_tables_of_keys_in_the_guide_are_the_keys():
    assert set(SCREENS) == set(keys_page.TITLES)
    found = keys_page.PLACE.search(keys_page.GUIDE.read_text())
    assert found
    assert found[0] == keys_page.tables(), "python -m tests.keys_page writes them anew"


def test_five_keys_stand_in_the_readme_and_are_keys():
    table = re.search(r"## Five keys\n(.*?)\n\n[^|\n]", README.read_text(), re.S)
    assert table
    named = re.findall(r"^\| `([^`]+)`", table[1], re.M)
    known = {keys.shown(key) for rows in SCREENS.values() for row in rows for key in row.keys}
    assert len(named) == 5
    assert set(named) - known == {"0"}  # a grade


def test_the_first_screen_holds_what_it_is_for_and_how_well_it_was_measured():
    first = README.read_text().split("## Run")[0]
    job, intended, measured, *_ = first.removeprefix("# wardexam\n\n").split("\n\n")
    assert 3 <= job.count(". ") + 1 <= 4
    use, validated = intended.split("\n")
    assert use.startswith("**Intended use:** ")
    assert "rules nothing out" in use
    assert validated.startswith("**Not clinically validated:** ")
    developers = (ROOT / "DEVELOPERS.md").read_text()
    for figure in (
        "112 published examinations", "94 %", "57 %", "89, 97 and 61 %", "84 % (72 to 92)", "93.3 % (166 of 178", "99.4 % (177", "67 % (119)",
    ):  # fmt: skip
        assert figure in measured
        assert figure in developers


def test_the_regulatory_status_is_said_in_the_readme_and_whole_in_the_guide():
    for path in (README, keys_page.GUIDE):
        text = path.read_text()
        assert re.search(r"^## .*[Rr]egulatory status$", text, re.M)
        assert "No authority has cleared, certified or registered" in text
    guide = keys_page.GUIDE.read_text()
    for said in ("It has not been tried on patients", "it rules nothing out", "What a hospital must decide"):  # fmt: skip
        assert said in guide


def test_what_is_cited_is_this_version_and_its_changes_are_told():
    assert f"version = {{{__version__}}}" in README.read_text()
    changes = (ROOT / ".github" / "CHANGELOG.md").read_text()
    assert re.search(rf"^## {re.escape(__version__)}\b", changes, re.M)


@pytest.mark.parametrize("name", ["SECURITY.md", "CONTRIBUTING.md", "CHANGELOG.md"])
def test_every_link_of_the_notes_beside_leads_somewhere(name):
    for link in re.findall(r"\]\(([^)#]+)", (ROOT / ".github" / name).read_text()):
        assert (ROOT / ".github" / link).is_file(), link


def test_every_link_of_the_readme_leads_somewhere():
    for link in re.findall(r"\]\(([^)#]+)", README.read_text()):
        assert (ROOT / link).is_file(), link


def test_the_first_answer_to_the_example_is_the_s1_root(capsys):
    (line,) = re.findall(r'`echo "([^"]+)" \| wardexam localise`', README.read_text())
    assert line in parser().format_help()
    assert run(["localise", "--json", "--signs", line]) == 0
    first = json.loads(capsys.readouterr().out)["sites"][0]
    assert first["name"] == "left S1 root"
    assert first["probability"] > 0.5


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
    said = sentences(KEEPING.search(keys_page.GUIDE.read_text())[1])
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
    """But the one to the server of a ward that is kept on one."""
    there = ROOT / "wardexam" / "records" / "postgres"
    for path in (ROOT / "wardexam").rglob("*.py"):
        text = path.read_text()
        for module in (
            ()
            if there in path.parents
            else (
                "socket",
                "psycopg",
                "psycopg_pool",
                "urllib",
                "http",
                "ftplib",
                "smtplib",
                "requests",
                "httpx",
                "asyncio.streams",
            )
        ):
            assert not re.search(rf"^\s*(import|from) {module}\b", text, re.M), f"{path}: {module}"
