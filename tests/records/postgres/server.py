"""A real PostgreSQL server for tests: made in a folder of its own, ended with the process that began it."""

import getpass
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import time
from contextlib import suppress
from pathlib import Path

DEBIAN = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))
OLDEST = 15

# Nothing is flushed, since a test's server dies with its test; what measures or pulls the plug says otherwise.
FAST = {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}
ALWAYS = {
    "listen_addresses": "127.0.0.1",
    "max_connections": "120",
    "shared_buffers": "64MB",
    "log_min_messages": "fatal",
    "max_wal_senders": "4",
    "wal_level": "replica",
    "hot_standby": "on",
}


def binaries():
    """The folder of the newest server's programs that is new enough; None where there is none."""
    for place in reversed(DEBIAN):
        if int(place.parent.name) >= OLDEST and (place / "initdb").exists():
            return place
    found = shutil.which("initdb")
    return Path(found).parent if found else None


def free_port():
    """A port of the loopback that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Server:
    """A server of its own. It listens on a socket in its folder and on a port of the loopback.

    On the socket anybody is let in as any role; over the network a role needs its password.
    """

    def __init__(self, durable=False, begin=True, place=None, **settings):
        """Make one, and start it; `durable` flushes as a real one does, `place` is where its data lies."""
        self.bin = binaries()
        self.folder = Path(tempfile.mkdtemp(prefix="wx", dir="/tmp"))
        self.data = (place or self.folder) / "data"
        self.port = free_port()
        self.settings = {**ALWAYS, **({} if durable else FAST), **settings}
        self.owner = "postgres" if os.geteuid() == 0 else getpass.getuser()
        self._process = None
        self._give(self.folder)
        if place:
            self._give(place)
        if begin:
            self.run("initdb", "-D", self.data, "-U", "owner", "-E", "UTF8", "--locale=C", "-A", "trust", "--no-sync")  # fmt: skip
            self._let_in()
            self.start()

    def _give(self, folder):
        if os.geteuid() == 0:
            user = pwd.getpwnam(self.owner)
            os.chown(folder, user.pw_uid, user.pw_gid)

    def _let_in(self):
        rules = "local all all trust\nlocal replication all trust\nhost all all 127.0.0.1/32 scram-sha-256\n"
        self.write("pg_hba.conf", rules)

    def write(self, name, text):
        """A file in the server's data, as the server's own user."""
        path = self.data / name
        path.write_text(text)
        self._give(path)

    def _as_owner(self, *more):
        if os.geteuid() == 0:
            user = pwd.getpwnam(self.owner)
            return ["setpriv", f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups", *more]  # fmt: skip
        return ["setpriv", *more]

    def run(self, program, *arguments):
        """One of the server's programs, to its end."""
        command = [*self._as_owner(), str(self.bin / program), *map(str, arguments)]
        done = subprocess.run(command, capture_output=True, text=True, cwd="/", timeout=60)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def start(self, wait=True):
        """Start it, and wait until it takes connections."""
        command = [
            *self._as_owner("--pdeathsig", "QUIT"),
            str(self.bin / "postgres"),
            "-D",
            str(self.data),
        ]
        options = {"port": self.port, "unix_socket_directories": self.folder, **self.settings}
        for name, value in options.items():
            command += ["-c", f"{name}={value}"]
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                command, stdout=log, stderr=log, cwd="/", stdin=subprocess.DEVNULL, start_new_session=True
            )  # fmt: skip
        if not wait:
            return
        try:
            self.await_ready()
        except AssertionError as error:
            if self.runs or "still in use" not in str(error).splitlines()[-2]:
                raise
            time.sleep(0.2)  # a process of the one that was killed is not gone yet
            self.start()

    def await_ready(self, seconds=30):
        """Wait until it takes connections."""
        import psycopg

        end = time.monotonic() + seconds
        while True:
            try:
                psycopg.connect(self.url("postgres"), connect_timeout=2).close()
            except psycopg.OperationalError:
                assert time.monotonic() < end, (self.folder / "log").read_text()[-2000:]
                assert self._process.poll() is None, (self.folder / "log").read_text()[-2000:]
                time.sleep(0.02)
            else:
                return

    def stop(self, how="fast"):
        """Stop it: ``fast`` in order, ``immediate`` without, ``kill`` with no word to anybody."""
        if self._process is None or self._process.poll() is not None:
            return
        if how == "kill":  # each of its processes, so that none writes on
            begun = self._process.pid
            own = [
                begun,
                *(int(n) for n in os.listdir("/proc") if n.isdecimal() and _parent(n) == begun),
            ]
            for process in own:
                with suppress(ProcessLookupError):
                    os.kill(process, 9)
        else:
            self._process.send_signal({"fast": 2, "immediate": 3}[how])
        self._process.wait(30)

    @property
    def runs(self):
        """Whether it runs."""
        return self._process is not None and self._process.poll() is None

    def ended(self):
        """Whether it has ended by itself."""
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(2)
        return self._process.poll() is not None

    def set(self, name, value):
        """Change a setting of the running server."""
        import psycopg

        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(f"alter system set {name} = '{value}'")
            connection.execute("select pg_reload_conf()")

    def copy(self, other):
        """Become a copy of another server that follows it."""
        source = f"host={other.folder} port={other.port} user=owner"
        self.run("pg_basebackup", "-D", self.data, "-d", source, "-R", "-X", "stream", "-c", "fast", "--no-sync")  # fmt: skip

    def await_copy(self, seconds=20):
        """Wait until a copy follows."""
        import psycopg

        end = time.monotonic() + seconds
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            while connection.execute("select count(*) from pg_stat_replication where sync_state = 'sync'").fetchone() == (0,):  # fmt: skip
                assert time.monotonic() < end
                time.sleep(0.05)

    def promote(self):
        """Take the place of the one that it followed."""
        self.run("pg_ctl", "-D", self.data, "promote", "-w")

    def close(self):
        """Stop it and take its folder away."""
        self.stop("immediate")
        shutil.rmtree(self.folder, ignore_errors=True)

    def url(self, database, user="owner", **more):
        """The URL of a database over the socket."""
        extra = "".join(f"&{k}={v}" for k, v in more.items())
        return f"postgresql:///{database}?host={self.folder}&port={self.port}&user={user}{extra}"

    def network(self, database, user, port=None, **more):
        """The URL of a database over the loopback; its password comes from elsewhere."""
        extra = "&".join(f"{k}={v}" for k, v in more.items())
        return f"postgresql://{user}@127.0.0.1:{port or self.port}/{database}?{extra}"


def _parent(process):
    try:
        with open(f"/proc/{process}/stat") as file:
            return int(file.read().rpartition(")")[2].split()[1])
    except OSError:
        return 0
