"""Be hostile to a ward's files: `python -m tests.bench.hostile --pairs 5000 --screens 300`.

A folder of four patients (two or three examinations each, one amended; one patient discharged, one
with a draft, one without a version before) is attacked file by file: every attack alone, and seeded
pairs. After each, with no screen, both lists, every paper, `check`, two repairs, an admission and
saves are tried; with a screen, the app is open before the damage is done. Then, each time:

- nobody is lost: every acknowledged examination is readable as it was, or a line names the patient;
  and its bytes stand somewhere in the folder, unless the attack itself left them nowhere
- nobody is taken for another: what opens is who was chosen, and no paper of one patient holds
  anything of another
- nobody is missing in silence: fewer beds only with a line and an exit code that say so, and `check`
  is not sound over anything that changes what is kept
- no traceback, no fault of the program, nothing that takes longer than five seconds
- repair makes nothing worse: what could be read can be read, what lay there lies there still

What may be sound after an attack: the index and the locks are derived; a version before that is gone,
and a draft that is gone or was cut at its end, leave no sign that they were longer (the trail does not
speak of drafts). Everything else must be found by the first `check`.
"""

import argparse
import asyncio
import errno
import io
import json
import os
import random
import shutil
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout, suppress
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

from tests.bench.faults_records import AT, SUMMARY, knee
from tests.terminal.admitting import presses
from tests.terminal.screens import demo_app, dump
from wardexam.commands import arguments, main
from wardexam.errors import WardexamError
from wardexam.exam.examination import Examination, Patient
from wardexam.records.repository import Arrival
from wardexam.records.schemas import read_tables, unpack
from wardexam.records.stored_record import StoredRecord
from wardexam.records.ward import open_ward
from wardexam.terminal.course import course_text

LONGEST = 5.0  # seconds that anything may take
WHO = {
    "alphaid01": ("A1", "Alva Firstborn", "11-1001"),
    "bravoid02": ("B2", "Bela Secondo", "22-2002"),
    "charlid03": ("C3", "Cleo Thirdman", "33-3003"),
    "deltaid04": ("D4", "Dora Fourthly", "44-4004"),
}
Figures = dict[str, Any]
Key = tuple[str, str, int]  # patient, examination, revision


def token(patient_id: str, number: int) -> str:
    """A word that stands in one examination of one patient and nowhere else."""
    return f"comment{patient_id[:5]}{number}"


def build(folder: Path) -> None:
    """The ward that is attacked."""
    ward = open_ward(folder)

    def patient(name: str) -> Patient:
        bed, who, number = WHO[name]
        return Patient(id=name, bed=bed, name=who, number=number, age=50, admitted=AT)

    def exam(name: str, number: int) -> Examination:
        finding = {"sign": "knee", "side": "left", "answer": "2+", "scale": "conventional"}
        return Examination.model_validate({
            "id": f"{name[:5]}exam{number}", "patient": name, "examiner": "Dr Ash", "at": AT + timedelta(hours=number),
            "comment": token(name, number), "findings": [finding],
        })  # fmt: skip

    for name in ("alphaid01", "bravoid02", "deltaid04"):
        ward.admit(patient(name), "Dr Ash")
        for number in range(1, 4 if name == "alphaid01" else 3):
            ward.save(exam(name, number), "Dr Ash", SUMMARY)
    second = exam("alphaid01", 2).model_copy(update={"comment": token("alphaid01", 9)})
    ward.amend(second, "Dr Bex", "a slip", AT + timedelta(hours=5), SUMMARY)
    ward.take_in([Arrival(patient("charlid03"), tuple(exam("charlid03", n) for n in (1, 2)), SUMMARY)], "Dr Ash")  # fmt: skip
    ward.discharge(ward.patient("deltaid04"), AT + timedelta(hours=9), "Dr Ash")
    draft = ward.start_draft(exam("bravoid02", 7), "Dr Ash")
    for answer in ("0", "1+", "2+"):
        draft.append(knee(answer))
    draft.flush(5)
    draft.close()
    ward.record("viewed", "ward", "Dr Ash")


# --- what is done to a file


@dataclass
class Place:
    """A copy of the ward under attack.

    Attributes:
        folder: The ward.
        shut: Files that must not be opened for reading, whatever they are called, each held so that no
            other takes its number.
        source: Where chance comes from.
        left: Who was acknowledged, with the record's bytes.
        said: Every line of every command so far.
        seconds: The longest that a command took.
        quick: Whether only the papers of those whose files were attacked are made, if any were.
    """

    folder: Path
    source: random.Random
    shut: dict[tuple[int, int], int] = field(default_factory=dict)
    acknowledged: dict[Key, bytes] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)
    seconds: float = 0.0
    quick: bool = False

    def files(self) -> list[Path]:
        """Every file that may be attacked."""
        return sorted(p for p in self.folder.rglob("*") if p.is_file() and not p.is_symlink())


Attack = Callable[[Place, Path], bool]  # whether there was anything to do


def _beside(path: Path, name: str) -> bool:
    target = path.with_name(name)
    if target.exists():
        return False
    path.rename(target)
    return True


def _valid(path: Path) -> str:
    """A name that could be another record's."""
    return f"zvalid99{path.name[path.name.find('.') :]}"


def removed(_: Place, path: Path) -> bool:
    path.unlink()
    return True


def renamed(_: Place, path: Path) -> bool:
    return _beside(path, _valid(path))


def renamed_stray(_: Place, path: Path) -> bool:
    return _beside(path, f"Copy of {path.name}")


def renamed_bak(_: Place, path: Path) -> bool:
    return _beside(path, f"{path.name}.bak")


def emptied(_: Place, path: Path) -> bool:
    if not path.stat().st_size:
        return False
    path.write_bytes(b"")
    return True


def half(_: Place, path: Path) -> bool:
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    return len(data) > 1


def short(_: Place, path: Path) -> bool:
    data = path.read_bytes()
    path.write_bytes(data[:-1])
    return bool(data)


def swapped(place: Place, path: Path) -> bool:
    others = [p for p in place.files() if p != path and ".lock" not in p.name and ".holder" not in p.name]  # fmt: skip
    return bool(others) and swap(path, place.source.choice(others))


def swap(one: Path, other: Path) -> bool:
    """Each file's bytes under the other's name."""
    spare = one.with_name("swapping")
    one.rename(spare)
    other.rename(one)
    spare.rename(other)
    return True


def unreadable(place: Place, path: Path) -> bool:
    found = path.stat()
    place.shut[found.st_dev, found.st_ino] = os.open(path, os.O_PATH)
    return True


def is_shut(place: Place, path: Any) -> bool:
    """Whether a file must not be opened for reading."""
    if not place.shut:
        return False
    try:
        found = os.stat(path)
    except (OSError, TypeError):
        return False
    return (found.st_dev, found.st_ino) in place.shut


def a_folder(_: Place, path: Path) -> bool:
    path.unlink()
    path.mkdir(0o700)
    return True


def a_pipe(_: Place, path: Path) -> bool:
    path.unlink()
    os.mkfifo(path, 0o600)
    return True


def newer(_: Place, path: Path) -> bool:
    data = path.read_bytes()
    for old, new in (
        (b'{"schema": 9,', b'{"schema": 99,'), (b'{"layout": 3}', b'{"layout": 9}'), (b'"version": 2}', b'"version": 9}'),
    ):  # fmt: skip
        if data.count(old, 0, 60):
            path.write_bytes(data.replace(old, new, 1))
            return True
    return False


def doubled(_: Place, path: Path) -> bool:
    shutil.copyfile(path, path.with_name(_valid(path)))
    return True


def doubled_stray(_: Place, path: Path) -> bool:
    shutil.copyfile(path, path.with_name(f"Copy of {path.name}"))
    return True


def put_over(place: Place, path: Path) -> bool:
    """A copy of one file put over another."""
    others = [p for p in place.files() if p != path and p.parent == path.parent]
    if not others:
        return False
    shutil.copyfile(place.source.choice(others), path)
    return True


def flipped(place: Place, path: Path) -> bool:
    data = bytearray(path.read_bytes())
    if not data:
        return False
    data[place.source.randrange(len(data))] ^= place.source.randrange(1, 256)
    path.write_bytes(bytes(data))
    return True


ATTACKS: dict[str, Attack] = {
    a.__name__: a
    for a in (
        removed, renamed, renamed_stray, renamed_bak, emptied, half, short, swapped, unreadable, a_folder, a_pipe, newer,
        doubled, doubled_stray, put_over, flipped,
    )
}  # fmt: skip


@contextmanager
def closed_to_reading(place: Place) -> Iterator[None]:
    """Opening a shut file for reading is refused, as to one who is not root."""
    real = os.open

    def open_(path: Any, flags: int, *more: Any, **options: Any) -> int:
        if not flags & (os.O_WRONLY | os.O_EXCL | os.O_PATH) and is_shut(place, path):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), os.fspath(path))
        return real(path, flags, *more, **options)

    os.open = open_  # type: ignore[assignment]  # a narrower signature than the one it stands for
    try:
        yield
    finally:
        os.open = real
        while place.shut:
            os.close(place.shut.popitem()[1])


@contextmanager
def no_flushing() -> Iterator[None]:
    """Nothing waits for the disk: no power is cut here."""
    real = os.fsync, os.fdatasync
    os.fsync = os.fdatasync = lambda _: None
    try:
        yield
    finally:
        os.fsync, os.fdatasync = real


GRAMMAR = cache(arguments.parser)


@contextmanager
def one_grammar() -> Iterator[None]:
    """The command line's grammar is made once for all commands of a run."""
    real, arguments.parser = arguments.parser, GRAMMAR
    try:
        yield
    finally:
        arguments.parser = real


# --- what is there


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError:
        return b""


def blobs(folder: Path) -> list[bytes]:
    """The bytes of every file."""
    return [_bytes(p) for p in folder.rglob("*") if p.is_file()]


def records(folder: Path) -> dict[Key, bytes]:
    """The records of every sound file under its own patient's name, as their bytes lie there."""
    found: dict[Key, bytes] = {}
    for path in folder.glob("patients/*.json"):
        with suppress(WardexamError):
            for row in (read_tables(path) or {}).get("examinations", {}).values():
                assert isinstance(row, StoredRecord)
                if row["patient"] == path.stem:
                    found[path.stem, row["id"], row["revision"]] = row.raw
    return found


def standing(folder: Path, wanted: dict[Key, bytes]) -> set[Key]:
    """Whose bytes stand anywhere in the folder."""
    whole = b"\0".join(blobs(folder))
    return {key for key, raw in wanted.items() if raw in whole}


@dataclass
class Seen:
    """What of a ward can be seen through the program.

    Attributes:
        readable: Every revision that can be read, with its text.
        refused: Why each patient's record cannot be.
        beds: The lines of both lists: patient, name, trouble.
        problem: What the ward itself says.
    """

    readable: dict[Key, str] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)
    beds: list[tuple[str, str, str]] = field(default_factory=list)
    problem: str = ""


def look(folder: Path) -> Seen:
    """Open the ward anew and read everybody; empty where it is refused."""
    seen = Seen()
    try:
        ward = open_ward(folder)
    except WardexamError as error:
        seen.problem = str(error)
        return seen
    for discharged in (False, True):
        seen.beds += [(b.patient_id, b.name, b.trouble) for b in ward.beds(discharged=discharged)]
        seen.problem = seen.problem or ward.problem
    for name in WHO:
        try:
            file = ward.file(name)
            for exam, revision in file.numbered():
                text = file.revisions(exam)[revision - 1].model_dump_json()
                seen.readable[name, exam, revision] = text
        except WardexamError as error:
            seen.refused[name] = str(error)
    return seen


def kept(place: Place) -> dict[str, Any]:
    """What a check must answer for, as far as it can be read: files by name, with their meaning."""
    found: dict[str, Any] = {}
    for path in sorted(place.folder.rglob("*")):
        name = str(path.relative_to(place.folder))
        if name.startswith(("index", "locks", "staging")) or (path.is_dir() and name in ("patients", "drafts", "drafts/aside")):  # fmt: skip
            continue
        if is_shut(place, path) or not path.is_file():
            found[name] = "closed"
            continue
        data = path.read_bytes()
        found[name] = data
        if name.startswith("patients/"):
            with suppress(WardexamError):
                found[name] = {
                    t: [dict(r) for r in rows.values()] for t, rows in unpack(data, name).items()
                }
        elif name in ("ward.json", "audit.jsonl") or name.endswith(".draft"):
            with suppress(ValueError):
                found[name] = [json.loads(line) for line in data.splitlines()], data[-1:] == b"\n"
    return found


def _of(tables: Any, name: str) -> bool:
    """Whether a file that could be read is that of the patient its name says."""
    whose = tables["patient"][0]["id"] if isinstance(tables, dict) and "patient" in tables else ""
    return bool(whose) and name.startswith(f"patients/{whose}.")


def must_be_found(before: dict[str, Any], after: dict[str, Any]) -> str:
    """The first difference that no check may call sound; empty where there is none."""
    for name in sorted({*before, *after}):
        was, now = before.get(name), after.get(name)
        if was == now:
            continue
        if name.endswith(".before") and (now is None or _of(now, name)):
            continue  # gone, or another version of the same patient
        if name == "ward.json" and now and now[0] == was[0]:
            continue
        if name.endswith(".draft") and (now is None or was is None):
            continue
        if name.endswith(".draft") and now != "closed":
            rows = was[0]
            cut = now if isinstance(now, bytes) else None
            if isinstance(now, tuple) and now[0] and now[0] == rows[: len(now[0])]:
                continue
            if cut is not None and b"\n" in cut:
                whole = cut[: cut.rfind(b"\n") + 1].splitlines()
                with suppress(ValueError):
                    if [json.loads(line) for line in whole] == rows[: len(whole)]:
                        continue
        if name.startswith("drafts/") and was is None:
            continue  # a second name for a draft, or junk beside
        if was is None and "/" not in name:
            continue  # beside the ward's own files, in nobody's way
        return name
    return ""


# --- one case


@dataclass(frozen=True)
class Case:
    """A case by its steps: the attack, the file, and what chance began from."""

    steps: tuple[tuple[str, str], ...]
    seed: int

    def __str__(self) -> str:
        return " then ".join(f"{a} {f}" for a, f in self.steps) + f" (seed {self.seed})"


class ViolationError(AssertionError):
    """Something that must never be."""


def demand(held: object, case: Case, what: str) -> None:
    """Raise what was violated, with its case, unless it held."""
    if not held:
        raise ViolationError(f"{case}: {what}")


def _run(place: Place, *arguments_: str) -> tuple[int, str, str]:
    """A command as it would be typed; what it says, and its code."""
    out, err = io.StringIO(), io.StringIO()
    start = time.monotonic()
    with redirect_stdout(out), redirect_stderr(err):
        code = main.run(["--db", str(place.folder), *arguments_])
    place.seconds = max(place.seconds, time.monotonic() - start)
    place.said += [*err.getvalue().splitlines(), *out.getvalue().splitlines()]
    return code, out.getvalue(), err.getvalue()


def _holds_only(text: str, patient_id: str) -> bool:
    """Whether a paper of one patient holds nothing of another."""
    return not any(
        word in text
        for other, (_, name, number) in WHO.items()
        if other != patient_id
        for word in (name, number, f"comment{other[:5]}")
    )


def _strike(place: Place, case: Case) -> bool:
    """Do what the case says; whether all of it could be done."""
    for attack, name in case.steps:
        path = place.folder / name
        if not path.is_file():
            return False
        attack, _, other = attack.partition(" with ")
        done = swap(path, place.folder / other) if other else ATTACKS[attack](place, path)
        if not done:
            return False
    return True


def _papers(place: Place, case: Case) -> None:
    """Every paper of every patient: of that patient and nobody else."""
    named = [n for n in WHO if n in str(case)] if place.quick else []
    for name in named or WHO:
        for paper in (("note",), ("referral",), ("figure",), ("export", "--patient"), ("export", "--csv", "--patient")):  # fmt: skip
            code, out, err = _run(place, *paper, name)
            demand(_holds_only(out, name), case, f"{paper} of {name} holds another's")
            demand(code == 0 or err, case, f"{paper} of {name} ends in silence")
    for command in (("handover",), ("export",), ("export", "--csv")):
        code, out, err = _run(place, *command)
        demand(code == 0 or err, case, f"{command} ends in silence")
        if command == ("export",):
            whose = ""
            for line in out.splitlines():
                row = json.loads(line)
                whose = row["patient"]["id"] if "patient" in row else whose
                demand("examination" not in row or row["examination"]["patient"] == whose, case, "archive mixes")  # fmt: skip
                demand("end" in row or "archive" in row or _holds_only(line, whose), case, "archive mixes")  # fmt: skip
    with suppress(WardexamError):
        ward = open_ward(place.folder)
        for name in WHO:
            with suppress(WardexamError):
                demand(_holds_only(course_text(ward.file(name)), name), case, f"course of {name}")


def _lists(place: Place, case: Case, wanted: int) -> str:
    """Both lists: nobody is absent in silence, nobody under another's bed; the refusal, if it is one."""
    lines, said, codes = [], "", set()
    for more in ((), ("--discharged",)):
        code, out, err = _run(place, "beds", *more)
        lines += out.splitlines()
        said += err
        codes.add(code)
        demand((code == 0) == (not err), case, f"beds: exit code {code} with '{err}'")
    if len(lines) < wanted:
        demand(said, case, f"{len(lines)} beds of {wanted}, and nothing is said")
    for line in lines:
        for name, (bed, *_) in WHO.items():
            if line.startswith(f"{bed} "):
                demand(name in line, case, f"the bed of {name} is given as '{line}'")
    return said if not lines and codes != {0} else ""


def _change(place: Place, case: Case, number: int) -> None:
    """Admit somebody and examine everybody, as far as the ward lets us; what it takes is acknowledged."""
    try:
        ward = open_ward(place.folder)
    except WardexamError:
        return
    new = f"newcomer{number}"
    with suppress(WardexamError):
        ward.admit(Patient(id=new, bed="N1", name="Nemo Newly", admitted=AT), "Dr Ash")
        ward.save(_exam(new, number), "Dr Ash", SUMMARY)
        listed = {b.patient_id for b in ward.beds()}
        demand(new in listed, case, "an admission that was taken is on no list")
    for name in WHO:
        exam = _exam(name, number)
        try:
            ward.save(exam, "Dr Ash", SUMMARY)
        except WardexamError:
            continue
        raw = records(place.folder).get((name, exam.id, 1))
        demand(raw, case, f"a save for {name} that was acknowledged is not in the file")
        assert raw is not None
        place.acknowledged[name, exam.id, 1] = raw
    ward.settle()


def _exam(name: str, number: int) -> Examination:
    return Examination(
        id=f"{name[:5]}later{number}", patient=name, examiner="Dr Ash", at=AT + timedelta(days=number),
        comment=token(name, 50 + number),
    )  # fmt: skip


def _nobody_lost(
    place: Place, case: Case, seen: Seen, texts: dict[Key, str], stood: set[Key]
) -> None:
    """Readable as it was, or named; and the bytes somewhere."""
    said = [seen.problem, *place.said, *(t for _, _, t in seen.beds), *seen.refused.values()]
    for key in place.acknowledged:
        name = key[0]
        if key in seen.readable:
            was = texts.get(key, seen.readable[key])
            demand(seen.readable[key] == was, case, f"{key} reads as something else")
            continue
        named = any(name in line for line in said if line)
        demand(named or "ward.json" in seen.problem or str(place.folder) in seen.problem, case, f"{key} is not readable, and no line names {name}")  # fmt: skip
    gone = stood - standing(place.folder, place.acknowledged)
    demand(not gone, case, f"the bytes of {sorted(gone)} stand nowhere any more")


def _after(place: Place, case: Case, texts: dict[Key, str], before: dict[str, Any]) -> None:
    """Everything that is tried with no screen, and what must hold."""
    stood = standing(place.folder, place.acknowledged)
    differs = must_be_found(before, kept(place))
    refusal = _lists(place, case, len(WHO))
    _papers(place, case)
    seen = look(place.folder)
    _nobody_lost(place, case, seen, texts, stood)
    code, out, _ = _run(place, "check")
    sound = code == 0 and "all sound" in out
    demand(not (sound and differs), case, f"check is sound over {differs}")
    demand((code == 0) == ("all sound" in out), case, f"check: code {code}")
    missing = set(WHO) - {name for name, *_ in seen.beds}
    demand(not (missing and sound), case, f"check is sound without {missing}")
    demand(not (seen.refused and sound), case, f"check is sound over {seen.refused}")
    lying = [data for path in place.folder.rglob("*") if path.is_file() and (data := _evidence(place, path))]  # fmt: skip
    for _ in range(2):
        _run(place, "check", "--repair")
    left = set(blobs(place.folder))
    gone = [data[:80] for data in lying if data not in left]
    demand(not gone, case, f"repair wrote over {gone}")
    mended = look(place.folder)
    worse = set(seen.readable) - set(mended.readable)
    demand(not worse, case, f"after the repair {sorted(worse)} can be read no more")
    again = _lists(place, case, len(WHO))
    demand(refusal or not again, case, f"the ward is refused after the repair: {again}")
    _change(place, case, 1)
    stood |= {key for key in place.acknowledged if "later" in key[1]}
    _nobody_lost(place, case, look(place.folder), texts, stood)
    _lists(place, case, len(WHO))
    _run(place, "check")
    for line in place.said:
        demand("fault of the program" not in line and "Traceback" not in line, case, line)
    demand(place.seconds < LONGEST, case, f"something took {place.seconds:.1f} s")


def _evidence(place: Place, path: Path) -> bytes:
    """The bytes that no repair may write over: of patients and drafts, wherever they lie."""
    data = _bytes(path)
    wanted = b'"comment' in data or b"comment" in data
    return (
        data
        if wanted and path.name != "audit.jsonl" and not path.name.startswith("current")
        else b""
    )


class Range:
    """Where cases are carried out: one folder, put back as it was before each.

    Args:
        work: An empty folder; its state folder becomes this process's.
        quick: Whether only the papers of those whose files are attacked are made.
    """

    def __init__(self, work: Path, *, quick: bool = False) -> None:
        self.quick = quick
        self.seed, self.folder = work / "seed", work / "ward"
        self.state, self.state_seed = work / "state", work / "state-seed"
        os.environ["XDG_STATE_HOME"] = str(self.state)
        build(self.folder)
        shutil.copytree(self.folder, self.seed)
        shutil.copytree(self.state, self.state_seed)
        self.acknowledged = records(self.folder)
        self.texts = look(self.folder).readable
        assert set(self.texts) == set(self.acknowledged)
        assert len(self.texts) == 10, self.texts.keys()
        self.before = kept(Place(self.folder, random.Random(0)))
        names = [str(p.relative_to(self.seed)) for p in self.seed.rglob("*") if p.is_file()]
        locks = sorted(n for n in names if n.startswith("locks/"))
        wanted = {"lists.lock", "lists.holder"}
        some = [n for n in locks if Path(n).name in wanted] + locks[:2]
        self.names = sorted({n for n in names if not n.startswith("locks/")} | set(some))

    def fresh(self, case: Case) -> Place:
        """The ward as it was, to be attacked."""
        for place, seed in ((self.folder, self.seed), (self.state, self.state_seed)):
            shutil.rmtree(place, ignore_errors=True)
            shutil.copytree(seed, place)
        return Place(
            self.folder, random.Random(case.seed), acknowledged=dict(self.acknowledged), quick=self.quick
        )  # fmt: skip

    def alone(self) -> list[Case]:
        """Every attack on every file, and every swap of two."""
        found = [
            Case(((attack, name),), 0) for name in self.names for attack in ATTACKS if attack != "swapped"
        ]  # fmt: skip
        return found + [
            Case(((f"swapped with {other}", one),), 0) for one, other in combinations(self.names, 2)
        ]

    def pairs(self, count: int, seed: int) -> list[Case]:
        """Two attacks on two files, or twice on one, by chance."""
        source, found = random.Random(seed), []
        for number in range(count):
            steps = tuple(
                (source.choice(list(ATTACKS)), source.choice(self.names)) for _ in range(2)
            )
            found.append(Case(steps, seed * 1_000_000 + number))
        return found

    def without_screen(self, case: Case) -> bool:
        """One case; whether the attack could be made."""
        place = self.fresh(case)
        if not _strike(place, case):
            return False
        with closed_to_reading(place), one_grammar(), no_flushing():
            _after(place, case, self.texts, self.before)
        return True

    async def with_screen(self, case: Case) -> bool:
        """One case, the app open before the damage is done."""
        place = self.fresh(case)
        app = demo_app(place.folder, empty=True)
        with closed_to_reading(place), no_flushing():
            async with app.run_test(size=(100, 30)) as pilot:
                await pilot.pause()
                if not _strike(place, case):
                    return False
                await _Doctor(self, place, case, app, pilot).round()
            place.acknowledged |= {
                k: raw for k, raw in records(place.folder).items() if k[0] in WHO
            }
            seen = look(place.folder)
            _run(place, "check")
            _nobody_lost(place, case, seen, self.texts, standing(place.folder, place.acknowledged))
        return True


class _Doctor:
    """Who sits before the screen while the files are attacked."""

    def __init__(self, range_: Range, place: Place, case: Case, app: Any, pilot: Any) -> None:
        self.range, self.place, self.case, self.app, self.pilot = range_, place, case, app, pilot

    async def press(self, *keys: str) -> None:
        start = time.monotonic()
        await self.pilot.press(*keys)
        took = (time.monotonic() - start) / len(keys)
        demand(took < LONGEST, self.case, f"a key of {keys} took {took:.1f} s")

    async def round(self) -> None:
        """Everything a doctor would try."""
        from wardexam.terminal.examine.screen import ExamineScreen
        from wardexam.terminal.screens.text import TextScreen
        from wardexam.terminal.screens.ward import WardScreen

        app, case = self.app, self.case
        stood = standing(self.place.folder, self.place.acknowledged)
        for discharged in (False, True):
            if discharged:
                await self.press("X")
            app.screen.reload()
            said = app.screen.said
            rows = [bed.patient_id for bed in app.screen._beds]
            expected = {"deltaid04"} if discharged else set(WHO) - {"deltaid04"}
            if missing := expected - set(rows):
                elsewhere = {b[0] for b in look(self.place.folder).beds}
                demand(said or missing <= elsewhere, case, f"{missing} left the list in silence")
            for row, patient_id in enumerate(rows):
                for key in ("enter", "n", "V") if not discharged else ("n",):
                    app.screen._choose(row)
                    bed = app.screen._bed
                    if bed is None or bed.patient_id != patient_id:
                        break  # the list says something new
                    await self.press(key)
                    top = app.screen
                    if isinstance(top, WardScreen):
                        demand(
                            top.said, case, f"{key} on {patient_id} did nothing and said nothing"
                        )
                        continue
                    demand(patient_id in WHO, case, f"{patient_id} opens")
                    shown = "\n".join(dump(app))
                    demand(
                        WHO[patient_id][1] in shown, case, f"{key} opened another than {patient_id}"
                    )
                    demand(
                        _holds_only(shown, patient_id),
                        case,
                        f"{key} of {patient_id} shows another's",
                    )
                    if isinstance(top, ExamineScreen):
                        demand(top.visit.patient.id == top.visit.examination.patient == patient_id, case, f"examines {top.visit.patient.id}")  # fmt: skip
                        if row == 0:
                            await self.press("2", "s")
                            if isinstance(app.screen, TextScreen):
                                self.saved(top)
                    else:
                        demand(_holds_only(top.shown, patient_id), case, f"{key} of {patient_id} shows another's")  # fmt: skip
                    await self.home()
        await self.press("X", "H")
        await self.home()
        await self.press(*presses("N9", "Nemo"))
        await self.home()
        gone = stood - standing(self.place.folder, self.place.acknowledged)
        demand(not gone, case, f"the bytes of {sorted(gone)} stand nowhere any more")
        await self.press("q")
        for line in (*self.place.said, app.screen.said if app.screen_stack else ""):
            demand("fault of the program" not in line, case, line)

    def saved(self, top: Any) -> None:
        """A save that the screen acknowledged by its note is stored once."""
        key = top.visit.patient.id, top.visit.examination.id, 1
        raw = records(self.place.folder).get(key)
        demand(raw, self.case, f"saved {key}, and it is not in the file")
        assert raw is not None
        self.place.acknowledged[key] = raw

    async def home(self) -> None:
        from wardexam.terminal.screens.ward import WardScreen

        for _ in range(6):
            if isinstance(self.app.screen, WardScreen):
                if self.app.screen.asking:
                    await self.press("escape")
                return
            await self.press("escape" if self.app.screen.asking else "q")
        demand(False, self.case, f"no way back to the ward from {self.app.screen}")


def run_cases(
    cases: list[Case], one: Callable[[Case], bool], *, until: float = float("inf"), going_on: bool = False,
    wanted: float = float("inf"),
) -> tuple[Counter[str], list[str]]:  # fmt: skip
    """Carry out cases; gives how many of each attack were made, and the violations where it goes on."""
    counts: Counter[str] = Counter()
    violations = []
    for case in cases:
        if time.monotonic() > until or sum(counts.values()) + len(violations) >= wanted:
            break
        try:
            if one(case):
                counts[" + ".join(a.partition(" with ")[0] for a, _ in case.steps)] += 1
        except Exception as error:
            if not going_on:
                raise
            violations.append(f"{type(error).__name__} {error}" if isinstance(error, ViolationError) else f"{case}: {error!r}")  # fmt: skip
            print(violations[-1][:600], flush=True)
    return counts, violations


def totals(counts: Counter[str]) -> dict[str, int]:
    """How often each attack was made, alone or in a pair."""
    found: Counter[str] = Counter()
    for name, number in counts.items():
        for attack in name.split(" + "):
            found[attack] += number
    return dict(sorted(found.items()))


def hostile(
    work: Path, *, pairs: int = 5000, screens: int = 300, seed: int = 1, minutes: float = 1e9, going_on: bool = False,
    only: str = "", every: int = 1,
) -> Figures:  # fmt: skip
    """Every attack alone and `pairs` by chance with no screen, `screens` pairs with one."""
    place = Range(work)
    until = time.monotonic() + minutes * 60
    alone = [c for c in place.alone()[::every] if only in str(c)]
    chance = place.pairs(2 * pairs, seed)  # not every attack can be made on every file
    on_screen = place.alone()[:: max(1, len(place.alone()) // max(1, screens // 4))] if screens else []  # fmt: skip
    on_screen = [*on_screen[: screens // 4], *place.pairs(2 * screens, seed + 1)]  # fmt: skip
    first, wrong = run_cases(alone, place.without_screen, until=until, going_on=going_on)
    second, more = run_cases(
        chance, place.without_screen, until=until, going_on=going_on, wanted=pairs
    )
    third, most = run_cases(on_screen, lambda c: asyncio.run(place.with_screen(c)), until=until, going_on=going_on, wanted=screens)  # fmt: skip
    return {
        "files": len(place.names), "attacks alone": sum(first.values()), "pairs": sum(second.values()),
        "with a screen": sum(third.values()), "alone by kind": totals(first), "pairs by kind": totals(second),
        "with a screen by kind": totals(third), "violations": len(wrong) + len(more) + len(most),
    }  # fmt: skip


def main_() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=5000)
    parser.add_argument("--screens", type=int, default=300, help="cases with a screen open")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=1e9, help="at most so long")
    parser.add_argument("--only", default="", help="of those alone, only the ones that name this")
    parser.add_argument("--every", type=int, default=1, help="of those alone, every so many")
    parser.add_argument(
        "--go-on", action="store_true", help="list every violation instead of ending"
    )
    parser.add_argument("--folder", type=Path, help="where to work (default: a temporary folder)")
    o = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="hostile-", dir=o.folder) as work:
        start = time.monotonic()
        figures = hostile(
            Path(work), pairs=o.pairs, screens=o.screens, seed=o.seed, minutes=o.minutes, going_on=o.go_on, only=o.only,
            every=o.every,
        )  # fmt: skip
        for name, value in figures.items():
            print(f"{name}: {value}")
        print(f"in {time.monotonic() - start:.0f} s")


if __name__ == "__main__":
    main_()
