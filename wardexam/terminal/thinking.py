"""The reading, worked out off the UI thread: the newest request wins, stale answers are dropped.

Once the newest is answered, what the next key may bring is read ahead, so that the reading for it
is there when it comes; only as long as no key waits, only where a reading takes little, and not on a
machine that others keep busy.
"""

import contextlib
import ctypes
import os
import threading
import time
from collections.abc import Callable, Hashable, Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wardexam.exam.earlier import Earlier
    from wardexam.exam.examination import Examination, Findings
    from wardexam.reasoning.engine import Engine
    from wardexam.reasoning.reading import Reading

KEPT = 12  # readings kept, for what was read ahead and for undoing
PAUSE = 0.01  # seconds before anything is read ahead
BUSY = 2  # programs that want a processor, for each one there is
QUICK = 0.05  # seconds that a reading may take for others to be read ahead


def essence(findings: "Findings") -> Hashable:
    """What of the findings a reading depends on, with when they were found, where that is known."""
    return (
        getattr(findings, "at", None),
        findings.findings,
        findings.rest_normal,
        findings.context,
        tuple(findings.flags.items()),
    )


_loading = threading.Lock()  # so that two threads do not build the tables twice


def engine() -> "Engine":
    """The engine, made by whichever thread asks first."""
    from wardexam import ready

    with _loading:
        return ready.engine()


def _busy() -> bool:
    """Whether others already want more of the machine than it has."""
    try:
        return os.getloadavg()[0] > BUSY * (os.cpu_count() or 1)
    except OSError:
        return False


def _give_back() -> None:
    """Give the memory of arrays that are gone back to the system, so that many sessions fit a host.

    The C library keeps it otherwise: some 5 MB a session, given back in half a millisecond.
    """
    with contextlib.suppress(AttributeError, OSError, TypeError):  # there is no such call
        ctypes.CDLL(None).malloc_trim(0)


class Thinking:
    """One thread that reads the latest examination asked for.

    Args:
        answer: Called from the thread with the request's number and the reading, or None when the
            reasoning failed: the grid goes on without it.
        ahead: Gives the examinations that the next key may lead to, likeliest first; called from
            the thread with the examination that was answered.
        rested: Called from the thread with the examination that was answered, once no key waits.
        earlier: What stands from earlier in the stay; it fades until the time of each examination.
    """

    def __init__(
        self,
        answer: Callable[[int, "Reading | None"], object],
        ahead: "Callable[[Examination], Iterable[Examination]]" = lambda _: (),
        rested: "Callable[[Examination], object]" = lambda _: None,
        earlier: "Earlier | None" = None,
    ) -> None:
        self._earlier = earlier
        self._answer, self._ahead, self._rested = answer, ahead, rested
        self._wake = threading.Condition()
        self._request: tuple[int, Examination] | None = None
        self._number = 0
        self._known: dict[Hashable, Reading] = {}
        self._ended = False
        threading.Thread(target=self._run, daemon=True).start()

    def ask(self, examination: "Examination") -> "tuple[int, Reading | None]":
        """Ask for a reading; gives the request's number, and the reading if it is known already.

        A reading that is known is not answered once more.
        """
        known = self.known(examination)
        with self._wake:
            self._number += 1
            self._request = (self._number if known is None else 0, examination)
            self._wake.notify()
            return self._number, known

    def end(self) -> None:
        """End the thread, once it has done what it is doing, and let go of what it held."""
        with self._wake:
            self._ended, self._request = True, None
            self._answer, self._ahead = (lambda _, __: None), (lambda _: ())
            self._rested = lambda _: None
            self._known.clear()
            self._wake.notify_all()

    def known(self, examination: "Examination") -> "Reading | None":
        """The reading of an examination, if it is known already."""
        return self._known.get(essence(examination))

    def wait_for(self, examination: "Examination", seconds: float) -> "Reading | None":
        """The reading of an examination that was asked for; None where it does not come in time."""
        wanted = essence(examination)
        with self._wake:
            self._wake.wait_for(lambda: wanted in self._known, seconds)
            return self._known.get(wanted)

    def _run(self) -> None:
        while True:
            with self._wake:
                while self._request is None:
                    if self._ended:
                        return
                    self._wake.wait()
                (number, examination), self._request = self._request, None
            took = 0.0
            if number:
                begun = time.perf_counter()
                reading = self._read(examination)
                took = time.perf_counter() - begun
                self._answer(number, reading)
            with self._wake:
                # What is known now is painted first.
                paused = self._request is not None or self._wake.wait(PAUSE)
            if not paused:
                with contextlib.suppress(Exception):  # a fault of it ends no reading
                    self._rested(examination)
                if took <= QUICK and not _busy():
                    self._read_ahead(examination)
                _give_back()

    def _read(self, examination: "Examination") -> "Reading | None":
        try:
            earlier = self._earlier and self._earlier.as_of(examination.at)
            reading = engine().read(examination, silence=False, earlier=earlier)
        except Exception:
            return None  # a fault of the reasoning must never take the grid down
        while len(self._known) >= KEPT:
            del self._known[next(iter(self._known))]
        with self._wake:
            self._known[essence(examination)] = reading
            self._wake.notify_all()
        return reading

    def _read_ahead(self, examination: "Examination") -> None:
        try:
            for possible in self._ahead(examination):
                if self._request is not None:
                    return
                if essence(possible) not in self._known:
                    self._read(possible)
        except Exception:
            return  # what was not read ahead is read when it is asked for
