"""What every screen shares: a heading, a body, a status line, a hint line, and typing on the status line."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, cast

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.geometry import Offset, Size
from textual.screen import Screen

from wardexam.errors import WardexamError
from wardexam.terminal.canvas import Canvas, Line, wrapped
from wardexam.terminal.environment import has_shell
from wardexam.terminal.keys import Key, action_of, hint, shown
from wardexam.terminal.question import YES, Question, Then
from wardexam.terminal.textual_port import burst_of, forget_widgets
from wardexam.terminal.urgent import urgent_line

if TYPE_CHECKING:
    from wardexam.reasoning.rules.reason import Urgency
    from wardexam.terminal.host import Host

SMALLEST = (80, 24)
MOST = 1000  # pages, more than any list has
# Keys that move by pages where they have no action of their own: the arrows do the same, so that no table names them.
PAGING = {"pageup": -1, "pagedown": 1, "home": -MOST, "end": MOST}


class LineScreen(Screen[None]):
    """A screen of plain lines with one key path.

    Subclasses name their table of keys in `SCREEN`, draw in `draw`, and act in ``do_<action>`` methods.
    """

    SCREEN = ""
    BODIES: tuple[str, ...] = ("body",)
    AUTO_FOCUS = ""

    def __init__(self) -> None:
        super().__init__()
        self._question: Question | None = None
        self._pasted = 0  # the burst that held more than one line
        self._status_lines = 1
        self.said = ""
        self.above = (
            1  # lines of the heading; a second one says how urgent the patient is that shows
        )

    @property
    def ward_app(self) -> "Host":
        """The app, as a screen sees it."""
        return cast("Host", self.app)

    @property
    def size(self) -> Size:
        """The terminal's size, known before the screen is laid out, so that the first paint is whole."""
        return self.app.size

    @property
    def keys(self) -> tuple[Key, ...]:
        """What keys do here, the user's own in their places."""
        return self.ward_app.keymap.get(self.SCREEN, ())

    def key(self, action: str) -> str:
        """The first key of an action, as it is written on a keyboard."""
        return next((shown(row.keys[0]) for row in self.keys if row.action == action), "")

    def compose(self) -> ComposeResult:
        """Heading, bodies side by side, status, hint."""
        heading = Canvas(id="heading")
        heading.styles.height = self.above
        yield heading
        with Horizontal(id="bodies"):
            for name in self.BODIES:
                yield Canvas(id=name)
        yield Canvas(id="status")
        yield Canvas(id="hint")

    def canvas(self, name: str) -> Canvas:
        """One of the screen's canvases."""
        return self.query_one(f"#{name}", Canvas)

    @property
    def there(self) -> bool:
        """Whether its canvases are there: not before they are laid out, nor while it is being left."""
        return len(self.query(Canvas)) == len(("heading", *self.BODIES, "status", "hint"))

    def on_mount(self) -> None:
        """Draw."""
        self.redraw()

    def on_resize(self, event: events.Resize) -> None:
        """Draw for the new size."""
        self.redraw()

    def on_unmount(self) -> None:
        """Leave nothing of this screen behind."""
        forget_widgets()

    def on_screen_resume(self) -> None:
        """Draw again on coming back."""
        self.redraw()

    # --- drawing

    def draw(self) -> None:
        """Draw heading and bodies."""

    def show_head(self, heading: str, urgency: "Urgency | None" = None) -> None:
        """Show what the screen is and whose, and below it how urgent that patient is.

        Args:
            heading: What and whose.
            urgency: How urgent; None where no patient shows.
        """
        lines: list[Line] = [[(heading, "accent")]]
        if urgency is not None:
            now, width = self.ward_app.session.now(), self.size.width
            lines.append(urgent_line(urgency, width, now=now, key=self.key("why")))
        self.canvas("heading").show(lines)

    def redraw(self) -> None:
        """Draw everything, or say what size is needed."""
        width, height = self.size.width, self.size.height
        if not width or not self.there:
            return
        if self.unseen:
            needs = wrapped(f"Needs 80 x 24, has {width} x {height}. {self.unseen_words}.", width)
            self.canvas("heading").show([[(needs[0], "strong")]])
            for name in (*self.BODIES, "status", "hint"):
                self.canvas(name).show([])
            # Beside each other some bodies are narrow; the status has the whole width.
            self.show_status([[(line, "strong")] for line in needs[1:]])
            return
        self.draw()
        self.draw_status()

    def draw_status(self) -> None:
        """The status line: what is being typed, else what was said last; below it the keys."""
        if not self.there:  # keys typed ahead are acted on before
            return
        if self.unseen:
            return
        if self._question:
            width, height = self.size
            lines, column = self._question.lines(width)
            lines = lines[-(height // 2) :]
            self.show_status(lines)
            keys = "" if self._question.one_key else "enter accept   escape leave as it was"
            self.app.cursor_position = Offset(column, height - 2)
        else:
            self.show_status([[(line, "")] for line in wrapped(self.said, self.size.width)])
            keys = self.hint_text()
        led = self.ward_app.led
        self.canvas("hint").show([[(led or keys, "accent" if led else "quiet")]])

    def show_status(self, lines: list[Line]) -> None:
        """Show the status in as many lines as it has; what stands above gives the room."""
        status = self.canvas("status")
        if self._status_lines != len(lines):
            self._status_lines = len(lines)
            status.styles.height = len(lines)
        status.show(lines)

    def hint_text(self) -> str:
        """What keys do here."""
        return hint(self.keys, self.size.width - 1)

    def say(self, text: str) -> None:
        """Say something on the status line."""
        self.said = text
        self.draw_status()

    def refused(self, error: WardexamError) -> None:
        """Say why something of the store could not be done."""
        self.say(error.line)

    # --- keys

    def ask(
        self, question: str, then: Then, text: str = "", choices: Sequence[str] = (), wrong: str = ""
    ) -> None:  # fmt: skip
        """Ask for an answer that is typed.

        Args:
            question: What is asked.
            then: Gets the answer on Enter. Where it gives what is wrong with it, the question stays with what was typed.
            text: What stands in the answer's place at first.
            choices: What may be answered, shown above the question.
            wrong: What is wrong with that text, where it was answered already.
        """
        self._question = Question(question, then, text, choices)
        self._question.wrong = wrong
        self.draw_status()

    def confirm(
        self,
        question: str,
        then: Callable[[], None],
        about: Sequence[str] = (),
        *,
        yes: tuple[str, ...] = YES,
    ) -> None:
        """Ask for a yes by one key; any other leaves all as it is.

        Args:
            question: What is asked, with the keys.
            then: Follows on a yes.
            about: What it is about, shown above the question.
            yes: The keys that are a yes.
        """

        def answered(text: str) -> None:
            if text == "y":
                then()
            else:
                self.say("Nothing was changed.")

        self._question = Question(question, answered, choices=about, one_key=True, yes=yes)
        self.draw_status()

    @property
    def ready(self) -> bool:
        """Whether keys can be acted on: not before what they act on was read."""
        return True

    @property
    def asking(self) -> bool:
        """Whether a question is being answered."""
        return self._question is not None

    @property
    def unseen(self) -> bool:
        """Whether the terminal is too small to show what keys do."""
        return self.size.width < SMALLEST[0] or self.size.height < SMALLEST[1]

    @property
    def unseen_words(self) -> str:
        """What a terminal too small to show more still says: whether all is kept, and the way out."""
        return f"Everything is kept; {self.key('leave') or 'escape'} leaves"

    @property
    def lasting(self) -> str:
        """What stays said at every key: trouble that is not over."""
        return ""

    def on_key(self, event: events.Key) -> None:
        """The one key path."""
        event.stop()
        event.prevent_default()
        self.ward_app.touched()
        if self.unseen:
            self._press_unseen(event.key)
        elif self._question:
            self._type(event)
        else:
            before, self.said = self.said, self.lasting
            self.press(event.key, event.character)
            # What is opening takes this place, or is said here.
            if before and self.said == self.lasting and not self.ward_app.calls.holding:
                self.draw_status()

    def opens_text(self, key: str) -> bool:
        """Whether a line is typed after a key: one that is no answer does it all the same, or what is typed would be keys."""
        return action_of(self.keys).get(key) in ("find", "commands")

    def _press_unseen(self, key: str) -> None:
        """Nothing is done that nobody sees: only leaving is."""
        if key in ("escape", "ctrl+c") and self._question:
            self._question = None
        elif action_of(self.keys).get(key) == "leave":
            self.do("leave")

    def is_line_break(self, event: events.Key) -> bool:
        """Whether an Enter stands within text that came in one piece: it then accepts nothing."""
        burst = burst_of(event)
        if event.key != "enter" or not burst.number:
            return False
        if burst.more:
            self._pasted = burst.number
        return burst.number == self._pasted

    def on_mouse(self, event: events.MouseEvent) -> None:
        """The mouse does what keys do, in its turn among them; nothing needs it."""
        self.ward_app.touched()
        wheel = {events.MouseScrollDown: "down", events.MouseScrollUp: "up"}.get(type(event))
        if self.asking or self.unseen:
            return
        if isinstance(event, events.MouseDown):
            self.click(int(event.x), int(event.y))
        elif wheel and any(row.action == wheel for row in self.keys):
            self.do(wheel)

    def click(self, x: int, y: int) -> None:
        """Something was clicked at a column and line."""

    def _type(self, event: events.Key) -> None:
        assert self._question is not None
        question = self._question
        if question.one_key:
            text = "y" if event.key in question.yes else ""
            self._accept(question, event, text)
            if not (text or self._question) and self.opens_text(event.key):
                self.press(event.key, event.character)
        elif self.is_line_break(event):
            question.line.insert(" ")
        elif event.key == "enter":
            self._accept(question, event, question.line.text)
            return
        elif event.key in ("escape", "ctrl+c"):
            self._question = None
            self.ward_app.closed_by(event)
            self.say("Left as it was.")
            return
        else:
            question.line.press(event)
        self.draw_status()

    def _accept(self, question: Question, event: events.Key, text: str) -> None:
        """Give the answer on; what is wrong with it is shown, and what was typed stays."""
        self._question, self.said = None, self.lasting
        wrong = question.then(text)
        if wrong:
            question.wrong, self._question = wrong, question
        self.ward_app.closed_by(event)
        self.draw_status()

    def on_paste(self, event: events.Paste) -> None:
        """A pasted block is text, never keys."""
        event.stop()
        if self._question:
            self._question.line.insert(event.text)
            self.draw_status()
        else:
            self.say("Pasted text was ignored here.")

    def press(self, key: str, character: str | None) -> None:
        """Do what a key does here, or say what would be accepted."""
        action = action_of(self.keys).get(key)
        if action is None and key in PAGING and self.paged(PAGING[key]):
            return
        if action is None:
            seen = character and character.isprintable() and not character.isspace()
            typed = character if seen else key.replace("+", "-")
            shown = self.key("help")  # none where they are shown already
            self.say(f"{typed}: no such key here{f'; {shown} shows them all' if shown else ''}.")
            return
        self.do(action)

    def paged(self, pages: int) -> bool:
        """Move by so many pages; whether there is anything here to move in."""
        return False

    def do(self, action: str) -> None:
        """Do an action of this screen; what the store refuses is said, and nothing is left half done."""
        try:
            self.act(action)
        except WardexamError as error:
            self.say(error.line)
        except OSError as error:
            self.say(
                f"Not done: {error.strerror or type(error).__name__}. Everything entered is kept."
            )

    def act(self, action: str) -> None:
        """Do an action by the method of its name."""
        getattr(self, f"do_{action}")()

    def do_help(self) -> None:
        """Show the keys of this screen."""
        self.ward_app.show_help(self.keys)

    def do_commands(self) -> None:
        """Show every command of this screen, to search and run."""
        self.ward_app.show_commands(self.keys, self.do)

    def do_suspend(self) -> None:
        """To the shell, where there is one to come back from."""
        if has_shell():
            self.app.action_suspend_process()
        else:
            self.say("No shell to go to here. Everything is kept; leave as shown below.")

    def do_repaint(self) -> None:
        """Draw everything, whatever else has drawn on the terminal."""
        self.ward_app.drawn_over()
        self.refresh(layout=True)
