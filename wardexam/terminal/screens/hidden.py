"""Nothing to see: shown on demand and after idle minutes."""

from textual import events

from wardexam.terminal.screens.base import LineScreen


class HiddenScreen(LineScreen):
    """An empty screen that any key takes away; that key does nothing else."""

    def draw(self) -> None:
        """Say why it is empty."""
        self.canvas("heading").show([[("Hidden. Any key shows the ward again.", "strong")]])
        self.canvas("body").show([[("This is no lock: lock the terminal itself.", "")]])

    def hint_text(self) -> str:
        """No keys."""
        return ""

    def on_mouse(self, event: events.MouseEvent) -> None:
        """Only a key shows again."""

    def on_key(self, event: events.Key) -> None:
        """Show again."""
        event.stop()
        event.prevent_default()  # the base's handler would run as well
        self.ward_app.touched()
        self.dismiss(None)
