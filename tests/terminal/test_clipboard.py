"""The clipboard: which way the text goes, and what the doctor is told."""

import base64
import re
import subprocess
from types import SimpleNamespace

import pytest

from wardexam.terminal.clipboard import OSC52_MOST, osc52, send_to_clipboard


class Screen:
    def __init__(self):
        self.sent = ""

    def send(self, sequence):
        self.sent += sequence

    def copy_to_clipboard(self, text):
        self.send(osc52(text))


def screen():
    return Screen()


def tmux(*, code=0, error=None):
    calls = []

    def run(command, **options):
        calls.append((command, options["input"]))
        if error:
            raise error
        return SimpleNamespace(returncode=code)

    return run, calls


def decoded(sequence):
    return base64.b64decode(re.search(r"52;c;([A-Za-z0-9+/=]*)", sequence)[1]).decode()


@pytest.mark.parametrize("text", ["knee 2+/0", "", "naïve\r\nwith lines", "\x1b]52;c;evil\x07"])
def test_osc52_carries_the_text_and_nothing_else(text):
    sequence = osc52(text)
    assert sequence.startswith("\x1b]52;c;")
    assert sequence.endswith("\x07")
    assert decoded(sequence) == text
    assert sequence.count("\x1b") == 1


def test_the_passthrough_form_doubles_each_escape():
    assert osc52("a", inside_tmux=True) == "\x1bPtmux;\x1b\x1b]52;c;YQ==\x07\x1b\\"


def test_a_text_that_terminals_would_cut_is_not_sent():
    app = screen()
    said = send_to_clipboard(app, "x" * OSC52_MOST, environ={})
    assert app.sent == ""
    assert "Too long" in said


def test_outside_tmux_the_terminal_is_asked():
    app = screen()
    run, calls = tmux()
    said = send_to_clipboard(app, "note", environ={}, run=run)
    assert decoded(app.sent) == "note"
    assert calls == []
    assert "paste to check" in said


def test_inside_tmux_its_buffer_is_filled_by_pipe():
    app = screen()
    run, calls = tmux()
    said = send_to_clipboard(app, "note of Mrs A", environ={"TMUX": "x"}, run=run)
    assert calls == [(["tmux", "load-buffer", "-w", "-"], b"note of Mrs A")]
    assert app.sent == ""
    assert "buffer" in said


@pytest.mark.parametrize(
    "failure",
    [{"code": 1}, {"error": FileNotFoundError()}, {"error": subprocess.TimeoutExpired("tmux", 2)}],
)
def test_where_tmux_does_not_answer_the_text_goes_through_it(failure):
    app = screen()
    run, _ = tmux(**failure)
    said = send_to_clipboard(app, "note", environ={"TMUX": "x"}, run=run)
    assert app.sent.startswith("\x1bPtmux;")
    assert "tmux's buffer" not in said


@pytest.mark.parametrize("environ", [{}, {"TMUX": "x"}])
def test_nobody_is_told_that_it_was_copied(environ):
    run, _ = tmux()
    said = send_to_clipboard(screen(), "note", environ=environ, run=run)
    assert "copied" not in said.lower()
    assert "check" in said
    assert len(said) <= 78
