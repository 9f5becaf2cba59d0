"""The one way from the screens to the store: a call is made by a thread of its own, its answer comes back.

Nothing of the store is called where keys are handled, so that a store that answers late, or not at all, freezes
nothing. Keys that are typed while a screen opens wait for it and keep their order.
"""

import asyncio
import queue
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from wardexam.errors import RecordsError, WardexamError
from wardexam.records.durable_files import reason
from wardexam.records.locks import BusyError
from wardexam.records.repository import OutageError

if TYPE_CHECKING:
    from textual.events import Event

T = TypeVar("T")
EVERY = 0.25  # seconds between two attempts of what another session holds up
HELD = 0.5  # seconds that keys wait for a change to be made, and until it is said that they wait


class Caller(Protocol):
    """The app, as it makes calls."""

    @property
    def is_running(self) -> bool:
        """Whether it runs."""

    def call_later(self, callback: Callable[..., Any], *arguments: Any) -> bool:
        """Call something among the keys, in its turn; from any thread."""

    def refused(self, error: WardexamError) -> None:
        """Say on the screen on top why something could not be done."""

    def tell(self, text: str) -> None:
        """Say something on the screen on top."""

    async def take(self, event: "Event") -> None:
        """Act on a key, paste or click that has waited."""


@dataclass(eq=False, slots=True)
class _Call:
    """One call.

    Attributes:
        make: Makes it, in the thread.
        done: Gets what it gave.
        failed: Gets why it could not be made.
        given_up: Gets what it gave where nobody waits for it any more; None where `done` still does.
        abandoned: Whether nobody waits for it any more.
        late: What is done where it takes long.
    """

    make: Callable[[], Any]
    done: Callable[[Any], object]
    failed: Callable[[WardexamError], object]
    given_up: Callable[[Any], object] | None = None
    abandoned: bool = False
    late: asyncio.TimerHandle | None = None


class _Worker:
    """One thread that makes calls, one after the other."""

    def __init__(self) -> None:
        self._queue: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        threading.Thread(target=self._run, daemon=True, name="wardexam-store").start()

    def put(self, do: Callable[[], None]) -> None:
        """Do something, in its turn."""
        self._queue.put(do)

    def end(self) -> None:
        """End once all was done that was put."""
        self._queue.put(None)

    def _run(self) -> None:
        while (do := self._queue.get()) is not None:
            do()
            del do  # nor what it would show, until the next call


class StoreCalls:
    """Calls of the store, made in the order in which they are asked for, off the UI thread.

    Args:
        app: Where the answers are given, each in its turn among the keys.
    """

    def __init__(self, app: Caller) -> None:
        self._app = app
        self._worker: _Worker | None = None
        self._holding: list[_Call] = []  # those that keys wait for
        self._under_way: set[_Call] = set()
        self._waiting: deque[Event] = deque()  # keys
        self._to_come: dict[
            object, Callable[[], bool]
        ] = {}  # told to follow: whether each is wanted still
        self._slow = False  # whether it was said that keys wait
        self._over = False

    # --- asking

    def open(
        self,
        call: Callable[[], T],
        done: Callable[[T], object],
        failed: Callable[[WardexamError], object] | None = None,
        given_up: Callable[[T], object] = lambda _: None,
        *,
        stays: bool = False,
    ) -> None:
        """Read what a key needs; keys wait until it is there, or until Escape where that takes long.

        Args:
            call: Reads it, in the thread.
            done: Gets it.
            failed: Gets why it cannot be read; it is said on the screen on top where this is not given.
            given_up: Gets, in the thread, what was read where nobody waited for it.
            stays: Whether `done` gets it also after Escape: keys then only go on before.
        """
        made = _Call(call, done, failed or self._app.refused, None if stays else given_up)
        self._hold(made, self._takes_long, made)
        self._start(made)

    def change(
        self,
        call: Callable[[], T],
        done: Callable[[T], object],
        failed: Callable[[WardexamError], object],
        held_up: Callable[[str], object],
        wanted: Callable[[], bool] = lambda: True,
        waits_out: tuple[type[WardexamError], ...] = (BusyError, OutageError),
    ) -> None:
        """Change something, now or as soon as it can be; keys wait a moment for it, and then go on.

        Args:
            call: Changes it, in the thread. The same again, after the store was lost in the middle of it, is no fault.
            done: Gets what it gave.
            failed: Gets why it cannot be done at all.
            held_up: Called once where it must wait, with what it waits for in words.
            wanted: Whether it is wanted still; looked at before each further attempt, from any thread.
            waits_out: What is waited out by trying again.
        """
        change = object()

        def waits(what: str) -> None:
            if change not in self._to_come:
                self._to_come[change] = wanted
                held_up(what)

        def over(tell: Callable[[Any], object], what: Any) -> None:
            self._to_come.pop(change, None)
            tell(what)

        def not_now(error: WardexamError) -> None:
            if not isinstance(error, waits_out):
                over(failed, error)
                return
            waits(f"{error.holder} is saving" if isinstance(error, BusyError) else error.what)
            again = _Call(call, made.done, partial(over, failed))
            threading.Thread(
                target=self._again,
                args=(again, wanted, waits_out),
                daemon=True,
                name="wardexam-wait",
            ).start()

        made = _Call(call, partial(over, done), not_now)
        self._hold(made, self._go_on, made, lambda: waits("the ward's store is slow"))
        self._start(made)

    def behind(
        self,
        call: Callable[[], T],
        done: Callable[[T], object] = lambda _: None,
        failed: Callable[[WardexamError], object] | None = None,
        *,
        hold: bool = False,
    ) -> None:
        """Ask for something that no key needs; with `hold`, keys wait a moment for it."""
        made = _Call(call, done, failed or self._app.refused)
        if hold:
            self._hold(made, self._go_on, made, lambda: None)
        self._start(made)

    def finish(self, call: Callable[[], T], done: Callable[[T], object]) -> None:
        """Wait for something that takes a moment at most; keys wait for it, and nothing goes back."""
        made = _Call(call, done, self._app.refused)
        self._hold(made, lambda: None)
        self._start(made)

    # --- keys that wait

    @property
    def holding(self) -> bool:
        """Whether a key has to wait: for an answer, or for those before it."""
        return bool(self._holding or self._waiting)

    @property
    def to_come(self) -> int:
        """How many changes were told to follow, are wanted still and are not made yet."""
        return sum(wanted() for wanted in tuple(self._to_come.values()))

    @property
    def busy(self) -> bool:
        """Whether an answer is still to come."""
        return bool(self._under_way)

    def keep(self, event: "Event") -> None:
        """Keep a key, paste or click until the answer is there; Escape goes back where that takes long."""
        if self._slow and getattr(event, "key", "") in ("escape", "ctrl+c"):
            self._give_up()
        else:
            self._waiting.append(event)

    def _hold(self, made: _Call, late: Callable[..., object], *arguments: Any) -> None:
        """Have keys wait for a call; `late` is called where it takes long."""
        self._holding.append(made)
        turns = asyncio.get_running_loop()
        made.late = turns.call_later(HELD, self._app.call_later, late, *arguments)

    def _takes_long(self, made: _Call) -> None:
        if made in self._holding:
            self._slow = True
            self._app.tell("Waiting for the ward's store. Escape goes back.")

    async def _go_on(self, made: _Call, say: Callable[[], object]) -> None:
        """Let keys go on without the answer."""
        if made in self._holding:
            self._holding.remove(made)
            say()
            await self._release()

    def _give_up(self) -> None:
        """Wait for nothing any more: what comes is let go of, what was typed meanwhile is dropped.

        The thread that is still waiting is left to end by itself.
        """
        stays = all(made.given_up is None for made in self._holding)
        for made in self._holding:
            made.abandoned = made.given_up is not None
            if made.abandoned:
                self._under_way.discard(made)
        self._holding.clear()
        self._waiting.clear()
        self._slow = False
        if self._worker is not None:
            self._worker.end()
            self._worker = None
        self._app.tell(
            "The ward's store has not answered yet."
            if stays
            else "Not opened: the ward's store has not answered. Nothing was changed."
        )

    async def _release(self) -> None:
        """Act on the keys that have waited, in their order, until one of them has to wait again."""
        while self._waiting and not self._holding:
            await self._app.take(self._waiting.popleft())
            await asyncio.sleep(0)  # a screen that it opened is laid out meanwhile

    # --- the thread

    def _start(self, made: _Call) -> None:
        if self._worker is None:
            self._worker = _Worker()
        self._under_way.add(made)
        self._worker.put(lambda: self._make(made))

    def _make(self, made: _Call) -> None:
        result, error = None, None
        try:
            result = made.make()
        except BaseException as raised:  # whatever it is, it is raised where keys are handled
            error = raised
        if self._over:
            self._let_go(made, result, error)
            return
        with suppress(Exception):  # the app may be gone
            self._app.call_later(self._answered, made, result, error)

    @staticmethod
    def _let_go(made: _Call, result: Any, error: BaseException | None) -> None:
        """Let go, in the thread, of what nobody waits for."""
        if error is None and made.given_up is not None:
            with suppress(Exception):
                made.given_up(result)

    async def _answered(self, made: _Call, result: Any, error: BaseException | None) -> None:
        self._under_way.discard(made)
        if made.late is not None:
            made.late.cancel()
        if made in self._holding:
            self._holding.remove(made)
            if self._slow and not self._holding:
                self._slow = False
                self._app.tell("")  # that it is waited for
        if not made.abandoned:
            self._give(made, result, error)
        elif made.given_up is not None:
            self.behind(lambda: self._let_go(made, result, error))
        await self._release()

    def _give(self, made: _Call, result: Any, error: BaseException | None) -> None:
        try:
            if error is not None:
                raise error
            made.done(result)
        except WardexamError as refusal:
            made.failed(refusal)
        except OSError as fault:
            made.failed(RecordsError(f"not done: {reason(fault)}; everything entered is kept"))

    def _again(
        self, made: _Call, wanted: Callable[[], bool], waits_out: tuple[type[WardexamError], ...]
    ) -> None:
        """Try again and again, in a thread of its own, until nothing is in the way any more."""
        while wanted() and self._app.is_running:
            time.sleep(EVERY)
            if not wanted():
                return
            result, error = None, None
            try:
                result = made.make()
            except waits_out:
                continue
            except BaseException as raised:
                error = raised
            with suppress(Exception):  # the app may be gone
                self._app.call_later(self._give, made, result, error)
            return

    def close(self, seconds: float) -> None:
        """Answer nothing any more; wait so long for the call that is under way, and let go of what it opened."""
        self._over = True
        worker, self._worker = self._worker, None
        if worker is not None and self._under_way:
            ended = threading.Event()
            worker.put(ended.set)
            ended.wait(seconds)
