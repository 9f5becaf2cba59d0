"""Why now: every reason with its deadline, what is written about it, from the examination and from the list."""

import itertools
from dataclasses import replace
from datetime import timedelta

import pytest

from tests.terminal.screens import NOW, dump, one_patient
from wardexam.exam.moments import clock
from wardexam.note.limits import level_of
from wardexam.note.reasons import by_deadline
from wardexam.reasoning.rules.reason import Reason, Urgency
from wardexam.saved import Saved
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.screens.reasons import ReasonsScreen
from wardexam.terminal.screens.ward import WardScreen

WHO = "patient1"
# Leg weakness on both sides with pain in the back, bladder and saddle: several reasons at once.
ENTERED = ["enter", "2", "slash", *"hip flexion", "enter", "3", "3", "slash", *"bladder or", "enter", "1",
           "slash", *"saddle numb", "enter", "1"]  # fmt: skip


@pytest.fixture
def app(tmp_path):
    return one_patient(tmp_path / "ward")


def text(app) -> str:
    return " ".join(" ".join(dump(app)).split())


def detail(app, label: str) -> str:
    """What stands beside a label of the chosen reason, its further lines joined."""
    lines = dump(app)
    at = next(n for n, line in enumerate(lines) if line.startswith(f"{label:<10} "))
    more = itertools.takewhile(lambda line: line.startswith(" " * 11), lines[at + 1 :])
    return " ".join([lines[at][11:], *(line.strip() for line in more)])


def chosen(app) -> str:
    return next(line for line in dump(app) if line.startswith(">"))


async def test_every_reason_is_there_what_is_said_first_leading(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*ENTERED, "exclamation_mark")
        assert isinstance(app.screen, ReasonsScreen)
        reasons = app.screen.reasons
        assert len(reasons) >= 3
        due = [(-r.urgency, r.due) for r in reasons[1:] if r.due]
        assert due == sorted(due)
        for number, reason in enumerate(reasons[:9], 1):  # beyond the digits arrows choose
            await pilot.press(str(number))
            assert chosen(app).startswith(f">{number} {level_of(reason, NOW).upper()} ")
            assert detail(app, "Call") == reason.call
            assert detail(app, "Source") == reason.source
            assert detail(app, "From") == reason.origin
            assert detail(app, "By").endswith(f"raised 14:00, due {clock(reason.due, NOW)}")
            assert detail(app, "Done") == "nothing done yet"


async def test_the_count_stands_beside_the_headline_and_the_key_with_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*(("4" if key == "3" else key) for key in ENTERED))  # the saddle leads
        more = len(app.screen.reader.urgency.reasons) - 1
        assert dump(app)[1].endswith(f"+{more}, one due 15:00 !")


async def test_a_digit_chooses_and_one_without_a_reason_says_so(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*ENTERED, "exclamation_mark", "2")
        assert chosen(app).startswith(">2 ")
        await pilot.press("0")
        assert dump(app)[-2].startswith("No reason has the number 0.")
        await pilot.press("up")
        assert chosen(app).startswith(">1 ")


@pytest.mark.parametrize(
    ("keys", "kind", "what"),
    [
        (["enter", "1", "enter"], "called", None),
        (["enter", "1", *"Dr Ash", "enter"], "called", "Dr Ash"),
        (["enter", "2", "enter"], "asked", None),
        (["enter", "3", *"no compression", "enter"], "done", "no compression"),
        (["enter", "4", *"seen by neurology", "enter"], "not_needed", "seen by neurology"),
    ],
)
async def test_what_was_done_is_written_with_who_and_when(app, keys, kind, what):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*ENTERED, "exclamation_mark")
        reason = app.screen.reasons[0]
        await pilot.press(*keys)
        usual = {"called": reason.call, "asked": reason.image}
        assert isinstance(app.screen, ReasonsScreen)
        assert dump(app)[-2].startswith("Written: ")
        assert "4 Mar 14:00 by Dr Test" in detail(app, "Done")
        await pilot.press("q")
        (act,) = app.screen.visit.examination.acts
        assert (act.rule, act.kind, act.what) == (reason.rule, kind, what or usual[kind])
        assert (act.by, act.at) == ("Dr Test", NOW)
        await pilot.press("u")
        assert app.screen.visit.examination.acts == ()


async def test_one_call_about_several_reasons_is_written_once_about_all_that_are_marked(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*ENTERED, "exclamation_mark")
        first, second, third = app.screen.reasons[:3]
        await pilot.press("space", "3", "space")
        assert chosen(app).startswith(">3+")
        assert dump(app)[-2].startswith("2 marked: what you write is about all of them.")
        await pilot.press("enter", "1", *"Dr Ash", "enter")
        assert dump(app)[-2].startswith("Written, about 2 reasons: Dr Ash called 4 Mar 14:00")
        await pilot.press("q")
        acts = app.screen.visit.examination.acts
        assert [(a.rule, a.what) for a in acts] == [(first.rule, "Dr Ash"), (third.rule, "Dr Ash")]
        assert second.rule not in {a.rule for a in acts}
        await pilot.press("u")
        assert app.screen.visit.examination.acts == ()


@pytest.mark.parametrize(
    "keys",
    [["enter", "3", "enter"], ["enter", "4", "enter"], ["enter", "1", "escape"], ["enter", "q"]],
)
async def test_nothing_is_written_without_words_or_where_it_is_left(app, keys):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*ENTERED, "exclamation_mark", *keys)
        said = " ".join(dump(app)[-3:])
        assert any(
            word in said for word in ("Not written: ", "Left as it was", "Nothing was written")
        )
        await pilot.press("escape")
        if isinstance(app.screen, ReasonsScreen):
            await pilot.press("q")
        assert app.screen.visit.examination.acts == ()


async def test_only_where_the_row_allows_it_is_a_reason_brought_down(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*ENTERED, "slash", *"cold limb", "enter", "1", "exclamation_mark")
        reasons = app.screen.reasons
        stays = next(n for n, r in enumerate(reasons, 1) if not r.lowers)
        falls = next(n for n, r in enumerate(reasons, 1) if r.lowers)
        await pilot.press(str(stays), "enter", "5")
        assert dump(app)[-2].startswith("Nothing brings this one down: its level stays.")
        assert detail(app, "Lowered by") == "nothing: its level stays"
        await pilot.press(str(falls), "enter", "5", *"found normal", "enter")
        assert dump(app)[-2].startswith(
            "Written: brought down 4 Mar 14:00 by Dr Test: found normal."
        )
        assert "brought down: " in chosen(app)
        lowered = [r for r in app.screen.reasons if r.lowered]
        assert [r.urgency for r in lowered] == [1]


async def test_a_limit_that_is_passed_is_unmistakable(app):
    times = [NOW]
    app.session = replace(app.session, now=lambda: times[0])
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*ENTERED)
        times[0] = NOW + timedelta(hours=9)
        await pilot.press("exclamation_mark")
        assert "OVERDUE" in chosen(app)
        assert "was due" in detail(app, "By")
        await pilot.press("q", "space")
        assert any("OVERDUE" in line for line in dump(app))


async def test_from_the_list_it_speaks_of_the_saved_examination_and_writes_into_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*ENTERED, "s", "q")
        assert isinstance(app.screen, WardScreen)
        await pilot.press("exclamation_mark")
        assert isinstance(app.screen, ReasonsScreen)
        reason = app.screen.reasons[0]
        assert dump(app)[0].startswith("Why now  bed A3  Ana Invented no. 40-1  ")
        await pilot.press("enter", "1", *"Dr Ash", "enter")
        assert detail(app, "Done") == "Dr Ash called 4 Mar 14:00 by Dr Test"
        await pilot.press("enter", "2", "enter", "q")
        saved = Saved(app.session, WHO).last
        assert [(a.rule, a.kind) for a in saved.acts] == [
            (reason.rule, "called"),
            (reason.rule, "asked"),
        ]
        assert saved.revision == 3
        await pilot.press("exclamation_mark")
        assert "Dr Ash called 4 Mar 14:00 by Dr Test" in text(app)


async def test_from_the_list_a_patient_without_an_examination_has_none(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("exclamation_mark")
        assert isinstance(app.screen, WardScreen)
        assert "no examination is saved yet" in dump(app)[-2]


async def test_where_nothing_fires_it_says_what_is_not_asked_and_writes_nothing(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "exclamation_mark")
        assert text(app).startswith(
            "Why now bed A3 Ana Invented no. 40-1 0 reasons, 37 flags not asked"
        )
        assert "Not assessed, 37 not asked." in text(app)
        assert "Signs alone do not exclude an emergency" in text(app)
        await pilot.press("enter")
        assert dump(app)[-2].startswith("No reason stands to write about.")
        await pilot.press("q")
        assert isinstance(app.screen, ExamineScreen)


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_no_word_of_a_reason_is_cut(app, size):
    async with app.run_test(size=size) as pilot:
        await pilot.press(*ENTERED, "exclamation_mark")
        for reason in app.screen.reasons:
            shown = text(app)
            assert reason.said in shown
            for words in (reason.first, reason.image, reason.call, reason.lowers, reason.source):
                assert words == "none first" or words in shown
            assert all(len(line) < size[0] for line in dump(app)[2:-2])
            await pilot.press("down")


def test_what_is_said_first_leads_then_of_each_level_the_soonest_and_those_whose_clock_has_ended_last():
    def reason(rule, level, hours):
        return Reason(rule, level, "", "", "", "", due=hours and NOW + timedelta(hours=hours))

    said_first, later, sooner = (reason(*row) for row in (("a", 3, 4), ("b", 3, 24), ("c", 3, 1)))
    today = reason("d", 2, 0.5)
    ended = [reason(name, 3, None) for name in "ef"]
    urgency = Urgency(3, "now", (said_first, ended[0], later, sooner, ended[1], today), (), (), "")
    assert by_deadline(urgency) == (said_first, sooner, later, today, *ended)
