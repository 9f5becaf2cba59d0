"""What the screens of an examination and of a cord injury sheet share: what is entered is kept as a draft, saved and left."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from wardexam.errors import WardexamError
from wardexam.exam.text import counted
from wardexam.records.locks import BusyError
from wardexam.records.repository import OutageError
from wardexam.terminal.screens.base import LineScreen

if TYPE_CHECKING:
    from wardexam.records.outbox import Sent, Unsent
    from wardexam.under_way import UnderWay

LEAVING = 0.3  # seconds that leaving waits for the disk


class EntryScreen(LineScreen):
    """Something being entered.

    Args:
        visit: What is entered, of whom, and where it is kept.

    Attributes:
        shown_kept: How many changes the status line says to be on disk.
    """

    PAPER = "note"  # what may be copied before entries are lost

    def __init__(self, visit: "UnderWay") -> None:
        super().__init__()
        self.visit: Any = visit
        self.shown_kept, self._trouble = 0, ""
        self._wrote = ""  # what the last key wrote, as long as nothing else is said

    def on_mount(self) -> None:
        """Listen to the draft; the base draws."""
        app = self.app  # a thread has none of its own, and may answer when the screen is gone
        self.visit.draft.settled = lambda: app.call_later(self._kept)

    def on_unmount(self) -> None:
        """Listen to the draft no more."""
        self.visit.draft.settled = lambda: None

    def end(self) -> None:
        """Back to what was below."""
        self.dismiss(None)

    @property
    def wrote(self) -> bool:
        """Whether what is said is what the last key wrote."""
        return bool(self.said) and self.said == self._wrote

    @property
    def lasting(self) -> str:
        """Why the draft is not in the ward, or that a save of it waits for the ward's store."""
        sending = self.ward_app.sending
        waits = sending.words if sending.waits(self.visit.draft.draft_id) else ""
        return self._trouble or waits

    def _kept(self) -> None:
        draft = self.visit.draft
        trouble, self._trouble = self._trouble, draft.problem
        if self._trouble and self.said != self._trouble:
            self.say(self._trouble)
        elif trouble and not self._trouble:
            self.say("In the ward again.")
        elif self.shown_kept != draft.kept:
            self.draw_status()

    # --- saving

    def with_reason(self, save: Callable[[str], None]) -> None:
        """Save; an amendment asks for its reason first."""

        def given(why: str) -> str:
            if not why.strip():
                return "An amendment needs a reason. Nothing is saved yet."
            save(why)
            return ""

        if self.visit.amends:
            self.ask("Why is it amended?", given)
        else:
            save("")

    def save(
        self, saving: Callable[[], Any], unsent: "Callable[[], Unsent]", same: Callable[[], bool],
        show: Callable[[Any], None], refused: Callable[[WardexamError], None],
    ) -> None:  # fmt: skip
        """Save, now or as soon as it can be; what is entered meanwhile stays here, as an amendment of it.

        Args:
            saving: Saves, in the store's thread.
            unsent: Makes what is kept where the store is away.
            same: Whether nothing was entered since: who goes on has not asked for this to be saved. From any thread.
            show: Gets what was saved, to show it in the place of this screen.
            refused: Gets why it cannot be saved at all, while this screen is open.
        """
        app, name = self.ward_app, self.visit.draft.draft_id

        def held_up(what: str) -> None:
            self.say(f"Not saved yet: {what}; it follows by itself.")

        def saved(stored: Any) -> None:
            if (
                not self.is_attached
            ):  # left while it waited: the draft, saved now, is swept at the next start
                return
            if same() and app.screen is self:
                show(stored)
                return
            self.visit.go_on(stored)
            self.said = f"Saved as it stood then. What was entered since is not: {self.key('save')} saves it as an amendment."
            self.redraw()

        def not_saved(error: WardexamError) -> None:
            if self.is_attached:
                refused(error)

        def sent(found: "Sent") -> bool:
            if found.stored is not None:
                saved(found.stored)
            elif found.refused is not None:
                not_saved(found.refused)
            return self.is_attached

        def failed(error: WardexamError) -> None:
            if isinstance(error, OutageError):
                app.sending.later(name, unsent, same, sent)
                held_up(error.what)
            else:
                not_saved(error)

        app.calls.change(
            saving, saved, failed, held_up, wanted=lambda: same() and app.screen is self,
            waits_out=(BusyError,),
        )  # fmt: skip

    # --- leaving

    def leave(self) -> None:
        """Back to what was below; where entries are in memory only, once that was told."""

        def answered(text: str) -> None:
            if text.strip().lower() == "lose":
                self.left()
            else:
                self.say(f"Still here. Free the disk, or copy the {self.PAPER} before leaving.")

        def lost(count: int) -> None:
            self.ask(
                f"{counted(count, 'entry', 'entries')} in memory only would be lost. Type lose to leave, enter stays:",
                answered,
            )

        self.once_kept(self.left, lost)

    def once_kept(self, leave: Callable[[], None], lost: Callable[[int], None]) -> None:
        """Leave once every change is kept; where some are in memory only after a moment, say how many."""
        draft = self.visit.draft
        if draft.unkept(0):
            self.ward_app.calls.finish(
                lambda: draft.unkept(LEAVING), lambda count: lost(count) if count else leave()
            )
        else:
            leave()

    def left(self) -> None:
        """Leave, the draft kept."""
        self.end()
        self.ward_app.calls.behind(self.visit.leave)
