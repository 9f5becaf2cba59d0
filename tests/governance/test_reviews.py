"""Who owns each rule file and the hospital's wording, and the one line that says that a review is due."""

import io
import tomllib
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

import wardexam
from tests.terminal.screens import NOW, demo_app, dump
from wardexam.commands import edge
from wardexam.commands.main import run
from wardexam.errors import TableError
from wardexam.governance.reviews import due, due_line, owner_in, reviews, rule_files
from wardexam.plain.conversation import converse
from wardexam.reasoning.rules.owners import RULE_FILES, Owned
from wardexam.reasoning.rules.wording import read_wording
from wardexam.records.paths import copy_demo
from wardexam.records.ward import open_ward
from wardexam.session import Session

PACKAGE = Path(wardexam.__file__).parent
OWN = '[review]\nowner = "Dr A. Lead, neurology"\nreviewed = 2026-03-01\ndue = 2026-09-01\n'
URGENCY = OWN.replace("[review]", "[review.urgency]")
TODAY = date(2026, 9, 1)


def test_every_rule_file_says_who_owns_it_and_when_it_is_due():
    there = {p.relative_to(PACKAGE).as_posix() for p in PACKAGE.rglob("*.toml")}
    of_rules = {p for p in there if "rules" in p.split("/") or p.endswith("/rules.toml")}
    assert of_rules == set(RULE_FILES.values())
    for name, path in RULE_FILES.items():
        row = tomllib.loads((PACKAGE / path).read_text(encoding="utf-8"))["review"]
        assert (
            row["owner"] == "not yet named"
        )  # honest: no clinical owner is named with the delivery
        assert rule_files()[name] == Owned("", row["reviewed"], row["due"])
        assert row["due"] - row["reviewed"] <= timedelta(days=366)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[stroke]\nx = 1\n", "no table 'review'"),
        ('[review]\nowner = "x"\nreviewed = 2026-01-01\n', "'due' is missing"),
        ('[review]\nowner = ""\nreviewed = 2026-01-01\ndue = 2027-01-01\n', "'owner' is a text"),
        ('[review]\nowner = "x"\nreviewed = "soon"\ndue = 2027-01-01\n', "'reviewed' is a day"),
        (
            '[review]\nowner = "x"\nreviewed = 2027-01-01\ndue = 2027-01-01\n',
            "'due' is later than 'reviewed'",
        ),
        ("[review]\nowner = \n", "Invalid value"),
    ],
)
def test_a_rule_file_without_an_owner_is_a_fault_at_load(text, said):
    with pytest.raises(TableError) as refused:
        owner_in(text, "rules/x.toml")
    assert said in str(refused.value)
    assert "rules/x.toml" in str(refused.value)


def test_the_hospital_names_the_owner_of_its_words_and_of_a_rule_file():
    assert "wording" not in reviews({})
    assert reviews(read_wording('[stroke]\ncall = "x"\n'))["wording"] == Owned()
    assert Owned().words(TODAY) == "no named owner; never reviewed; no review is planned"
    made = reviews(read_wording(OWN + URGENCY))
    assert made["wording"].owner == made["urgency"].owner == "Dr A. Lead, neurology"
    assert made["limits"].owner == ""
    assert (
        made["wording"].words(TODAY)
        == "Dr A. Lead, neurology; reviewed 1 Mar 2026; REVIEW DUE SINCE 1 Sep 2026"
    )
    assert reviews(read_wording(URGENCY))["wording"] == Owned()


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        (OWN.replace("due = 2026-09-01\n", ""), 1, "'due' is missing"),
        (OWN.replace("2026-09-01", '"soon"'), 4, "'due' is a day"),
        (OWN + "urgency = 3\n", 5, "'urgency' cannot be given"),
        (OWN.replace("[review]", "[review.strokes]"), 1, "no rule file is called 'strokes'"),
        ("review = 3\n", 1, "'review' is a table"),
        ('[stroke]\ncall = "x"\n\n' + OWN.replace('"Dr A. Lead, neurology"', "3"), 5, "'owner' is a text"),
    ],
)  # fmt: skip
def test_a_review_table_of_the_hospital_is_refused_with_line_and_reason(text, line, said):
    with pytest.raises(TableError) as refused:
        read_wording(text, where="words.toml")
    assert f"words.toml, line {line}: " in str(refused.value)
    assert said in str(refused.value)
    assert "the built-in wording stays" in str(refused.value)


def test_it_is_due_from_its_day_on_by_the_clock_that_is_given():
    wording = read_wording(OWN)
    assert due_line(wording, TODAY - timedelta(days=1)) == ""
    assert (
        due_line(wording, TODAY)
        == "Rules: review due since 1 Sep 2026: wording ('wardexam hazards')."
    )
    late = due(wording, date(2030, 1, 1))
    assert list(late) == ["wording", *sorted(RULE_FILES)]
    assert due_line(wording, date(2030, 1, 1)).startswith("Rules: review due since 1 Sep 2026: ")
    assert len(due_line(wording, date(2030, 1, 1))) <= 79


async def test_the_ward_list_says_once_that_a_review_is_due(tmp_path):
    app = demo_app(
        tmp_path / "ward", wording=read_wording(OWN), clock=lambda: NOW.replace(year=2027)
    )
    said = due_line(read_wording(OWN), NOW.replace(year=2027).date())
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert dump(app)[-2] == said
        await pilot.press("j")  # it stays on the list
        assert dump(app)[-2] == said
        for keys, back in (
            (["enter"], "q"),
            (["n"], "q"),
            (["exclamation_mark"], "q"),
            (["V"], "q"),
        ):
            await pilot.press(*keys)
            await pilot.pause()
            assert not [line for line in dump(app) if "review due" in line], keys
            await pilot.press(back)
    app = demo_app(tmp_path / "other", wording=read_wording(OWN))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "by bed" in dump(app)[0]
        assert not [line for line in dump(app) if "review due" in line]


def test_check_and_hazards_say_so_by_the_clock_of_the_edge(tmp_path, capsys, monkeypatch):
    words = tmp_path / "words.toml"
    words.write_text(OWN)
    monkeypatch.setenv("WARDEXAM_WORDING", str(words))
    ward = copy_demo(tmp_path / "ward")
    for day, late in ((datetime(2026, 8, 31, 12, tzinfo=UTC), False), (datetime(2026, 9, 1, 12, tzinfo=UTC), True)):  # fmt: skip
        monkeypatch.setattr(edge, "now", lambda day=day: day)
        assert run(["check", "--db", str(ward)]) == 0
        assert ("review due since 1 Sep 2026: wording" in capsys.readouterr().out) == late
        assert run(["hazards"]) == 0
        assert ("REVIEW DUE SINCE 1 Sep 2026" in " ".join(capsys.readouterr().out.split())) == late


@pytest.mark.long
def test_no_note_speaks_of_a_review(tmp_path, capsys, monkeypatch):
    words = tmp_path / "words.toml"
    words.write_text(OWN)
    monkeypatch.setenv("WARDEXAM_WORDING", str(words))
    monkeypatch.setattr(edge, "now", lambda: datetime(2031, 1, 1, tzinfo=UTC))
    ward = copy_demo(tmp_path / "ward")
    for command in (["note", "A2"], ["referral", "A2"], ["handover"]):
        assert run([*command, "--db", str(ward)]) == 0
        said = capsys.readouterr()
        assert "eview due" not in said.out + said.err


def test_on_plain_lines_it_is_said_at_the_start(tmp_path):
    ward = open_ward(tmp_path / "ward")
    for year, late in ((2026, False), (2027, True)):
        out = io.StringIO()
        session = Session(
            ward, "x", lambda year=year: NOW.replace(year=year), str, read_wording(OWN)
        )
        converse(session, read=io.StringIO(""), write=out)
        assert ("review due since 1 Sep 2026" in " ".join(out.getvalue().split())) == late
