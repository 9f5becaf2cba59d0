"""A real tmux and a real OpenSSH server on loopback, each with its own files and its own end."""

import contextlib
import getpass
import os
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.terminal.pty.harness import LONG


def program(name: str) -> str:
    """The path of an installed program; the gate (`.ci/run`) installs it, elsewhere it may lack."""
    found = shutil.which(name, path=os.environ.get("PATH", "") + ":/usr/sbin:/usr/local/sbin")
    if not found:
        pytest.skip(f"{name} is not installed: this test drives the real one")
    return found


@dataclass
class Tmux:
    """One tmux server with one session of 80x24."""

    command: list[str]
    env: dict[str, str]

    def __call__(self, *arguments: str) -> str:
        """Run a tmux command; what it prints."""
        done = subprocess.run(
            [*self.command, *arguments], env=self.env, capture_output=True, text=True, timeout=LONG
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def wait(self, wanted: str, timeout: float = LONG) -> str:
        """Wait until the pane shows a text; the pane."""
        end = time.monotonic() + timeout
        while wanted not in (pane := self("capture-pane", "-p")):
            assert time.monotonic() < end, f"never came: {wanted!r}; the pane:\n{pane}"
            time.sleep(0.05)
        return pane

    def attach(self) -> list[str]:
        """The command of a client."""
        return [*self.command, "attach"]


@contextlib.contextmanager
def tmux(run: Sequence[str], env: Mapping[str, str], *settings: str) -> Iterator[Tmux]:
    """A tmux server that runs a command, without the user's configuration.

    Args:
        run: The command of the session.
        env: The whole environment.
        settings: Lines of tmux configuration.
    """
    # A socket's path must be short.
    with tempfile.TemporaryDirectory(prefix="wx") as folder:
        config = Path(folder) / "conf"
        config.write_text("\n".join(["set -g status off", *settings]) + "\n")
        base = [program("tmux"), "-S", f"{folder}/s", "-f", str(config)]
        server = Tmux(base, {**env, "TERM": "xterm-256color"})
        server("new-session", "-d", "-x", "80", "-y", "24", *run)
        try:
            yield server
        finally:
            subprocess.run(
                [*base, "kill-server"], env=server.env, capture_output=True, timeout=LONG
            )


@dataclass
class Sshd:
    """An OpenSSH server and how to reach it."""

    client: list[str]

    def __call__(self, *remote: str) -> list[str]:
        """The command that runs a remote command on a terminal there."""
        return [*self.client, *remote]


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextlib.contextmanager
def sshd(folder: Path) -> Iterator[Sshd]:
    """An OpenSSH server on a high port of loopback, as the current user, with keys of its own."""
    keygen = program("ssh-keygen")
    for name in ("host", "user"):
        subprocess.run(
            [keygen, "-q", "-t", "ed25519", "-N", "", "-f", str(folder / name)], check=True
        )
    shutil.copy(folder / "user.pub", folder / "authorized")
    port = _free_port()
    (folder / "sshd_config").write_text(
        f"ListenAddress 127.0.0.1:{port}\n"
        f"HostKey {folder}/host\n"
        f"AuthorizedKeysFile {folder}/authorized\n"
        f"PidFile {folder}/pid\n"
        "StrictModes no\nUsePAM no\nPasswordAuthentication no\nKbdInteractiveAuthentication no\n"
        "PermitRootLogin prohibit-password\nPrintMotd no\nPrintLastLog no\nAcceptEnv LANG LC_*\n"
    )
    if os.geteuid() == 0:
        # As root the server insists on this folder.
        Path("/run/sshd").mkdir(mode=0o755, exist_ok=True)
    log = (folder / "sshd.log").open("w")
    server = subprocess.Popen(
        [program("sshd"), "-D", "-e", "-f", str(folder / "sshd_config")], stdout=log, stderr=log
    )
    try:
        end = time.monotonic() + LONG
        while True:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            said = (folder / "sshd.log").read_text()
            assert server.poll() is None, f"the SSH server ended: {said}"
            assert time.monotonic() < end, f"the SSH server never listened: {said}"
            time.sleep(0.05)
        yield Sshd(
            [
                program("ssh"),
                *("-tt", "-q", "-F", "none", "-p", str(port), "-i", str(folder / "user")),
                *("-o", "StrictHostKeyChecking=no", "-o", f"UserKnownHostsFile={folder}/known"),
                *("-o", "IdentitiesOnly=yes", "-o", "SendEnv=LANG"),
                f"{getpass.getuser()}@127.0.0.1",
            ]
        )
    finally:
        server.terminate()
        server.wait(LONG)
        log.close()
