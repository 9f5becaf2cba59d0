"""The reading, worked out off the UI thread: the newest request wins, stale answers are dropped."""

import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination
    from wardexam.reasoning.reading import Reading


class Thinking:
    """One thread that reads the latest examination asked for.

    Args:
        answer: Called from the thread with the request's number and the reading, or None when the
            reasoning failed: the grid goes on without it.
    """

    def __init__(self, answer: Callable[[int, "Reading | None"], None]) -> None:
        self._answer = answer
        self._wake = threading.Condition()
        self._request: tuple[int, Examination] | None = None
        self._number = 0
        threading.Thread(target=self._run, daemon=True).start()

    def ask(self, examination: "Examination") -> int:
        """Ask for a reading; gives the request's number."""
        with self._wake:
            self._number += 1
            self._request = (self._number, examination)
            self._wake.notify()
        return self._number

    def _run(self) -> None:
        while True:
            with self._wake:
                while self._request is None:
                    self._wake.wait()
                (number, examination), self._request = self._request, None
            try:
                from wardexam.reasoning.engine import load

                reading = load().read(examination, silence=False)
            except Exception:
                reading = None  # a fault of the reasoning must never take the grid down
            self._answer(number, reading)
