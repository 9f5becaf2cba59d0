"""The story beside the signs: a question at a time, its answers numbered below it, what was told beside the others."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from textual import events

from wardexam.exam.examination import Context, Findings
from wardexam.exam.story import NOT_KNOWN, StoryQuestion, story, told_earlier
from wardexam.exam.text import capital, clean, to_ascii, whole_words
from wardexam.terminal.canvas import Line
from wardexam.terminal.choices import numbered
from wardexam.terminal.screens.search import SearchScreen

if TYPE_CHECKING:
    from wardexam.reasoning.rules.reason import Urgency

NAME = 24  # columns of a question's name


class StoryScreen(SearchScreen):
    """A number answers and goes on; words are typed as far as they are needed; nothing typed leaves it as it is.

    Args:
        title: Whose examination it is.
        context: Gives what is told now.
        answer: Keeps an answer, None where it is not known; whether it was accepted.
        end: Called once when the screen is left.
        urgency: Gives how urgent it is now.
        admitted: Why the patient was admitted, where that is known.
        previous: What stands from earlier in the stay.
    """

    def __init__(
        self,
        title: str,
        context: Callable[[], Context],
        answer: Callable[[StoryQuestion, str | None], bool],
        end: Callable[[], None],
        urgency: "Callable[[], Urgency]",
        admitted: str = "",
        previous: Findings | None = None,
    ) -> None:
        super().__init__()
        self.above, self._urgency = 2, urgency
        self._previous = previous
        self._admitted = admitted
        self._title, self._told, self._keep, self._end = title, context, answer, end
        self._left = False

    @property
    def _asked(self) -> StoryQuestion:
        return story()[self.row]

    def draw(self) -> None:
        """Whose examination it is, every question with its answer, the one that is asked with what may be chosen."""
        self.show_head(self._title, self._urgency())
        told, glyphs = self._told(), self.ward_app.glyphs
        clear = to_ascii if self.ward_app.terminal.ascii else clean
        why = whole_words(f"Admitted for: {clear(self._admitted)}", self.size.width - 1)
        lines: list[Line] = [[(why if self._admitted else "The story", "strong")]]
        for number, question in enumerate(story()):
            here = number == self.row
            code = getattr(told, question.field)
            words, style = question.words(code), "strong"
            if code == question.unknown:
                earlier = told_earlier(question, self._previous)
                words, style = f"{earlier} (earlier)" if earlier else NOT_KNOWN, "quiet"
            lines.append(
                [
                    (f"{glyphs.pointer if here else ' '}{question.name:<{NAME}}", ""),
                    (words, style),
                ]
            )
        lines += [[], self.typed_line(f"{self._asked.ask} ")]
        answers = tuple(answer.words for answer in self._asked.answers)
        lines += [[(line, "")] for line in numbered(answers, self.size.width)]
        lines.append([(f" 0 {NOT_KNOWN}", "quiet")])
        self.canvas("body").show(lines)

    def hint_text(self) -> str:
        """What keys do here."""
        return "a number answers   enter leaves it and goes on   up, down choose   escape back"

    def on_key(self, event: events.Key) -> None:
        """Digits and letters answer; they never grade here."""
        super().on_key(event)
        if self._left:
            self.ward_app.closed_by(event)

    def chosen(self) -> None:
        """Another question is asked."""
        self._go(0)

    def narrowed(self) -> None:
        """A number is taken once no further digit could make another of it."""
        typed, last = self.typed, len(self._asked.answers)
        if typed.isdecimal() and (typed == "0" or int(typed) * 10 > last):
            self.enter()

    def enter(self) -> None:
        """Take what is typed, and ask the next question; after the last, go back."""
        typed = " ".join(self.typed.lower().split())
        if typed and not self._accepted(typed):
            return
        if self.row == len(story()) - 1:
            self._end_here()
            return
        self._go(1)

    def leave(self, event: events.Key) -> None:
        """Back to the examination; backspace only takes letters away."""
        if event.key != "backspace":
            self._end_here()

    def _go(self, by: int) -> None:
        self.row = max(0, min(len(story()) - 1, self.row + by))
        self.clear()
        self.redraw()

    def _accepted(self, typed: str) -> bool:
        asked = self._asked
        answers = asked.answers
        if typed.isdecimal():
            number = int(typed) if len(typed) < 4 else len(answers) + 1
            fits = list(answers[number - 1 : number]) if number else []
            code = fits[0].code if fits else None
        else:
            number = 1
            fits = [a for a in answers if a.words == typed]
            fits = fits or [a for a in answers if a.words.startswith(typed)]
            code = fits[0].code if fits else None
        if number and len(fits) != 1:
            many = ", ".join(answer.words for answer in fits)
            self.say(
                f"Which one: {many}?"
                if many
                else f"'{self.typed[:20]}' is not on the list. Nothing was changed."
            )
            return False
        if not self._keep(asked, code if number else asked.unknown):
            return False
        self.said = f"{capital(asked.name)}: {asked.words(code)}."
        return True

    def _end_here(self) -> None:
        self._left = True
        self.dismiss(None)
        self._end()
