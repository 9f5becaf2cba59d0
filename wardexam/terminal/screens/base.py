"""What every screen shares: a heading, a body, a status line, a hint line, and typing on the status line."""

from collections.abc import Callable
from typing import TYPE_CHECKING, cast

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.geometry import Size
from textual.screen import Screen

from wardexam.errors import WardexamError
from wardexam.terminal.canvas import Canvas
from wardexam.terminal.environment import has_shell
from wardexam.terminal.keys import Key, action_of, hint, shown
from wardexam.terminal.textual_port import forget_widgets

if TYPE_CHECKING:
    from wardexam.terminal.host import Host

SMALLEST = (80, 24)


class LineScreen(Screen[None]):
    """A screen of plain lines with one key path.

    Subclasses name their table of keys in `SCREEN`, draw in `draw`, and act in ``do_<action>`` methods.
    """

    SCREEN = ""
    BODIES: tuple[str, ...] = ("body",)
    AUTO_FOCUS = ""

    def __init__(self) -> None:
        super().__init__()
        self._typing: tuple[str, str, Callable[[str], None]] | None = None
        self.said = ""

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
        yield Canvas(id="heading")
        with Horizontal(id="bodies"):
            for name in self.BODIES:
                yield Canvas(id=name)
        yield Canvas(id="status")
        yield Canvas(id="hint")

    def canvas(self, name: str) -> Canvas:
        """One of the screen's canvases."""
        return self.query_one(f"#{name}", Canvas)

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

    def redraw(self) -> None:
        """Draw everything, or say what size is needed."""
        width, height = self.size.width, self.size.height
        if not width or not self.query("#hint"):  # not laid out yet, or leaving already
            return
        if width < SMALLEST[0] or height < SMALLEST[1]:
            self.canvas("heading").show(
                [[(f"Needs 80 x 24, has {width} x {height}. Everything is kept.", "strong")]]
            )
            for name in self.BODIES:
                self.canvas(name).show([])
            return
        self.draw()
        self.draw_status()

    def draw_status(self) -> None:
        """The status line: what is being typed, else what was said last; below it the keys."""
        if not self.query("#hint"):  # keys typed ahead are acted on before the screen is there
            return
        if self._typing:
            question, text, _ = self._typing
            self.canvas("status").show([[(f"{question} ", "strong"), (text, ""), (" ", "cursor")]])
            self.canvas("hint").show([[("enter accept   escape leave as it was", "quiet")]])
        else:
            self.canvas("status").show([[(self.said[: self.size.width], "")]])
            self.canvas("hint").show([[(self.hint_text(), "quiet")]])

    def hint_text(self) -> str:
        """What keys do here."""
        return hint(self.keys, self.size.width - 1)

    def say(self, text: str) -> None:
        """Say something on the status line."""
        self.said = text
        self.draw_status()

    # --- keys

    def ask(self, question: str, then: Callable[[str], None], text: str = "") -> None:
        """Type an answer on the status line; `then` gets it on Enter."""
        self._typing = (question, text, then)
        self.draw_status()

    def on_key(self, event: events.Key) -> None:
        """The one key path."""
        event.stop()
        event.prevent_default()
        self.ward_app.touched()
        if self._typing:
            self._type(event)
        else:
            self.press(event.key, event.character)

    def on_mouse(self, event: events.MouseEvent) -> None:
        """The mouse does what keys do, in its turn among them; nothing needs it."""
        self.ward_app.touched()
        wheel = {events.MouseScrollDown: "down", events.MouseScrollUp: "up"}.get(type(event))
        if self._typing:
            return
        if isinstance(event, events.MouseDown):
            self.click(int(event.x), int(event.y))
        elif wheel and any(row.action == wheel for row in self.keys):
            self.do(wheel)

    def click(self, x: int, y: int) -> None:
        """Something was clicked at a column and line."""

    def _type(self, event: events.Key) -> None:
        assert self._typing is not None
        question, text, then = self._typing
        if event.key == "enter":
            self._typing = None
            self.draw_status()
            then(text)
        elif event.key in ("escape", "ctrl+c"):
            self._typing = None
            self.say("Left as it was.")
        else:
            if event.key == "backspace":
                text = text[:-1]
            elif event.character and event.character.isprintable() and len(text) < 500:
                text += event.character
            self._typing = (question, text, then)
            self.draw_status()

    def on_paste(self, event: events.Paste) -> None:
        """A pasted block is text, never keys."""
        event.stop()
        if self._typing:
            question, text, then = self._typing
            pasted = " ".join(event.text.split())
            self._typing = (question, (text + pasted)[:500], then)
            self.draw_status()
        else:
            self.say("Pasted text was ignored here.")

    def press(self, key: str, character: str | None) -> None:
        """Do what a key does here, or say what would be accepted."""
        action = action_of(self.keys).get(key)
        if action is None:
            self.say(f"{character or key}: no such key here. {self.hint_text()}"[: self.size.width])
            return
        self.do(action)

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
