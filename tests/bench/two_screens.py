"""Two screens in two terminals on one ward: `python -m tests.bench.two_screens --steps 400`.

A scripted hour from a seed: admissions, discharges, restores, moves, saves, amendments, searches and
notes, each on a patient chosen by name, often with the other screen changing the ward between the
choice and the key. Every step is checked by name: whom the screen says it has opened is whom it was
asked for, or it says that it has opened nobody. At the end every acknowledged save is stored once, the
lists say what the files say, and `check` is sound.
"""

import argparse
import os
import random
import re
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

from tests.records.checking import check_store
from tests.terminal.admitting import admission
from tests.terminal.pty.harness import Session, environ, running, wardexam
from wardexam.records.ward import open_ward

Figures = dict[str, Any]
SIZE = (120, 40)
LISTS = ("Ward", "Discharged")
CLEAR = "\x7f" * 8


@dataclass
class Person:
    """What the screens were told of a patient, and what they acknowledged."""

    name: str
    bed: str
    gone: bool = False
    saves: int = 0
    reasons: list[str] = field(default_factory=list)  # of its amendments, each its own


class Desk:
    """One screen, and who sits before it."""

    def __init__(self, session: Session, people: list[Person]) -> None:
        self.session, self.people = session, people

    @property
    def title(self) -> str:
        """The first line."""
        return self.session.lines[0]

    @property
    def status(self) -> str:
        """What was said last."""
        return self.session.lines[-2]

    def cursor(self) -> str:
        """The line that is marked."""
        cells = [c for c in self.session.reversed_cells() if 1 < c[0] < SIZE[1] - 2]
        return self.session.lines[cells[0][0]] if cells else ""

    def send(self, keys: str, then: str | Callable[[Session], object]) -> None:
        """Keys, and what they bring."""
        self.session.type(keys)
        self.session.wait(then)

    def grade(self, key: str) -> None:
        """One grade, kept; who amends another's examination is put down in the draft before it."""
        self.send(key, lambda _: re.search(r"kept \d\d:\d\d$", self.status))

    def at_list(self) -> bool:
        """Whether a list is shown."""
        return self.title.startswith(LISTS)

    def home(self) -> None:
        """Back to the list."""
        for _ in range(6):
            if self.at_list():
                return
            self.send("q", partial(self._left, self.title))
        raise AssertionError(f"no way back to the list from:\n{self.session.text}")

    def _left(self, title: str, _: Session) -> bool:
        return self.title != title

    def turn_to(self, *, discharged: bool) -> None:
        """The list of the ward, or of the discharged."""
        word = LISTS[discharged]
        if not self.title.startswith(word):
            self.send("X", lambda _: self.title.startswith(word))

    def choose(self, who: Person) -> bool:
        """The cursor on a patient, in the whole list; whether the list has that one."""
        self.turn_to(discharged=who.gone)
        self.send(f"/{who.name}\r", f'search "{who.name}"')
        self.session.wait(lambda s: who.name in self.cursor() or "Nobody has this" in s.text)
        found = who.name in self.cursor()
        self.send("/\r", lambda _: "search" not in self.title)
        if found:
            self.session.wait(lambda _: who.name in self.cursor())
        return found

    def fresh(self) -> str:
        """Something else on the status line, so that what is said next is seen, also where it was said before."""
        self.send("%", "%: no such key here")
        return self.status

    def opens(self, key: str, who: Person) -> bool:
        """A key on the patient who is chosen: it opens that one's, or says that it opens nobody's."""
        said = self.fresh()
        self.session.send(key)
        # On its way the line is empty for a moment: what was said before is gone, and nothing is open yet.
        self.session.wait(lambda _: not self.at_list() or self.status not in ("", said))
        if self.at_list():
            return False
        self.session.wait(lambda _: any(p.name in self.title for p in self.people))
        assert who.name in self.title, f"chose {who.name}, and opened:\n{self.session.text}"
        return True


class Hour:
    """The script, and what it expects.

    Args:
        folder: The ward.
        desks: The two screens.
        seed: Where chance comes from.
    """

    def __init__(self, folder: Path, desks: list[Desk], people: list[Person], seed: int) -> None:
        self.folder, self.desks, self.people = folder, desks, people
        self.source, self.done, self.refused = random.Random(seed), Counter[str](), 0

    def bed(self) -> str:
        """A bed that sorts anywhere in the list."""
        return f"{self.source.choice('ABCDEFG')}{self.source.randrange(1, 100)}"

    def somebody(self, *, gone: bool = False, stored: bool = False) -> Person | None:
        """A patient by chance."""
        found = [p for p in self.people if p.gone == gone and (p.saves or not stored)]
        return self.source.choice(found) if found else None

    def step(self) -> None:
        """One step on one screen; in between, often, another on the other."""
        desk, other = self.source.sample(self.desks, 2)
        names = ("admit", "save", "save", "amend", "look", "discharge", "restore", "move", "clash")
        name = self.source.choice(names if len(self.people) > 3 else ("admit", "save"))
        if name == "admit" or not self.people:
            self.admit(desk)
            return
        if name == "clash":
            self.clash(desk, other)
            return
        who = self.somebody(gone=name == "restore", stored=name == "amend")
        if who is None:
            return
        assert desk.choose(who), f"{who} is on no list:\n{desk.session.text}"
        if self.source.random() < 0.6:  # the ward changes under the cursor
            between = self.source.choice((self.admit, self.discharge_another, self.move_another))
            between(other, who)
            if self.source.random() < 0.5:
                time.sleep(self.source.choice((0.1, 1.7)))  # the list may have been drawn anew
                desk.session.pump()
        getattr(self, name)(desk, who)
        desk.home()

    def count(self, name: str, *, done: bool = True) -> None:
        """Count a step."""
        self.done[name] += done
        self.refused += not done

    # --- the steps

    def admit(self, desk: Desk, _: Person | None = None) -> None:
        who = Person(f"Invented{len(self.people):04}", self.bed())
        self.people.append(who)
        desk.turn_to(discharged=False)
        desk.send(admission(who.bed, who.name, f"9-{len(self.people):04}", "50"), "Admitted.")
        desk.session.wait(lambda _: who.name in desk.cursor())
        self.count("admit")

    def save(self, desk: Desk, who: Person) -> None:
        if not desk.opens("\r", who):
            self.count("save", done=False)
            return
        desk.session.wait(lambda _: not desk.at_list())
        desk.send(f"m1 {self.source.choice('0123')}", "right biceps")
        desk.send(
            self.source.choice("0123"),
            lambda _: re.search(r"left biceps .*kept \d\d:\d\d$", desk.status),
        )
        desk.send("s", lambda _: desk.title.startswith("Note"))
        assert who.name in desk.title, f"saved {who.name}, and shows:\n{desk.session.text}"
        who.saves += 1
        self.count("save")

    def amend(self, desk: Desk, who: Person) -> None:
        if not desk.opens("n", who):
            self.count("amend", done=False)
            return
        self.correct(desk, who)
        self.sign(desk, who)

    def correct(self, desk: Desk, who: Person) -> None:
        """From a note into its amendment, one key entered."""
        desk.send("M", "Reflexes and more")
        assert who.name in desk.title, f"amends {who.name}, and shows:\n{desk.session.text}"
        desk.grade(self.source.choice("0123"))

    def sign(self, desk: Desk, who: Person) -> None:
        """Save an amendment."""
        reason = f"reason {self.done['amend']}"
        desk.send("s", "Why is it amended?")
        desk.send(f"{reason}\r", lambda _: desk.title.startswith("Note"))
        assert who.name in desk.title, f"amended {who.name}, and shows:\n{desk.session.text}"
        who.reasons.append(reason)
        self.count("amend")

    def clash(self, desk: Desk, other: Desk) -> None:
        """Both amend one examination: the second is told of the draft, or shown both and saves after the first."""
        who = self.somebody(stored=True)
        if who is None:
            return
        for each in (desk, other):
            assert each.choose(who)
            if not each.opens("n", who):
                self.count("clash", done=False)
                for one in (desk, other):
                    one.home()
                return
        self.correct(desk, who)
        other.send("M", lambda _: not other.title.startswith("Note"))
        if other.at_list():
            assert "draft" in other.status, other.session.text
        else:
            assert who.name in other.title, other.session.text
            other.grade(self.source.choice("0123"))
            self.sign(other, who)
            desk.send("s", "Why is it amended?")
            desk.send("a slip\r", "Amended meanwhile")
            desk.send("q", "Reflexes and more")
        self.sign(desk, who)
        self.count("clash")
        for each in (desk, other):
            each.home()

    def look(self, desk: Desk, who: Person) -> None:
        key = self.source.choice("Vn")
        self.count("look", done=desk.opens(key, who))

    def discharge(self, desk: Desk, who: Person) -> None:
        self.ask_to_leave(desk, who, "Discharge")

    def restore(self, desk: Desk, who: Person) -> None:
        self.ask_to_leave(desk, who, "Restore")

    def ask_to_leave(self, desk: Desk, who: Person, verb: str) -> None:
        """Discharge or restore: the question and the answer name the patient."""
        said = desk.fresh()
        desk.session.send("D")
        desk.session.wait(lambda _: desk.status != said)
        if not desk.status.startswith(verb):
            self.count(verb.lower(), done=False)
            return
        assert who.name in desk.status, f"asks for {who.name}:\n{desk.session.text}"
        desk.send("yes\r", lambda _: desk.status.startswith(f"{verb}d:"))
        assert who.name in desk.status, f"{verb}d another than {who.name}:\n{desk.session.text}"
        who.gone = verb == "Discharge"
        self.count(verb.lower())

    def move(self, desk: Desk, who: Person) -> None:
        bed = self.bed()
        desk.send("E", lambda _: desk.status.startswith("Bed:") or not desk.cursor())
        if not desk.status.startswith("Bed:"):
            self.count("move", done=False)
            return
        desk.send(f"{CLEAR}{bed}\r", f"Name: {who.name}")
        desk.send("\r\r\r\r\r\r", lambda _: re.match("Details saved|Changed by", desk.status))
        if desk.status.startswith("Details"):
            who.bed = bed
        self.count("move", done=who.bed == bed)

    def discharge_another(self, desk: Desk, who: Person) -> None:
        """Somebody else leaves, so that every line below moves up."""
        another = self.somebody()
        if another and another is not who:
            assert desk.choose(another)
            self.discharge(desk, another)

    def move_another(self, desk: Desk, who: Person) -> None:
        """Somebody, at times the very one, gets another bed."""
        another = self.somebody()
        if another:
            assert desk.choose(another)
            self.move(desk, another)

    # --- what must be so in the end

    def verify(self) -> None:
        """Every acknowledged save once, lists as the files, a sound store."""
        ward = open_ward(self.folder)
        for gone in (False, True):
            listed = sorted((b.name, b.bed) for b in ward.beds(discharged=gone))
            assert listed == sorted((p.name, p.bed) for p in self.people if p.gone == gone)
        by_name = {b.name: b for gone in (False, True) for b in ward.beds(discharged=gone)}
        for who in self.people:
            bed = by_name[who.name]
            file = ward.file(bed.patient_id)
            stored = file.numbered()
            assert file.patient.name == who.name
            assert len(set(stored)) == len(stored), f"{who}: twice"
            assert len({name for name, _ in stored}) == bed.examinations == who.saves, who
            amended = [e for name in {n for n, _ in stored} for e in file.revisions(name)]
            assert sorted(e.amendment.why for e in amended if e.amendment) == sorted(who.reasons)
        assert not ward.drafts()
        report = check_store(self.folder, repair=False, by="x")
        assert report.sound, report.lines


def two_screens(work: Path, *, steps: int = 400, seed: int = 1, minutes: float = 1e9) -> Figures:
    """The hour; gives its figures."""
    folder, people = work / "ward", list[Person]()
    os.environ["XDG_STATE_HOME"] = str(work / "state")
    until = time.monotonic() + minutes * 60
    with ExitStack() as open_:
        desks = []
        for examiner in ("Dr Ash", "Dr Bex"):
            env = environ(work, WARDEXAM_EXAMINER=examiner, XDG_STATE_HOME=str(work / "state"))
            session = open_.enter_context(running(wardexam("--db", str(folder)), env, SIZE))
            session.wait("The ward is empty")
            desks.append(Desk(session, people))
        hour = Hour(folder, desks, people, seed)
        taken = 0
        while taken < steps and time.monotonic() < until:
            hour.step()
            taken += 1
        for desk in desks:
            desk.send("q", lambda s: s.process.poll() is not None)
            assert desk.session.ended() == 0
            assert b"Traceback" not in desk.session.raw
    hour.verify()
    return {
        "steps": taken, "done": dict(sorted(hour.done.items())), "said to have changed, and nothing opened": hour.refused,
        "patients": len(people), "saves": sum(p.saves for p in people), "amendments": sum(len(p.reasons) for p in people),
        "lost": 0, "twice": 0, "another opened": 0,
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=1e9, help="at most so long")
    o = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="two-screens-") as work:
        start = time.monotonic()
        print(two_screens(Path(work), steps=o.steps, seed=o.seed, minutes=o.minutes))
        print(f"in {time.monotonic() - start:.0f} s")


if __name__ == "__main__":
    main()
