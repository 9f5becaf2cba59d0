"""What the README shows, made by the program itself: `python -m tests.shown` makes it anew.

Two pictures and the screen as text come from the app on the invented ward; the session is the real command in a
terminal, a frame after each step, with a time of its own for each so that the same steps give the same file.
"""

import asyncio
import json
import re
import tempfile
import time
from pathlib import Path
from unittest import mock

from tests.terminal import pictures
from tests.terminal.pty.harness import Session, environ, running, wardexam
from tests.terminal.screens import at_rest, demo_app, dump, settled
from wardexam.terminal.examine.screen import ExamineScreen

ROOT = Path(__file__).parents[1]
README, FOLDER = ROOT / "README.md", ROOT / ".github"
PLACE = re.compile(r"(?<=<!-- screen -->\n```text\n).*?(?=\n```)", re.S)
EXAMINED = ["j", "j", "enter", "m", "1", *"2222222220"]
# By the file's name: columns and lines, the keys, and the title for who cannot see it.
PICTURES = {
    "ward.svg": (
        (80, 24),
        ["O"],
        "The ward list by urgency: of each bed how urgent, why, and by when the next step is due",
    ),
    "examination.svg": (
        (120, 40),
        EXAMINED,
        "An examination: the grid of signs, the likely sites beside it, the findings on a body",
    ),
}
SESSION = "session.cast"
# What is typed, what then stands on the screen, and what it is.
STEPS = (
    ("", "12 patients", "The ward"),
    ("O", "by urgency", "The most urgent first"),
    ("OOO", "by bed", "By bed again"),
    ("jj", ">A3", "Down to bed A3"),
    ("\r", "Rules nothing out", "Examine: the last examination's grades stand beside"),
    ("m1", "core", "The core set"),
    ("2", "Next (t)", "A grade, and the cursor moves on"),
    ("22222222", "Rests on", "Eight more"),
    ("0", "Sides differ", "The left ankle jerk is absent"),
    ("t", ">bladder", "To the sign that would change most what is done"),
    ("0", "no disturbance", "Asked, and as usual"),
    ("s", "NEUROLOGICAL", "Save: the note for the chart"),
    ("q", "12 patients", "Back on the ward"),
    ("H", "HANDOVER", "The handover sheet"),
    ("q", "12 patients", "Back"),
)
EACH = 2.0  # seconds that a frame stays
LONGEST = 55.0  # seconds after which the clock on the screen has moved on


async def _shown(
    folder: Path, size: tuple[int, int], keys: list[str], title: str
) -> tuple[str, str]:
    app = demo_app(folder, colours=0)
    async with app.run_test(size=size) as pilot:
        await pilot.press(*keys)
        if isinstance(app.screen, ExamineScreen):
            await settled(pilot)
        await pilot.pause()
        return "\n".join(dump(app)), pictures.one(app, title)


async def capture(folder: Path) -> str:
    """The screen of the README, as text."""
    return (await _shown(folder, (80, 24), EXAMINED, ""))[0]


async def picture(name: str, folder: Path) -> str:
    """One of the pictures."""
    return (await _shown(folder, *PICTURES[name]))[1]


def _frame(session: Session) -> str:
    """The whole screen: its text with what is bold, underlined or reversed."""
    rows = []
    for y in range(session.screen.lines):
        row, before = "", (False, False, False)
        for x in range(session.screen.columns):
            cell = session.screen.buffer[y][x]
            now = (cell.bold, cell.underscore, cell.reverse)
            if now != before:
                row += (
                    "\x1b[0"
                    + "".join(f";{n}" for n, on in zip((1, 4, 7), now, strict=True) if on)
                    + "m"
                )
                before = now
            row += cell.data
        rows.append((row + "\x1b[0m" if any(before) else row).rstrip())
    return "\x1b[H\x1b[2J" + "\r\n".join(rows)


def session(home: Path) -> tuple[str, float]:
    """The recorded session as an asciicast (version 2), and how many seconds it took."""
    head = {"version": 2, "width": 80, "height": 24, "title": "wardexam on an invented ward", "env": {"TERM": "xterm"}}  # fmt: skip
    rows: list[object] = [head]
    begun = time.monotonic()
    env = environ(home, NO_COLOR="1", WARDEXAM_ASCII="on", TZ="UTC")
    with running(wardexam("demo"), env) as terminal:
        for number, (keys, then, what) in enumerate(STEPS):
            at = number * EACH
            for key in keys:
                terminal.type(key)
                rows.append([at, "i", key])
            terminal.wait(then)
            terminal.quiet(0.6)
            rows += [[at, "m", what], [at, "o", _frame(terminal)]]
        terminal.send("q")
        terminal.ended()
    return "".join(json.dumps(row) + "\n" for row in rows), time.monotonic() - begun


async def _make(place: Path) -> None:
    for number, name in enumerate(PICTURES):
        (FOLDER / name).write_text(await picture(name, place / str(number)))
    shown = await capture(place / "capture")
    README.write_text(PLACE.sub(lambda _: shown, README.read_text()))


if __name__ == "__main__":
    with (
        tempfile.TemporaryDirectory() as made,
        mock.patch("os.getloadavg", return_value=(0.0, 0.0, 0.0)),
        mock.patch("textual.app.wait_for_idle", at_rest),
        mock.patch("textual.pilot.wait_for_idle", at_rest),
    ):
        (FOLDER / SESSION).write_text(session(Path(made))[0])
        asyncio.run(_make(Path(made)))
