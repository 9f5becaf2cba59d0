"""The one place that touches what Textual keeps to itself, to make up for its faults and gaps.

========================================  ==============================================  =============
what of Textual's own is touched          why                                             upstream
========================================  ==============================================  =============
``_xterm_parser.XTermParser``             keys from what `Cutter` has cut                 textual#6456,
                                                                                          textual#5140
``LinuxDriver._sigcont_application``,     going on after a stop                           textual#6298
``_auto_restart``,
``_must_signal_resume``,
``_enable_mouse_support``
``App._fatal_error``                      a fault without the names of patients           none found
``App._display``, ``_batch_count``,       only cells that changed are sent                none found
``_closed``, ``_compositor``'s updates
``Widget._layout_required``               whether a widget's place still holds            none found
``_styles_cache.StylesCache``             widgets that are gone are let go of             none found
========================================  ==============================================  =============

`driver_for` gives the driver to start the app with. `tests/terminal/test_textual_port.py` fails for
a part that a later Textual makes needless or takes away, and for a private name used elsewhere.
"""

import asyncio
import codecs
import contextlib
import os
import select
import signal
import sys
import termios
import threading
import time
import traceback
from collections.abc import Callable, Iterable, Iterator
from typing import Any, ClassVar, NamedTuple

from rich.text import Text
from textual import constants, events
from textual._compositor import ChopsUpdate, LayoutUpdate
from textual._xterm_parser import XTermParser
from textual.app import App
from textual.drivers.linux_driver import LinuxDriver
from textual.screen import Screen
from textual.strip import Strip

from wardexam.terminal.sequences import Cutter, Token

# What `start_application_mode` switched on, off again: line wrap, paste marks, focus and mouse
# reports, the other screen, the cursor.
LEAVE = "\x1b[0m\x1b[?7h\x1b[?2004l\x1b[?1004l\x1b[?1000l\x1b[?1003l\x1b[?1006l\x1b[?1049l\x1b[?25h"
ENTER = "\x1b[?1049h\x1b[?25l\x1b[?1004h\x1b[?2004h\x1b[?7l"


ONE_PIECE = 0.03  # seconds between two reads of one burst: no hand types on so soon
TYPED_AHEAD = 500  # keys in one read: no hand is so far ahead of the screen
_MARK = "wardexam_burst"


class Burst(NamedTuple):
    """With what a key came.

    Attributes:
        number: Which of the bursts that were read; 0 where it is not known.
        more: Whether more came behind it in the same read.
    """

    number: int
    more: bool


def burst_of(event: events.Event) -> Burst:
    """The burst that a key came in: what is pasted without marks comes in one, what is typed does not."""
    found = getattr(event, _MARK, None)
    return found if isinstance(found, Burst) else Burst(0, False)


def _as_latin1(error: UnicodeError) -> tuple[str, int]:
    """A byte that is not UTF-8 as the Latin-1 letter that such a terminal means."""
    assert isinstance(error, UnicodeDecodeError)
    bad = error.object[error.start : error.end].decode("latin-1")
    return "".join(c if c >= "\xa0" else "\ufffd" for c in bad), error.end


def _as_marks(error: UnicodeError) -> tuple[str, int]:
    """A character that an ASCII terminal cannot show as question marks of the same width."""
    assert isinstance(error, UnicodeEncodeError)
    from rich.cells import cell_len

    return "?" * cell_len(error.object[error.start : error.end]), error.end


codecs.register_error("wardexam.latin1", _as_latin1)
codecs.register_error("wardexam.marks", _as_marks)


class Writer(threading.Thread):
    """Sends the screen to the terminal without ever holding up who draws it.

    Textual's own writer takes 30 frames and then blocks the event loop for as long as the link
    stalls (textual 8.2.8, `_writer_thread.py`; no upstream number), so that no key is kept and no
    signal is answered.

    Args:
        fileno: Where to write.
        encoding: ``ascii`` or ``utf-8``.

    """

    def __init__(self, fileno: int, encoding: str) -> None:
        super().__init__(daemon=True, name="wardexam-screen")
        self._fileno, self._encoding = fileno, encoding
        self._waiting: list[str] = []
        self._turn = threading.Condition()
        self._ended = False

    def write(self, text: str) -> None:
        """Take text to be sent; returns at once."""
        with self._turn:
            self._waiting.append(text)
            self._turn.notify()

    def stop(self, timeout: float) -> bool:
        """Send what waits, for at most `timeout` seconds; whether all was sent."""
        with self._turn:
            self._ended = True
            self._turn.notify()
        self.join(timeout)
        return not self.is_alive()

    def run(self) -> None:
        """Send until stopped or until the terminal is gone."""
        while True:
            with self._turn:
                while not self._waiting and not self._ended:
                    self._turn.wait()
                if not self._waiting:
                    return
                text = "".join(self._waiting)
                self._waiting.clear()
            try:
                send(self._fileno, text.encode(self._encoding, "wardexam.marks"))
            except OSError:
                return


def send(fileno: int, data: bytes, timeout: float | None = None) -> None:
    """Write all of `data`, or what the terminal takes within `timeout` seconds.

    Raises:
        OSError: The terminal is gone.
    """
    end = None if timeout is None else time.monotonic() + timeout
    while data:
        left = None if end is None else max(0.0, end - time.monotonic())
        if not select.select([], [fileno], [], left)[1]:
            return
        # A piece that fits the terminal's buffer does not block once it is writable.
        piece = data if end is None else data[:512]
        try:
            data = data[os.write(fileno, piece) :]
        except BlockingIOError:
            continue


class WardDriver(LinuxDriver):
    """Textual's terminal driver, for a link that stalls, cuts, and drops; see `driver_for`."""

    ascii: ClassVar[bool] = False

    def __init__(self, app: App[Any], **options: Any) -> None:
        super().__init__(app, **options)
        self._drawn_for = app
        if isinstance(app, PortedApp):
            app.wire = self
        self._screen_fileno = sys.__stderr__.fileno() if sys.__stderr__ else 2
        self._screen: Writer | None = None
        self._raw: list[Any] | None = None
        self._wake_read, self._wake_write = os.pipe()

    # -- drawing

    def start_application_mode(self) -> None:
        """Take the terminal over."""
        # The kernel may give a signal, above all the one to go on, to the thread that draws or reads:
        # Python's handler then waits for the event loop, which sleeps until the next key unless asyncio
        # has its wake-up for signals. With one handler of the loop it has it, for every signal.
        turns = asyncio.get_running_loop()
        turns.add_signal_handler(signal.SIGCONT, self._sigcont_application)
        if self._screen is None:
            encoding = "ascii" if self.ascii else "utf-8"
            self._screen = Writer(self._screen_fileno, encoding)
            self._screen.start()
        self._drawn_over()
        super().start_application_mode()  # type: ignore[no-untyped-call]  # Textual leaves it so
        with contextlib.suppress(termios.error):
            self._raw = termios.tcgetattr(self.fileno)

    def write(self, data: str) -> None:
        """Send to the terminal; never waits for it."""
        if self._screen is not None:
            self._screen.write(data)

    def close(self) -> None:
        """Send what waits, unless the terminal takes nothing any more."""
        if self._screen is not None:
            self._screen.stop(0.3)
            self._screen = None
        super().close()

    def restore_now(self) -> None:
        """Give the terminal back at once, from any thread, whatever the app is doing."""
        with contextlib.suppress(OSError):
            send(self._screen_fileno, LEAVE.encode(), timeout=0.1)
        if self.attrs_before is not None:
            with contextlib.suppress(termios.error):
                termios.tcsetattr(self.fileno, termios.TCSANOW, self.attrs_before)

    # -- stopping and going on

    def _sigcont_application(self, *arguments: Any) -> None:
        """Go on after a stop.

        Textual starts a second input thread when it was stopped by a signal that it could not
        catch, and does not repaint after one that it could (textual#6298 and around it).
        Called in a turn of the event loop.
        """
        if not self._auto_restart:
            return
        if self._must_signal_resume:
            super()._sigcont_application(*arguments)
        elif self._raw is not None:
            with contextlib.suppress(termios.error):
                termios.tcsetattr(self.fileno, termios.TCSANOW, self._raw)
            self.write(ENTER)
            self._enable_mouse_support()
        self._drawn_over()
        self._drawn_for.refresh(layout=True)

    def _drawn_over(self) -> None:
        if isinstance(self._drawn_for, PortedApp):
            self._drawn_for.drawn_over()

    def disable_input(self) -> None:
        """Stop reading; the reading thread is woken rather than waited for."""
        os.write(self._wake_write, b".")
        super().disable_input()
        with contextlib.suppress(BlockingIOError):
            os.set_blocking(self._wake_read, False)
            while os.read(self._wake_read, 64):
                pass

    # -- reading

    def hung_up(self) -> None:
        """The terminal is gone."""

    def run_input_thread(self) -> None:
        """Read keys until told to stop or until the terminal is gone.

        Instead of Textual's loop, which ends with a traceback on a byte that is not UTF-8
        (textual#6456), spins when the terminal is gone and SIGHUP is ignored (textual#5140),
        gives the rest of a stalled sequence or paste on as keys, and wakes ten times a second.
        """
        decoder = codecs.getincrementaldecoder("utf-8")(errors="wardexam.latin1")
        cutter = Cutter(constants.ESCAPE_DELAY)
        parser = XTermParser()
        burst, last, pasted = 0, 0.0, -1
        held = 0  # the burst of what is not whole yet
        while not self.exit_event.is_set():
            now = time.monotonic()
            deadline = cutter.deadline
            half = bool(decoder.getstate()[0])
            wait = 0.1 if half else None if deadline is None else max(0.0, deadline - now)
            ready = select.select([self.fileno, self._wake_read], [], [], wait)[0]
            if self._wake_read in ready:
                return
            text = ""
            if ready:
                try:
                    data = os.read(self.fileno, 4096)
                except BlockingIOError:
                    continue
                except OSError:
                    data = b""
                if not data:
                    self.hung_up()
                    return
                text = decoder.decode(data)
            elif half:
                # A lone Latin-1 letter looks like the start of a longer UTF-8 one.
                text = decoder.decode(b"", final=True)
                decoder.reset()
            now = time.monotonic()
            waited = cutter.deadline is not None
            tokens = [*cutter.tick(now), *(cutter.feed(text, now) if text else ())]
            if text:
                burst, last = burst + (now - last > ONE_PIECE), now
            # An Escape that waited for the rest of a sequence came with what was read before, not with what ended the wait.
            early = waited and held != burst and bool(tokens) and tokens[0].kind == "escape"
            before = self._messages(tokens.pop(0), parser) if early else []
            for message in before:
                setattr(message, _MARK, Burst(held, more=False))
                self.process_message(message)
            held = burst if not waited or before or tokens else held
            messages = [m for token in tokens for m in self._messages(token, parser)]
            # More than is typed ahead is a paste whose marks the terminal has left out; what follows at once belongs to it.
            typed = [m for m in messages if isinstance(m, events.Key)]
            if len(typed) > TYPED_AHEAD or (typed and pasted == burst):
                pasted = burst
                block = "".join(m.character or "" for m in typed)
                messages = [
                    *(m for m in messages if not isinstance(m, events.Key)),
                    events.Paste(block),
                ]
            for place, message in enumerate(messages, 1):
                if isinstance(message, events.Key):
                    setattr(message, _MARK, Burst(burst, place < len(messages)))
                self.process_message(message)

    def _messages(self, token: Token, parser: XTermParser) -> list[Any]:
        if token.kind == "paste":
            return [events.Paste(token.text)]
        if token.kind == "escape":
            return [events.Key("escape", "\x1b")]
        # A sequence that Textual does not know leaves its parser waiting: use that one once.
        once = parser if token.kind == "text" else XTermParser()
        # A line feed is Enter too: one typed before the terminal was taken over, or a pasted break.
        text = token.text.replace("\r\n", "\r").replace("\n", "\r")
        return list(once.feed(text))


def driver_for(*, ascii_only: bool, hung_up: Callable[[], None]) -> type[WardDriver]:
    """The driver class to give to the app (``App(driver_class=...)``).

    Args:
        ascii_only: Send ASCII bytes only; what ASCII cannot show becomes question marks.
        hung_up: Called once from the reading thread when the terminal is gone.
    """
    attributes = {"ascii": ascii_only, "hung_up": lambda _: hung_up()}
    return type("WardDriver", (WardDriver,), attributes)


def forget_widgets() -> None:
    """Let go of the widgets of screens that are gone, with all that they had drawn.

    The cache of inner and outer colours is keyed by the widget's own cache of lines, so that it holds
    up to a thousand of them: some 400 kB for every examination opened (no upstream issue found).
    """
    from textual._styles_cache import StylesCache

    StylesCache.get_inner_outer.cache_clear()


def place_holds(screen: Screen[Any]) -> bool:
    """Whether widgets are where they were last placed."""
    return not screen._layout_required


class PortedApp(App[Any]):
    """An app whose own faults end in one line, and which draws through a way of its own.

    Textual prints the traceback with every local variable (`App._fatal_error`; no upstream
    number), and so the names of patients. ``WARDEXAM_TRACEBACK=1`` prints one without variables.

    Attributes:
        wire: The driver of the terminal; None where there is none, as in a test.
    """

    def __init__(self, **options: Any) -> None:
        self.wire: WardDriver | None = None
        self.turns: asyncio.AbstractEventLoop | None = None
        super().__init__(**options)

    def on_load(self) -> None:
        """Know the loop that keys are handled in."""
        self.turns = asyncio.get_running_loop()

    def leave(self) -> None:
        """End in order; may be called from any thread, and waits for nothing."""
        if self.turns is not None:
            self.turns.call_soon_threadsafe(self.exit)

    def give_back(self) -> None:
        """Give the terminal back at once; may be called from any thread."""
        if self.wire is not None:
            self.wire.restore_now()

    def send(self, sequence: str) -> None:
        """Send a sequence to the terminal, if there is one."""
        if self.wire is not None:
            self.wire.write(sequence)

    @property
    def lives(self) -> bool:
        """Whether the app runs on a terminal and is not about to end."""
        return self.wire is not None and self.is_running and not self._closed

    @property
    def draws(self) -> bool:
        """Whether what is drawn may go to the terminal now."""
        return self.lives and not self._batch_count

    def show_strips(self, strips: Iterable[tuple[int, int, Strip]]) -> bool:
        """Show strips, each with its line and first column; whether that was done here."""
        return False

    def drawn_over(self) -> None:
        """Something else has drawn on the terminal; what it shows is not known any more."""

    def _display(self, screen: Any, renderable: Any) -> None:
        updates = isinstance(renderable, LayoutUpdate | ChopsUpdate)
        if updates and self.draws and self.show_strips(_strips_of(renderable)):
            self.post_display_hook()
        else:
            super()._display(screen, renderable)

    def _fatal_error(self) -> None:
        error = sys.exception()
        frames = traceback.extract_tb(error.__traceback__) if error else []
        ours = [f for f in frames if "wardexam" in f.filename] or frames
        place = f" at {os.path.basename(ours[-1].filename)} line {ours[-1].lineno}" if ours else ""
        lines = [
            f"wardexam: a fault of the program ended it ({type(error).__name__}{place}).",
            "What you entered is kept as a draft and is offered at the next start.",
        ]
        if os.environ.get("WARDEXAM_TRACEBACK") == "1" and error is not None:
            lines += [line.rstrip() for line in traceback.format_tb(error.__traceback__)]
        self.panic(Text("\n".join(lines)))


def _strips_of(update: LayoutUpdate | ChopsUpdate) -> Iterator[tuple[int, int, Strip]]:
    """What an update of the compositor draws: strips, each with its line and first column."""
    if isinstance(update, LayoutUpdate):
        for y, strips in enumerate(update.strips, update.region.y):
            yield y, update.region.x, Strip.join(list(strips))
        return
    for y, first, last in update.spans:
        for end, (x, strip) in zip(update.chop_ends[y], update.chops[y].items(), strict=False):
            if strip is not None and x < last and end > first:
                yield y, x, strip
