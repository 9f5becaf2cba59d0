"""The smallest app on the driver: writes down every key and paste that reaches it.

Usage: probe.py LOG [stock|ours] [ascii] [crash]
"""

import os
import sys

from wardexam.terminal.environment import prepare

if os.environ.get("PROBE_PREPARE", "1") == "1":
    prepare(os.environ)

from textual.app import App, ComposeResult
from textual.widgets import Static

from wardexam import signals
from wardexam.terminal import clipboard, textual_port

LOG, OPTIONS = sys.argv[1], sys.argv[2:]


class Probe(App):
    ENABLE_COMMAND_PALETTE = False

    def compose(self) -> ComposeResult:
        self.count = 0
        yield Static("ready", id="said")

    def note(self, what):
        with open(LOG, "a") as log:
            log.write(what + "\n")
        self.count += 1
        self.query_one("#said", Static).update(
            f"count {self.count} last {what}\n" + f"{self.count:<70}\n" * 20
        )

    def on_key(self, event):
        if event.key == "exclamation_mark":
            patient = "Mrs Secret"
            raise KeyError(patient)
        if event.key == "q":
            self.exit()
        if event.key == "c":
            said = clipboard.send_to_clipboard(self, "note of\nMrs Secret")
            self.query_one("#said", Static).update(said)
            return
        if event.key == "full_stop":
            self.query_one("#said", Static).update("żółw ✓ 神経 é")
            return
        self.note(event.key)

    def on_paste(self, event):
        self.note("paste " + repr(event.text))


class OurProbe(textual_port.PortedApp, Probe):
    pass


def keep(timeout):
    with open(LOG, "a") as log:
        log.write("kept\n")


if "stock" in OPTIONS:
    Probe().run(mouse=False)
else:
    app = None
    ending = signals.Ending(
        keep=keep,
        leave=lambda: app.leave(),
        restore=lambda: app.give_back(),
    )
    app = OurProbe(
        driver_class=textual_port.driver_for(ascii_only="ascii" in OPTIONS, hung_up=ending.hang_up)
    )
    with signals.watch(ending):
        app.run(mouse=False)
    sys.exit(ending.code or app.return_code or 0)
