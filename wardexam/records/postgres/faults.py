"""What a server refuses or loses, as an error that a doctor can read: no address, no statement, no secret."""

import re

from psycopg import Error, OperationalError, errors

from wardexam.errors import InputError, RecordsError
from wardexam.records.locks import BusyError
from wardexam.records.repository import OutageError

LATER = "nothing was changed; try again in a moment"


# By the code that the server gives: what is wrong, and what to do.
REFUSED: dict[str, tuple[str, str]] = {
    "28P01": ("the server refuses the login or its password", "put it into ~/.pgpass or the service file"),
    "28000": ("the server refuses this login", "ask who keeps the server"),
    "3D000": ("there is no such database on the server", "'wardexam store create' makes one"),
    "42501": ("this login may not do that on the server", "its owner grants it: see 'wardexam store check'"),
    "42P01": ("no ward stands there, or this login may not see it", "'wardexam store create' makes one"),
    "3F000": ("no ward stands there, or this login may not see it", "'wardexam store create' makes one"),
    "53100": ("the server's disk is full; nothing was changed", "free it, and save again"),
    "53200": ("the server has no memory left; nothing was changed", "try again in a moment"),
    "53300": ("the server takes no more connections", "try again in a moment"),
    "25006": ("the server takes no changes now: it is a copy", "try again in a moment"),
    "57014": ("the server took too long; nothing was changed", "try again in a moment"),
    "58030": ("the server cannot write its disk; nothing was changed", "ask who keeps the server"),
}  # fmt: skip
UNKEEPABLE = ("22P02", "22P05", "22021", "54000", "54001")
# Gone for now, though the server or its library still answers.
GONE = ("08", "57P01", "57P02", "57P03", "57P05", "25006", "53300")

MOVED = "WX001"  # what the ward's own trigger says once it was moved


def moved_to(target: str, where: str) -> RecordsError:
    """That the ward was moved."""
    return RecordsError(
        f"the ward was moved to {target}, and nobody goes on here",
        where,
        "open it there; to go on here after all, its owner deletes the row of wardexam.moved",
    )


def is_lost(error: Error) -> bool:
    """Whether the server is out of reach, and not only the statement refused."""
    code = error.sqlstate
    if code is None:  # the connection broke, or never was
        return isinstance(error, OperationalError)
    return code.startswith(GONE)


def refused(error: Error, where: str, patient: str = "") -> RecordsError | InputError:
    """The error to raise in place of the server's."""
    code = error.sqlstate or ""
    if isinstance(error, errors.LockNotAvailable | errors.DeadlockDetected | errors.SerializationFailure):  # fmt: skip
        return BusyError("another session", patient or where)
    if code == MOVED:
        return moved_to(str(error.diag.message_primary), where)
    what, remedy = REFUSED.get(code, ("", ""))
    if is_lost(error):
        return OutageError(what or "the server cannot be reached", where, remedy or LATER)
    if what:
        return RecordsError(what, where, remedy)
    if code in UNKEEPABLE:
        return InputError("holds what the server cannot keep; nothing was changed", patient)
    return RecordsError(f"the server refuses it (code {code or 'unknown'})", where, "run 'wardexam store check'")  # fmt: skip


# By what the library says where no connection came about: it gives no code, and its words name the address.
NO_CONNECTION = (
    ("password authentication failed|no password supplied", REFUSED["28P01"]),
    (r"no pg_hba\.conf entry|role .* does not exist|not permitted to log in", REFUSED["28000"]),
    ("database .* does not exist", REFUSED["3D000"]),
    ("permission denied for database", REFUSED["42501"]),
    ("for connection option|port number", ("the URL names no port that can be", "postgresql://host/database, or service=name")),
    ("definition of service", ("there is no such service in the service file", "~/.pg_service.conf")),
    ("certificate|does not support SSL", ("the server has no certificate that is trusted here", "sslmode and sslrootcert of the URL or the service file say whom to trust")),
)  # fmt: skip


def no_connection(error: Exception, where: str) -> RecordsError:
    """Why no connection came about."""
    for words, (what, remedy) in NO_CONNECTION:
        if re.search(words, str(error)):
            return RecordsError(what, where, remedy)
    return OutageError("the server cannot be reached", where, LATER)
