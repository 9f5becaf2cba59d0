"""The store goes away in the middle of an examination and comes back: keys go on, and the save is there once."""

import asyncio
import time
from contextlib import asynccontextmanager
from dataclasses import replace
from uuid import uuid4

import pytest

from tests.records.memory import MemoryWard
from tests.records.wrapped import Losing, Wrapped
from tests.terminal.admitting import presses
from tests.terminal.screens import demo_app, dump, status
from wardexam.records.outbox import Outbox
from wardexam.terminal import sending, store_calls
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.injury.screen import InjuryScreen
from wardexam.terminal.screens import ward as ward_screen
from wardexam.terminal.screens.text import TextScreen
from wardexam.terminal.screens.ward import WardScreen


@pytest.fixture(autouse=True)
def soon(monkeypatch):
    monkeypatch.setattr(store_calls, "EVERY", 0.02)
    monkeypatch.setattr(sending, "EVERY", 0.02)
    monkeypatch.setattr(ward_screen, "AGAIN_SECONDS", 0.05)


def over(folder, kind, losing, server=None):
    """The app over a wrapped ward, as a folder, in memory or at a server."""
    app = demo_app(folder)
    ward = app.ward
    if kind != "folder":
        ward = server or MemoryWard()
        for bed in app.ward.beds()[:3]:
            if not server or bed.patient_id not in {b.patient_id for b in server.beds()}:
                ward.admit(app.ward.patient(bed.patient_id), "x")
            for examination in app.ward.examinations(bed.patient_id):
                ward.save(examination, "x", bed.summary)
    app.session = replace(app.session, ward=Wrapped(ward, losing), new_id=lambda: uuid4().hex[:16])
    return app, ward


@pytest.fixture
def losing():
    return Losing()


KINDS = ("folder", "memory", "server")


def server_of(request, kind):
    """The ward at a server, where that is asked for."""
    return request.getfixturevalue("server_ward") if kind == "server" else None


@pytest.fixture(params=KINDS)
def app(request, tmp_path, losing):
    return over(tmp_path / "ward", request.param, losing, server_of(request, request.param))[0]


def inner(app):
    """The ward itself."""
    return app.ward.inner


async def until(pilot, told, seconds=8.0):
    end = time.monotonic() + seconds
    while not told() and time.monotonic() < end:
        await pilot.pause(0.01)
    return told()


def answers(examination):
    return [f.answer for f in examination.findings]


@asynccontextmanager
async def saving(app, losing):
    """The first patient graded once and saved, while the store is away."""
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1", "2")
        losing.away = True
        await pilot.press("s")
        assert await until(pilot, lambda: "Not saved yet" in status(app))
        yield pilot


@asynccontextmanager
async def admitting(app, losing):
    """A patient admitted while the store is away."""
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*presses("Z1", "Zo Invented", "77-1", "63 m", "headache")[:-1])
        losing.away = True
        await pilot.press("enter")
        assert await until(pilot, lambda: "Not admitted yet" in status(app))
        yield pilot


async def test_a_save_while_the_store_is_away_is_said_kept_and_sent_by_itself(app, losing):
    bed = inner(app).beds()[0]
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1", "2", "0")
        losing.away = True
        await pilot.press("s")
        assert await until(
            pilot, lambda: "Not saved yet: the ward's store cannot be reached" in status(app)
        )
        await pilot.press("question_mark", "q")
        assert "1 save waits for the ward's store" in status(app)
        await pilot.press("j")
        assert "1 save waits for the ward's store" in status(app)  # until it is there
        assert inner(app).beds()[0].examinations == bed.examinations
        losing.away = False
        assert await until(pilot, lambda: status(app).startswith("Saved."))
        assert isinstance(app.screen, TextScreen)
    assert inner(app).beds()[0].examinations == bed.examinations + 1
    assert answers(inner(app).examinations(bed.patient_id)[-1]) == ["2+", "0"]
    assert inner(app).drafts() == ()
    assert Outbox(inner(app).spool).names() == []


async def test_who_grades_on_while_the_store_is_away_has_not_saved_that(app, losing):
    who = inner(app).beds()[0].patient_id
    before = len(inner(app).examinations(who))
    async with saving(app, losing) as pilot:
        await pilot.press("0")
        losing.away = False
        assert await until(pilot, lambda: Outbox(inner(app).spool).names() == [])
        await pilot.pause(0.1)
        assert isinstance(app.screen, ExamineScreen)
        assert len(inner(app).examinations(who)) == before
        await pilot.press("s")
        assert await until(pilot, lambda: isinstance(app.screen, TextScreen))
    assert answers(inner(app).examinations(who)[-1]) == ["2+", "0"]


async def test_who_leaves_while_the_store_is_away_finds_it_saved(app, losing):
    who = inner(app).beds()[0].patient_id
    before = len(inner(app).examinations(who))
    async with saving(app, losing) as pilot:
        await pilot.press("q")
        assert isinstance(app.screen, WardScreen)
        assert await until(pilot, lambda: "cannot be reached" in status(app))
        assert any("A1" in line for line in dump(app)[2:6])  # the list stays as it was read
        await pilot.press("j")
        assert "cannot be reached" in status(app)
        await pilot.press("enter")
        assert await until(pilot, lambda: "cannot be reached" in status(app))
        assert isinstance(app.screen, WardScreen)
        losing.away = False
        assert await until(pilot, lambda: len(inner(app).examinations(who)) == before + 1)
        assert await until(pilot, lambda: "cannot be reached" not in status(app))
        assert await until(pilot, lambda: inner(app).drafts() == ())


async def test_a_save_left_by_a_session_that_ended_is_sent_by_the_next(tmp_path, losing):
    app, ward = over(tmp_path / "ward", "folder", losing)
    who = ward.beds()[0].patient_id
    before = len(ward.examinations(who))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1", "2")
        losing.away = True
        await pilot.press("s")
        assert await until(pilot, lambda: Outbox(ward.spool).names() != [])
        await pilot.press("q")
    assert len(ward.examinations(who)) == before
    again = demo_app(tmp_path / "ward", empty=True)
    async with again.run_test(size=(80, 24)) as pilot:
        assert await until(pilot, lambda: len(ward.examinations(who)) == before + 1)
        assert await until(pilot, lambda: "is saved" in status(again))
    assert (ward.drafts(), Outbox(ward.spool).names()) == ((), [])


async def test_a_sheet_saved_while_the_store_is_away_is_sent_by_itself(app, losing):
    who = inner(app).beds()[0].patient_id
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", "2")
        losing.away = True
        await pilot.press("s")
        assert await until(pilot, lambda: "Not saved yet" in status(app))
        assert isinstance(app.screen, InjuryScreen)
        losing.away = False
        assert await until(pilot, lambda: isinstance(app.screen, TextScreen))
    assert [s.revision for s in inner(app).file(who).sheets] == [1]


async def test_an_admission_while_the_store_is_away_follows_once(app, losing):
    count = len(inner(app).beds())
    async with admitting(app, losing) as pilot:
        losing.away = False
        assert await until(pilot, lambda: len(inner(app).beds()) == count + 1)
        await pilot.pause(0.1)
    assert [b.bed for b in inner(app).beds()].count("Z1") == 1


async def test_who_quits_while_a_change_is_still_to_come_is_asked_once(app, losing):
    count = len(inner(app).beds())
    async with admitting(app, losing) as pilot:
        await pilot.press("q")
        assert app.is_running
        assert status(app).startswith("1 change is not kept yet:")
        assert "q again leaves without it" in status(app)
        await pilot.press("j", "q")  # something else was done: asked anew
        assert app.is_running
        await pilot.press("q")
        assert await until(pilot, lambda: not app.is_running)
    assert len(inner(app).beds()) == count


async def test_who_quits_once_all_that_was_to_come_has_come_is_not_asked(app, losing):
    count = len(inner(app).beds())
    async with admitting(app, losing) as pilot:
        losing.away = False
        assert await until(pilot, lambda: "Admitted" in status(app))
        await pilot.press("q")
        assert await until(pilot, lambda: not app.is_running)
    assert len(inner(app).beds()) == count + 1


async def test_a_window_too_small_says_that_a_change_is_still_to_come(app, losing):
    async with admitting(app, losing) as pilot:
        await pilot.resize_terminal(70, 20)
        await pilot.press("q")
        assert app.is_running
        assert "1 change is not kept yet" in dump(app)[0]
        assert "Everything is kept" not in dump(app)[0]


async def test_a_list_that_cannot_be_read_at_the_start_is_read_once_it_can(app, losing):
    losing.away = True
    async with app.run_test(size=(80, 24)) as pilot:
        assert await until(pilot, lambda: "cannot be reached" in status(app))
        assert "The ward is empty" not in "\n".join(dump(app))
        losing.away = False
        assert await until(pilot, lambda: any("A1" in line for line in dump(app)[2:6]))
        await pilot.press("enter")
        assert await until(pilot, lambda: isinstance(app.screen, ExamineScreen))


async def walk(app, pilot, losing):
    """An examination of the first patient, saved and left: each key again where it was told that it could not be."""
    assert await until(pilot, lambda: app.screen.ready and any("A1" in t for t in dump(app)[2:6]))

    async def pressed(key, came):
        for _ in range(6):
            if came():
                return
            said = status(app)
            await pilot.press(key)
            await until(
                pilot,
                lambda said=said: came() or "Not saved yet" in status(app) or status(app) != said,
                1.0,
            )
            await until(pilot, came, 0.3)
        raise AssertionError(dump(app))

    await pressed("enter", lambda: isinstance(app.screen, ExamineScreen))
    await pilot.press("m", "1", "2", "0")
    await pilot.press("s")

    def away():
        return not isinstance(app.screen, ExamineScreen)

    await until(pilot, lambda: away() or "Not saved yet" in status(app))
    assert await until(pilot, away)
    await pressed("q", lambda: isinstance(app.screen, WardScreen))
    assert await until(pilot, lambda: not app.sending.words)
    assert await until(pilot, lambda: not app.calls.busy)


QUICK = (("folder", "before"), ("server", "after"))  # the others are long: some 8 s each


async def calls_of(tmp_path, kind, server, of_each):
    """The calls that the walk makes where nothing is lost, each by its name and which of that name it is: so many of each."""
    losing = Losing()
    app, _ = over(tmp_path / "first", kind, losing, server)
    async with app.run_test(size=(80, 24)) as pilot:
        await walk(app, pilot, losing)
    return [
        (name, n)
        for name in dict.fromkeys(losing.made)
        for n in range(min(of_each, losing.made.count(name)))
    ]


@pytest.mark.long
@pytest.mark.parametrize(
    ("kind", "how", "of_each"),
    [
        *((kind, how, 1) for kind, how in QUICK),
        *(
            pytest.param(kind, how, 2, marks=pytest.mark.long)
            for kind in KINDS
            for how in ("before", "after")
        ),
    ],
)
async def test_lost_at_each_call_in_turn_an_examination_is_there_once(
    request, tmp_path, kind, how, of_each
):
    lost, server = set(), server_of(request, kind)
    for number, at in enumerate(await calls_of(tmp_path, kind, server, of_each)):
        losing = Losing(at, how, lasting=1 + number % 3)
        app, ward = over(tmp_path / f"ward{number}", kind, losing, server)
        who = ward.beds()[0].patient_id
        before = [e.id for e in ward.examinations(who)]
        others = {d.draft_id for d in ward.drafts()}  # at a server, those of the walks before
        async with app.run_test(size=(80, 24)) as pilot:
            await walk(app, pilot, losing)
        lost |= {*losing.lost}
        after = ward.examinations(who)
        assert [e.id for e in after[:-1]] == before, (at, losing.lost)
        assert answers(after[-1]) == ["2+", "0"], (at, losing.lost)
        assert len(ward.revisions(who, after[-1].id)) == 1, (at, losing.lost)
        # A draft is left only where the store was lost as it was begun, resumed or taken away.
        for draft in (d for d in ward.drafts() if d.draft_id not in others):
            touched = {"start_draft", "drop_draft", "resume_draft"} & {*losing.lost}
            assert touched, (at, losing.lost, draft)
            if not draft.held:
                ward.set_aside(draft.draft_id, "x")
        await asyncio.sleep(0)
    assert {
        "watch",
        "beds",
        "opened",
        "start_draft",
        "file",
        "save",
        "drop_draft",
        "record",
    } <= lost
