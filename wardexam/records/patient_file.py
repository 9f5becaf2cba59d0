"""A patient's file as it was read: details at once, examinations when they are asked for.

A stay of 2,000 examinations opens in a moment, since of most of them nothing is needed: which signs
and questions a record holds is read off its line without making it.
"""

import json
import re
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from typing import TYPE_CHECKING, overload

from wardexam.records import patient_tables
from wardexam.records.stored_record import Record, StoredRecord, Tables

if TYPE_CHECKING:
    from wardexam.exam.examination import Amendment, Examination, Patient
    from wardexam.exam.outcome import Outcome
    from wardexam.injury.kept import KeptSheet

_ID = re.compile(rb'"id": "([a-z0-9]{8,40})", "impression": ')
_REVISION = re.compile(rb'"revision": (\d{1,9}), "')
_SIGN = re.compile(rb'"side": "\w+", "sign": "\w+"')
_FLAGS = re.compile(rb'"flags": \{([^}]*)\}')
_STATED = re.compile(rb'"limb": "[^"]*", "part": "[^"]*"')
_FLAG = b"flag "
_YES = b" yes"  # of a flag whose yes stays
_STORY = b"story "  # another story adds to what urgency hears, however long ago it was told
_DATED = b"dated "  # as it was when an onset was told last, it may date what is found again
_UNDATED = b'"onset": "unknown"'
_CONTEXT = re.compile(rb'"context": \{([^}]*)\}')


class History(Sequence["Examination"]):
    """The latest revision of examinations, in the order saved; each made once, when asked for.

    Args:
        records: Where each is made from.
        as_it_counts: What of it counts.
    """

    def __init__(
        self,
        records: Sequence[Record],
        as_it_counts: "Callable[[Examination], Examination]" = lambda e: e,
    ) -> None:
        self._records, self._as_it_counts = records, as_it_counts
        self._made: dict[int, Examination] = {}

    def __len__(self) -> int:
        return len(self._records)

    @overload
    def __getitem__(self, index: int) -> "Examination": ...
    @overload
    def __getitem__(self, index: slice) -> "tuple[Examination, ...]": ...
    def __getitem__(self, index: int | slice) -> "Examination | tuple[Examination, ...]":
        """One examination, or several."""
        if isinstance(index, slice):
            return tuple(self[n] for n in range(*index.indices(len(self))))
        place = range(len(self))[index]
        if place not in self._made:
            made = patient_tables.examination_of(self._records[place])
            self._made[place] = self._as_it_counts(made)
        return self._made[place]

    def __iter__(self) -> "Iterator[Examination]":
        return (self[n] for n in range(len(self)))


class StoredFile:
    """A patient's file, verified and read once.

    Attributes:
        patient: The details.
        outcomes: Every revision of what it was in the end, first to last.
        examinations: The latest revision of every examination that counts, in the order in which they were saved.
        with_errors: The same with those that were entered in error.

    Args:
        tables: The tables in it.

    Raises:
        DamagedFileError: The details, or a record's identifier, cannot be read.
    """

    def __init__(self, tables: Tables) -> None:
        self.patient: Patient = patient_tables.patient_of(tables)
        self._tables = tables
        self.outcomes: tuple[Outcome, ...] = patient_tables.outcomes_of(tables)
        self._by_id: dict[str, list[tuple[int, Record]]] = {}
        for record in patient_tables.records_of(tables, "examinations"):
            name, revision = _named(record)
            self._by_id.setdefault(name, []).append((revision, record))
        for rows in self._by_id.values():
            rows.sort(key=lambda row: row[0])
        last = {name: rows[-1][1] for name, rows in self._by_id.items()}
        self._errors = {name for name, record in last.items() if patient_tables.is_error(record)}
        self._latest = [record for name, record in last.items() if name not in self._errors]
        # The one place that leaves out what was entered in error: who counts, compares or raises takes these.
        self.examinations = History(self._latest, self.counted)
        self.with_errors = History([*last.values()])

    def in_error(self, examination_id: str) -> "Amendment | None":
        """Who says of an examination that it was entered in error, when and why; None where it counts."""
        if examination_id not in self._errors:
            return None
        return self.revisions(examination_id)[-1].amendment

    def counted(self, examination: "Examination") -> "Examination":
        """What of an examination counts: without what was done on one entered in error."""
        if not self._errors:
            return examination
        from wardexam.exam.in_error import without_errors

        return without_errors(examination, self.with_errors)

    @property
    def sheets(self) -> "tuple[KeptSheet, ...]":
        """Every revision of every cord injury sheet, in the order in which they were saved."""
        return tuple(patient_tables.sheets_of(self._tables))

    def revisions(self, examination_id: str) -> "tuple[Examination, ...]":
        """Every revision of one examination, first to last."""
        rows = self._by_id.get(examination_id, ())
        return tuple(patient_tables.examination_of(record) for _, record in rows)

    def numbered(self) -> list[tuple[str, int]]:
        """Every stored revision as its examination's identifier and number, in the order saved."""
        return [(name, number) for name, rows in self._by_id.items() for number, _ in rows]

    def telling(self, until: str = "") -> "tuple[Examination, ...]":
        """The examinations that say what no later one says again, and those that say first what was found, in the order saved.

        What stands of them is what stands of all, for the chart and for urgency: a sign answered later, a
        question answered later, a statement made again and the same story told again stand as told last. So does
        what was said of each when an onset was told last: it dates what is found no graver later. Each
        sign's first answer and last one, and each statement's, are among them.

        Args:
            until: Only those saved before this examination; all when empty.
        """
        ids = list(self._by_id)
        before = ids[: ids.index(until)] if until in self._by_id else ids
        end = sum(name not in self._errors for name in before)
        every = [_said(record) for record in self._latest[:end]]
        covered: set[bytes] = set()
        chosen = set()
        for place, said in reversed([*enumerate(every)]):
            if said is None or not said <= covered or place == end - 1:
                chosen.add(place)
                covered |= _answered(self.examinations[place])
        found: set[bytes] = set()
        for place, said in enumerate(every):
            if said is None or not {s for s in said if _is_found(s)} <= found:
                chosen.add(place)
                found |= _answered(self.examinations[place])
        return tuple(self.examinations[place] for place in sorted(chosen))


def _named(record: Record) -> tuple[str, int]:
    """A record's identifier and revision, off its line where it lies in a file."""
    if isinstance(record, StoredRecord):
        name, revision = _ID.search(record.raw), _REVISION.search(record.raw)
        if name and revision:
            return name[1].decode(), int(revision[1])
    made = patient_tables.examination_of(record)
    return made.id, made.revision


def _said(record: Record) -> set[bytes] | None:
    """What a record says anything of, off its line; None where that cannot be told."""
    if not isinstance(record, StoredRecord):
        return None
    flags, context = _FLAGS.search(record.raw), _CONTEXT.search(record.raw)
    if not flags or not context:
        return None
    said = {*_SIGN.findall(record.raw), *_STATED.findall(record.raw)}
    said |= {_FLAG + pair.split(b":")[0].strip() for pair in flags[1].split(b",") if pair}
    said |= {_FLAG + name + _YES for name in _staying() if name + b': "yes"' in flags[1]}
    if _UNDATED not in context[1]:
        said |= {_DATED + each for each in said}
    said.add(_STORY + context[1])
    return said


@cache
def _staying() -> tuple[bytes, ...]:
    """The flags of which a yes stays, as they stand in a line: it is another thing said than a no."""
    from wardexam.exam.flags import staying

    return tuple(f'"{name}"'.encode() for name in sorted(staying()))


def _is_found(said: bytes) -> bool:
    """Whether what is said is of a sign or a statement, not of a question or the story."""
    return not said.startswith((_FLAG, _STORY, _DATED))


def _answered(examination: "Examination") -> set[bytes]:
    """What an examination settles for those before it: a sign not testable settles nothing."""
    covered = {
        f'"side": "{f.side}", "sign": "{f.sign}"' for f in examination.findings if f.answer is not None
    }  # fmt: skip
    covered |= {f'"limb": "{s.limb}", "part": "{s.part}"' for s in examination.rest_normal}
    settled = {text.encode() for text in covered}
    flags = {_FLAG + f'"{name}"'.encode(): said for name, said in examination.flags.items()}
    settled |= {*flags, *(flag + _YES for flag, said in flags.items() if said == "yes")}
    if examination.context.onset != "unknown":
        settled |= {_DATED + each for each in settled}
    story = json.dumps(examination.context.model_dump(mode="json"), sort_keys=True)
    return {_STORY + story[1:-1].encode(), *settled}
