"""Through a real tmux and a real OpenSSH server: keys in, clipboard out, a dropped link."""

import base64
import shlex
import signal
import sys
from pathlib import Path

import pytest

from tests.terminal.pty.harness import environ, running, until
from tests.terminal.pty.servers import sshd, tmux
from wardexam.terminal.clipboard import osc52

PROBE = str(Path(__file__).parent / "probe.py")
TEXT = "note of\nMrs Secret"
ENCODED = base64.b64encode(TEXT.encode())


def probe(log):
    return [sys.executable, PROBE, str(log)]


def test_inside_tmux_the_clipboard_fills_the_buffer_and_reaches_the_terminal_outside(tmp_path):
    env = environ(tmp_path)
    with tmux(probe(tmp_path / "log"), env) as server:
        server.wait("ready")
        with running(server.attach(), {**env, "TERM": "xterm-256color"}) as client:
            client.wait("ready")
            client.press("c", "In tmux's buffer")
            assert server("show-buffer") == TEXT
            client.wait(lambda s: b"\x1b]52;" in s.raw and ENCODED in s.raw)


def test_the_passthrough_form_passes_through_tmux_where_tmux_allows_it(tmp_path):
    env = environ(tmp_path)
    say = f"printf %s {shlex.quote(osc52(TEXT, inside_tmux=True))}; echo said; read end"
    with (
        tmux(["sh", "-c", f"read start; {say}"], env, "set -g allow-passthrough on") as server,
        running(server.attach(), {**env, "TERM": "xterm-256color"}) as client,
    ):
        client.quiet()
        client.press("\r", "said")
        client.wait(lambda s: b"\x1b]52;c;" + ENCODED in s.raw)


def test_a_burst_through_tmux_keeps_its_order(tmp_path):
    log = tmp_path / "log"
    with tmux(probe(log), environ(tmp_path)) as server:
        server.wait("ready")
        for _ in range(10):
            server("send-keys", *["1", "Down", "2", "Up", "Escape"] * 4)
        server.wait("count 200 ")
        assert log.read_text().split() == ["1", "down", "2", "up", "escape"] * 40


def over_ssh(server, log, env):
    setting = [f"{name}={env[name]}" for name in ("PYTHONPATH", "LANG")]
    return server("exec", "env", *map(shlex.quote, setting), *map(shlex.quote, probe(log)))


@pytest.mark.long
def test_over_ssh_the_clipboard_sequence_arrives_at_the_client(tmp_path):
    env, log = environ(tmp_path), tmp_path / "log"
    with sshd(tmp_path) as server, running(over_ssh(server, log, env), env) as session:
        session.wait("ready")
        session.send("12\x1b[B")
        session.wait("count 3 last down")
        session.press("c", "Sent to your terminal")
        assert osc52(TEXT).encode() in session.raw
        session.send("q")
        assert session.ended() == 0


@pytest.mark.long
def test_a_dropped_ssh_link_ends_the_program_with_the_draft_kept(tmp_path):
    env, log = environ(tmp_path), tmp_path / "log"
    with sshd(tmp_path) as server, running(over_ssh(server, log, env), env) as session:
        session.wait("ready")
        session.press("1", "count 1")
        session.kill(signal.SIGKILL)  # the client, as when a laptop is shut
        session.ended()
        until(lambda: log.read_text().split() == ["1", "kept"])
