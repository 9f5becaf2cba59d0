"""Runs a real command in a pseudo-terminal and shows what a person would see there.

Nothing here sleeps for a fixed time to let something happen: one waits for a condition, for long
enough that a busy machine does not matter.
"""

import contextlib
import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

import pyte

from wardexam.exam.flags import flags

ROOT = Path(__file__).resolve().parents[3]
OPEN_NEW = "\r "  # opens a first examination and passes over when it began
APART = 0.05  # seconds between keys that are no burst
LATE, MANY = 10.0, 20  # seconds that a number may take to show behind so many keys
LONG = 30.0  # seconds that a condition may take on a busy machine
DETAILS = ("B7", "Mo Invented", "40-1", "52 f", "")  # of the patient whom most admit
ADMITTING = "A" + "".join(
    f"{word}\r" for word in DETAILS
)  # every key written out, so that they are counted
# Questions and modes that the emulator prints instead of ignoring.
_UNKNOWN = re.compile(
    rb"\x1b\[[?<>=][0-9;]*(?:\$p|u)|\x1b\[<u|\x1b\]22;[^\x1b\x07]*(?:\x1b\\|\x07)"
)


class Screen(pyte.Screen):
    """The emulator, deaf to what it does not know."""

    def report_device_status(self, *_: object, **__: object) -> None:
        """Answer nothing."""

    def report_device_attributes(self, *_: object, **__: object) -> None:
        """Answer nothing."""


class Session:
    """One program in one pseudo-terminal.

    Args:
        command: Program and arguments.
        environ: The whole environment.
        size: Columns and lines.
        ignore: Signals that the program inherits as ignored.

    Attributes:
        raw: Every byte that came from the program.

    """

    def __init__(
        self,
        command: Sequence[str],
        environ: Mapping[str, str],
        size: tuple[int, int] = (80, 24),
        ignore: Sequence[signal.Signals] = (),
    ) -> None:
        self.raw, self.home = bytearray(), Path(environ["HOME"])
        self.screen = Screen(*size)
        self._stream = pyte.ByteStream(self.screen)
        self._lines: list[str] = []
        self._fed = 0
        self._entered = 0.0  # when an Enter was sent, if it was the last that was sent
        self._drawn = 0.0  # when something was drawn last
        self._master, slave = pty.openpty()
        self._set_size(size)
        self.modes_before = termios.tcgetattr(slave)
        self._slave: int | None = slave

        def take_terminal() -> None:
            signal.signal(signal.SIGINT, signal.SIG_DFL)  # a run in the background ignores it
            for number in ignore:
                signal.signal(number, signal.SIG_IGN)
            fcntl.ioctl(0, termios.TIOCSCTTY, 0)

        self.process = subprocess.Popen(
            command,
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env=dict(environ),
            cwd=ROOT,
            start_new_session=True,
            preexec_fn=take_terminal,
        )

    # -- what is on disk

    @property
    def changes(self) -> int:
        """How many changes of the doctor the drafts below the home hold on disk."""
        rows = [
            row for file in self.home.rglob("*.draft") for row in file.read_bytes().splitlines()[1:]
        ]
        return sum(b'"what": "raised"' not in row for row in rows)

    # -- what is seen

    @property
    def lines(self) -> list[str]:
        """The screen's lines, without trailing blanks; put together only where something was drawn since."""
        if self.screen.dirty:
            self._lines = [line.rstrip() for line in self.screen.display]
            self.screen.dirty.clear()
        return list(self._lines)

    @property
    def text(self) -> str:
        """The whole screen."""
        return "\n".join(self.lines)

    def reversed_cells(self) -> list[tuple[int, int, str]]:
        """Line, column and character of each cell drawn in reverse video."""
        return [
            (y, x, cell.data)
            for y in range(self.screen.lines)
            for x, cell in sorted(self.screen.buffer[y].items())
            if cell.reverse
        ]

    # -- what is done

    def pump(self, timeout: float = 0.0) -> bytes:
        """Read what has come, waiting at most `timeout` seconds for the first byte."""
        new = b""
        while self._master >= 0 and select.select([self._master], [], [], timeout)[0]:
            try:
                piece = os.read(self._master, 65536)
            except OSError:
                break
            if not piece:
                break
            new += piece
            timeout = 0.0
        self.raw += new
        if new:
            self._drawn = time.monotonic()
        # A sequence cut in two stays for the next time.
        end = len(self.raw)
        escape = self.raw.rfind(b"\x1b", self._fed)
        if (
            escape >= 0
            and end - escape < 24
            and not re.search(rb"\x1b(?:\[[0-?]*[ -/]*[@-~]|[^\[\]P])", self.raw[escape:])
        ):
            end = escape
        self._stream.feed(_UNKNOWN.sub(b"", bytes(self.raw[self._fed : end])))
        self._fed = end
        return new

    def wait(self, wanted: str | Callable[["Session"], object], timeout: float = LONG) -> None:
        """Wait until the screen shows a text, or until a condition on the session holds."""
        end = time.monotonic() + timeout
        while True:
            self.pump(0.02)
            if (wanted in self.text) if isinstance(wanted, str) else wanted(self):
                return
            gone = self.process.poll() is not None
            if gone:
                self.pump(0.05)
                if (wanted in self.text) if isinstance(wanted, str) else wanted(self):
                    return
            if gone or time.monotonic() > end:
                state = f"ended with {self.process.returncode}" if gone else "still running"
                raise AssertionError(f"never came: {wanted!r}; {state}; the screen:\n{self.text}")

    def quiet(self, seconds: float = 0.25, timeout: float = LONG) -> None:
        """Wait until nothing was drawn for some time."""
        end = time.monotonic() + timeout
        while self.pump(seconds):
            assert time.monotonic() < end, "the screen never comes to rest"

    def send(self, keys: str | bytes, *, apart: bool = True) -> None:
        """Send keys in one piece, apart from an Enter before them unless they shall follow it at once."""
        data = keys.encode() if isinstance(keys, str) else keys
        if self._entered and apart:
            # A busy machine reads an Enter late: what it brought was drawn after that.
            time.sleep(max(0.0, max(self._entered, self._drawn) + APART - time.monotonic()))
        os.write(self._master, data)
        self._entered = time.monotonic() if data.endswith(b"\r") else 0.0

    def type(self, keys: str) -> None:
        """Type keys as a hand does: what follows an Enter comes when the Enter is answered, and in no burst with it."""
        for piece in re.findall(r"[^\r]*\r|[^\r]+", keys):
            typed, asked = piece.removesuffix("\r"), self._asks()
            if typed:
                before = self.text
                self.send(typed)
                if piece.endswith("\r"):
                    self._changed(before)
            if piece.endswith("\r"):
                answer = typed if asked else typed[1:]  # the first key asked the question
                # The digits of a volume, behind grades.
                number = re.search(r"\d{3}$", typed) and len(typed) > MANY
                if number or self._asks():
                    with contextlib.suppress(AssertionError):
                        self.wait(lambda s, answer=answer: s._asks() and s._shows(answer), LATE)
                if number:
                    self.quiet(10 * APART)  # its last digit and the Enter would come in one piece
                self.quiet(APART)
                before = self.text
                self.send("\r")
                self._changed(before)
                self.quiet(APART)

    def _asks(self) -> bool:
        return bool(re.search("enter accept|type to", self.lines[-1]))

    def _shows(self, answer: str) -> bool:
        """Whether the end of what was typed stands on the screen; of keys before a question no more than it shows."""
        asked = self.lines[-2].rpartition(": ")[2]
        return answer[-6:].strip() in self.text or bool(asked and answer.endswith(asked))

    def _changed(self, before: str) -> None:
        """Wait until the screen is another, a second at most: not every key brings one."""
        end = time.monotonic() + 1.0
        while self.text == before and time.monotonic() < end:
            self.pump(0.02)

    def press(self, key: str, then: str | Callable[["Session"], object]) -> None:
        """Send one key and wait for what it brings."""
        self.send(key)
        self.wait(then)

    def tap(self, key: str) -> None:
        """Send one key as a hand does that sees what the one before has brought."""
        before = self.text
        self.send(key)
        self._changed(before)
        self.quiet(APART)

    def _set_size(self, size: tuple[int, int]) -> None:
        columns, lines = size
        fcntl.ioctl(self._master, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))

    def resize(self, columns: int, lines: int) -> None:
        """Change the terminal's size; the kernel tells the program."""
        self.pump()
        self.screen.resize(lines, columns)
        self._set_size((columns, lines))

    def kill(self, number: int) -> None:
        """Send a signal to the program."""
        self.process.send_signal(number)

    def hang_up(self) -> None:
        """Close the terminal, as a dropped link does."""
        self.pump()
        if self._slave is not None:
            os.close(self._slave)
            self._slave = None
        os.close(self._master)
        self._master = -1

    def modes(self) -> list[object]:
        """The terminal's modes now (see `modes_before`)."""
        assert self._slave is not None
        return termios.tcgetattr(self._slave)

    def ended(self, timeout: float = LONG) -> int:
        """Wait for the end; the exit code, negative for a signal."""
        end = time.monotonic() + timeout
        while self.process.poll() is None:
            if self._master >= 0:
                self.pump(0.02)
            else:
                time.sleep(0.01)
            assert time.monotonic() < end, f"still running; the screen:\n{self.text}"
        if self._master >= 0:
            self.pump(0.05)
        return self.process.returncode

    def close(self) -> None:
        """End everything that is left."""
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        if self._slave is not None:
            os.close(self._slave)
            self._slave = None
        if self._master >= 0:
            os.close(self._master)
            self._master = -1


def kept(changes: int) -> Callable[[Session], object]:
    """A condition: so many changes are on disk, and the screen says that they are kept."""
    return lambda s: re.search(r"kept \d\d:\d\d", s.text) and s.changes == changes


def flag_keys(**answers: str) -> str:
    """The keys that look each flag up and answer it: ``1`` yes, ``0`` no."""
    return "".join(f"/{flags()[name].short}\r{key}" for name, key in answers.items())


def environ(home: Path, **more: str | None) -> dict[str, str]:
    """A small environment of its own: a home, a UTF-8 locale, a local terminal without colours asked.

    A name given as None is left out.
    """
    base: dict[str, str | None] = {
        "PATH": os.environ.get("PATH", "/usr/bin:/bin"),
        "HOME": str(home),
        "LANG": "C.UTF-8",
        "TERM": "xterm",
        "PYTHONPATH": str(ROOT),
        "WARDEXAM_EXAMINER": "Dr Test",
        "WARDEXAM_MOUSE": "off",
        "TMPDIR": str(home),  # where the demo ward lies
        "XDG_CACHE_HOME": os.environ.get("XDG_CACHE_HOME"),  # the rows of the run, made once
    }
    base.update(more)
    return {name: value for name, value in base.items() if value is not None}


def wardexam(*arguments: str) -> list[str]:
    """The real command."""
    return [sys.executable, "-m", "wardexam", *arguments]


def until(condition: Callable[[], object], timeout: float = LONG) -> None:
    """Wait for a condition that no session shows."""
    end = time.monotonic() + timeout
    while not condition():
        assert time.monotonic() < end, "it never came about"
        time.sleep(0.02)


@contextlib.contextmanager
def running(
    command: Sequence[str],
    env: Mapping[str, str],
    size: tuple[int, int] = (80, 24),
    ignore: Sequence[signal.Signals] = (),
) -> Iterator[Session]:
    """A session that is over when the block is."""
    session = Session(command, env, size, ignore)
    try:
        yield session
    finally:
        session.close()


def colour_codes(raw: bytes) -> set[str]:
    """Which ways of naming a colour were used: ``16``, ``256``, ``truecolour``."""
    used: set[str] = set()
    for found in re.finditer(rb"\x1b\[([0-9;:]*)m", raw):
        codes = [int(c or 0) for c in re.split(rb"[;:]", found[1])]
        while codes:
            code = codes.pop(0)
            if code in (38, 48) and codes:
                kind = codes.pop(0)
                used.add("256" if kind == 5 else "truecolour")
                del codes[: 1 if kind == 5 else 3]
            elif 30 <= code <= 37 or 40 <= code <= 47 or 90 <= code <= 107:
                used.add("16")
    return used
