"""A ward in a folder as it stands at one moment, while others write; and one laid down from a backup.

Each patient's file is read and verified, then the trail; of whom the trail's last line says something else than
what was read is read again. The last round is made while every lock is held, which is short, since few are left.
A restored ward is made in a folder of its own, flushed, read back and compared, and takes its place in one step.
"""

import json
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from wardexam.errors import InputError, RecordsError
from wardexam.records.audit import Following, Head, keep_head, kept_head
from wardexam.records.backup import (
    OUT,
    Contents,
    Held,
    KeptDraft,
    Reading,
    contents_of,
    follow,
    held_of,
    micros,
    moment,
)
from wardexam.records.draft_file import KINDS, draft_infos
from wardexam.records.draft_file import LONGEST as LONGEST_DRAFT
from wardexam.records.durable_files import (
    open_regular,
    read_bounded,
    reason,
    sweep_dead,
    sync_folder,
    write_new,
    write_whole,
)
from wardexam.records.layout import LAYOUT, NAME, modes
from wardexam.records.locks import take
from wardexam.records.moving import GoesOnError, kept_elsewhere
from wardexam.records.origin import Origin, Restored, packed
from wardexam.records.paths import FOLDERS, WardPaths, draft_path, kept_trail
from wardexam.records.patient_tables import of_patient
from wardexam.records.schemas import LONGEST, digest_in, pack, unpack
from wardexam.records.stored_record import DamagedFileError
from wardexam.records.ward import Ward

ROUNDS = 5  # without the locks
STAGED = "restoring"  # how the name of a ward that is being restored ends
_DRAFT = re.compile(rf"([a-z0-9]{{8,40}})\.({'|'.join(k.ending for k in KINDS)})(?:\.([0-9a-z]+))?")

Progress = Callable[[str, int], object]


@dataclass(slots=True)
class _Read:
    """A patient's file as it was read: its checksum, and where its lines lie in the spool."""

    digest: str
    start: int
    size: int


@dataclass
class _TrailSoFar:
    """The trail as far as it was read: whole lines up to an end, and what they say."""

    path: Path
    end: int = 0
    following: Following = field(default_factory=Following)

    def go_on(self) -> None:
        """Read what was added."""
        try:
            handle = open_regular(self.path, os.O_RDONLY)
        except FileNotFoundError:
            return
        with os.fdopen(handle, "rb") as file:
            file.seek(self.end)
            while line := file.readline():
                if not line.endswith(b"\n"):
                    return  # the one in flight
                self.end += len(line)
                follow(self.following, line[:-1])


class FolderSource:
    """A ward's folder, read into a spool.

    Args:
        paths: What lies where.
        stands: Gives the checksum that a record has here, from the one that the trail's last line names.
        spool: Where the lines of patients are kept until all of it fits together.
        progress: Told how many patients are read.

    Attributes:
        changed: Patients whose record is not what the trail says of it.
        missing: Patients whom the trail knows and who have no file.
        left_out: Files among the drafts that are none.
        spooled: How many drafts lie in this login's own folder, and so not in the ward.
        under_way: Whose examinations are being entered now.
    """

    def __init__(
        self, paths: WardPaths, stands: Callable[[str, str], str], spool: BinaryIO, progress: Progress = lambda *_: None
    ) -> None:  # fmt: skip
        self._paths, self._stands, self._spool, self._progress = paths, stands, spool, progress
        self._read: dict[str, _Read] = {}
        self._trail = _TrailSoFar(paths.trail)
        self._drafts: list[KeptDraft] = []
        self.changed: tuple[str, ...] = ()
        self.missing: tuple[str, ...] = ()
        self.left_out: tuple[str, ...] = ()
        self.spooled = 0
        self.under_way: tuple[str, ...] = ()

    def _names(self) -> set[str]:
        names = (entry.name for entry in os.scandir(self._paths.patients))
        return {n.removesuffix(".json") for n in names if n.endswith(".json") and NAME.fullmatch(n[:-5])}  # fmt: skip

    def _unlike(self) -> list[str]:
        """Whom the trail's last line, or the folder, says something else of than what was read."""
        names, records = self._names(), self._trail.following.trail.records
        for name in [n for n in self._read if n not in names]:
            del self._read[name]
        found = []
        for name in sorted(names):
            told = self._stands(name, records.get(name, (0, ""))[1])
            if name not in self._read or told not in ("", self._read[name].digest):
                found.append(name)
        return found

    def _take(self, name: str) -> None:
        """Read one patient's file."""
        path = self._paths.file(name)
        try:
            data = read_bounded(path, LONGEST)
        except FileNotFoundError:
            self._read.pop(name, None)
            return
        except OSError as error:
            raise RecordsError(f"cannot be read: {reason(error)}", str(path)) from None
        digest = digest_in(data)
        if name in self._read and self._read[name].digest == digest:
            return
        held = held_of(of_patient(unpack(data, str(path)), name, str(path)), str(path))
        text = b"".join(held.lines())
        start = self._spool.seek(0, os.SEEK_END)
        self._spool.write(text)
        self._read[name] = _Read(digest, start, len(text))

    def gather(self) -> None:
        """Read without the locks, until what is read fits what the trail says, or nearly."""
        self._trail.go_on()
        for _ in range(ROUNDS):
            unlike = self._unlike()
            for number, name in enumerate(unlike, 1):
                self._take(name)
                self._progress("read", number)
            self._trail.go_on()
            if not self._unlike():
                return

    def finish(self, *, spool_folder: Path | None = None) -> None:
        """The last round, while nobody writes."""
        self._trail.go_on()
        for name in self._unlike():
            self._take(name)
        self.changed = tuple(self._unlike())
        self.missing = tuple(sorted(self._trail.following.trail.known - self._read.keys()))
        self._drafts = self._read_drafts()
        infos = [i for kind in KINDS for i in draft_infos(self._paths.drafts, kind=kind)]
        self.under_way = tuple(f"patient {i.patient_id} by {i.by}" for i in infos if i.held)
        if spool_folder:
            self.spooled = kept_elsewhere(spool_folder)

    @property
    def is_as_it_was(self) -> bool:
        """Whether nothing was added to the trail and no draft is another than when they were read."""
        with suppress(FileNotFoundError):
            if self._paths.trail.stat().st_size != self._trail.end:
                return False
        return self._read_drafts() == self._drafts

    def _read_drafts(self) -> list[KeptDraft]:
        found, left_out = list[KeptDraft](), []
        for aside, folder in ((False, self._paths.drafts), (True, self._paths.drafts_aside)):
            for path in sorted(folder.iterdir()):
                named = _DRAFT.fullmatch(path.name)
                if path == self._paths.drafts_aside:
                    continue
                if named is None or (named[3] and not aside):
                    left_out.append(str(path))
                    continue
                with suppress(FileNotFoundError):
                    last = moment(path.stat().st_mtime_ns // 1000)
                    rows = _rows(path)
                    found.append(KeptDraft(named[2], named[1], aside, named[3] or "", last, rows))
        self.left_out = tuple(left_out)
        return sorted(found, key=lambda draft: draft.order)

    @property
    def head(self) -> Head:
        """Where the trail ended."""
        trail = self._trail.following.trail
        return Head(trail.lines, trail.last)

    @property
    def records(self) -> dict[str, tuple[int, str]]:
        """For each patient the trail's last line that names a record, and which."""
        return self._trail.following.trail.records

    # --- as a backup has it

    def patients(self) -> Iterator[bytes]:
        """The lines of every patient, by identifier."""
        for name in sorted(self._read):
            found = self._read[name]
            self._spool.seek(found.start)
            yield from self._spool.read(found.size).splitlines(keepends=True)

    def trail(self) -> Iterator[bytes]:
        """The lines of the trail."""
        with suppress(FileNotFoundError), open(self._paths.trail, "rb") as file:
            left = self._trail.end
            while left and (line := file.readline()):
                left -= len(line)
                yield line[:-1]

    def drafts(self) -> Iterator[KeptDraft]:
        """The drafts."""
        return iter(self._drafts)


def _rows(path: Path) -> tuple[bytes, ...]:
    """The whole rows of a draft's file, without their ends; whatever stands in them."""
    try:
        data = read_bounded(path, LONGEST_DRAFT)
    except FileNotFoundError:
        raise
    except OSError as error:
        raise RecordsError(f"cannot be read: {reason(error)}", str(path)) from None
    if len(data) > LONGEST_DRAFT:
        raise RecordsError(f"the draft is longer than {LONGEST_DRAFT} bytes", str(path), "take it out of the ward")  # fmt: skip
    return tuple(data.split(b"\n")[:-1])


@contextmanager
def snapshot(
    ward: Ward, near: Path | None = None, *, progress: Progress = lambda *_: None, held: bool = False
) -> Iterator[FolderSource]:  # fmt: skip
    """A ward in a folder as it stands at one moment.

    Args:
        ward: The ward.
        near: A folder in which as much can be kept as the patients take; the ward's own for files under way.
        progress: Told how many patients are read.
        held: Whether nobody else may save until the block ends.

    Raises:
        RecordsError: A file cannot be read.
        BusyError: Another session saves all the time.
    """
    try:
        with tempfile.TemporaryFile(dir=near or ward.layout.staging) as spool, ExitStack() as locks:
            source = FolderSource(ward.layout, ward.audit.stands, spool, progress)
            source.gather()
            locks.enter_context(ward.locks.all_held())
            ward.note_what_died()
            ward.settle()
            source.finish(spool_folder=ward.spool)
            if not held:
                locks.close()
            yield source
    except OSError as error:
        raise RecordsError(f"cannot be read, or not kept aside: {reason(error)}", str(ward.folder)) from None  # fmt: skip


# --- a place


class FolderLeaving:
    """A ward in a folder that is about to be moved; every lock of it is held.

    Attributes:
        source: The ward as it stands.
    """

    def __init__(self, ward: Ward, source: FolderSource, held: ExitStack) -> None:
        self._ward, self.source, self._held = ward, source, held
        self._trail_held = False

    def last_look(self) -> None:
        """Whether the ward stands still as it was read; from here on nobody adds to its trail.

        Raises:
            GoesOnError: It does not.
        """
        if not self._trail_held and self._ward.layout.trail.exists():
            handle = open_regular(self._ward.layout.trail, os.O_RDONLY)
            self._held.callback(os.close, handle)
            take(handle, self._ward.patience)
            self._trail_held = True
        if not self.source.is_as_it_was:
            raise GoesOnError("somebody goes on at the ward meanwhile", str(self._ward.folder), "have everybody leave it, then move it")  # fmt: skip

    def mark(self, target: str) -> None:
        """Say where the ward went."""
        layout = self._ward.layout
        text = json.dumps({"to": target}).encode() + b"\n"
        write_whole(layout.moved_file, [text], layout.file_mode, layout.staging)


class FolderHome:
    """A folder in which a ward is, or may be.

    Args:
        folder: Where.
        shared: Whether it belongs to a ward account and its group.

    Attributes:
        where: How a message names it.
        near: A folder in which as much can be kept as the ward takes.
    """

    def __init__(self, folder: Path, *, shared: bool = False) -> None:
        self.folder, self.shared = folder.absolute(), shared
        self.where = str(self.folder)

    @property
    def near(self) -> Path | None:
        """A folder in which as much can be kept as the ward takes; None where there is none yet."""
        staging = WardPaths(self.folder).staging
        return staging if staging.is_dir() else None

    def _ward(self) -> Ward:
        return Ward(self.folder, shared=self.shared, begin=False)

    @contextmanager
    def snapshot(self, near: Path | None = None, *, progress: Progress = lambda *_: None) -> Iterator[FolderSource]:  # fmt: skip
        """The ward as it stands at one moment, while others write."""
        with snapshot(self._ward(), near, progress=progress) as source:
            yield source

    @contextmanager
    def reading(self, near: Path | None = None) -> Iterator[FolderSource]:
        """The ward as it stands, where nobody uses it yet: it is not opened."""
        paths = WardPaths(self.folder)
        with tempfile.TemporaryFile(dir=near or self.near) as spool:
            source = FolderSource(paths, Origin(paths.origin_file).stands, spool)
            source.gather()
            source.finish()
            yield source

    @contextmanager
    def leaving(self, *, progress: Progress = lambda *_: None) -> Iterator[FolderLeaving]:
        """The ward as it stands; nobody saves until the block ends."""
        ward = self._ward()
        with snapshot(ward, progress=progress, held=True) as source, ExitStack() as held:
            yield FolderLeaving(ward, source, held)

    def is_empty(self) -> bool:
        """Whether a ward can be laid down here."""
        return not stands_there(self.folder)

    def restored_from(self) -> str:
        """The checksum of the backup that the ward here came from; empty where it came from none."""
        return Origin(WardPaths(self.folder).origin_file).sha256

    def lay_down(
        self, source: BinaryIO, contents: Contents, *, by: str, at: str, progress: Progress = lambda *_: None,
        ready: Callable[[], object] = lambda: None,
    ) -> None:  # fmt: skip
        """Restore a ward here, all of it or nothing."""
        lay_down(
            self.folder, source, contents, shared=self.shared, by=by, at=at, progress=progress, ready=ready
        )  # fmt: skip


# --- laid down


def stands_there(folder: Path) -> bool:
    """Whether anything stands where a ward shall be restored."""
    try:
        return any(folder.iterdir())
    except FileNotFoundError:
        return False
    except OSError as error:
        raise RecordsError(f"cannot be used: {reason(error)}", str(folder)) from None


def lay_down(
    folder: Path, source: BinaryIO, contents: Contents, *, shared: bool = False, by: str, at: str,
    progress: Progress = lambda *_: None, ready: Callable[[], object] = lambda: None,
) -> None:  # fmt: skip
    """Restore a ward into a folder that is not there, or is empty: all of it or nothing.

    Args:
        folder: Where it goes.
        source: The backup, at its beginning.
        contents: What it holds, verified.
        shared: Whether the folder belongs to a ward account and its group.
        by: Who restores it.
        at: When, as ISO text.
        progress: Told "restored" and how many patients.
        ready: Called when all is verified, just before the folder takes its place; may refuse by an error.

    Raises:
        RecordsError: Something stands there, or it cannot be written, or is read back as something else.
    """
    if stands_there(folder):
        raise RecordsError(f"is not empty; {OUT}", str(folder), "name a new folder with --db")
    place = Path(os.path.realpath(folder))  # a link to an empty folder stays a link
    staged = place.parent / f".{place.name}.{os.getpid()}.{os.urandom(4).hex()}.{STAGED}"
    try:
        place.parent.mkdir(0o700, parents=True, exist_ok=True)
        sweep_dead(place, STAGED)
        _made(staged, source, contents, shared=shared, by=by, at=at, progress=progress)
        _read_back(staged, contents)
        ready()
        os.rename(staged, place)
    except BaseException as error:
        shutil.rmtree(staged, ignore_errors=True)
        if isinstance(error, OSError):
            raise RecordsError(f"{OUT}: {reason(error)}", str(folder), "free the disk, or name another folder with --db, and restore again") from None  # fmt: skip
        raise
    try:
        sync_folder(place.parent)
    except OSError as error:
        raise RecordsError(
            f"the ward is restored, but the disk does not say that it keeps it: {reason(error)}",
            str(folder),
            "look at the disk, then run 'wardexam check'",
        ) from None
    own = kept_trail(folder)
    if kept_head(own) is None and (head := _head_of(folder)):
        keep_head(own, head, str(folder))


def _made(
    staged: Path, source: BinaryIO, contents: Contents, *, shared: bool, by: str, at: str, progress: Progress
) -> None:  # fmt: skip
    """The whole ward in a folder under way, flushed."""
    mode, folder_mode = modes(shared=shared)
    paths = WardPaths(staged)
    for place in (staged, *(staged / name for name in FOLDERS)):
        place.mkdir(0o700)
        place.chmod(folder_mode)
    digests: dict[str, str] = {}
    following = Following()
    trail = os.open(paths.trail, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(trail, "wb") as lines:
        os.fchmod(lines.fileno(), mode)
        for part in Reading(source).parts():
            if isinstance(part, Held):
                digests[part.id] = _put(paths, part, mode)
                progress("restored", len(digests))
            elif isinstance(part, bytes):
                follow(following, part)
                lines.write(part + b"\n")
            else:
                _put_draft(paths, part, mode)
        lines.flush()
        os.fsync(lines.fileno())
    records = following.trail.records
    came = {
        name: (records[name][1], digest)
        for name, digest in digests.items()
        if name in records and name not in contents.changed
    }
    restored = Restored(at, by[:200], contents.sha256, following.trail.lines)
    write_new(paths.origin_file, [packed(restored, came)], mode)
    write_new(paths.mark_file, [b'{"layout": %d}\n' % LAYOUT], mode)
    for place in (*(staged / name for name in FOLDERS), staged):
        sync_folder(place)


def _put(paths: WardPaths, held: Held, mode: int) -> str:
    """A patient's file; gives its checksum."""
    try:
        pieces, digest = pack(held.tables())
    except (ValueError, TypeError):
        raise InputError(f"holds what cannot be kept; {OUT}", held.id) from None
    if (size := sum(map(len, pieces))) > LONGEST:
        raise RecordsError(f"would take {size} bytes, and a patient's file may have {LONGEST}; {OUT}", held.id)  # fmt: skip
    write_new(paths.file(held.id), pieces, mode)
    return digest


def _put_draft(paths: WardPaths, draft: KeptDraft, mode: int) -> None:
    """A draft's file, as old as it was."""
    path = draft_path(paths.drafts_aside if draft.aside else paths.drafts, draft.id, draft.kind)
    if draft.suffix:
        path = path.with_name(f"{path.name}.{draft.suffix}")
    write_new(path, [row + b"\n" for row in draft.rows], mode)
    last = micros(draft.last) * 1000
    os.utime(path, ns=(last, last))


def _read_back(staged: Path, contents: Contents) -> None:
    """Whether the ward under way holds what the backup does.

    Raises:
        RecordsError: It does not.
    """
    with tempfile.TemporaryFile(dir=staged / "staging") as spool:
        source = FolderSource(WardPaths(staged), Origin(WardPaths(staged).origin_file).stands, spool)  # fmt: skip
        try:
            source.gather()
            source.finish()
            found = contents_of(source)
        except DamagedFileError as error:
            raise RecordsError(f"cannot be read back: {error.what}; {OUT}", error.where) from None
    if (found.anew, found.counts) != (contents.anew, contents.counts):
        raise RecordsError(f"is read back as something else; {OUT}", str(staged))


def _head_of(folder: Path) -> Head | None:
    """The last line of a restored trail."""
    so_far = _TrailSoFar(WardPaths(folder).trail)
    so_far.go_on()
    trail = so_far.following.trail
    return Head(trail.lines, trail.last) if trail.lines else None
