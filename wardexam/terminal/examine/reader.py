"""The reading that follows each change: asked for, foreseen, answered; and the urgency with it."""

from collections.abc import Callable, Hashable, Iterator
from typing import TYPE_CHECKING

from wardexam.exam.examination import Examination
from wardexam.exam.flags import flags
from wardexam.reasoning.rules.asking import order
from wardexam.reasoning.rules.conditions import counting
from wardexam.reasoning.rules.standing import over
from wardexam.terminal.examine.edits import ahead
from wardexam.terminal.examine.state import State
from wardexam.terminal.thinking import KEPT, Thinking, essence

if TYPE_CHECKING:
    from wardexam.reasoning.reading import Reading
    from wardexam.reasoning.rules.reason import Urgency

PATIENCE = 2.0  # seconds that saving waits for the reading of the last key


def _place(examination: Examination) -> Hashable:
    """What of an examination its reading and its urgency depend on."""
    return essence(examination), examination.acts, examination.raised


class Reader:
    """The reading and the urgency of what is entered.

    Args:
        state: What is entered, and where the next key would write.

    Attributes:
        reading: The last that came; None before there is any, and where the reasoning failed.
        failed: Whether the reasoning failed.
        asks: The flags in the order in which they matter for what was entered last, as far as that is known.
    """

    def __init__(self, state: State) -> None:
        self._state = state
        self.reading: Reading | None = None
        self.failed = False
        self.asks: tuple[str, ...] = tuple(flags())
        self._asks_of: Hashable = None
        self._asks_for: Examination | None = None
        self._ordered: Callable[[], object] = lambda: None
        self._asked = self._answered = 0
        self._asked_at: tuple[int, str, int, bool] | None = None
        self._thinking: Thinking | None = None
        self._foreseen: dict[Hashable, tuple[Reading, Urgency]] = {}
        self._assessed: tuple[Examination, Reading | None, Urgency] | None = None

    def start(
        self, tell: Callable[[int, "Reading | None"], object], ordered: Callable[[], object] = lambda: None
    ) -> None:  # fmt: skip
        """Begin.

        Args:
            tell: Called from a thread with what `take` wants.
            ordered: Called from it when the flags matter in another order.
        """
        self._ordered = ordered
        self._thinking = Thinking(tell, self._ahead, self._order, self._state.visit.earlier)
        self.ask()

    def end(self) -> None:
        """End the thread: none is left behind by an examination."""
        if self._thinking:
            self._thinking.end()

    def ask(self) -> None:
        """Ask for the reading of what is entered now; it is taken at once where it is known."""
        self._asked_at = self._state.place
        if self._thinking:
            self._asked, known = self._thinking.ask(self._state.examination)
            if known is not None:
                self.take(self._asked, known)

    def ask_if_moved(self) -> None:
        """Ask where the next key would write elsewhere than when it was asked last."""
        if self._asked_at != self._state.place:
            self.ask()

    def take(self, number: int, reading: "Reading | None") -> bool:
        """Take an answer; whether it is the one to what was asked last."""
        if number != self._asked:
            return False
        self._answered, self.reading, self.failed = number, reading, reading is None
        if reading is not None:
            self._state.visit.notice(reading)
        return True

    @property
    def current(self) -> bool:
        """Whether the reading is that of what is entered now."""
        return self._asked == self._answered

    @property
    def ordered(self) -> bool:
        """Whether the order of the flags is that of what is entered now."""
        last = self._asks_for
        return last is not None and essence(last) == essence(self._state.examination)

    def settled(self) -> "Reading | None":
        """The reading of what is entered now: what is saved or accepted never rests on an older one."""
        if not self.current and self._thinking and not self.failed:
            return self._thinking.wait_for(self._state.examination, PATIENCE)
        return self.reading

    def known(self, examination: Examination) -> "Reading | None":
        """The reading of an examination, where it is known already."""
        return self._thinking.known(examination) if self._thinking else None

    def foreseen(self, examination: Examination) -> "tuple[Reading, Urgency] | None":
        """The reading and the urgency that were worked out ahead of a key."""
        return self._foreseen.get(_place(examination))

    @property
    def urgency(self) -> "Urgency":
        """The urgency of what is entered with the last reading."""
        now, reading = self._state.examination, self.reading
        last = self._assessed
        if last is None or last[0] is not now or last[1] is not reading:
            seen = self.foreseen(now)
            found = seen is not None and seen[0] is reading
            urgency = seen[1] if seen and found else self._state.visit.case.urgency(reading)
            self._assessed = last = now, reading, urgency
        return last[2]

    def _order(self, examination: Examination) -> None:
        """Work out in which order the flags matter, where anything that it hangs on is new."""
        previous = self._state.visit.previous
        found = over(previous, examination) if previous else examination
        place = counting(found), found.context, tuple(found.flags.items()), tuple(examination.flags)
        if place != self._asks_of:
            self.asks, self._asks_of = order(found, examination.flags), place
            self._ordered()
        self._asks_for = examination

    def _ahead(self, examination: Examination) -> Iterator[Examination]:
        for possible in ahead(self._state, examination):
            yield possible
            self._foresee(possible)

    def _foresee(self, possible: Examination) -> None:
        """The urgency that goes with a reading just read ahead."""
        place, reading = _place(possible), self.known(possible)
        if reading and place not in self._foreseen:
            while len(self._foreseen) >= KEPT:
                del self._foreseen[next(iter(self._foreseen))]
            urgency = self._state.visit.case_of(possible).urgency(reading)
            self._foreseen[place] = reading, urgency
