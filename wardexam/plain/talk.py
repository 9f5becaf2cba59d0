"""Lines in, lines out: what the line mode asks and hears."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TextIO, TypeVar

from wardexam.errors import InputError
from wardexam.exam.text import clean_lines, folded

Made = TypeVar("Made")
WIDTH = 80  # columns where the terminal does not say
ANSWER = 12  # columns that a question leaves for its answer
# Until the examination begins.
HELP = """\
Type an answer and press Enter. Enter alone leaves what is not known, or takes
what the question says. Ctrl-D or Ctrl-C leaves; nothing that was saved is lost.
Bed     as on the ward's list, such as 7; a bed called H is typed as bed H
Name    of the patient, as on the wristband
Number  of the hospital; where there is none the birth date is asked"""


class Writer(Protocol):
    """Where lines go."""

    def write(self, text: str, /) -> int:
        """Write lines."""
        ...

    def flush(self) -> None:
        """Have them written."""
        ...


class LeavingError(Exception):
    """The doctor leaves, or the input ended; the draft is kept."""


@dataclass
class Talk:
    """Lines in and out.

    Attributes:
        read: Where answers come from.
        write: Where questions go.
        help: What ``h`` says at any question.
        width: Gives how many columns a line has now; a line is broken between words.
        help_words: What is helped with wherever it is typed.

    """

    read: TextIO
    write: Writer
    help: str = HELP
    width: Callable[[], int] = lambda: WIDTH
    help_words: tuple[str, ...] = ("h", "help")

    def say(self, *lines: str) -> None:
        """Print lines."""
        for line in lines:
            self.write.write(folded(clean_lines(line), self.width()) + "\n")
        self.write.flush()

    def ask(self, question: str) -> str:
        """Ask and give the answer, without blanks around it; ``h`` is helped with and asked again.

        Raises:
            LeavingError: The input has ended.
        """
        while True:
            self.write.write(folded(clean_lines(question), self.width() - ANSWER) + " ")
            self.write.flush()
            answer = self.read.readline()
            if not answer:
                raise LeavingError
            if answer.strip().lower() not in self.help_words:
                return answer.strip()
            self.say(self.help)

    def until(self, question: str, read: Callable[[str], Made]) -> Made | None:
        """Ask until the answer can be read; None for Enter alone."""
        while answer := self.ask(question):
            try:
                return read(answer)
            except InputError as error:
                self.say(f"Not accepted: {error}.")
        return None

    def choose(self, question: str, options: list[str]) -> int | None:
        """Ask for one of numbered options; its place from 0, or None for Enter alone."""
        self.say(*(f"{n}. {option}" for n, option in enumerate(options, 1)))
        while True:
            answer = self.ask(question)
            if not answer:
                return None
            number = int(answer) if answer.isdecimal() and len(answer) <= 6 else 0
            if 1 <= number <= len(options):
                return number - 1
            self.say(f"Type a number from 1 to {len(options)}, or Enter alone.")

    def yes(self, question: str) -> bool | None:
        """Ask for y or n; None for Enter alone."""
        while True:
            answer = self.ask(question).lower()
            if answer in ("y", "yes", "n", "no", ""):
                return None if not answer else answer.startswith("y")
            self.say("Type y or n, or Enter alone.")
