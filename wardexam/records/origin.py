"""Where a restored ward came from: the backup, and how each patient's record stood when it came.

A line of the trail names a record by the checksum that the store which wrote it gives. Another store, or a later
program, gives another to the same record. So a ward that was restored keeps, for each patient, the checksum that
the last line names and the one that the record has here: as long as no later line speaks of the patient, the
record must be that. The trail itself stays as it was, to the byte. In a folder this is a file: a line of JSON
that says from which backup, then a line for each patient.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from wardexam.records.durable_files import read_bounded

LONGEST = 64_000_000  # bytes: some 400,000 patients


@dataclass(frozen=True, slots=True)
class Restored:
    """That a ward was restored.

    Attributes:
        at: When, as ISO text.
        by: Who did it.
        sha256: The checksum of the backup.
        lines: How many lines the trail had then.
    """

    at: str
    by: str
    sha256: str
    lines: int

    @property
    def line(self) -> str:
        """What a check says of it."""
        return f"restored on {self.at[:16].replace('T', ' ')} by {self.by} from the backup {self.sha256[:16]}, up to audit line {self.lines}"


class Origin:
    """Where the ward in a folder came from; read once, when it is first asked for.

    Args:
        path: The file; there is none where the ward was begun here.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._read: tuple[Restored | None, dict[str, tuple[str, str]]] | None = None

    def _found(self) -> tuple[Restored | None, dict[str, tuple[str, str]]]:
        if self._read is None:
            try:
                head, *rows = map(json.loads, read_bounded(self._path, LONGEST).splitlines())
                pairs = {str(row["patient"]): (str(row["record"]), str(row["stands"])) for row in rows}  # fmt: skip
                self._read = Restored(**head["restored"]), pairs
            except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
                self._read = (
                    None,
                    {},
                )  # then each record that came is said to be another than the trail's
        return self._read

    def stands(self, patient_id: str, record: str) -> str:
        """The checksum that a record has here of which the trail's last line gives this one."""
        came, here = self._found()[1].get(patient_id, ("", ""))
        return here if record and record == came else record

    @property
    def sha256(self) -> str:
        """The checksum of the backup; empty where the ward was begun here."""
        restored = self._found()[0]
        return restored.sha256 if restored else ""

    @property
    def line(self) -> str:
        """That the ward was restored, in one line; empty where it was begun here."""
        restored = self._found()[0]
        return restored.line if restored else ""


def packed(restored: Restored, patients: Mapping[str, tuple[str, str]]) -> bytes:
    """The file's bytes.

    Args:
        restored: From which backup.
        patients: For each patient what the trail's last line names, and what the record has here.
    """
    fields = {name: getattr(restored, name) for name in ("at", "by", "sha256", "lines")}
    rows = [
        {"patient": name, "record": record, "stands": stands}
        for name, (record, stands) in sorted(patients.items())
    ]
    lines = (json.dumps(row, sort_keys=True) + "\n" for row in ({"restored": fields}, *rows))
    return "".join(lines).encode()
