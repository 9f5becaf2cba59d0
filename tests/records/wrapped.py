"""A keeper with something around each of its calls: to see who makes it, to let it hang, to lose it."""

import threading

from wardexam.records.repository import OutageError, UncertainError


class Wrapped:
    """Any keeper of a ward, or its drafts, each call handed on through `about`.

    `about(name, call)` makes the call, or does not; it gives what the call gives. `problem`, `patience` and
    `spool` ask nothing and are handed on as they are; what closes a draft is a call as well.
    """

    PLAIN = frozenset({"problem", "patience", "spool", "folder", "layout", "locks", "audit"})
    CALLS = None  # every one

    def __init__(self, inner, about, prefix=""):
        self.__dict__.update(inner=inner, about=about, prefix=prefix)

    def __getattr__(self, name):
        found = getattr(self.inner, name)
        if name in self.PLAIN or not (callable(found) or name == "sheet_drafts"):
            return found
        if name == "sheet_drafts":
            return Wrapped(found, self.about, "sheet_drafts.")
        if self.CALLS is not None and name not in self.CALLS:
            return found

        def call(*given, **named):
            plain = [g.inner if isinstance(g, WrappedDraft) else g for g in given]
            result = self.about(f"{self.prefix}{name}", lambda: found(*plain, **named))
            return self._wrapped(name, result)

        return call

    def __setattr__(self, name, value):
        setattr(self.inner, name, value)

    def _wrapped(self, name, result):
        if name in ("start_draft", "start"):
            return WrappedDraft(result, self.about, "draft.")
        if name in ("resume_draft", "resume"):
            draft, held = result
            return WrappedDraft(draft, self.about, "draft."), held
        return result


class WrappedDraft(Wrapped):
    """A draft: only its closing is a call, since that writes what is left."""

    CALLS = frozenset({"close"})


class Losing:
    """Around each call: the store is lost at the call of a number, for that one call or until it is back.

    Args:
        at: Which call, counted from 0, or which of a name, as ``("save", 0)``; None for none of itself.
        how: ``before`` it took effect, or ``after``.
        lasting: How many calls it then stays away, that one counted.
    """

    def __init__(self, at=None, how="before", lasting=1):
        self.at, self.how, self.lasting = at, how, lasting
        self.made, self.away, self.lost = [], False, []
        self._lock, self._left = threading.Lock(), 0

    def __call__(self, name, call):
        if name == "draft.close":
            return call()  # it keeps what it can and raises nothing
        with self._lock:
            begins = self.at == len(self.made) or self.at == (name, self.made.count(name))
            self.made.append(name)
            left, self._left = self.lasting if begins else self._left, 0
            self._left = max(0, left - 1)
        here = left > 0
        if begins and self.how == "after":
            call()
            self.lost.append(name)
            raise UncertainError("the ward's store was lost while it wrote")
        if here or self.away:
            self.lost.append(name)
            raise OutageError("the ward's store cannot be reached")
        return call()
