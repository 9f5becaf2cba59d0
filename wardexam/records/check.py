"""Verify a store: every file, draft, list and the audit trail, each against the others.

Nothing is changed without being told to. What is told to be repaired is repaired only where it is
proven damaged: read under its lock, found damaged again, with a good version to put in its place.
What cannot be read for another reason (permission, a newer program) is left, and said. Nothing found
is ever removed: what is replaced stays beside under a name of its own.
"""

import os
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from wardexam.errors import InputError, RecordsError
from wardexam.exam.text import counted
from wardexam.records import audit, patient_tables
from wardexam.records.bulk_import import left_over
from wardexam.records.draft_file import (
    EXAMINATION,
    KINDS,
    draft_infos,
    replay,
    replay_sheet,
    rows_of,
)
from wardexam.records.durable_files import (
    read_bounded,
    reason,
    set_aside,
    unused,
    version_before,
    write_whole,
)
from wardexam.records.erasure import is_lost
from wardexam.records.layout import LAYOUT, NAME, Layout
from wardexam.records.locks import Locks
from wardexam.records.origin import Origin
from wardexam.records.outcome_import import left_over as outcomes_left_over
from wardexam.records.paths import FOLDERS, draft_path, kept_trail
from wardexam.records.repository import Report
from wardexam.records.schemas import LONGEST, digest_in, mark_in, unpack
from wardexam.records.stored_record import GONE, DamagedFileError, Tables

if TYPE_CHECKING:
    from wardexam.records.repository import Bed

BEFORE = "the version before"
LOST = (
    "  no copy of it is left here. Lay the file there from a copy of the ward or from an earlier backup, restored"
    " elsewhere; where there is none, 'wardexam erase {}' puts down that it is lost"
)


class Folder(Protocol):
    """A ward's folder, as a check goes through it.

    Attributes:
        folder: Where it is.
        layout: What lies where in it.
        audit: Its trail.
        origin: Where it was restored from.
        locks: Its locks.
        mended: Whether its mark was written anew just before.
    """

    folder: Path
    layout: Layout
    audit: audit.Audit
    origin: Origin
    locks: Locks
    mended: bool

    @property
    def problem(self) -> str:
        """What is not as it should be, in one line; empty when all is well."""

    @property
    def spool(self) -> Path:
        """Where this login keeps drafts while the ward's own folder cannot be written."""

    def settle(self) -> None:
        """Write the events that have been waiting for another session."""

    def listed(self) -> set[str]:
        """Every patient whom a list has seen, or of whom a version before is left."""

    def beds(self, *, discharged: bool = False) -> "tuple[Bed, ...]":
        """The ward list, or that of the discharged."""

    def hold(self, patient_id: str) -> AbstractContextManager[None]:
        """Keep other sessions from saving to a patient's file meanwhile."""

    def rebuild_index(self) -> list[str]:
        """Make the lists anew from the patients' files."""


@dataclass
class Said:
    """What a check says while it goes on, of either store.

    Attributes:
        lines: Its lines.
        sound: Whether nothing was wrong so far.
    """

    lines: list[str] = field(default_factory=list)
    sound: bool = True

    def wrong(self, line: str) -> None:
        """Say what is wrong."""
        self.lines.append(line)
        self.sound = False


@dataclass(frozen=True, slots=True)
class State:
    """What one patient's file is.

    Attributes:
        fault: What is wrong with it, in one line; empty when nothing is.
        damaged: Whether its bytes are proven not to be what was written for this patient.
        owner: Whose record it is, where it can be read.
        data: Its bytes, where they can be read.
        count: How many examinations it holds.
    """

    fault: str = ""
    damaged: bool = False
    owner: str = ""
    data: bytes = b""
    count: int = 0


def owner_of(tables: Tables, where: str) -> tuple[str, int]:
    """Whose a document is and how many examinations it holds, every record of it read.

    Raises:
        DamagedFileError: It is no patient's.
    """
    try:
        patient = patient_tables.patient_of(tables)
        stored = patient_tables.all_revisions(tables)
        sheets = patient_tables.sheets_of(tables)
        outcomes = patient_tables.outcomes_of(tables)
    except (KeyError, TypeError, ValueError, AttributeError):
        raise DamagedFileError("the file is not a patient's", where) from None
    if any(e.patient != patient.id for e in stored):
        raise DamagedFileError("an examination in it is another patient's", where)
    if any(s.patient != patient.id for s in sheets):
        raise DamagedFileError("a cord injury sheet in it is another patient's", where)
    if any(o.patient != patient.id for o in outcomes):
        raise DamagedFileError("an outcome in it is another patient's", where)
    return patient.id, len({e.id for e in stored})


def state_of(path: Path, name: str = "") -> State:
    """What a patient's file is; `name` is the patient where the file's own name is not."""
    name = name or path.stem
    try:
        data = read_bounded(path, LONGEST)
    except FileNotFoundError:
        return State(f"{path}: {GONE}")
    except OSError as error:
        return State(f"{path}: cannot be read: {reason(error)}")
    try:
        owner, count = owner_of(unpack(data, str(path)), str(path))
    except DamagedFileError as error:
        return State(str(error), damaged=True, data=data)
    except RecordsError as error:
        return State(str(error), data=data)
    if owner != name:
        return State(f"{path}: it speaks of another patient", True, owner, data, count)
    return State("", False, owner, data, count)


def checked(
    ward: Folder,
    *,
    repair: bool,
    by: str,
    heads: Sequence[audit.Head] = (),
    progress: Callable[[int], None] = lambda _: None,
) -> Report:
    """Check every file; with `repair`, put good versions in the place of damaged ones.

    Args:
        ward: The ward in its folder.
        repair: Whether to repair what can be repaired.
        by: Who repairs, for the trail.
        heads: Heads of the trail kept elsewhere, such as on a printed handover.
        progress: Told how many files are read.
    """
    found = Said()
    if ward.mended:
        found.lines.append(f"the mark ward.json was missing and is written anew: layout {LAYOUT}")
    names, strays = ward.layout.names()
    trail = _trail(ward, heads, found, exists=bool(names))
    missing = (trail.known | ward.listed()) - names
    states = {}
    for number, name in enumerate(sorted(names | missing), 1):
        states[name] = state_of(ward.layout.file(name))
        progress(number)
    for name, state in states.items():
        if state.fault:
            word = "damaged" if state.damaged else "missing" if name in missing else "not read"
            found.wrong(f"{word}: {state.fault}")
            if name in missing and _is_lost(ward, name):
                found.lines.append(LOST.format(name))
                continue
            if repair:
                _repair(ward, name, trail, by, found)
    for stray in strays:
        found.wrong(f"not a patient's file, passed over: {ward.layout.patients / stray}")
    _check_trail_of_files(ward, states, trail, found, repair=repair, by=by)
    _check_before(ward, found)
    _check_drafts(ward, found)
    _check_lists(ward, found)
    _check_left(ward, found)
    if repair:
        try:
            ward.rebuild_index()
            found.lines.append("index made anew")
        except RecordsError as error:
            found.wrong(f"the index was not made anew: {error}")
        own = audit.kept_head(kept_trail(ward.folder))
        ward.audit.note("repaired", "", by, f"the trail was kept as {own}" if own else "")
        ward.audit.accept()
    if restored := ward.origin.line:
        found.lines.append(restored)
    if trail.torn:
        found.lines.append("audit trail: a crash cut its last line off; the next event mends it")
    if trail.lines:
        found.lines.append(f"audit trail: {trail.lines} lines, the last is {trail.last[:16]}")
    found.lines.append(
        f"{counted(len(states), 'patient')} checked: "
        + ("all sound" if found.sound else "see above")
    )
    return Report(tuple(found.lines), found.sound)


def _is_lost(ward: Folder, name: str) -> bool:
    """Whether no file of the ward could give a patient's record back; not where that cannot be told."""
    try:
        return is_lost(ward.layout, ward.spool, name)
    except OSError:
        return False


# --- repair


@dataclass(frozen=True, slots=True)
class _Copy:
    """A sound version of a patient's record that does not lie in its place, and where it does."""

    state: State
    source: str


def _copies(ward: Folder, name: str) -> list[_Copy]:
    """Every sound file of the ward's folders that speaks of a patient, but for the one in its place."""
    path = ward.layout.file(name)
    before = version_before(path)
    found = []
    for place in (ward.layout.patients, ward.folder, *(ward.folder / each for each in FOLDERS[1:])):
        for other in sorted(place.iterdir()):
            if other == path or not _like_a_record(other):
                continue
            state = state_of(other, name)
            if not state.fault:
                where = (
                    other.name if place == ward.layout.patients else f"{place.name}/{other.name}"
                )
                found.append(_Copy(state, BEFORE if other == before else f"found under {where}"))
    return found


def _like_a_record(path: Path) -> bool:
    """Whether a file begins as a patient's does."""
    try:
        return read_bounded(path, 10)[:11] in (b'{"schema": ', b'{"about": {')
    except OSError:
        return False


def _within(one: State, other: State) -> bool:
    """Whether all that one version holds stands in another, and more."""
    held, more = (patient_tables.raw_records(unpack(s.data, "")) for s in (one, other))
    return held < more


def _good(ward: Folder, name: str, record: str) -> _Copy | None:
    """The version to put in a patient's place: the one that the trail speaks of, else the fullest."""

    def worth(copy: _Copy) -> tuple[bool, int, bool]:
        return digest_in(copy.state.data) == record, copy.state.count, copy.source != BEFORE

    return max(_copies(ward, name), key=worth, default=None)


def _repair(ward: Folder, name: str, trail: audit.Trail, by: str, found: Said) -> None:
    """Put a good version in the place of a damaged or missing file; what lay there stays beside."""
    path = ward.layout.file(name)
    try:
        with ward.hold(name):
            now = state_of(path)
            if not now.fault:
                found.lines.append("  is sound now: another session has mended it")
                return
            if not now.damaged and os.path.lexists(path):
                found.lines.append("  left as it is: that it cannot be read is no proof of damage")
                return
            copy = _good(ward, name, ward.audit.stands(name, trail.records.get(name, (0, ""))[1]))
            if copy is None:
                before = state_of(version_before(path), name)
                found.lines.append(f"  left as it is: no good version before ({before.fault}); restore from a backup")  # fmt: skip
                return
            _put_back(ward, name, copy, trail, by, found)
    except (OSError, RecordsError) as error:
        why = reason(error) if isinstance(error, OSError) else str(error)
        found.lines.append(f"  not repaired, left as it is: {why}")


def _put_back(ward: Folder, name: str, copy: _Copy, trail: audit.Trail, by: str, found: Said) -> None:  # fmt: skip
    """Put a version in a patient's place; to be called with the patient's lock held."""
    path, data = ward.layout.file(name), copy.state.data
    if os.path.lexists(path):
        aside = unused(path)
        set_aside(path, aside, ward.layout.file_mode)
        found.lines.append(f"  set aside as {aside}")
    note = digest_in(data)
    write_whole(
        path, [data], ward.layout.file_mode, ward.layout.staging,
        ready=lambda: ward.audit.note("put back", name, by, copy.source, record=note, sync=False),
    )  # fmt: skip
    trail.records[name] = trail.lines, note
    words = "was put back" if copy.source == BEFORE else "was put in its place"
    held = counted(copy.state.count, "examination")
    found.lines.append(f"  {copy.source} {words}, with {held}")


# --- what is held against what


def _trail(ward: Folder, heads: Sequence[audit.Head], found: Said, *, exists: bool) -> audit.Trail:
    """The trail, verified, its faults said."""
    own = audit.kept_head(kept_trail(ward.folder))
    ward.settle()
    trail = audit.verify(ward.audit.path, [*heads, *([own] if own else [])])
    if exists and not trail.lines:
        trail.faults.append("the audit trail is missing or empty, though there are patients")
    for fault in trail.faults:
        found.wrong(fault)
    return trail


def _check_trail_of_files(
    ward: Folder, states: dict[str, State], trail: audit.Trail, found: Said, *, repair: bool, by: str
) -> None:  # fmt: skip
    """Whether each file is as the trail's last line on it left it."""
    if not trail.lines and not repair:
        return  # that the trail is missing is said already
    for name, state in states.items():
        path = ward.layout.file(name)
        if name in trail.erased and os.path.lexists(path):
            line = trail.erased[name]
            found.wrong(f"erased by audit line {line}, and there again, as from a backup: {path}")
            if repair:
                found.lines.append("  left as it is: 'wardexam erase' takes it away")
            continue
        if not state.data or state.damaged or state.fault:
            continue
        number, record = trail.records.get(name, (0, ""))
        record = ward.audit.stands(name, record)
        if (record or name in trail.known) and record in ("", digest_in(state.data)):
            continue
        with ward.hold(name):  # another session may have saved since the trail was read
            stands = mark_in(path).partition(" ")[0]
            if stands and ward.audit.last_record(name, 1 << 20) == stands:
                continue
            last = ward.audit.last_record(name, 1 << 24) or record
            newer = next(
                (c for c in _copies(ward, name) if record and digest_in(c.state.data) == last and _within(state, c.state)), None
            )  # fmt: skip
            if newer:
                found.wrong(f"not what was saved last, which is {newer.source}: {path}")
                if repair:
                    _put_back(ward, name, newer, trail, by, found)
                continue
            if repair and record:
                ward.audit.note("accepted", name, by, "as found by check --repair", record=stands)
            elif repair:
                ward.audit.note("taken over", name, by, "unknown to the trail", record=stands)
        if record:
            found.wrong(f"changed outside this program since audit line {number}: {path}")
        else:
            found.wrong(f"the audit trail knows nothing of this patient: {path}")
        if repair:
            found.lines.append("  accepted as it stands; the trail says by whom")
    for name, number in trail.changed.items():
        found.wrong(
            f"patient {name} had been changed outside this program by audit line {number}, and nobody has accepted it"
        )
        if repair:
            ward.audit.note("accepted", name, by, f"the change found by line {number}")
            found.lines.append("  accepted; the trail says by whom")


def _check_before(ward: Folder, found: Said) -> None:
    """Whether each version before is one of its patient: it is what a repair would put back."""
    for path in sorted(ward.layout.patients.glob("*.json.before")):
        name = path.name.removesuffix(".json.before")
        if NAME.fullmatch(name) and (fault := state_of(path, name).fault):
            found.wrong(f"the version before is of no use: {fault}")


def _check_drafts(ward: Folder, found: Said) -> None:
    """Whether each draft can be resumed, here and in this login's own folder."""
    there = ward.spool
    drafts = [(i, k) for k in KINDS for i in draft_infos(ward.layout.drafts, there, kind=k)]
    for info, kind in drafts:
        here = draft_path(ward.layout.drafts, info.draft_id, kind.ending)
        other = there / here.name
        try:
            if info.trouble:
                raise RecordsError(info.trouble)
            (replay if kind is EXAMINATION else replay_sheet)(*rows_of(here, other))
        except (RecordsError, InputError) as error:
            found.wrong(f"damaged draft: {error}")
    aside = [*ward.layout.drafts_aside.iterdir(), *(there / "aside").glob("*")]
    if aside:
        found.wrong(f"set aside: {counted(len(aside), 'draft')}, the first is {sorted(aside)[0]}")


def _check_lists(ward: Folder, found: Said) -> None:
    """Whether every patient's file is on a list."""
    listed = {b.patient_id for d in (False, True) for b in ward.beds(discharged=d)}
    for path in ward.layout.files():
        if path.stem not in listed:
            found.wrong(f"not on the ward list: {path} (--repair makes the list anew)")


def _check_left(ward: Folder, found: Said) -> None:
    """What lies beside and belongs to nothing: it holds what somebody may miss."""
    places = (ward.folder, *(ward.folder / name for name in FOLDERS))
    for path in sorted(p for place in places for p in place.glob("*.damaged-*")):
        found.wrong(f"set aside: {path} (compare it, then move it out of the ward)")
    for path in sorted(ward.layout.patients.iterdir()):
        known = path.name.endswith((".json", ".json.before")) or ".damaged-" in path.name
        if not known or (path.suffix == ".before" and not NAME.fullmatch(path.name[:-12])):
            found.wrong(f"not a patient's file, passed over: {path}")
    for path in sorted(ward.locks.folder.glob("*.lock")):
        if not path.is_file() or path.stat().st_size:
            found.wrong(f"what is no lock lies in a lock's place: {path}")
    for path in (*left_over(ward.layout), *outcomes_left_over(ward.layout)):
        found.wrong(f"an import is not finished: {path}")
    for name in ward.layout.left:
        found.wrong(f"of an earlier layout, in no list: {ward.folder / name}")
    if found.sound and ward.problem:
        found.wrong(ward.problem)
