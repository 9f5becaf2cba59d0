"""How the program ends when the terminal or the system ends it: drafts kept, within a second.

A hang-up (SIGHUP, also where it was inherited as ignored; a terminal that is gone), a request to
terminate (SIGTERM) and an interrupt from outside (SIGINT) all take one way: keep the drafts, leave
in order, and if that takes too long give the terminal back and end at once. Ctrl-C in the program
is a key like others and never comes here.
"""

import _thread
import contextlib
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from types import FrameType

ENDING = (signal.SIGHUP, signal.SIGTERM, signal.SIGINT)
KEEP = 0.4  # seconds for the drafts to reach the disk
WHOLE = 0.8  # seconds after which the process ends whatever it is doing


class Ending:
    """One way out, taken once.

    Args:
        keep: Write the drafts, within the given seconds; may be called from any thread.
        leave: Ask the app to end in order; may be called from any thread.
        restore: Give the terminal back at once; may be called from any thread.

    Attributes:
        code: The exit code that the end calls for (128 and the signal's number); 0 before it.

    """

    def __init__(
        self,
        keep: Callable[[float], None],
        leave: Callable[[], None],
        restore: Callable[[], None],
    ) -> None:
        self._keep, self._leave, self._restore = keep, leave, restore
        self._once = threading.Lock()
        self.code = 0

    def hang_up(self) -> None:
        """The terminal is gone."""
        self.begin(signal.SIGHUP)

    def begin(self, number: int, frame: FrameType | None = None) -> None:
        """Begin to end; returns at once. Usable as a signal handler."""
        if self._once.acquire(blocking=False):
            self.code = 128 + number
            # A bare thread: a handler may interrupt code that holds the locks of `threading`.
            _thread.start_new_thread(self._end, (number,))

    def _end(self, number: int) -> None:
        start = time.monotonic()
        with contextlib.suppress(Exception):
            self._keep(KEEP)
        with contextlib.suppress(Exception):
            self._leave()
        # The process normally ends while this waits; if it does not, it ends here.
        time.sleep(max(0.0, WHOLE - (time.monotonic() - start)))
        if number != signal.SIGHUP:
            with contextlib.suppress(Exception):
                self._restore()
        os._exit(self.code)


@contextlib.contextmanager
def watch(ending: Ending, numbers: tuple[signal.Signals, ...] = ENDING) -> Iterator[None]:
    """Answer the ending signals while the block runs, also those inherited as ignored."""
    before = {number: signal.signal(number, ending.begin) for number in numbers}
    try:
        yield
    finally:
        if not ending.code:
            for number, handler in before.items():
                signal.signal(number, handler)
