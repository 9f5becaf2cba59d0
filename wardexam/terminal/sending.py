"""Saves that wait for the ward's store: kept, tried again in a thread of their own, and said until they are there."""

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from wardexam.exam.text import counted

if TYPE_CHECKING:
    from wardexam.records.outbox import Outbox, Sent, Unsent
    from wardexam.records.repository import Repository
    from wardexam.terminal.store_calls import StoreCalls

EVERY = 1.0  # seconds between two attempts


class Sender(Protocol):
    """The app, as it sends what waits."""

    calls: "StoreCalls"

    @property
    def is_running(self) -> bool:
        """Whether it runs."""

    @property
    def ward(self) -> "Repository":
        """Where the ward is kept."""

    def call_later(self, callback: Callable[..., Any], *arguments: Any) -> bool:
        """Call something among the keys, in its turn; from any thread."""

    def tell(self, text: str) -> None:
        """Say something on the screen on top."""


@dataclass(frozen=True, slots=True)
class _Waits:
    """What a screen wants of a save of its own that waits."""

    wanted: Callable[[], bool]
    sent: Callable[["Sent"], bool]


class Sending:
    """What waits for the store, of this session and of this login's earlier ones.

    Args:
        app: Where it is said what became of it.
    """

    def __init__(self, app: Sender) -> None:
        self._app = app
        self._made: Outbox | None = None
        self._own: dict[str, _Waits] = {}
        self._left = 0  # how many wait, as it was known last
        self._wake, self._begun = threading.Event(), False

    def _outbox(self) -> "Outbox":
        from wardexam.records.outbox import Outbox

        if self._made is None:
            self._made = Outbox(self._app.ward.spool)
        return self._made

    def begin(self) -> None:
        """Send what earlier sessions left, if anything."""
        if not self._begun:
            self._begun = True
            threading.Thread(target=self._send, daemon=True, name="wardexam-send").start()

    def soon(self) -> None:
        """Try again now: the store may have come back."""
        self._wake.set()

    def later(
        self, name: str, make: "Callable[[], Unsent]", wanted: Callable[[], bool], sent: "Callable[[Sent], bool]"
    ) -> None:  # fmt: skip
        """Keep a save, and send it once the store can be reached.

        Args:
            name: The identifier of what is saved.
            make: Makes what is kept, in the store's thread.
            wanted: Whether it is wanted still; it is taken back before it is sent where it is not. From any thread.
            sent: Gets what became of it; gives whether it said so.
        """
        self._own[name] = _Waits(wanted, sent)
        self._left = max(self._left, 1)

        def kept(_: None) -> None:
            self.begin()
            self.soon()

        self._app.calls.behind(lambda: self._outbox().put(make()), kept)

    def waits(self, name: str) -> bool:
        """Whether a save of this session waits, as it was entered last."""
        return name in self._own and self._own[name].wanted()

    @property
    def words(self) -> str:
        """That saves wait, in one line; empty where none do."""
        if not self._left:
            return ""
        verb = "waits" if self._left == 1 else "wait"
        return f"{counted(self._left, 'save')} {verb} for the ward's store, and will follow."

    def _wanted(self, name: str) -> bool:
        return name not in self._own or self._own[name].wanted()

    def _send(self) -> None:
        outbox = self._outbox()
        while self._app.is_running:
            try:
                found = outbox.send(self._app.ward, self._wanted)
                left = len(outbox.names())
            except OSError:
                found, left = (), 1
            with suppress(Exception):  # the app may be gone
                self._app.call_later(self._took, found, left)
            self._wake.clear()
            self._wake.wait(EVERY if left else None)

    def _took(self, found: "tuple[Sent, ...]", left: int) -> None:
        self._left = left
        for sent in found:
            own = self._own.pop(sent.unsent.saved.id, None)
            if own is None or not own.sent(sent):
                self._app.tell(sent.told)
