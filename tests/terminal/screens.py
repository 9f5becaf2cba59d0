"""The app on a ward of its own, driven in process, and its screen as text."""

import asyncio
import shutil
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from textual._context import active_app

from wardexam.exam.examination import Patient
from wardexam.reasoning.rules.wording import Wording
from wardexam.records.ward import open_ward
from wardexam.session import Session
from wardexam.terminal.app import WardApp
from wardexam.terminal.canvas import Canvas
from wardexam.terminal.environment import Terminal

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)
LETTERS = "abcdefghijklmnopqrstuvwxyz"


def demo_app(
    folder: Path,
    *,
    empty: bool = False,
    ascii_only: bool = True,
    colours: int = 0,
    wording: Wording | None = None,
    clock: Callable[[], datetime] = lambda: NOW,
    **options: Any,
) -> WardApp:
    """The app on a copy of the demo ward, or on an empty one."""
    if not empty:
        shutil.copytree(ROOT / "demo_db" / "ward", folder)
        folder.chmod(0o700)
    names = iter(f"{letter}{number:07}" for number in range(1000) for letter in LETTERS)
    session = Session(open_ward(folder), "Dr Test", clock, lambda: next(names), wording or {})
    return WardApp(
        session, terminal=Terminal(term="xterm", colours=colours, ascii=ascii_only), **options,
    )  # fmt: skip


def one_patient(folder: Path) -> WardApp:
    """The app on a ward in which one patient lies, never examined."""
    app = demo_app(folder, empty=True)
    app.ward.admit(
        Patient(id="patient1", bed="A3", name="Ana Invented", number="40-1", age=50, admitted=NOW),
        "test",
    )
    return app


def dump(app: WardApp) -> list[str]:
    """What a person sees, line by line."""
    width, height = app.size
    rows = [[" "] * width for _ in range(height)]
    for canvas in app.screen.query(Canvas):
        place = canvas.region
        for y, line in enumerate(canvas.text()[: place.height]):
            for x, character in enumerate(line[: place.width]):
                if place.y + y < height and place.x + x < width:  # not, while it is laid out anew
                    rows[place.y + y][place.x + x] = character
    return ["".join(row).rstrip() for row in rows]


def status(app: WardApp) -> str:
    """The status line; where what is said takes several lines, all of them in one."""
    drawn = app.screen.query("#status")
    if getattr(app.screen, "asking", True) or not drawn:  # not, while it is opened
        return dump(app)[-2]
    lines = len(drawn.first(Canvas).text())
    return " ".join(dump(app)[-1 - lines : -1])


def found(app: WardApp) -> dict[tuple[str, str], str | None]:
    """The answer of every finding of the examination that is open."""
    return {f.key: f.answer for f in app.screen.state.examination.findings}


class STORE:
    """Whether the store hangs on purpose, so that nobody waits for its answer."""

    hangs = False


TURNS = 5  # turns of the event loop without anything to do, after which it is at rest
LONGEST = 30.0  # seconds that this may take on a busy machine


async def at_rest(*_: float) -> None:
    """Wait until the app has done all that the last key brought, with what it asked of the store, but for other threads and timers.

    It stands for Textual's `wait_for_idle`, which sleeps by the clock until the process uses little time:
    40 ms for every key, a second for each while a thread computes, and too short where the machine is busy.
    """
    app, turns = active_app.get(), asyncio.get_running_loop()
    end = time.monotonic() + LONGEST
    for _ in range(2):  # what the screen's refresh brings is waited for as well
        still = 0
        while still < TURNS:
            running = isinstance(app, WardApp) and app.is_running
            store = running and app.calls.busy and not STORE.hangs
            await asyncio.sleep(0.001 if store else 0)
            still = 0 if turns._ready or store else still + 1
            assert time.monotonic() < end, "the app never comes to rest"
        if app.screen_stack:
            app.screen._on_timer_update()


async def settled(pilot) -> None:
    """Wait until the reading for what was typed last has come, and every key is said to be kept."""
    screen = pilot.app.screen
    for _ in range(600):
        await pilot.pause(0.05)
        kept = screen.shown_kept == screen.visit.draft.sent
        reader = screen.reader
        if kept and reader.reading is not None and reader.current and reader.ordered:
            await pilot.pause()
            return
    raise AssertionError("no reading came")


async def sheet_kept(pilot) -> None:
    """Wait until every key of a cord injury sheet is on disk, and said to be."""
    screen = pilot.app.screen
    for _ in range(600):
        await pilot.pause(0.01)
        if screen.shown_kept == screen.visit.draft.sent:
            await pilot.pause()
            return
    raise AssertionError("never kept")


def urgent(app) -> str:
    """All that an examination says of its urgency: the line above the grid, then what the panel says beside it."""
    panel = [line.strip() for line in app.screen.canvas("panel").text()]
    where = next((n for n, line in enumerate(panel) if line.startswith("Where")), len(panel))
    return " ".join(" ".join([dump(app)[1], *panel[:where]]).split())
