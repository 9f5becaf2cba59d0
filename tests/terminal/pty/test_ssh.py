"""The whole tool through a real OpenSSH server on loopback, and in a real tmux: as on the ward."""

import base64
import re
import shlex
import signal

import pytest

from tests.terminal.admitting import admission
from tests.terminal.pty.harness import OPEN_NEW, environ, kept, running, until, wardexam
from tests.terminal.pty.servers import sshd, tmux
from wardexam.records.ward import open_ward

REMOTE = (
    "PYTHONPATH",
    "XDG_CACHE_HOME",
    "LANG",
    "HOME",
    "WARDEXAM_EXAMINER",
    "TERM",
    "TMUX",
    "WARDEXAM_BACKGROUND",
)


def remote(server, env, *arguments):
    """The command that runs the tool at the other end."""
    setting = [f"{name}={env[name]}" for name in REMOTE if name in env]
    return server("exec", "env", *map(shlex.quote, [*setting, *wardexam(*arguments)]))


def clipboard(raw):
    """What the terminal at the client's end was asked to keep (OSC 52)."""
    found = re.findall(rb"\x1b\]52;[^;]*;([A-Za-z0-9+/=]+)(?:\x07|\x1b\\)", bytes(raw))
    return [base64.b64decode(text).decode() for text in found]


@pytest.mark.long
@pytest.mark.parametrize("term", ["xterm-256color", "linux", "vt100"])
def test_over_ssh_an_examination_is_entered_and_its_note_reaches_the_clients_clipboard(
    tmp_path, term
):
    env = environ(tmp_path, TERM=term, WARDEXAM_MOUSE=None)
    with sshd(tmp_path) as server, running(remote(server, env, "demo"), env) as session:
        session.wait("12 patients")
        session.send("jj\rm1")
        session.wait("Reflexes and more: core")
        session.send("2222\x1b[A\x1b[B2222001100")
        session.wait("Where (suggestion)")
        session.press("s", "NEUROLOGICAL EXAMINATION")
        session.press("C", "Sent to your terminal")
        session.wait(lambda s: clipboard(s.raw))
        (note,) = clipboard(session.raw)
        assert re.match(r".+, bed \S+.*\nUrgency( at .*)?: ", note)
        assert re.search(r"knee .*jerks? normal \(2\+\)", " ".join(note.split()))
        assert "local policy" in note
        # Over a link nothing asks for mouse reports or for a keyboard protocol.
        assert not re.search(rb"\x1b\[\?100[0236]h|\x1b\[>\d+u", bytes(session.raw))
        session.send("q")
        session.press("", "12 patients")
        session.send("q")
        assert session.ended() == 0


def test_over_ssh_a_burst_lands_in_order_and_a_dropped_link_keeps_the_draft(tmp_path):
    env = environ(tmp_path)
    store = str(tmp_path / "ward")
    with sshd(tmp_path) as server:
        with running(remote(server, env, "--db", store), env) as session:
            session.wait("The ward is empty")
            session.type(admission("B7", "Mo Invented", "40-1", "50"))
            session.wait("Admitted")
            session.send(OPEN_NEW + "20" * 3 + "\x1b[A1")
            session.wait(kept(7))
            session.kill(signal.SIGKILL)  # the client, as when a laptop is shut
            session.ended()
        until(lambda: [d for d in open_ward(tmp_path / "ward").drafts() if not d.held])
        with running(remote(server, env, "--db", store), env) as again:
            again.wait("Draft: B7")
            again.send("\r")
            again.wait(lambda s: re.search(r"biceps +2\+ +0 ", s.text))
            again.wait(lambda s: re.search(r"triceps +1\+ +0 ", s.text))
            again.send("q")
            again.press("", "1 patient,")
            again.send("q")
            assert again.ended() == 0


@pytest.mark.long
def test_in_tmux_the_note_fills_the_buffer_and_reaches_the_terminal_outside(tmp_path):
    env = environ(tmp_path, WARDEXAM_MOUSE=None)
    with (
        tmux(wardexam("demo"), env) as server,
        running(server.attach(), {**env, "TERM": "xterm-256color"}) as client,
    ):
        client.wait("12 patients")
        client.press("n", "NEUROLOGICAL EXAMINATION")
        client.press("C", "In tmux's buffer")
        buffer = server("show-buffer")
        assert buffer.splitlines()[1].startswith("Urgency: ")
        client.wait(lambda s: buffer in clipboard(s.raw))
        client.send("q")
        client.press("", "12 patients")


@pytest.mark.long
def test_where_tmux_has_no_program_at_hand_the_passthrough_form_reaches_the_terminal(tmp_path):
    """Inside a tmux whose command is not found, as in a container: passed through as a string."""
    env = environ(tmp_path)
    inside = {name: env[name] for name in ("HOME", "LANG", "PYTHONPATH")}
    # The tool sees tmux's variables, but no tmux on its path.
    run = ["env", *(f"{k}={v}" for k, v in inside.items()), "PATH=/nowhere", *wardexam("demo")]
    with (
        tmux(run, env, "set -g allow-passthrough on") as server,
        running(server.attach(), {**env, "TERM": "xterm-256color"}) as client,
    ):
        client.wait("12 patients")
        client.press("n", "NEUROLOGICAL EXAMINATION")
        client.press("C", "Sent to your terminal")
        client.wait(lambda s: clipboard(s.raw))
        assert clipboard(client.raw)[0].splitlines()[1].startswith("Urgency: ")


@pytest.mark.long
def test_detached_and_attached_again_everything_is_drawn(tmp_path):
    env = environ(tmp_path)
    with tmux(wardexam("demo"), env) as server:
        with running(server.attach(), {**env, "TERM": "xterm-256color"}) as client:
            client.wait("12 patients")
            client.press("\rm1", "Reflexes and more: core")
            client.press("2", kept(1))
        # The link dropped; tmux went on, and a wider terminal comes.
        with running(server.attach(), {**env, "TERM": "xterm"}, (120, 40)) as client:
            client.wait(kept(1))
            client.press("0", kept(2))
            client.wait(lambda s: "? help" in s.lines[-1] or "? help" in s.lines[-2])


@pytest.mark.long
def test_over_ssh_into_tmux_keys_and_note_go_all_the_way(tmp_path):
    env = environ(tmp_path)
    with tmux(wardexam("demo"), env) as inner, sshd(tmp_path) as server:
        attach = server("exec", "env", "TERM=xterm-256color", *map(shlex.quote, inner.attach()))
        with running(attach, env) as session:
            session.wait("12 patients")
            session.press("\rm1", "Reflexes and more: core")
            session.send("20" * 7)
            session.wait(kept(14))
            session.press("s", "NEUROLOGICAL EXAMINATION")
            session.press("C", "In tmux's buffer")
            session.wait(lambda s: clipboard(s.raw))
            assert clipboard(session.raw)[-1] == inner("show-buffer")
