"""What makes up for Textual: what it gives, and that Textual alone still does not give it.

When a test of the second kind fails, upstream has mended the fault: delete what makes up for it.
"""

import ast
import asyncio
import ctypes
import re
import signal
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from rich.style import Style
from rich.text import Text
from textual._xterm_parser import XTermParser
from textual.app import App
from textual.color import Color
from textual.drivers.linux_driver import LinuxDriver
from textual.screen import Screen
from textual.strip import Strip
from textual.widget import Widget
from textual.widgets import Static

from tests.terminal.pty.harness import environ, running
from wardexam.terminal import textual_port

PROBE = str(Path(__file__).parent / "pty" / "probe.py")


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "log"
    path.touch()
    return path


def probe(log, *options, ignore=(), **env):
    command = [sys.executable, PROBE, str(log), *options]
    return running(command, environ(log.parent, **env), ignore=ignore)


def keys(log) -> list[str]:
    return log.read_text().split("\n")[:-1]


def told(log, wanted):
    """A condition: the log ends with these lines."""
    return lambda _: keys(log)[-len(wanted) :] == wanted


# -- a byte that is not UTF-8 (textual#6456)


def test_a_latin1_letter_is_that_letter(log):
    with probe(log) as session:
        session.wait("ready")
        session.send(b"1\xe92")
        session.wait(told(log, ["1", "é", "2"]))
        session.send(b"\xe9")
        session.wait(told(log, ["2", "é"]))
        session.send("é3")
        session.wait(told(log, ["é", "é", "3"]))


def test_textual_alone_ends_with_a_traceback_on_a_latin1_letter(log):
    with probe(log, "stock") as session:
        session.wait("ready")
        session.send(b"1\xe92")
        session.ended()
        assert b"UnicodeDecodeError" in session.raw


# -- a sequence or a paste that the link cuts


CUT = [(b"\x1b[1", b"~"), (b"\x1b[1", b"5~"), (b"\x1b", b"[15~"), (b"\x1b[", b"B")]


@pytest.mark.parametrize(("first", "rest"), CUT)
def test_a_sequence_cut_in_two_never_gives_a_digit(log, first, rest):
    with probe(log, ESCDELAY="30") as session:
        session.wait("ready")
        session.send(first)
        if first == b"\x1b":
            session.wait(told(log, ["escape"]))
        else:
            session.quiet(0.3)
        session.send(rest)
        session.send("z")
        session.wait(told(log, ["z"]))
        assert set(keys(log)) <= {"z", "escape", "home", "f5", "down"}


def test_textual_alone_turns_the_rest_of_a_cut_sequence_into_keys(log):
    with probe(log, "stock", ESCDELAY="30") as session:
        session.wait("ready")
        session.send(b"\x1b[1")
        session.wait(lambda _: "1" in keys(log))


def test_a_paste_is_one_event_whatever_it_holds(log):
    block = "\x1b[200~2\x1b[31;42;2222222222222222222222222222222222222222m\r3\x1b[201~"
    with probe(log) as session:
        session.wait("ready")
        session.send(block + "z")
        session.wait(told(log, ["z"]))
        assert [k.split()[0] for k in keys(log)] == ["paste", "z"]


def test_textual_alone_types_a_long_sequence_within_a_paste(log):
    block = "\x1b[200~\x1b[31;42;2222222222222222222222222222222222222222m\x1b[201~"
    with probe(log, "stock") as session:
        session.wait("ready")
        session.send(block + "z")
        session.wait(lambda _: "2" in keys(log))


def test_escape_and_a_key_typed_ahead_stay_two_keys(log):
    with probe(log) as session:
        session.wait("ready")
        session.send("\x1b2\x1b[B3")
        session.wait(told(log, ["escape", "2", "down", "3"]))


# -- a terminal that does not read


def handled_unread(session, log, number):
    """How many of so many keys are handled while nothing is read from the terminal."""
    sent, handled, moved = 0, 0, time.monotonic()
    while handled < number and time.monotonic() - moved < 1.5:
        if sent == handled and sent < number:
            session.send("ab")
            sent += 2
        time.sleep(0.002)
        if (now := len(keys(log))) != handled:
            handled, moved = now, time.monotonic()
    return handled


@pytest.mark.long
def test_keys_are_handled_while_the_link_stalls_and_nothing_drawn_is_lost(log):
    with probe(log) as session:
        session.wait("ready")
        assert handled_unread(session, log, 600) == 600
        session.wait("count 600 last b")


@pytest.mark.long
def test_textual_alone_stops_handling_keys_while_the_link_stalls(log):
    with probe(log, "stock") as session:
        session.wait("ready")
        assert handled_unread(session, log, 600) < 600


# -- a terminal that is gone (textual#5140)


@pytest.mark.parametrize("ignore", [(), (signal.SIGHUP,)])
def test_a_hang_up_ends_with_the_draft_kept(log, ignore):
    with probe(log, ignore=ignore) as session:
        session.wait("ready")
        session.send("12")
        session.wait("count 2")
        session.hang_up()
        assert session.ended(10) == 128 + signal.SIGHUP
        assert keys(log)[-1] == "kept"


@pytest.mark.long
def test_textual_alone_runs_on_without_a_terminal(log):
    with probe(log, "stock", ignore=[signal.SIGHUP]) as session:
        session.wait("ready")
        session.hang_up()
        with pytest.raises(AssertionError, match="still running"):
            session.ended(2)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_ends_with_the_draft_kept_and_the_terminal_restored(log, number):
    with probe(log) as session:
        session.wait("ready")
        session.kill(number)
        assert session.ended(10) == 128 + number
        assert keys(log)[-1] == "kept"
        assert session.modes() == session.modes_before
        assert session.raw.rfind(b"\x1b[?1049l") > session.raw.rfind(b"\x1b[?1049h")


def test_a_stalled_terminal_does_not_hold_the_end_up(log):
    with probe(log) as session:
        session.wait("ready")
        handled_unread(session, log, 600)
        session.kill(signal.SIGTERM)
        session.process.wait(10)
        assert session.process.returncode == 128 + signal.SIGTERM
        assert session.modes() == session.modes_before


# -- stopping and going on


@pytest.mark.parametrize("stop", [signal.SIGTSTP, signal.SIGSTOP])
def test_going_on_after_a_stop_repaints_and_reads_keys_once(log, stop):
    with probe(log) as session:
        session.wait("ready")
        session.kill(stop)
        session.wait(lambda s: Path(f"/proc/{s.process.pid}/stat").read_text().split()[2] == "T")
        session.quiet()
        session.screen.reset()
        session.kill(signal.SIGCONT)
        session.wait("ready")
        session.send("12")
        session.wait(told(log, ["1", "2"]))
        assert keys(log) == ["1", "2"]
        session.send("q")
        assert session.ended() == 0
        assert session.modes() == session.modes_before


def kill_other_thread(session, number):
    """Send a signal to a thread that does not run the event loop, as the kernel may."""
    threads = {int(path.name) for path in Path(f"/proc/{session.process.pid}/task").iterdir()}
    other = max(threads - {session.process.pid})
    assert ctypes.CDLL(None).tgkill(session.process.pid, other, number) == 0


@pytest.mark.long
def test_a_signal_that_another_thread_takes_is_answered_without_a_key(log):
    with probe(log) as session:
        session.wait("ready")
        session.quiet()
        session.screen.reset()
        kill_other_thread(session, signal.SIGCONT)
        session.wait("ready")
        session.quiet()
        kill_other_thread(session, signal.SIGTERM)
        assert session.ended() == 128 + signal.SIGTERM
        assert keys(log) == ["kept"]


def test_textual_alone_leaves_such_a_signal_until_the_next_key(log):
    with probe(log, "stock") as session:
        session.wait("ready")
        session.quiet()
        kill_other_thread(session, signal.SIGCONT)
        session.quiet()
        assert session.raw.count(b"\x1b[?1049h") == 1
        session.send("1")
        session.wait(lambda s: s.raw.count(b"\x1b[?1049h") == 2)


# -- the program's own faults


def test_a_fault_of_the_program_is_one_line_without_names(log):
    with probe(log) as session:
        session.wait("ready")
        session.send("!")
        assert session.ended() == 1
        assert b"kept as a draft" in session.raw
        assert b"Secret" not in session.raw
        assert b"Traceback" not in session.raw


def test_textual_alone_prints_every_local_variable(log):
    with probe(log, "stock") as session:
        session.wait("ready")
        session.send("!")
        session.ended()
        assert b"Secret" in session.raw


# -- ASCII only


def test_in_ascii_mode_no_other_byte_leaves(log):
    with probe(log, "ascii") as session:
        session.wait("ready")
        session.press(".", "???w ? ???? ?")
        assert max(session.raw) < 0x80


def test_no_mouse_report_and_no_keyboard_protocol_is_asked_for(log):
    with probe(log) as session:
        session.wait("ready")
        session.send("q")
        assert session.ended() == 0
        assert not re.search(rb"\x1b\[\?10(?:00|02|03|06|15|16)h|\x1b\[>\d+u", session.raw)


# -- what Textual keeps to itself is touched in one module, and is there

TERMINAL = Path(textual_port.__file__).parent
ELSEWHERE = sorted(p for p in TERMINAL.rglob("*.py") if p != Path(textual_port.__file__))
# What a class of ours may be made from, as made, so that what is set in __init__ is known as well.
FRAMEWORK = [App(), Screen(), Widget(), Strip([]), Style(), Text(), LinuxDriver, XTermParser]
PRIVATE = {name for made in FRAMEWORK for name in dir(made) if re.match(r"_[a-z]", name)}


def private_names(path):
    """The framework's private names that a module reads, sets, overrides or imports."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Attribute) and node.attr in PRIVATE:
            yield node.attr, node.lineno
        elif isinstance(node, ast.ClassDef):
            methods = (
                d for d in node.body if isinstance(d, ast.FunctionDef | ast.AsyncFunctionDef)
            )
            yield from ((d.name, d.lineno) for d in methods if d.name in PRIVATE)
        elif isinstance(node, ast.ImportFrom | ast.Import):
            names = [getattr(node, "module", None) or "", *(a.name for a in node.names)]
            for name in names:
                if re.search(r"^(textual|rich)\..*\b_", name) or (
                    re.match(r"textual|rich", names[0]) and name.startswith("_")
                ):
                    yield name, node.lineno


@pytest.mark.parametrize("path", ELSEWHERE, ids=lambda p: str(p.relative_to(TERMINAL)))
def test_no_other_module_touches_what_the_framework_keeps_to_itself(path):
    assert list(private_names(path)) == []


def test_every_private_name_of_the_module_is_in_its_table_and_in_textual():
    touched = {name.rpartition(".")[2] for name, _ in private_names(Path(textual_port.__file__))}
    touched -= {"_app"}
    assert {"_display", "_fatal_error", "_batch_count", "_closed", "_styles_cache"} <= touched
    table = textual_port.__doc__
    for name in touched:
        assert name in table, name
    for owner, name in (
        (App, "_display"), (App, "_fatal_error"), (App(), "_batch_count"), (App(), "_closed"),
        (Widget(), "_layout_required"), (LinuxDriver, "_sigcont_application"), (LinuxDriver, "_enable_mouse_support"),
    ):  # fmt: skip
        assert hasattr(owner, name), name


def test_textual_alone_keeps_the_widgets_of_screens_that_are_gone():
    from textual._styles_cache import StylesCache

    textual_port.forget_widgets()
    assert StylesCache.get_inner_outer.cache_info().currsize == 0
    StylesCache().get_inner_outer(Color.parse("red"), Color.parse("blue"))
    assert StylesCache.get_inner_outer.cache_info().currsize == 1
    textual_port.forget_widgets()
    assert StylesCache.get_inner_outer.cache_info().currsize == 0


class Drawing(textual_port.PortedApp):
    """An app of one line, on a terminal that is a list."""

    def __init__(self):
        super().__init__()
        self.shown = []

    def compose(self):
        yield Static("ready")

    def show_strips(self, strips):
        self.shown += [(y, x, strip.text.strip()) for y, x, strip in strips]
        return True


async def test_what_textual_draws_comes_as_strips_with_their_places():
    app = Drawing()
    async with app.run_test(size=(20, 4)) as pilot:
        assert not app.draws
        app.wire = SimpleNamespace(write=app.shown.append)
        assert app.draws
        app.query_one(Static).update("other")
        await pilot.pause(0.1)
        assert (0, 0, "other") in app.shown
        with app.batch_update():
            assert not app.draws
        assert app.draws
        assert textual_port.place_holds(app.screen)
        app.query_one(Static).refresh(layout=True)
        assert not all(map(textual_port.place_holds, [app.query_one(Static)]))
        app.send("sequence")
        assert app.shown[-1] == "sequence"
        app.wire = None
    assert not app.draws


async def test_leaving_may_be_asked_from_any_thread():
    app = Drawing()
    async with app.run_test() as pilot:
        await asyncio.to_thread(app.leave)
        await pilot.pause(0.1)
        assert app.return_code == 0
