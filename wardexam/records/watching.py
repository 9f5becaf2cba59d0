"""Looking again and again whether a folder has changed, in a thread of its own."""

import threading
from collections.abc import Callable, Hashable
from contextlib import suppress

EVERY = 0.5  # seconds between two looks


class Looking:
    """A watch over something that can only be looked at.

    Args:
        marks: Gives a value that differs whenever something has changed.
        changed: Called from this thread after a change; what it raises stops nothing.
    """

    def __init__(self, marks: Callable[[], Hashable], changed: Callable[[], object]) -> None:
        self._marks, self._changed = marks, changed
        self._closed = threading.Event()
        self._seen = marks()
        threading.Thread(target=self._look, daemon=True, name="wardexam-watch").start()

    def _look(self) -> None:
        while not self._closed.wait(EVERY):
            now = self._marks()
            if now != self._seen:
                self._seen = now
                with suppress(Exception):
                    self._changed()

    def close(self) -> None:
        """Look no more."""
        self._closed.set()
