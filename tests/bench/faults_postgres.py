"""Faults of a server and of the network to it, made on purpose: `python -m tests.bench.faults_postgres RUN`.

`all` for every run; each raises at the first loss, double, damage or traceback. Short versions run in the suite.

statements  every operation, at each packet that it sends: the network cut before it, or after it so that the answer
            is lost, or the answer swallowed, or the server killed with -9 before or after it; then tried again
network     sessions on two hosts save to the same patients while the network is cut at random
kills       the same while the server is killed with -9 and started again
failover    the same while the server is killed and its copy takes its place
disk        a server whose disk fills up, and is freed
hosts       two hosts change one patient at once, one with its clock an hour off
"""

import argparse
import os
import random
import shutil
import subprocess
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import timedelta
from functools import partial
from pathlib import Path

import psycopg

from tests.bench.bench_records import AT, SHEET, SUMMARY
from tests.records.postgres.proxy import Proxy
from tests.records.postgres.server import Server
from wardexam.errors import RecordsError
from wardexam.exam.entry import Change
from wardexam.exam.examination import Amendment, Patient
from wardexam.exam.outcome import Outcome
from wardexam.injury.kept import KeptSheet
from wardexam.injury.typed import read_typed
from wardexam.records.locks import BusyError
from wardexam.records.postgres import ward as postgres_ward
from wardexam.records.postgres.schema import create
from wardexam.records.postgres.url import read_url
from wardexam.records.postgres.ward import open_server
from wardexam.records.repository import (
    AmendedMeanwhileError,
    Arrival,
    ConcludedMeanwhileError,
    ConflictError,
    OutageError,
)

WHO = "patient1"
SWALLOWED = 0.4  # seconds after which a call whose answer does not come is cut off


def patient(name=WHO, **more):
    """A patient of no importance."""
    return Patient(id=name, bed="A1", name="Ana Invented", age=60, admitted=AT).model_copy(update=more)  # fmt: skip


def examination(name, whose=WHO, **more):
    """An examination."""
    return SHEET.model_copy(update={"id": name, "patient": whose, "examiner": "Dr Ash", "at": AT, **more})  # fmt: skip


def sheet(**more):
    """A cord injury sheet."""
    made = KeptSheet(id="sheet001", patient=WHO, examiner="Dr Ash", at=AT, sheet=read_typed("vac no"))  # fmt: skip
    return made.model_copy(update=more)


def outcome(whose=WHO):
    """An outcome."""
    return Outcome(patient=whose, by="Dr Ash", at=AT, site="cauda", diagnosis="disc")


def drafted(ward):
    """A draft begun and left, with one key more than its beginning."""
    draft = ward.start_draft(examination("exam0009"), "Dr Ash")
    draft.append(Change("comment", "", "a word"))
    draft.flush(20)
    draft.close()


# What is done, the event that the trail has of it afterwards and how often, and how it is done again.
OPERATIONS = {
    "admit": (lambda w: w.admit(patient("patient2"), "x"), ("admitted", 2)),
    "save": (lambda w: w.save(examination("exam0002"), "x", SUMMARY), ("saved", 2)),
    "amend": (lambda w: w.amend(examination("exam0001", comment="more"), "x", "why", AT, SUMMARY), ("amended", 1)),
    "mark": (lambda w: w.mark(examination("exam0001"), "x", "why", AT, lambda _: None, in_error=True), ("entered in error", 1)),
    "update": (lambda w: w.update(patient(bed="B2"), "x"), ("edited", 1)),
    "discharge": (lambda w: w.discharge(patient(), AT, "x"), ("discharged", 1)),
    "sheet": (lambda w: w.save_sheet(sheet(), "x"), ("saved", 2)),
    "amended sheet": (lambda w: amended_sheet(w), ("amended", 1)),
    "conclude": (lambda w: w.conclude(outcome(), "x"), ("concluded", 1)),
    "conclude all": (lambda w: w.conclude_all([outcome(), outcome("patient3")], "x"), ("concluded", 2)),
    "take in": (lambda w: taken_in(w), ("imported", 3)),
    "export": (lambda w: w.record("exported", WHO, "x"), ("exported", 1)),
    "draft": (drafted, None),
}  # fmt: skip


def amended_sheet(ward):
    """A sheet, and a further revision of it."""
    ward.save_sheet(sheet(), "x")
    ward.save_sheet(sheet(revision=2, amendment=Amendment(by="x", at=AT, why="y")), "x")


def taken_in(ward):
    """Two patients with examinations; the same again is known to be so."""
    names = ("patient7", "patient8")
    there = {b.patient_id for b in ward.beds()}
    if set(names) <= there:
        return
    ward.take_in([Arrival(patient(name), (examination(f"{name}e1", name), examination(f"{name}e2", name)), SUMMARY) for name in names], "x")  # fmt: skip


def emptied(server, url):
    """The ward with two patients and one examination, and nothing else."""
    with psycopg.connect(url) as connection:
        for table in ("records", "patients", "trail", "drafts"):
            connection.execute(f"delete from wardexam.{table}")
    ward = open_server(url)
    ward.admit(patient(), "x")
    ward.take_in([Arrival(patient("patient3"))], "x")
    ward.save(examination("exam0001"), "x", SUMMARY)
    ward.close()
    shutil.rmtree(ward.spool, ignore_errors=True)
    del server


def state(ward):
    """All that is stored, but for when and how often it was put into the trail."""
    files = [ward.file(b.patient_id) for gone in (False, True) for b in ward.beds(discharged=gone)]
    beds = [(b.patient_id, b.bed, b.examinations, b.summary, b.discharged) for gone in (False, True) for b in ward.beds(discharged=gone)]  # fmt: skip
    return (
        beds,
        [
            (f.patient, [f.revisions(n) for n, _ in f.numbered()], f.sheets, f.outcomes)
            for f in files
        ],
        [(d.draft_id, d.keys, d.held) for d in ward.drafts()],
    )


def done(url, operation):
    """What is stored after an operation that nothing disturbed."""
    ward = open_server(url)
    operation(ward)
    found = state(ward)
    ward.close()
    return found


def faults(server, proxy):
    """Each way to fail: what is done before the packet is passed on, and what after it."""

    def kill():
        server.stop("kill")
        proxy.cut()

    return {
        "cut before": {"before": proxy.cut},
        "answer lost": {"after": proxy.cut},
        "answer swallowed": {"after": lambda: None},
        "killed before": {"before": kill},
        "killed after": {"after": kill},
    }


def statements(names=tuple(OPERATIONS), ways=None, say=print):
    """Every operation at each of its packets, in each way; gives how many cases there were."""
    server = Server()
    proxy = Proxy(server.port)
    cases = told = 0
    try:
        url = server.url("ward")
        create(read_url(url))
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute("create role ash login password 'pw'; grant ward_doctor to ash")
        os.environ["PGPASSWORD"] = "pw"
        through = server.network("ward", "ash", port=proxy.port)
        postgres_ward.LONG = SWALLOWED  # what may take minutes is cut off as soon as the rest
        for name in names:
            operation, event = OPERATIONS[name]
            emptied(server, url)
            expected = done(url, operation)
            for way, plan in faults(server, proxy).items():
                if ways and way not in ways:
                    continue
                at = 0
                while True:
                    at += 1
                    emptied(server, url)
                    ward = open_server(through)
                    ward.server.longest_call = SWALLOWED
                    ward.beds()
                    proxy.plan(at, **plan)
                    told += _revived(server, partial(_tried, ward, operation))
                    failed = proxy.failed
                    proxy.plan(0)
                    ward.close()
                    try:
                        server.await_ready()
                    except AssertionError:  # it was killed with the last answer
                        server.start()
                    _whole(url, expected, event, (name, way, at))
                    if not failed:
                        break
                    cases += 1
        say(f"statements: {cases} cases, {told} told and tried again: none lost, none twice")
        return cases
    finally:
        os.environ.pop("PGPASSWORD", None)
        proxy.close()
        server.close()


def _revived(server, work):
    """What `work` gives, done beside this thread, which starts the server again whenever it was killed.

    A server ends with the thread that started it.
    """
    with ThreadPoolExecutor(1) as pool:
        doing = pool.submit(work)
        while not doing.done():
            if not server.runs:
                server.start()
            time.sleep(0.01)
    if not server.runs:
        server.start()
    return doing.result()


def _tried(ward, operation):
    """Do it, and where it was said not to be done, again; how often it was."""
    last = ""
    for again in range(60):
        try:
            operation(ward)
        except (OutageError, BusyError) as error:
            last = str(error)
            assert "\n" not in last
            time.sleep(0.1)
        except RecordsError as error:
            if "already" not in str(error):  # of a draft: it was begun by the attempt before
                raise
            return again
        else:
            return again
    raise AssertionError(f"the server never came back: {last}")


def _whole(url, expected, event, case):
    """That all is stored once and that everything fits."""
    ward = open_server(url)
    try:
        _await_let_go(ward)
        found = state(ward)
        assert found == expected, (case, found, expected)
        report = ward.check(repair=False, by="x")
        assert report.sound, (case, report.lines)
        if event:
            count = sum(e.event == event[0] for e in ward.events())
            assert count == event[1], (case, count)
    finally:
        ward.close()


def _await_let_go(ward):
    """Wait until no dead session holds a draft any more."""
    end = time.monotonic() + 20
    while any(d.held for d in ward.drafts()):
        assert time.monotonic() < end
        time.sleep(0.05)


# --- many sessions while something goes on


def opened(url):
    """A ward opened through a network that may be cut just then: tried again, as somebody would."""
    for _ in range(200):
        try:
            return open_server(url)
        except OutageError:
            time.sleep(0.05)
    return open_server(url)


def sessions(urls, seconds, disturb, many=6, patients=3, series="exam"):
    """Sessions save to the same patients while `disturb` is called; what was told to be saved.

    Each examination is given until it is said to be saved, as the program does.
    """
    names = [f"patient{n}" for n in range(1, patients + 1)]
    saved, refused, faults_found = [], [], []
    stop = threading.Event()

    def one(number):
        ward = opened(urls[number % len(urls)])
        ward.server.longest_call = 2.0
        count = 0
        try:
            while not stop.is_set() or count == 0:
                made = examination(f"{series}{number:02}{count:05}", names[count % patients], comment=str(number))  # fmt: skip
                for _ in range(2000):
                    try:
                        ward.save(made, f"Dr {number}", SUMMARY)
                        break
                    except (OutageError, BusyError) as error:
                        refused.append(str(error))
                        time.sleep(0.02)
                else:
                    raise AssertionError("never saved")
                saved.append((made.patient, made.id))
                count += 1
        except Exception as error:
            faults_found.append(repr(error))
        finally:
            ward.close()

    threads = [threading.Thread(target=one, args=(n,)) for n in range(many)]
    for thread in threads:
        thread.start()
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        disturb()
    stop.set()
    for thread in threads:
        thread.join()
    assert not faults_found, faults_found[:3]
    assert not [line for line in refused if "\n" in line or "Traceback" in line]
    return saved, len(refused)


def counted(url, saved):
    """That what was told to be saved is stored, each once, and that everything fits."""
    ward = open_server(url)
    try:
        stored = [(b.patient_id, e.id) for b in ward.beds() for e in ward.examinations(b.patient_id)]  # fmt: skip
        assert sorted(stored) == sorted(saved), (len(stored), len(saved))
        report = ward.check(repair=False, by="x")
        assert report.sound, report.lines
    finally:
        ward.close()


def _peopled(url, patients=3):
    create(read_url(url))
    ward = open_server(url)
    ward.take_in([Arrival(patient(f"patient{n}")) for n in range(1, patients + 1)], "x")
    ward.close()


def network(seconds=30.0, say=print):
    """The network is cut at random moments."""
    server = Server()
    first, second = Proxy(server.port), Proxy(server.port)
    dice = random.Random(1)
    try:
        url = server.url("ward")
        _peopled(url)
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute("create role ash login password 'pw'; grant ward_doctor to ash")
        os.environ["PGPASSWORD"] = "pw"
        urls = [server.network("ward", "ash", port=p.port) for p in (first, second)]
        cuts = 0

        def disturb():
            nonlocal cuts
            time.sleep(dice.uniform(0.01, 0.15))
            proxy = dice.choice((first, second))
            if dice.random() < 0.2:
                proxy.down = True
                proxy.cut()
                time.sleep(dice.uniform(0.05, 0.4))
                proxy.down = False
            else:
                proxy.cut()
            cuts += 1

        saved, refused = sessions(urls, seconds, disturb)
        counted(url, saved)
        say(f"network: cut {cuts} times, {len(saved)} saved, told {refused} times that it was not: none lost, none twice")  # fmt: skip
        return len(saved)
    finally:
        os.environ.pop("PGPASSWORD", None)
        first.close()
        second.close()
        server.close()


def kills(seconds=60.0, say=print):
    """The server is killed with -9 and started again."""
    server = Server()
    dice, killed = random.Random(2), 0
    try:
        url = server.url("ward")
        _peopled(url)

        def disturb():
            nonlocal killed
            time.sleep(dice.uniform(0.2, 1.0))
            server.stop(dice.choice(("kill", "immediate")))
            time.sleep(dice.uniform(0, 0.2))
            server.start()
            killed += 1

        saved, refused = sessions([url], seconds, disturb)
        counted(url, saved)
        say(f"kills: {killed} of the server, {len(saved)} saved, told {refused} times that it was not: none lost, none twice")  # fmt: skip
        return len(saved)
    finally:
        server.close()


def failover(times=3, say=print):
    """The server is killed and its copy takes its place, which is kept so that it has all that was told to be saved."""
    primary, saved = Server(), []
    everything = [primary]
    try:
        _peopled(primary.url("ward"))
        refused = 0
        for number in range(times):
            standby = Server(begin=False)
            everything.append(standby)
            standby.copy(primary)
            standby.start()
            primary.set("synchronous_standby_names", "*")
            primary.await_copy()
            hosts = f"host={primary.folder},{standby.folder}&port={primary.port},{standby.port}"
            url = f"postgresql:///ward?{hosts}&user=owner"
            moved = False
            old, new = primary, standby

            def disturb(old=old, new=new):
                nonlocal moved
                time.sleep(0.5)
                if not moved:
                    old.stop("kill")
                    new.set("synchronous_standby_names", "")
                    new.promote()
                    moved = True
                time.sleep(0.5)

            more, told = sessions([url], 2.5, disturb, many=4, series=f"exam{number}x")
            refused += told
            saved += more
            counted(standby.url("ward"), saved)
            primary = standby
        say(f"failover: {times} times, {len(saved)} saved, told {refused} times that it was not: none lost, none twice")  # fmt: skip
        return len(saved)
    finally:
        for server in everything:
            server.close()


@contextmanager
def small_disk(megabytes):
    """A file system of its own that is soon full; needs root."""
    folder = Path(tempfile.mkdtemp(prefix="wxd", dir="/tmp"))
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", str(folder)], check=True)  # fmt: skip
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=False)
        folder.rmdir()


def disk(say=print):
    """The server's disk fills up: saves are refused in one line, what is saved is read; freed, it goes on."""
    with small_disk(130) as folder:
        server = Server(place=folder, wal_recycle="off", max_wal_size="32MB", min_wal_size="32MB")
        try:
            url = server.url("ward")
            _peopled(url)
            ward = open_server(url)
            ballast = folder / "ballast"
            free = shutil.disk_usage(folder).free
            ballast.write_bytes(b"\0" * (free - 1_500_000))
            saved, refused = [], ""
            for number in range(5000):
                made = examination(f"exam{number:06}")
                try:
                    ward.save(made, "x", SUMMARY)
                except RecordsError as error:
                    refused = str(error)
                    break
                saved.append((WHO, made.id))
            assert refused, "the disk never was full"
            assert "\n" not in refused
            ballast.unlink()
            if server.ended():
                server.start()
            _tried(ward, lambda w: w.save(made, "x", SUMMARY))
            saved.append((WHO, made.id))
            ward.close()
            counted(url, saved)
            say(f"disk: {len(saved)} saved, then refused ({refused}), freed, saved on: none lost, none twice")  # fmt: skip
            return len(saved)
        finally:
            server.close()


def hosts(rounds=60, say=print):
    """Two hosts change one patient at once; each change is one revision made from the one before, or is told."""
    server = Server()
    try:
        url = server.url("ward")
        _peopled(url, 1)
        wards = [open_server(url), open_server(url)]
        wards[0].save(examination("exam0001"), "x", SUMMARY)
        told = [0, 0]

        def work(who):
            ward = wards[who]
            at = AT + timedelta(hours=who)  # one of them has its clock an hour off
            for number in range(rounds):
                while True:
                    try:
                        read = ward.patient(WHO)
                        ward.update(read.model_copy(update={"remark": f"{read.remark[-60:]} {who}{number}"}), str(who))  # fmt: skip
                        break
                    except (ConflictError, BusyError):
                        told[who] += 1
                while True:
                    try:
                        last = ward.revisions(WHO, "exam0001")[-1]
                        changed = last.model_copy(update={"comment": f"{last.comment} {who}:{number}"[-1500:]})  # fmt: skip
                        ward.amend(changed, str(who), "why", at, SUMMARY)
                        break
                    except (AmendedMeanwhileError, BusyError):
                        told[who] += 1
                while True:
                    try:
                        stored = ward.outcomes(WHO)
                        made = outcome().model_copy(update={"revision": len(stored) + 1, "diagnosis": f"{who}:{number}"})  # fmt: skip
                        ward.conclude(made, str(who))
                        break
                    except (ConcludedMeanwhileError, BusyError):
                        told[who] += 1

        threads = [threading.Thread(target=work, args=(n,)) for n in (0, 1)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        both = 2 * rounds
        ward = wards[0]
        revisions = ward.revisions(WHO, "exam0001")
        assert [e.revision for e in revisions] == [*range(1, both + 2)]
        words = [f"{who}:{n}" for who in (0, 1) for n in range(rounds)]
        assert sorted(revisions[-1].comment.split()) == sorted(
            words
        )  # each made from the one before
        assert ward.patient(WHO).revision == both + 1
        assert sorted(o.diagnosis for o in ward.outcomes(WHO)) == sorted(words)
        assert ward.check(repair=False, by="x").sound
        for each in wards:
            each.close()
        say(f"hosts: {3 * both} changes of one patient by two, {sum(told)} told of the other's: none lost, none over another")  # fmt: skip
        return both
    finally:
        server.close()


RUNS = {
    "statements": statements,
    "network": network,
    "kills": kills,
    "failover": failover,
    "disk": disk,
    "hosts": hosts,
}


def main() -> None:
    """Make one run, or all of them."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    parser.add_argument("run", choices=[*RUNS, "all"])
    chosen = parser.parse_args().run
    with tempfile.TemporaryDirectory() as home:
        os.environ["XDG_STATE_HOME"] = home
        for name, run in RUNS.items():
            if chosen in (name, "all"):
                start = time.perf_counter()
                run()
                print(f"  {time.perf_counter() - start:.0f} s", flush=True)


if __name__ == "__main__":
    main()
