"""Break things on purpose: `python -m tests.bench.faults_records all`, or one run by its name.

Each run raises AssertionError when something was lost, doubled, damaged or told wrongly, and gives
its figures otherwise. The suite runs short versions (`tests/records/test_faults.py`).
"""

import argparse
import errno
import hashlib
import io
import itertools
import json
import os
import random
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tests.records.checking import check_store
from tests.records.sealing import sealed, sealed_bytes
from wardexam.errors import RecordsError, WardexamError
from wardexam.exam.entry import Change, apply
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.outcome import Outcome
from wardexam.injury.entry import SheetChange
from wardexam.injury.kept import KeptSheet
from wardexam.injury.typed import read_typed
from wardexam.records import audit
from wardexam.records.archive import read_archive, write_archive
from wardexam.records.check import state_of
from wardexam.records.repository import Arrival, Summary
from wardexam.records.schemas import read_tables, unpack
from wardexam.records.ward import Ward, open_ward

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
SUMMARY = Summary(1, "within days", False, "a line")
PATIENTS = tuple(f"patient{n}" for n in range(6))
Figures = dict[str, Any]


def patient(name: str = PATIENTS[0]) -> Patient:
    return Patient(id=name, bed="A1", name="Ana Invented", admitted=AT)


def examination(name: str, of: str = PATIENTS[0], number: int = 0) -> Examination:
    return Examination(id=name, patient=of, examiner="Dr Ash", at=AT + timedelta(minutes=number))


def knee(answer: str) -> Change:
    finding = {"sign": "knee", "side": "right", "answer": answer, "scale": "conventional"}
    return Change("finding", "knee right", finding)


def stored_ids(ward: Ward, name: str) -> list[str]:
    tables = read_tables(ward.layout.patients / f"{name}.json") or {}
    return [row["id"] for row in tables.get("examinations", {}).values()]


def is_stored(ward: Ward, name: str, identifier: str) -> bool:
    return identifier in stored_ids(ward, name)


def forked(work: Callable[[Callable[[str], None]], None]) -> tuple[int, int]:
    """Run work in a child that tells its parent lines; gives the child and the reading end."""
    reading, writing = os.pipe()
    child = os.fork()
    if child:
        os.close(writing)
        return child, reading
    code = 1
    try:
        os.close(reading)
        work(lambda line: (os.write(writing, f"{line}\n".encode()), None)[1])
        code = 0
    finally:
        os._exit(code)


def told(reading: int) -> list[str]:
    """Everything a child told, by whole lines."""
    with os.fdopen(reading, "rb") as file:
        return file.read().decode().split("\n")[:-1]


# --- many at once


def sessions(folder: Path, *, count: int = 8, seconds: float = 60.0) -> Figures:
    """Sessions saving at once, to six patients by chance: nothing lost, nothing twice."""
    ward = open_ward(folder)
    for name in PATIENTS:
        ward.admit(patient(name), "x")

    def work(session: int) -> Callable[[Callable[[str], None]], None]:
        def run(tell: Callable[[str], None]) -> None:
            mine, source = open_ward(folder), random.Random(session)
            end = time.monotonic() + seconds
            for number in itertools.count():
                if time.monotonic() > end:
                    return
                name, of = f"s{session}n{number:08}", source.choice(PATIENTS)
                while True:
                    start = time.monotonic()
                    try:
                        mine.save(examination(name, of, number), f"Dr {session}", SUMMARY)
                        break
                    except RecordsError:
                        tell(f"busy {name} {of} 0")
                tell(f"saved {name} {of} {time.monotonic() - start:.4f}")

        return run

    children = [forked(work(n)) for n in range(count)]
    lines = [line.split() for _, reading in children for line in told(reading)]
    assert [os.waitstatus_to_exitcode(os.waitpid(c, 0)[1]) for c, _ in children] == [0] * count
    saved = [(of, name) for word, name, of, _ in lines if word == "saved"]
    found = [(of, name) for of in PATIENTS for name in stored_ids(ward, of)]
    assert sorted(saved) == sorted(found), "lost or doubled"
    trail = audit.verify(folder / "audit.jsonl")
    assert not trail.faults
    assert trail.lines == len(saved) + len(PATIENTS)
    assert sum(b.examinations for b in open_ward(folder).beds()) == len(saved)
    waits = sorted(float(row[3]) for row in lines if row[0] == "saved")
    return {
        "sessions": count, "seconds": seconds, "saved": len(saved), "lost": 0, "twice": 0,
        "refused as busy, then saved": sum(row[0] == "busy" for row in lines),
        "a save p50 ms": round(waits[len(waits) // 2] * 1e3, 1), "longest ms": round(waits[-1] * 1e3),
    }  # fmt: skip


# --- killed


def kills(folder: Path, *, times: int = 1000, seed: int = 1) -> Figures:
    """kill -9 at random moments of drafts and saves: what was told as kept or saved is there."""
    ward = open_ward(folder)
    for name in PATIENTS[:3]:
        ward.admit(patient(name), "x")
    source = random.Random(seed)
    saved: set[tuple[str, str]] = set()
    lost = keys = resumed = strays = 0
    longest = 0.06  # s that a life lasts at most; longer where the machine is so slow that none keeps a key

    def work(life: int) -> Callable[[Callable[[str], None]], None]:
        def run(tell: Callable[[str], None]) -> None:
            mine = open_ward(folder)
            for number in itertools.count():
                name, of = f"k{life:05}n{number:06}", PATIENTS[(life + number) % 3]
                document = examination(name, of, life)
                draft = mine.start_draft(document, "Dr Ash")
                for step, answer in enumerate(("0", "1+", "2+"), 1):
                    draft.append(knee(answer))
                    document = apply(document, knee(answer))
                    if draft.flush(5):
                        tell(f"kept {name} {of} {step}")
                mine.save(document, "Dr Ash", SUMMARY)
                tell(f"saved {name} {of} 0")
                mine.drop_draft(draft)

        return run

    for life in range(times):
        child, reading = forked(work(life))
        time.sleep(source.uniform(0.002, longest))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        if not keys:
            longest *= 1.1
        kept: dict[tuple[str, str], int] = {}
        for word, name, of, step in (line.split() for line in told(reading)):
            if word == "saved":
                saved.add((of, name))
                assert is_stored(ward, of, name), f"lost {name}"
                kept.pop((of, name), None)
            else:
                kept[of, name] = int(step)
                keys += 1
        strays += sum(1 for _ in ward.layout.staging.iterdir())
        after = open_ward(folder)
        assert not (left := [p.name for p in after.layout.staging.iterdir()]), (
            f"{left} not swept; child {child}"
        )
        drafts = {d.draft_id: d for d in after.drafts()}
        for (of, name), step in kept.items():
            if not is_stored(after, of, name):
                assert drafts[name].keys >= step, f"lost a key of {name}"
        for draft_id, info in drafts.items():
            assert not info.held
            draft, document = after.resume_draft(draft_id)
            after.save(document, "Dr Bex")
            after.drop_draft(draft)
            saved.add((info.patient_id, draft_id))
            resumed += 1
    found = [(of, name) for of in PATIENTS[:3] for name in stored_ids(ward, of)]
    assert len(found) == len(set(found)), "doubled"
    lost = len(saved - set(found))
    assert not lost
    report = check_store(folder, repair=False, by="x")
    assert report.sound, report.lines
    return {"kills": times, "saved": len(saved), "keys told as kept": keys, "drafts resumed": resumed, "stray files swept": strays, "lost": 0, "damaged files": 0}  # fmt: skip


# --- failing calls


class Failing:
    """The system's writing calls, of which one fails."""

    NAMES = (
        "open", "write", "writev", "pwrite", "fsync", "fdatasync", "replace", "rename", "link", "unlink", "mkdir",
        "ftruncate", "fchmod", "chmod",
    )  # fmt: skip

    def __init__(self, at: int = 0, number: int = errno.ENOSPC, *, forever: bool = False) -> None:
        self.at, self.number, self.forever, self.count = at, number, forever, 0
        self.failed = ""

    def _fails(self, name: str) -> bool:
        self.count += 1
        hit = self.count == self.at or (self.forever and self.at and self.count > self.at)
        if hit and not self.failed:
            self.failed = name
        return bool(hit)

    @contextmanager
    def installed(self) -> Iterator["Failing"]:
        real = {name: getattr(os, name) for name in self.NAMES}

        def wrapped(name: str) -> Callable[..., Any]:
            def call(*given: Any, **options: Any) -> Any:
                if name == "open" and not given[1] & (os.O_CREAT | os.O_WRONLY | os.O_RDWR):
                    return real[name](*given, **options)
                if self._fails(name):
                    if name == "write" and len(given[1]) > 1:  # half of it arrives
                        return real[name](given[0], bytes(given[1])[: len(given[1]) // 2])
                    if name == "writev" and len(whole := b"".join(given[1])) > 1:
                        return real["write"](given[0], whole[: len(whole) // 2])
                    raise OSError(self.number, os.strerror(self.number))
                return real[name](*given, **options)

            return call

        for name in self.NAMES:
            setattr(os, name, wrapped(name))
        try:
            yield self
        finally:
            for name in self.NAMES:
                setattr(os, name, real[name])


def _prepared(folder: Path) -> Ward:
    ward = open_ward(folder)
    ward.take_in([Arrival(patient(n), (examination(f"first{n}", n),), SUMMARY) for n in PATIENTS[:3]], "x")  # fmt: skip
    ward.discharge(ward.patient(PATIENTS[2]), AT, "x")
    ward.start_draft(examination("leftdraft1"), "Dr Ash").close()
    ward.update(ward.patient(PATIENTS[0]).model_copy(update={"bed": "B2"}), "x")
    return ward


def _drafting(ward: Ward) -> None:
    draft = ward.start_draft(examination("newdraft1"), "x")
    draft.append(knee("0"))
    draft.flush(5)
    draft.close()


def _sheet() -> KeptSheet:
    scored = read_typed("light touch: 2t9, 1t12, 0\nvac no")
    return KeptSheet(id="sheet0001", patient=PATIENTS[0], examiner="x", at=AT, sheet=scored)


def _scoring(ward: Ward) -> None:
    draft = ward.sheet_drafts.start(_sheet(), "x")
    draft.append(SheetChange({"anal_contraction": "yes"}))
    draft.flush(5)
    draft.close()


SCENARIOS: dict[str, Callable[[Ward], Any]] = {
    "open": lambda w: open_ward(w.folder),
    "save": lambda w: w.save(examination("newexam01", number=5), "x", SUMMARY),
    "amend": lambda w: w.amend(
        examination(f"first{PATIENTS[0]}").model_copy(update={"comment": "c"}), "x", "why", AT
    ),
    "mark": lambda w: w.mark(
        examination(f"first{PATIENTS[0]}"), "x", "why", AT, lambda _: None, in_error=True
    ),
    "conclude": lambda w: w.conclude(Outcome(patient=PATIENTS[2], site="root", by="x", at=AT), "x"),
    "outcomes": lambda w: w.conclude_all(
        [Outcome(patient=n, site="root", by="x", at=AT) for n in PATIENTS[:2]], "x"
    ),
    "admit": lambda w: w.admit(patient("newpatient"), "x"),
    "edit": lambda w: w.update(w.patient(PATIENTS[0]).model_copy(update={"bed": "C3"}), "x"),
    "discharge": lambda w: w.discharge(w.patient(PATIENTS[0]), AT, "x"),
    "restore": lambda w: w.restore(w.patient(PATIENTS[2]), "x"),
    "import": lambda w: w.take_in(
        [Arrival(patient(n), (examination(f"first{n}", n),)) for n in ("import001", "import002")], "x"
    ),
    "sheet": lambda w: w.save_sheet(_sheet(), "x"),
    "sheet draft": _scoring,
    "draft": _drafting,
    "resume": lambda w: w.resume_draft("leftdraft1")[0].close(),
    "set aside": lambda w: w.set_aside("leftdraft1", "x"),
    "list": lambda w: (w.rebuild_index(), w.beds(), w.beds(discharged=True)),
    "repair": lambda w: check_store(w.folder, repair=True, by="x"),
}  # fmt: skip


def _everything(ward: Ward) -> dict[str, Any]:
    """Every patient with every revision."""
    return {
        path.stem: (
            ward.patient(path.stem).model_dump(mode="json", exclude={"revision"}),
            sorted((e.id, e.revision, e.comment) for e in ward.file(path.stem).with_errors),
            [(o.revision, o.site) for o in ward.outcomes(path.stem)],
            [(s.id, s.revision) for s in ward.file(path.stem).sheets],
        )
        for path in ward.layout.files()
    }


def _again(name: str, ward: Ward) -> None:
    """Do an operation that was refused again, as a doctor would; a draft that is there is used."""
    drafts = {d.draft_id for d in ward.drafts()}
    if name == "draft" and "newdraft1" in drafts:
        ward.drop_draft(ward.resume_draft("newdraft1")[0])
    sheets = ward.sheet_drafts
    if name == "sheet draft" and any(d.draft_id == _sheet().id for d in sheets.infos()):
        sheets.drop(sheets.resume(_sheet().id)[0])
    if name != "set aside" or "leftdraft1" in drafts:
        SCENARIOS[name](ward)


def failing_calls(
    folder: Path, *, scenarios: tuple[str, ...] = tuple(SCENARIOS), errors: tuple[int, ...] = (errno.ENOSPC, errno.EIO)
) -> Figures:  # fmt: skip
    """Every writing call of every operation fails in turn, once and from then on.

    Then: one clear line or success; what was stored is all there; the operation was done whole or
    not at all; tried again it succeeds; `check` finds the store sound.
    """
    _prepared(folder / "seed")
    count = refused = 0
    for name in scenarios:
        act = SCENARIOS[name]
        done = folder / "done"
        shutil.copytree(folder / "seed", done)
        before = _everything(open_ward(done))
        ward = open_ward(done)
        with Failing().installed() as counting:
            act(ward)
        after = _everything(open_ward(done))
        shutil.rmtree(done)
        for at, number, forever in itertools.product(
            range(1, counting.count + 1), errors, (False, True)
        ):
            count += 1
            place = folder / f"try{count}"  # a ward of its own, of which nobody keeps a head yet
            shutil.copytree(folder / "seed", place)
            ward = open_ward(place)
            said = ""
            with Failing(at, number, forever=forever).installed() as failing:
                try:
                    act(ward)
                except WardexamError as error:
                    said = str(error)
            ward.settle()  # as at the end of every session
            case = f"{name}, call {at} ({failing.failed}), {errno.errorcode[number]}"
            assert "\n" not in said, case
            refused += bool(said)
            fresh = open_ward(place)
            now = _everything(fresh)
            assert now in (before, after), f"{case}: half done"
            listed = {b.patient_id for d in (False, True) for b in fresh.beds(discharged=d)}
            assert listed == set(now), f"{case}: {listed} listed"
            if now == before:
                _again(name, fresh)
                assert _everything(fresh) == after, f"{case}: not done when tried again"
            report = check_store(place, repair=False, by="x")
            wrong = [line for line in report.lines[:-2] if not line.startswith("set aside: ")]
            assert not wrong, f"{case}: {report.lines}"
            shutil.rmtree(place)
    return {"operations": len(scenarios), "failing calls tried": count, "refused in one line": refused, "lost": 0, "half done": 0}  # fmt: skip


# --- crafted and damaged bytes


def _mutated(data: bytes, source: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(source.choice((1, 1, 1, 2, 5, 40))):
        place = source.randrange(len(out)) if out else 0
        match source.randrange(7):
            case 0 if out:
                out[place] ^= 1 << source.randrange(8)
            case 1:
                del out[place:]
            case 2:
                out[place:place] = source.randbytes(source.randrange(1, 30))
            case 3:
                del out[place : place + source.randrange(1, 60)]
            case 4:
                out[place:place] = out[source.randrange(len(out) + 1) :][: source.randrange(1, 200)]
            case 5:
                out[place:place] = source.choice(
                    (b"[" * 3000, b'{"a":' * 2000, b"9" * 6000, b"1e999", b"NaN", b"-", b'"id": "../../etc",', b"\\u0000", b"\x1b[2J", b"null", b'"', b"\n")
                )  # fmt: skip
            case _:
                out = bytearray(source.randbytes(source.randrange(0, 200)))
    return bytes(out)


def _sealed(data: bytes) -> bytes:
    """The bytes with a checksum that fits, as a crafted file would have."""
    _, _, body = data.partition(b"\n")
    digest = hashlib.sha256(body).hexdigest().encode()
    return b'{"about": {"1": {"schema": 9, "sha256": "' + digest + b'"}},\n' + body


def fuzz(folder: Path, *, times: int = 100_000, seed: int = 1) -> Figures:
    """Mutated stored files (half with a fitting checksum), drafts and archive lines."""
    ward = open_ward(folder)
    document = apply(examination("exam00001"), knee("0"))
    ward.take_in([Arrival(patient(), (document, document.model_copy(update={"id": "exam00002"})), SUMMARY)], "x")  # fmt: skip
    path = ward.layout.patients / f"{PATIENTS[0]}.json"
    other = ward.admit(patient(PATIENTS[1]), "x")
    draft = ward.start_draft(examination("draft0001"), "x")
    for answer in ("0", "1+", "2+"):
        draft.append(knee(answer))
    draft.close()
    draft_path = ward.layout.drafts / "draft0001.draft"
    whole, draft_whole = path.read_bytes(), draft_path.read_bytes()
    archive = sealed("".join(write_archive(ward)).replace(PATIENTS[0], "newcomer1")).encode()
    source, longest, refused = random.Random(seed), 0.0, 0
    kinds = ("file", "file with a fitting checksum", "archive", "draft")

    def tried(work: Callable[[], Any]) -> None:
        nonlocal longest, refused
        start = time.perf_counter()
        try:
            work()
        except WardexamError:
            refused += 1
        longest = max(longest, time.perf_counter() - start)

    for number in range(times):
        kind = kinds[number % 4]
        if kind == "archive":
            data = _mutated(archive, source)
            if number % 8 == 2:  # half of them with an end that fits
                data = sealed_bytes(data)
            tried(lambda data=data: read_archive(ward, io.BytesIO(data), by="x", dry_run=True))
        elif kind == "draft":
            data = _mutated(draft_whole, source)
            draft_path.write_bytes(data)
            ward.drafts()
            tried(lambda: ward.resume_draft("draft0001")[0].close())
        else:
            data = _mutated(whole, source)
            data = _sealed(data) if "checksum" in kind else data
            path.write_bytes(data)
            tried(lambda: (ward.patient(PATIENTS[0]), ward.examinations(PATIENTS[0])))
            state_of(path)
            tried(ward.beds)
            tried(lambda: ward.save(examination("exam00009"), "x"))
            if path.read_bytes() != data:  # it was still a good file, and the save went through
                assert b'"exam00009"' in path.read_bytes()
            assert ward.patient(PATIENTS[1]) == other
    path.write_bytes(whole)
    assert ward.examinations(PATIENTS[0])[0] == document
    assert longest < 1.0
    return {"mutants": times, "refused": refused, "tracebacks": 0, "longest ms": round(longest * 1e3, 1)}  # fmt: skip


def torn(folder: Path, *, flips: int = 20_000, seed: int = 1) -> Figures:
    """A stored file cut at every byte and with bits flipped: refused, or it says the same."""
    ward = open_ward(folder)
    document = apply(examination("exam00001"), knee("0"))
    ward.take_in([Arrival(patient(), (document,), SUMMARY)], "x")
    path = ward.layout.patients / f"{PATIENTS[0]}.json"
    whole, source, refused = path.read_bytes(), random.Random(seed), 0
    for cut in range(len(whole)):
        try:
            unpack(whole[:cut], "x")
        except RecordsError:
            continue
        raise AssertionError(f"cut at {cut} was accepted")
    for _ in range(flips):
        data = bytearray(whole)
        data[source.randrange(len(data))] ^= 1 << source.randrange(8)
        path.write_bytes(bytes(data))
        try:
            assert ward.examinations(PATIENTS[0]) == (document,)
        except WardexamError:
            refused += 1
    return {"bytes": len(whole), "cuts refused": len(whole), "flips": flips, "flips refused": refused, "wrong readings": 0}  # fmt: skip


def without_links(folder: Path) -> Figures:
    """A file system without hard links: the version before is kept all the same."""
    real = os.link

    def refuse(*given: Any, **options: Any) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    os.link = refuse
    try:
        ward = open_ward(folder)
        ward.admit(patient(), "x")
        ward.update(ward.patient(PATIENTS[0]).model_copy(update={"bed": "B2"}), "x")
        path = ward.layout.patients / f"{PATIENTS[0]}.json"
        path.write_bytes(path.read_bytes()[:-40])
        assert not check_store(folder, repair=True, by="x").sound
        assert ward.patient(PATIENTS[0]).bed == "A1"
        next(ward.layout.patients.glob("*.damaged-*")).unlink()
        assert check_store(folder, repair=False, by="x").sound
    finally:
        os.link = real
    return {"version before put back": 1}


def small_disk(folder: Path, *, kilobytes: int = 600) -> Figures:
    """A real file system that fills up, then turns read-only (tmpfs; needs the right to mount)."""
    place = folder / "small"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(place)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        return {"not run": "no right to mount here"}
    try:
        ward = open_ward(place / "ward")
        ward.admit(patient(), "x")
        saved: list[str] = []
        said = ""
        while not said:
            name = f"exam{len(saved):06}"
            draft = ward.start_draft(examination(name, number=len(saved)), "x")
            draft.append(knee("0"))
            draft.flush(5)
            try:
                ward.save(apply(examination(name, number=len(saved)), knee("0")), "x")
            except RecordsError as error:
                said = str(error)
                break
            ward.drop_draft(draft)
            saved.append(name)
        assert "No space left" in said
        (place / "filler").write_bytes(b"")
        with suppress(OSError), (place / "filler").open("wb") as filler:
            while True:
                filler.write(b"x" * 4096)
                filler.flush()
        draft.append(knee("2+"))
        draft.flush(5)
        assert "No space left" in draft.problem or not draft.problem
        assert open_ward(place / "ward").beds()[0].examinations == len(saved)
        assert stored_ids(ward, PATIENTS[0]) == saved
        (place / "filler").unlink()
        for path in ward.layout.patients.glob("*.before"):
            path.unlink()
        end = time.monotonic() + 5
        while draft.problem and time.monotonic() < end:
            time.sleep(0.1)
        assert not draft.problem
        draft.close()
        assert check_store(place / "ward", repair=False, by="x").sound
        subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)
        reader = open_ward(place / "ward")
        assert reader.beds()[0].examinations == len(saved)
        refused = ""
        try:
            reader.save(examination("exam99999"), "x")
        except RecordsError as error:
            refused = error.what
        assert "Read-only file system" in refused, refused
        return {"kilobytes": kilobytes, "saved before it was full": len(saved), "said": said.split(": ", 1)[1]}  # fmt: skip
    finally:
        subprocess.run(["umount", str(place)], check=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("run", choices=["all", "sessions", "kills", "calls", "fuzz", "torn", "links", "disk"])  # fmt: skip
    parser.add_argument("--seconds", type=float, default=60.0, help="of sessions saving at once")
    parser.add_argument("--times", type=int, default=1000, help="kills")
    parser.add_argument("--mutants", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="where to work (default: a temporary folder)")
    o = parser.parse_args()
    runs: dict[str, Callable[[Path], Figures]] = {
        "sessions": lambda f: sessions(f, seconds=o.seconds),
        "kills": lambda f: kills(f, times=o.times, seed=o.seed),
        "calls": failing_calls,
        "fuzz": lambda f: fuzz(f, times=o.mutants, seed=o.seed),
        "torn": lambda f: torn(f, seed=o.seed),
        "links": without_links,
        "disk": small_disk,
    }
    for name, run in runs.items():
        if o.run in ("all", name):
            with tempfile.TemporaryDirectory(prefix=f"faults-{name}-", dir=o.folder) as folder:
                os.environ["XDG_STATE_HOME"] = str(Path(folder) / "state")
                work = Path(folder) / "ward"
                work.mkdir(mode=0o700)
                start = time.monotonic()
                figures = run(work)
                print(f"{name}: {json.dumps(figures)} in {time.monotonic() - start:.0f} s", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
