"""Which server: a URL or a service's name, read as the server's own library reads it, made safe.

What the URL leaves out comes from the usual places: PG* of the environment, the service file, the password file.
"""

import os
import re
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from types import ModuleType

from wardexam.errors import InputError, RecordsError

BEGINNINGS = ("postgresql://", "postgres://", "service=")
EXTRA = "pip install 'wardexam[postgres]'"
CONNECT_SECONDS = 3
_ENVIRONMENT = threading.Lock()  # the library is told of a service by the environment alone
# A connection whose other end is gone is told within some ten seconds, not in hours.
ALWAYS: dict[str, str | int] = {
    "connect_timeout": CONNECT_SECONDS,
    "keepalives": 1,
    "keepalives_idle": 5,
    "keepalives_interval": 2,
    "keepalives_count": 3,
    "tcp_user_timeout": 10_000,
    "application_name": "wardexam",
    "client_encoding": "UTF8",
}


def is_server(place: str) -> bool:
    """Whether a place names a server and not a folder."""
    return place.startswith(BEGINNINGS)


def _library() -> ModuleType:
    """The reader of URLs.

    Raises:
        RecordsError: What speaks to a server is not installed.
    """
    try:
        from psycopg import conninfo
    except ImportError:
        raise RecordsError("a ward on a server needs a further part", remedy=EXTRA) from None
    return conninfo


def read_url(url: str, *, on_command_line: bool = False) -> dict[str, str]:
    """The parameters of a connection, whole but for what the usual places give.

    Args:
        url: ``postgresql://...`` or ``service=name``.
        on_command_line: Whether others on this host can read it there: then it holds no password.

    Raises:
        InputError: It cannot be read, or holds a password where others can read it.
        RecordsError: What speaks to a server is not installed.
    """
    reader = _library()
    from psycopg import ProgrammingError

    try:
        given = {k: str(v) for k, v in reader.conninfo_to_dict(url).items()}
    except ProgrammingError:  # its text may quote the password
        raise InputError(
            "no URL of a server", "--db", "postgresql://host/database, or service=name"
        ) from None
    if on_command_line and given.keys() & {"password", "sslpassword"}:
        raise InputError(
            "a password on the command line can be read by others",
            "--db",
            "put it into ~/.pgpass or the service file",
        )
    told = _from_usual_places(given.get("service", ""))
    safe: dict[str, str] = {}
    if "sslmode" not in given and "sslmode" not in told and not _is_local({**told, **given}):
        safe["sslmode"] = "verify-full"
    if "," in {**told, **given}.get("host", "") and "target_session_attrs" not in {**told, **given}:
        safe["target_session_attrs"] = "read-write"  # the one of them that is not a copy
    usual = {k: str(v) for k, v in ALWAYS.items() if k not in told}
    return {**usual, **safe, **given}


def _from_usual_places(service: str) -> dict[str, str]:
    """What the environment and the service file say, other than what is built in."""
    from psycopg import pq

    with _service(service):
        try:
            options = pq.Conninfo.get_defaults()
        except Exception:  # such as a service that no file names: the connection says so
            return {}
    return {
        o.keyword.decode(): o.val.decode(errors="replace")
        for o in options
        if o.val is not None and o.val != o.compiled
    }


@contextmanager
def _service(name: str) -> Iterator[None]:
    """The environment as it would be if it named a service."""
    with _ENVIRONMENT:
        before = os.environ.get("PGSERVICE")
        if name:
            os.environ["PGSERVICE"] = name
        try:
            yield
        finally:
            if before is not None:
                os.environ["PGSERVICE"] = before
            else:
                os.environ.pop("PGSERVICE", None)


def _is_local(parameters: Mapping[str, str]) -> bool:
    """Whether every host is this one: a socket's folder, or the loopback."""
    hosts = (parameters.get("hostaddr") or parameters.get("host") or "").split(",")
    return all(map(_is_loopback, hosts))


def _is_loopback(host: str) -> bool:
    if host in ("", "localhost") or host.startswith(("/", "@")):
        return True
    import ipaddress

    with suppress(ValueError):
        return ipaddress.ip_address(host).is_loopback
    return False


def shown(place: str) -> str:
    """A place as it may be shown: of a server's URL without the passwords in it."""
    if not is_server(place):
        return place
    bare = re.sub(r"^(\w+://[^/@:]*):[^/]*@", r"\1@", place)
    return re.sub(
        r"(?<=[?&])(?:ssl)?password=[^&]*&?|\b(?:ssl)?password\s*=\s*\S+", "", bare
    ).rstrip("?&")


def said(parameters: Mapping[str, str]) -> str:
    """How a message names the place: the database and its host, and nothing that opens it."""
    told = {**_from_usual_places(parameters.get("service", "")), **parameters}
    host = told.get("host", "")
    database = told.get("dbname") or told.get("user") or "the default database"
    return database if _is_loopback(host.split(",")[0]) else f"{database} on {host}"
