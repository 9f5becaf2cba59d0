"""A keeper with something around each of its calls: to see who makes it, to let it hang, to lose it."""


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
