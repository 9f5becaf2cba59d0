"""A tour of one examination: each step says on the last line what to type, and waits until it is typed."""

from collections.abc import Iterable
from dataclasses import dataclass

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.answers import answers_for
from wardexam.terminal.keymap import Keymap
from wardexam.terminal.keys import shown

LITERAL = "'"  # stands before a key that is no action of a table
LEAVE = "escape"
BED = "B3"  # of the demo ward: somebody who is not urgent yet


def typed(word: str) -> tuple[str, ...]:
    """The keys of a word and enter, as a step names them."""
    return (*(f"{LITERAL}{'space' if c == ' ' else c}" for c in word), f"{LITERAL}enter")


def grade(sign: str, code: str) -> str:
    """The key that gives an answer of a sign, as a step names it."""
    answer = answers_for(catalogue()[sign].answers, "conventional").get(code)
    assert answer
    return f"{LITERAL}{answer.key}"


@dataclass(frozen=True, slots=True)
class Step:
    """One step.

    Attributes:
        screen: Whose table of keys names the actions.
        keys: What is to be typed, in its order: actions, and other keys behind `LITERAL`.
        words: What is said, the first key of each action in its place: ``{open}``.
    """

    screen: str
    keys: tuple[str, ...]
    words: str


STEPS = (
    Step("ward", ("open",), "{open} opens an examination of the patient whose line is marked"),
    Step(
        "examine",
        ("find", *typed("biceps")),
        "type {find} biceps enter: the cursor goes to a sign by its name",
    ),
    Step("examine", (grade("biceps", "2+"),), "2 grades the right side normal, and goes on to the left"),
    Step("examine", (grade("biceps", "0"),), "0 grades the left absent: how urgent that is stands at the right"),
    Step("examine", ("undo",), "{undo} takes the last key back"),
    Step(
        "examine",
        ("both", grade("biceps", "2+")),
        "{both} then 2: one grade goes to both sides; what is blank is not examined",
    ),
    Step(
        "examine",
        ("find", *typed("plantar"), grade("plantar", "extensor")),
        "type {find} plantar enter, then 3: it turned up, see the right",
    ),
    Step("examine", ("why", "leave"), "{why} shows why and by when, then {leave} comes back"),
    Step("examine", ("save",), "{save} saves, and shows the note"),
    Step("text", ("copy",), "{copy} copies the note; paste it into the record"),
)  # fmt: skip


class Tour:
    """Leads through the steps; every key is asked of it first.

    Args:
        keymap: The keys of every screen.
        steps: The steps.

    Attributes:
        left: Whether it was left or is over, and the keys do as always.
    """

    def __init__(self, keymap: Keymap, steps: Iterable[Step] = STEPS) -> None:
        self._tables, self._steps = keymap, tuple(steps)
        self._at = self._typed = 0
        self.left = False

    @property
    def words(self) -> str:
        """What is said on the last line; empty once it is left."""
        if self.left:
            return ""
        if self._at == len(self._steps):
            back, keys = (self._first("text", action) for action in ("leave", "help"))
            return f"That was the tour. {back} goes back to the ward, {keys} shows every key."
        step = self._steps[self._at]
        actions = (key for key in step.keys if not key.startswith(LITERAL))
        named = {action: self._first(step.screen, action) for action in actions}
        return f"{self._at + 1} of {len(self._steps)}  {step.words.format(**named)}"

    def take(self, key: str) -> str:
        """Go on with a key; empty where it is the screen's, else what is said of one that it keeps."""
        if self.left:
            return ""
        if key == LEAVE:
            self.left = True
            return "The tour is left; keys do as always."
        if self._at == len(self._steps):
            self.left = True
            return ""
        step = self._steps[self._at]
        wanted = step.keys[self._typed]
        if key not in self._keys(step.screen, wanted):
            now = self._first(step.screen, wanted)
            return (
                f"That was {shown(key)[:12]}: nothing was done. Now {now}; {LEAVE} leaves the tour."
            )
        self._typed += 1
        if self._typed == len(step.keys):
            self._at, self._typed = self._at + 1, 0
        return ""

    def _keys(self, screen: str, key: str) -> tuple[str, ...]:
        if key.startswith(LITERAL):
            return (key.removeprefix(LITERAL),)
        return next(row.keys for row in self._tables[screen] if row.action == key)

    def _first(self, screen: str, key: str) -> str:
        return shown(next(k for k in self._keys(screen, key) if k != LEAVE))
