"""Who saved, amended, viewed, copied or exported what, and when: append-only, chained by hash.

A line holds the doctor's name as given, the login it was given under, and the checksum of the
patient's file as the event left it. It is written just before the file takes its place, so that no
save is known to the file alone. The head of the trail (the number and hash of its last line) is kept
in each login's own state folder too, and on each printed handover: a trail cut short or written anew
disagrees with them.
"""

import json
import os
import re
import threading
from collections.abc import Callable, Collection, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

from wardexam.errors import RecordsError
from wardexam.records.durable_files import append_at, open_regular, read_bounded, reason
from wardexam.records.locks import SECONDS, take

FIRST = "0" * 64
LONGEST_LINE = 4096  # bytes
SHOWN = 16  # characters of a hash that a paper shows
ABSENT = "-"  # in place of a checksum: there is no file
_WROTE = re.compile(rb'"patient": "([a-z0-9]{8,40})", "record": "(-|[0-9a-f]{64})"')
# Events after which a patient's file is as the line says.
WRITING = frozenset({
    "admitted", "edited", "discharged", "restored", "saved", "amended", "entered in error", "valid again",
    "concluded", "imported", "taken over",
    "put back", "not carried out", "found changed", "accepted", "erased",
})  # fmt: skip


def link(before: str, line: dict[str, Any]) -> str:
    """The hash that chains a line to the one before it."""
    import hashlib  # not needed to open the ward

    return hashlib.sha256((before + json.dumps(line, sort_keys=True)).encode()).hexdigest()


def _bounded(text: str, most: int) -> str:
    """The beginning of a text: so many characters at most, and fewer where each takes many bytes of a line."""
    text = text[:most]
    while len(json.dumps(text)) > 3 * most:
        text = text[: len(text) * 3 // 4]
    return text


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


def login() -> str:
    """The login of this process, by the system's own word: no setting and no option changes it."""
    try:
        import pwd

        return pwd.getpwuid(os.getuid()).pw_name
    except (KeyError, OSError):
        return f"uid {os.getuid()}"


@dataclass(frozen=True, slots=True)
class Head:
    """Where a trail ended: the number of its last line and that line's hash, whole or its beginning."""

    line: int
    hash: str

    def __str__(self) -> str:
        return f"{self.line}:{self.hash[:SHOWN]}"


class Audit:
    """The trail in one file.

    Args:
        path: The file.
        mode: Its permissions.
        own: Where this login keeps the trail's head; None for nowhere.
        now: Gives the time as text.
        by_login: The login that every line names; this process's own when None.
        stands: Gives, for a patient and the checksum that a line gives, the one that the record has here; another
            where the line came with the ward from another store (`wardexam.records.origin`).

    Attributes:
        problem: Why events are not in the trail yet, in one line; empty when all are.
        patience: Seconds that an event waits for another session's to be written.
    """

    def __init__(
        self, path: Path, mode: int, own: Path | None = None, now: Callable[[], str] = _now,
        by_login: str | None = None, stands: Callable[[str, str], str] = lambda _, record: record,
    ) -> None:  # fmt: skip
        self.stands = stands
        self.path, self.mode, self.problem, self.patience = path, mode, "", SECONDS
        self._own, self._now, self._login = own, now, by_login or login()
        self._waiting: list[tuple[dict[str, Any], str]] = []
        self._lock = threading.Lock()

    def note(
        self, event: str, patient_id: str, by: str, what: str = "", *, record: str = "", stood: str = "",
        sync: bool = True,
    ) -> None:  # fmt: skip
        """Append an event; one that cannot be written now waits for the next and `problem` says so.

        For what happens all the same: a save is not refused for want of a line. A save's own line
        need not be flushed by itself (`sync`): who saved what stands in the record, and the next
        event, the view of the note that follows, flushes it.

        Args:
            event: What was done.
            patient_id: To whom; empty for the ward.
            by: Who did it, as given.
            what: The examination and its revision, or more about the event.
            record: The checksum of the patient's file after it; empty where it is not written.
            stood: The checksum before it: a line that had to wait speaks of the file only where no
                other line did meanwhile.
            sync: Whether the line is flushed before this returns.
        """
        with self._lock:
            self._noted(event, patient_id, by, what, record, stood, sync=sync)

    def add(
        self, event: str, patient_id: str, by: str, what: str = "", *, record: str = ""
    ) -> None:
        """Append an event that must be in the trail before it happens; as `note`.

        Raises:
            RecordsError: The trail could not be written; the event is not in it.
        """
        with self._lock:
            noted = self._noted(event, patient_id, by, what, record, sync=True)
            if self.problem:
                self._waiting = [each for each in self._waiting if each is not noted]
                raise RecordsError(self.problem)

    def _noted(
        self, event: str, patient_id: str, by: str, what: str, record: str, stood: str = "", *, sync: bool
    ) -> tuple[dict[str, Any], str]:  # fmt: skip
        """Append an event, or let it wait; gives it as it waits."""
        line = {
            "at": self._now(), "event": event, "patient": patient_id, "by": _bounded(by, 200), "login": self._login,
            "what": _bounded(what, 400), "record": record,
        }  # fmt: skip
        noted = (line, stood)
        self._waiting.append(noted)
        self._settle(sync=sync)
        return noted

    def settle(self) -> None:
        """Append what waits."""
        with self._lock:
            self._settle(sync=True)

    def _settle(self, *, sync: bool) -> None:
        if not self._waiting:
            return
        try:
            handle = open_regular(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND, self.mode)
            try:
                take(handle, self.patience)
                kept = kept_head(self._own) if self._own else None
                follows = kept is None or self._stands(handle, kept)
                head = self._append(handle)
                if sync:
                    os.fdatasync(handle)
                if follows:  # else it was cut or written anew: `check` must see that
                    self._keep(head)
            finally:
                os.close(handle)
            self._waiting.clear()
            self.problem = ""
        except OSError as error:
            self.problem = f"the audit trail cannot be written: {reason(error)}"
        except (ValueError, KeyError, TypeError):
            self.problem = "the audit trail is damaged (run 'wardexam check')"

    @staticmethod
    def _stands(handle: int, kept: Head) -> bool:
        """Whether the line that was kept as the trail's last is in it still; sought from its end."""
        size, window = os.fstat(handle).st_size, 2 * LONGEST_LINE
        sought = kept.hash.encode()
        while True:
            tail = os.pread(handle, window, max(0, size - window))
            if tail.find(sought, 0, tail.rfind(b"\n") + 1) >= 0:  # a torn line will be cut off
                return True
            if window >= size:
                return False
            window *= 16

    def _append(self, handle: int) -> Head:
        size = os.fstat(handle).st_size
        if size == 0:
            os.fchmod(handle, self.mode)
        tail = os.pread(handle, 2 * LONGEST_LINE, max(0, size - 2 * LONGEST_LINE))
        whole = tail[: tail.rfind(b"\n") + 1]  # a torn last line is the one in flight at a crash
        if size and not whole and size > LONGEST_LINE:
            raise ValueError
        last: dict[str, Any] = {"hash": FIRST, "n": 0}
        if whole:
            last = json.loads(whole.splitlines()[-1])
        before, number = last["hash"], last.get("n")
        if number is None:  # the line of an earlier version, which did not number them
            number = _count(self.path)
        rows, written = [], dict[str, str]()
        for waiting, stood in self._waiting:
            number += 1
            line = {**waiting, "n": number}
            if line["record"] and self.problem:  # it had to wait
                whose = line["patient"]
                if (written.get(whose) or self.last_record(whose)) not in ("", stood):
                    line["record"] = ""
            if line["record"]:
                written[line["patient"]] = line["record"]
            before = link(before, line)
            rows.append(json.dumps({**line, "hash": before}, sort_keys=True))
        append_at(handle, size - len(tail) + len(whole), "".join(f"{r}\n" for r in rows).encode())
        return Head(number, before)

    def accept(self) -> None:
        """Keep the head of the trail as it stands, though it was longer once."""
        with self._lock:
            if head := self.head():
                self._keep(head)

    def _keep(self, head: Head) -> None:
        """Keep the head in the login's own state folder."""
        if self._own is not None:
            keep_head(self._own, head, str(self.path.parent))

    def head(self) -> Head | None:
        """The trail's head as it stands in its file; None where there is no whole line."""
        try:
            size = self.path.stat().st_size
            handle = open_regular(self.path, os.O_RDONLY)
            try:
                tail = os.pread(handle, 2 * LONGEST_LINE, max(0, size - 2 * LONGEST_LINE))
            finally:
                os.close(handle)
            line = json.loads(tail[: tail.rfind(b"\n") + 1].splitlines()[-1])
            return Head(line["n"] if "n" in line else _count(self.path), line["hash"])
        except (OSError, ValueError, KeyError, TypeError, IndexError):
            return None

    def lines(self, patient_id: str = "") -> Iterator[dict[str, Any]]:
        """The trail's lines of one patient, or all of them; a last one that a crash cut off is left out.

        Raises:
            RecordsError: The trail cannot be read, or a line of it.
        """
        sought = b'"patient": "%s"' % patient_id.encode()
        number = 0
        try:
            with os.fdopen(open_regular(self.path, os.O_RDONLY), "rb") as file:
                while (text := file.readline(LONGEST_LINE + 1)).endswith(b"\n"):
                    number += 1
                    if sought in text or not patient_id:
                        yield json.loads(text)
                if len(text) > LONGEST_LINE:
                    raise ValueError
        except FileNotFoundError:
            return
        except OSError as error:
            raise RecordsError("the audit trail cannot be read", reason(error)) from None
        except ValueError:
            raise RecordsError(
                "is not readable", f"audit line {number + (len(text) > LONGEST_LINE)}", "run 'wardexam check'"
            ) from None  # fmt: skip

    def patients(self) -> set[str]:
        """Everybody of whom the trail's lines say that a file was written, and do not take it back."""
        found: set[str] = set()
        try:
            with os.fdopen(open_regular(self.path, os.O_RDONLY), "rb") as file:
                while line := file.readline(LONGEST_LINE + 1):
                    if named := _WROTE.search(line):
                        (found.discard if named[2] == b"-" else found.add)(named[1].decode())
        except OSError:
            pass  # what cannot be read is said by whoever writes to it, and by `check`
        return found

    def last_record(self, patient_id: str, within: int = 65_536) -> str:
        """The checksum that the trail's last lines give for a patient; empty where they give none."""
        try:
            size = self.path.stat().st_size
            handle = open_regular(self.path, os.O_RDONLY)
            try:
                tail = os.pread(handle, within, max(0, size - within))
            finally:
                os.close(handle)
        except OSError:
            return ""
        sought, end = f'"patient": "{patient_id}"'.encode(), len(tail)
        while (place := tail.rfind(sought, 0, end)) >= 0:
            end = tail.rfind(b"\n", 0, place) + 1
            with suppress(ValueError, KeyError, TypeError, AttributeError):
                line = json.loads(tail[end : tail.find(b"\n", place)])
                if line["patient"] == patient_id and line.get("record"):
                    return self.stands(patient_id, str(line["record"]))
        return ""


def keep_head(own: Path, head: Head, ward: str) -> None:
    """Keep the head of a ward's trail in a login's own state folder; a want of it is no fault of the event's."""
    with suppress(OSError):
        own.parent.mkdir(0o700, parents=True, exist_ok=True)
        fresh = own.with_name(f"{own.name}.{os.getpid()}.{threading.get_ident()}")
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW, 0o600)
        try:
            text = {"ward": ward, "line": head.line, "hash": head.hash}
            os.write(handle, json.dumps(text).encode() + b"\n")
        finally:
            os.close(handle)
        os.replace(fresh, own)


def kept_head(own: Path) -> Head | None:
    """The head that this login kept of a ward's trail; None where it kept none."""
    try:
        found = json.loads(read_bounded(own, LONGEST_LINE))
        return Head(int(found["line"]), str(found["hash"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def read_head(text: str) -> Head:
    """A head as a handover prints it, such as ``120:4f0c2d11ab98e7d3``.

    Raises:
        ValueError: It is none.
    """
    line, _, digest = text.strip().partition(":")
    if not line.isdecimal() or len(line) > 12 or len(digest) < 8 or not set(digest) <= set("0123456789abcdef"):  # fmt: skip
        raise ValueError(text)
    return Head(int(line), digest)


def _count(path: Path) -> int:
    """How many whole lines a file has."""
    with path.open("rb") as file:
        return sum(piece.count(b"\n") for piece in iter(lambda: file.read(1 << 20), b""))


@dataclass(slots=True)
class Trail:
    """What `verify` found.

    Attributes:
        lines: Whole lines.
        last: The hash of the last.
        faults: Every fault in words.
        torn: Whether a crash cut the last line off; the next event mends that.
        records: The number of the last line that wrote a patient's file, and the checksum it gives.
        known: Every patient whom the trail says to be in the ward.
        changed: Patients whose file a session found changed by something else, with the number of that
            line; nobody has accepted it since.
        erased: Patients who were erased, with the number of that line; nobody has brought them in since.
    """

    lines: int = 0
    last: str = FIRST
    faults: list[str] = field(default_factory=list)
    torn: bool = False
    records: dict[str, tuple[int, str]] = field(default_factory=dict)
    known: set[str] = field(default_factory=set)
    changed: dict[str, int] = field(default_factory=dict)
    erased: dict[str, int] = field(default_factory=dict)


class Following:
    """Goes along a trail line by line: whether each follows from the one before, and agrees with heads kept of it.

    Attributes:
        trail: What was found so far.
    """

    def __init__(self, heads: Collection[Head] = ()) -> None:
        self.trail = Trail()
        self._wanted: dict[int, list[Head]] = {}
        for head in heads:
            self._wanted.setdefault(head.line, []).append(head)

    def line(self, row: dict[str, Any] | bytes) -> None:
        """The next line, read or as it lies in a file.

        Raises:
            ValueError, KeyError, TypeError, AttributeError, RecursionError: It is none.
        """
        trail = self.trail
        trail.lines += 1
        _follow(trail, json.loads(row) if isinstance(row, bytes) else row)
        trail.faults += [
            f"the audit trail was written anew: its line {head.line} is not the one kept as {head}"
            for head in self._wanted.pop(trail.lines, ())
            if not trail.last.startswith(head.hash)
        ]

    def end(self) -> Trail:
        """What was found, where there is no further line."""
        self.trail.faults += [
            f"the audit trail was cut short: it has {self.trail.lines} lines, line {number} was kept as {head}"
            for number, kept in sorted(self._wanted.items())
            if number > self.trail.lines
            for head in kept
        ]
        return self.trail


def bounded_lines(file: BinaryIO) -> Iterator[bytes]:
    """The lines of a trail, each with its end; of one that is too long its beginning."""
    while line := file.readline(LONGEST_LINE + 1):
        yield line
        while len(line) > LONGEST_LINE and not line.endswith(b"\n"):
            line = file.readline(LONGEST_LINE + 1)


def is_in_flight(line: bytes) -> bool:
    """Whether a crash cut a line off; the next event mends that."""
    return not line.endswith(b"\n") and len(line) <= LONGEST_LINE


def verify(path: Path, heads: Collection[Head] = ()) -> Trail:
    """Whether every line of a trail follows from the one before, and agrees with heads kept of it.

    Reads it line by line. That there is no trail at all is for the caller to judge.
    """
    following = Following(heads)
    trail = following.trail
    try:
        with os.fdopen(open_regular(path, os.O_RDONLY), "rb") as file:
            for text in bounded_lines(file):
                if is_in_flight(text):
                    trail.torn = True
                    break
                try:
                    following.line(text)
                except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
                    trail.faults.append(f"audit line {trail.lines} is not readable")
    except FileNotFoundError:
        pass
    except OSError as error:
        trail.faults.append(f"the audit trail cannot be read: {reason(error)}")
    return following.end()


def _follow(trail: Trail, row: dict[str, Any]) -> None:
    """Take one more line in."""
    found = row.pop("hash")
    if found != link(trail.last, row):
        trail.faults.append(f"audit line {trail.lines} does not follow from the one before")
    if row.get("n", trail.lines) != trail.lines:
        trail.faults.append(f"audit line {trail.lines} says that it is line {row['n']}")
    trail.last = str(found)
    if row["event"] in WRITING and row["patient"]:
        trail.known.add(row["patient"])
        if row.get("record") == ABSENT:
            trail.known.discard(row["patient"])
        if row["event"] == "found changed":
            trail.changed[row["patient"]] = trail.lines
        elif row["event"] in ("accepted", "put back", "erased"):
            trail.changed.pop(row["patient"], None)
        if row["event"] == "erased":
            trail.erased[row["patient"]] = trail.lines
        elif row["event"] in ("admitted", "imported"):
            trail.erased.pop(row["patient"], None)
        if row.get("record"):
            trail.records[row["patient"]] = trail.lines, str(row["record"])
