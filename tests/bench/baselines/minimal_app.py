"""The smallest Textual app that shows a list: what start-up is measured against."""

from textual.app import App, ComposeResult
from textual.widgets import Static


class Minimal(App):
    """One widget of text; a key changes it."""

    ENABLE_COMMAND_PALETTE = False

    def compose(self) -> ComposeResult:
        yield Static("Bed 1 ready\n" * 20, id="list")

    def on_key(self) -> None:
        self.query_one("#list", Static).update("Bed 2 pressed\n" * 20)


if __name__ == "__main__":
    Minimal().run(mouse=False)
