"""What is being entered and kept as a draft until it is saved: what an examination and a cord injury sheet share."""

from abc import ABC, abstractmethod
from typing import TYPE_CHECKING, Any

from wardexam.errors import RecordsError

if TYPE_CHECKING:
    from wardexam.records.repository import DraftWriter
    from wardexam.session import Session


class UnderWay(ABC):
    """An examination or a sheet under way.

    Attributes:
        session: Who enters it, where, and what comes in at the edge.
        draft: Where every change is kept.
        amends: Whether saving makes a further revision.
    """

    amends: bool

    def __init__(self, session: "Session", draft: "DraftWriter") -> None:
        self.session, self.draft = session, draft
        self._kept = draft.kept, session.now()  # how many changes were on disk, and since when

    @property
    @abstractmethod
    def untouched(self) -> bool:
        """Whether nothing was entered, or all of it was taken back."""

    @abstractmethod
    def go_on(self, saved: Any) -> None:
        """Go on from what was saved of this meanwhile: saving then makes a further revision of it."""

    @abstractmethod
    def _drop(self) -> None:
        """Take the draft away."""

    @property
    def kept_words(self) -> str:
        """Whether what was entered is on disk, and since when: ``kept 14:02``."""
        if self.draft.problem:
            return "NOT IN THE WARD"
        if not self.draft.sent:
            return "nothing entered"
        return self.kept_at if self.draft.kept >= self.draft.sent else "keeping"

    @property
    def kept_at(self) -> str:
        """When the last of what was entered came on disk: ``kept 14:02``; empty where nothing did, or not all does."""
        if not self.draft.kept or self.draft.problem:
            return ""
        if self._kept[0] != self.draft.kept:
            self._kept = self.draft.kept, self.session.now()
        return f"kept {self._kept[1]:%H:%M}"

    def done(self) -> None:
        """Take the draft of what was saved away; where that cannot be done now, the next start does it."""
        try:
            self._drop()
        except RecordsError:
            self.draft.close()

    def leave(self) -> None:
        """Let go; the draft stays, but where nothing was entered none does."""
        if self.untouched:
            self.done()
        else:
            self.draft.close()
