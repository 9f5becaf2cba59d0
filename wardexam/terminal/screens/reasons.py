"""Why it is urgent now: every reason, the soonest deadline first, and what was done about each."""

import textwrap
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Protocol

from wardexam.errors import WardexamError
from wardexam.exam.act_kinds import ACT_KINDS, act_kinds
from wardexam.exam.identity import heading
from wardexam.exam.moments import clock
from wardexam.exam.text import clean, counted, whole_words
from wardexam.note.limits import LATE, deadline, level_of, limit_words
from wardexam.note.reasons import NOTHING, act_words, by_deadline, image_words, settled_by
from wardexam.note.switched_off import off_lines
from wardexam.reasoning.rules.reason import Reason, Urgency
from wardexam.terminal.canvas import Line
from wardexam.terminal.screens.base import LineScreen
from wardexam.terminal.urgent import STYLES

if TYPE_CHECKING:
    from wardexam.exam.act_kinds import ActKind
    from wardexam.exam.acts import Act
    from wardexam.exam.examination import Patient

LABEL = 10  # columns of what a detail is called
LEVEL = 12  # columns of the level
MARK = "+"  # beside a reason that is marked
SHOWN = 4  # acts that are shown of a reason, the last ones
DIGITS = 9  # reasons that a digit chooses
ACTS = {
    str(digit): kind for digit, kind in enumerate(ACT_KINDS, 1)
}  # what may have been done, by the digit that says it


class Write(Protocol):
    """What writes what was done about reasons, now or by a thread."""

    def __call__(
        self, rules: list[str], kind: "ActKind", what: str, done: "Callable[[Sequence[Act]], None]",
        failed: Callable[[WardexamError], None], /,
    ) -> None:  # fmt: skip
        """Write it; `done` gets what was written, `failed` why nothing was."""


class ReasonsScreen(LineScreen):
    """The reasons of one patient: a digit chooses one, Enter and a digit write what was done about it.

    Args:
        patient: Whose they are.
        urgency: How urgent it is, read anew after each act.
        write: Writes what was done about the reasons of some rules: its kind and its words, empty for the usual
            ones; gives what was written, or why nothing was.
    """

    SCREEN = "reasons"

    def __init__(self, patient: "Patient", urgency: Callable[[], Urgency], write: "Write") -> None:
        super().__init__()
        self._of, self._urgency, self._write = patient, urgency, write
        self.above = 2
        self._chosen = ""  # the rule, wherever the list puts it
        self._marked: set[str] = set()  # the rules that what is written next is about
        self._choosing = False  # the next digit says what was done

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """Every reason, the soonest deadline first."""
        return by_deadline(self._urgency())

    def _at(self, reasons: tuple[Reason, ...]) -> int:
        return next((n for n, r in enumerate(reasons) if r.rule == self._chosen), 0)

    # --- drawing

    def draw(self) -> None:
        """The reasons around the chosen one, and all there is to say of that."""
        urgency, width = self._urgency(), self.size.width - 1
        reasons = by_deadline(urgency)
        bed = f"Why now  bed {clean(self._of.bed)}  "
        count = "one reason" if len(reasons) == 1 else f"{len(reasons)} reasons"
        tails = (
            f"  {count}, {counted(len(urgency.not_asked), 'flag')} not asked",
            f"  {count}",
            "",
        )
        self.show_head(heading(self._of, bed, tails, self.size.width), urgency)
        if not reasons:
            said = [f"{urgency.word.capitalize()}. {urgency.caution}", *off_lines(urgency)]
            lines = [line for text in said for line in textwrap.wrap(text, width)]
            self.canvas("body").show([[(line, "")] for line in lines])
            return
        at = self._at(reasons)
        detail = self._detail(reasons[at], width)
        detail += [
            [(t, "strong")] for text in off_lines(urgency) for t in textwrap.wrap(text, width)
        ]
        room = self.size.height - self.above - 3 - len(detail)
        listed = [self._listed(n, r, width, chosen=n == at) for n, r in enumerate(reasons)]
        self.canvas("body").show([*_around(listed, at, room), [], *detail])

    def _listed(self, number: int, reason: Reason, width: int, *, chosen: bool) -> list[Line]:
        """A reason in the list: level, by when, why."""
        now = self.ward_app.session.now()
        digit = str(number + 1) if number < DIGITS else " "
        marked = MARK if reason.rule in self._marked else " "
        first = f"{self.ward_app.glyphs.pointer if chosen else ' '}{digit}{marked}"
        indent = len(first) + LEVEL + 1
        when = deadline(reason.due, now, now) or settled_by(reason) or limit_words(reason, None)
        wrapped = textwrap.wrap(f"{when}: {reason.said}", width - indent)
        late = when.startswith(LATE)
        style = STYLES[reason.urgency] if not reason.answered or late else "strong"
        word = level_of(reason, now).upper()
        lines: list[Line] = [
            [
                (first, "cursor" if chosen else ""),
                (word, style),
                (" " * (LEVEL + 1 - len(word)), ""),
            ]
        ]
        lines[0].append((wrapped[0], "strong" if late else ""))
        return lines + [[(" " * indent + more, "")] for more in wrapped[1:]]

    def _detail(self, reason: Reason, width: int) -> list[Line]:
        """All there is to say of a reason."""
        now = self.ward_app.session.now()
        since = f"raised {clock(reason.since, now)}" if reason.since else ""
        again = f"again {clock(reason.again, now)}" if reason.again else ""
        by = [limit_words(reason, now), since, again, deadline(reason.due, now, now)]
        said = {
            "First": reason.first or "nothing before the image and the call",
            "Image": image_words(reason),
            "Call": reason.call,
            "By": ", ".join(filter(None, by)),
            "From": reason.origin or "not known",
            "Done": "",
            "Lowered by": reason.lowers or "nothing: its level stays",
            "Source": reason.source,
        }
        lines: list[Line] = []
        for label, text in said.items():
            texts = self._done(reason) if label == "Done" else [text]
            for number, each in enumerate(texts):
                lines += _labelled("" if number else label, each, width)
        return lines

    def _done(self, reason: Reason) -> list[str]:
        """What was done, the last acts."""
        now = self.ward_app.session.now()
        said = [act_words(act, now) for act in reason.acts[-SHOWN:]]
        if len(reason.acts) > SHOWN:
            said.insert(0, f"{len(reason.acts) - SHOWN} earlier acts stand in the note")
        if reason.lowered and not any(a.kind == "lowered" for a in reason.acts):
            said.append(clean(reason.lowered))
        if reason.ended:
            said.append(f"since then: {clean(reason.ended)}")
        return said or [NOTHING]

    # --- keys

    def press(self, key: str, character: str | None) -> None:
        """A digit chooses a reason, or says what was done; other keys as the table says."""
        if self._choosing:
            self._choosing = False
            if key in ACTS:
                self._ask(ACTS[key])
            else:
                self.say("Nothing was written.")
            return
        if not key.isdecimal():
            super().press(key, character)
            return
        reasons, number = self.reasons, int(key)
        if not 1 <= number <= min(len(reasons), DIGITS):
            self.say(f"No reason has the number {number}. Nothing was changed.")
            return
        self._choose(reasons[number - 1])

    def _choose(self, reason: Reason) -> None:
        self._chosen, self.said = reason.rule, ""
        self.redraw()

    def _move(self, by: int) -> None:
        if reasons := self.reasons:
            self._choose(reasons[max(0, min(self._at(reasons) + by, len(reasons) - 1))])

    def do_up(self) -> None:
        """The reason before."""
        self._move(-1)

    def do_down(self) -> None:
        """The next reason."""
        self._move(1)

    def do_mark(self) -> None:
        """Mark the chosen reason, or no more: what is written is about all that are marked."""
        if reasons := self.reasons:
            self._marked ^= {reasons[self._at(reasons)].rule}
            count = len(self._marked)
            self.said = f"{count} marked: what you write is about all of them." if count else ""
            self.redraw()

    def do_act(self) -> None:
        """Ask what was done about it."""
        if not self.reasons:
            self.say("No reason stands to write about.")
            return
        self._choosing = True
        self.say("What was done?")

    def hint_text(self) -> str:
        """What keys do here; what may have been done where that is asked."""
        if self._choosing:
            return "  ".join(f"{digit} {act_kinds()[kind].label}" for digit, kind in ACTS.items())
        return super().hint_text()

    def _ask(self, kind: "ActKind") -> None:
        reasons = self.reasons
        chosen = reasons[self._at(reasons)]
        those = [r for r in reasons if r.rule in self._marked] or [chosen]
        if kind == "lowered" and (stay := [r for r in those if not r.lowers]):
            which = "this one" if len(those) == 1 else f"{len(stay)} of those marked"
            self.say(
                f"Nothing brings {which} down: its level stays. Say why it is not needed instead."
            )
            return
        self._chosen = chosen.rule

        def written(text: str) -> None:
            def done(acts: "Sequence[Act]") -> None:
                self._marked.clear()
                about = "" if len(acts) == 1 else f", about {len(acts)} reasons"
                self.said = f"Written{about}: {act_words(acts[0], self.ward_app.session.now())}."
                self.redraw()

            def failed(error: WardexamError) -> None:
                if self.is_attached:
                    self.ask(
                        act_kinds()[kind].question,
                        written,
                        text,
                        wrong=f"Not written: {error.line}",
                    )

            rules = [r.rule for r in those]
            self._write(rules, kind, " ".join(text.split()), done, failed)

        self.ask(act_kinds()[kind].question, written)

    def draw_status(self) -> None:
        """The status line; what does not fit it is broken at a word."""
        self.said = whole_words(self.said, self.size.width - 1)
        super().draw_status()

    def do_leave(self) -> None:
        """Back."""
        self.dismiss(None)


def _labelled(label: str, text: str, width: int) -> list[Line]:
    wrapped = textwrap.wrap(text, width - LABEL - 1) or [""]
    lines: list[Line] = [[(f"{label:<{LABEL}} ", "accent"), (wrapped[0], "")]]
    return lines + [[(" " * (LABEL + 1) + more, "")] for more in wrapped[1:]]


def _around(listed: list[list[Line]], at: int, room: int) -> list[Line]:
    """The reasons that fit so many lines, the chosen one among them; how many more there are is said."""
    first, last = at, at + 1
    used = len(listed[at])
    whole = sum(map(len, listed)) <= room
    room -= not whole
    while True:
        if (
            first > 0
            and (last == len(listed) or at - first < 1)
            and used + len(listed[first - 1]) <= room
        ):
            first -= 1
            used += len(listed[first])
        elif last < len(listed) and used + len(listed[last]) <= room:
            used += len(listed[last])
            last += 1
        elif first > 0 and used + len(listed[first - 1]) <= room:
            first -= 1
            used += len(listed[first])
        else:
            break
    lines = [line for each in listed[first:last] for line in each]
    if not whole:
        lines.append([(f"   {first} before, {len(listed) - last} after these", "quiet")])
    return lines
