"""A ward in memory: a second keeper behind the same operations, for tests that need no folder."""

import threading
from contextlib import suppress
from dataclasses import replace

from wardexam.errors import InputError, RecordsError
from wardexam.exam.entry import Change, apply
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.in_error import counting, without_errors
from wardexam.exam.outcome import Outcome
from wardexam.injury.entry import apply as injury_apply
from wardexam.records import patient_tables
from wardexam.records.repository import (
    Arrival,
    Bed,
    ConflictError,
    DraftInfo,
    Opened,
    Papers,
    Report,
    TrailLine,
)

TRAIL_AT = "2026-03-02T08:00:00+00:00"  # when everything in the trail was done


def with_scores(kept, change):
    """A cord injury sheet after a change."""
    return kept.model_copy(update={"sheet": injury_apply(kept.sheet, change)})


class MemoryDraft:
    """A draft in memory."""

    def __init__(self, examination, by, changed):
        self.draft_id, self.examination, self.by = examination.id, examination, by
        self.sent = self.kept = 0
        self.problem, self.held = "", True
        self.settled = lambda: None
        self._changed = changed

    def append(self, change):
        self.examination = self._changed(self.examination, change)
        self.sent += 1
        self.kept += 1
        self.settled()

    def flush(self, timeout=1.0):
        return True

    def unkept(self, seconds):
        return 0

    def close(self):
        self.held = False


class MemoryDrafts:
    """The drafts of one kind in memory.

    `changed` gives what a draft holds after a change, `record` puts an event into the trail.
    """

    def __init__(self, changed, record):
        self._changed, self._record, self._drafts = changed, record, {}

    def infos(self):
        return tuple(
            DraftInfo(d.draft_id, d.examination.patient, d.by, d.examination.at.isoformat(), 0.0, d.sent, d.held)
            for d in self._drafts.values()
        )  # fmt: skip

    def start(self, begun, by):
        if begun.id in self._drafts:
            raise RecordsError("there is a draft of this examination already")
        self._drafts[begun.id] = MemoryDraft(begun, by, self._changed)
        return self._drafts[begun.id]

    def of(self, draft_id):
        draft = self._drafts.get(draft_id)
        if draft is None:
            raise RecordsError("there is no such draft", where=draft_id)
        return draft

    def resume(self, draft_id):
        draft = self.of(draft_id)
        if draft.held:
            raise RecordsError("the draft is open in another session", where=draft_id)
        draft.held = True
        return draft, draft.examination

    def put_aside(self, draft_id, by):
        draft = self._drafts.get(draft_id)
        if draft is None:
            return
        if draft.held:
            raise RecordsError("the draft is open in another session", where=draft_id)
        del self._drafts[draft_id]
        self._record("draft set aside", "", by, draft_id)

    def drop(self, draft):
        draft.close()
        self._drafts.pop(draft.draft_id, None)

    def forget(self, draft_id):
        self._drafts.pop(draft_id, None)


class MemoryFile:
    """A patient's details and examinations."""

    def __init__(self, ward, patient_id):
        self.patient, self._ward = ward.patient(patient_id), ward
        self.examinations = ward.examinations(patient_id)
        self.with_errors = ward.latest(patient_id)
        self.sheets = tuple(ward.sheets.get(patient_id, ()))
        self.outcomes = ward.outcomes(patient_id)

    def revisions(self, examination_id):
        return self._ward.revisions(self.patient.id, examination_id)

    def numbered(self):
        return [(e.id, r.revision) for e in self.with_errors for r in self.revisions(e.id)]

    def in_error(self, examination_id):
        found = [e for e in self.with_errors if e.id == examination_id and e.in_error]
        return found[0].amendment if found else None

    def counted(self, examination):
        return without_errors(examination, self.with_errors)

    def telling(self, until=""):
        ids = [e.id for e in self.with_errors]
        before = ids[: ids.index(until)] if until in ids else ids
        return tuple(e for e in self.examinations if e.id in before)


class MemoryWatch:
    """Somebody is told of changes, in a thread of its own."""

    def __init__(self, watches, changed):
        self._watches, self._changed, self._rung = watches, changed, threading.Semaphore(0)
        self._open = True
        watches.append(self)
        threading.Thread(target=self._wait, daemon=True).start()

    def _wait(self):
        while self._rung.acquire() and self._open:
            with suppress(Exception):
                self._changed()

    def ring(self):
        self._rung.release()

    def close(self):
        self._open = False
        self._watches.remove(self)
        self._rung.release()


class MemoryWard:
    """A ward in memory."""

    problem, patience, spool = "", 3.0, None

    def __init__(self):
        self._writing = threading.RLock()
        self._patients: dict[str, Patient] = {}
        self._stored: dict[str, list[Examination]] = {}
        self._outcomes: dict[str, tuple[Outcome, ...]] = {}
        self._summaries, self.events, self.sheets = {}, [], {}
        self._watches = []
        self._drafts = MemoryDrafts(apply, self._changed)
        self.sheet_drafts = MemoryDrafts(with_scores, self._changed)

    def watch(self, changed):
        return MemoryWatch(self._watches, changed)

    def _tell(self):
        for watch in [*self._watches]:
            watch.ring()

    def _changed(self, event, patient_id, by, what=""):
        self.record(event, patient_id, by, what)
        self._tell()

    def record(self, event, patient_id, by, what=""):
        self.events.append((event, patient_id, by, what))

    def trail(self, patient_id=""):
        for number, (event, whose, by, what) in enumerate(self.events):
            if patient_id in ("", whose):
                yield TrailLine(TRAIL_AT, event, whose, by, "memory", what, f"{number:064x}")

    def beds(self, *, discharged=False):
        drafted = {d.patient_id for d in self.drafts() if not d.held}
        made = []
        for p in self._patients.values():
            if bool(p.discharged) == discharged:
                stored = self.examinations(p.id)
                last = stored[-1] if stored else None
                row = p.model_dump(mode="json")
                made.append(Bed(
                    p.id, p.bed, p.name, p.age, p.sex, last.at.isoformat() if last else None, last.examiner if last else "",
                    len(stored), self._summaries.get(p.id), p.recheck_hours, row["discharged"], p.id in drafted,
                ))  # fmt: skip
        return tuple(sorted(made, key=lambda b: (b.bed, b.name)))

    def patient(self, patient_id):
        if patient_id not in self._patients:
            raise InputError("no such patient", where=patient_id)
        return self._patients[patient_id]

    def examinations(self, patient_id):
        return counting(self.latest(patient_id))

    def latest(self, patient_id):
        self.patient(patient_id)
        latest = {e.id: e for e in sorted(self._stored[patient_id], key=lambda e: e.revision)}
        order = dict.fromkeys(e.id for e in self._stored[patient_id])
        return tuple(latest[name] for name in order)

    def file(self, patient_id):
        return MemoryFile(self, patient_id)

    def opened(self, patient_id, by):
        file = self.file(patient_id)
        self.record("viewed", patient_id, by)
        return Opened(file, *(
            tuple(d for d in drafts.infos() if d.patient_id == patient_id)
            for drafts in (self._drafts, self.sheet_drafts)
        ))  # fmt: skip

    def papers(self):
        rows = tuple((bed, self.file(bed.patient_id)) for bed in self.beds())
        return Papers(rows, (), drafts=self.drafts())

    def check(self, *, repair, by, heads=(), progress=lambda _: None):
        progress(len(self._patients))
        return Report((f"{len(self._patients)} patients checked: all sound",), True)

    def verify(self):
        return False

    def settle(self):
        pass

    def revisions(self, patient_id, examination_id):
        self.patient(patient_id)
        found = [e for e in self._stored[patient_id] if e.id == examination_id]
        return tuple(sorted(found, key=lambda e: e.revision))

    def admit(self, patient, by):
        if self._patients.get(patient.id) != patient:
            self.take_in([Arrival(patient)], by)
        return patient

    def take_in(self, arrivals, by, progress=None):
        arrived = []
        for number, arrival in enumerate(arrivals, 1):
            if arrival.patient.id in {*self._patients, *(a.patient.id for a in arrived)}:
                raise InputError("is on the ward already", where=arrival.patient.id)
            arrived.append(arrival)
            if progress:
                progress(number)
        for arrival in arrived:
            self._patients[arrival.patient.id] = arrival.patient
            self._stored[arrival.patient.id] = list(arrival.examinations)
            self._outcomes[arrival.patient.id] = arrival.outcomes
            self._summaries[arrival.patient.id] = arrival.summary
            self.sheets[arrival.patient.id] = list(arrival.sheets)
            self._changed("imported", arrival.patient.id, by)
        return len(arrived)

    def update(self, patient, by, event="edited"):
        stored = self.patient(patient.id)
        saved = patient.model_copy(update={"revision": patient.revision + 1})
        if stored == saved:
            return stored
        if stored.revision != patient.revision:
            raise ConflictError(stored)
        self._patients[patient.id] = saved
        self._changed(event, patient.id, by)
        return saved

    def discharge(self, patient, at, by):
        return self.update(patient.model_copy(update={"discharged": at}), by, "discharged")

    def restore(self, patient, by):
        return self.update(patient.model_copy(update={"discharged": None}), by, "restored")

    def erase(self, patient_id, by, why):
        drafts = [*self.drafts(), *self.sheet_drafts.infos()]
        mine = [d for d in drafts if d.patient_id == patient_id]
        patient_tables.may_be_erased(
            why,
            known=patient_id in self._patients,
            here=patient_id in {b.patient_id for b in self.beds()},
            held=any(d.held for d in mine),
            whose=patient_id,
        )
        for kept in (self._patients, self._stored, self._outcomes, self._summaries, self.sheets):
            kept.pop(patient_id, None)
        for draft in mine:
            self._drafts.forget(draft.draft_id)
            self.sheet_drafts.forget(draft.draft_id)
        self._changed("erased", patient_id, by, why)

    def erased(self):
        gone = {}
        for event, patient_id, *_ in self.events:
            if event == "erased":
                gone[patient_id] = "2026-03-02T08:00:00+00:00"
            elif event in ("admitted", "imported"):
                gone.pop(patient_id, None)
        return gone

    def _insert(self, examination, summary):
        stored = self.examinations(examination.patient)
        last = stored[-1] if stored else None
        calm = last is None or examination.id == last.id or (
            examination.revision == 1 and examination.at >= last.at
        )  # fmt: skip
        self._stored[examination.patient].append(examination)
        before = self._summaries.get(examination.patient)
        known = [s for s in (before, summary) if s]
        graver = max(known, key=lambda s: s.urgency, default=None)
        self._summaries[examination.patient] = summary and replace(summary) if calm else graver

    def save(self, examination, by, summary=None):
        signed = examination.model_copy(update={"saved_by": by})
        with self._writing:
            stored = [
                e for e in self.revisions(examination.patient, examination.id) if e.revision == 1
            ]
            if stored and stored[0].model_copy(update={"saved_by": by}) != signed:
                raise InputError("is saved already", where=examination.id)
            if not stored:
                self._insert(signed, summary)
        self._changed("saved", examination.patient, by, examination.id)
        return stored[0] if stored else signed

    def amend(self, examination, by, why, at, summary=None):
        with self._writing:
            stored = self.revisions(examination.patient, examination.id)
            amended = patient_tables.amended(stored, examination, by, why, at)
            if amended is stored[-1]:
                return amended
            self._insert(amended, summary)
        self._changed("amended", examination.patient, by, examination.id)
        return amended

    def mark(self, examination, by, why, at, summarise, *, in_error):
        with self._writing:
            stored = self.revisions(examination.patient, examination.id)
            made = patient_tables.marked(stored, examination, by, why, at, in_error=in_error)
            if made is stored[-1]:
                return made
            self._stored[examination.patient].append(made)
            file = self.file(examination.patient)
            self._summaries[examination.patient] = summarise(file)
        event = patient_tables.mark_event(in_error=in_error)
        self._changed(event, examination.patient, by, examination.id)
        return made

    def save_sheet(self, kept, by):
        self.patient(kept.patient)
        signed = kept.model_copy(update={"saved_by": by})
        held = self.sheets.setdefault(kept.patient, [])
        stored, fresh = patient_tables.sheet_before(held, signed)
        if fresh:
            held.append(signed)
        self._changed("saved" if kept.revision == 1 else "amended", kept.patient, by, kept.id)
        return stored

    def outcomes(self, patient_id):
        self.patient(patient_id)
        return self._outcomes[patient_id]

    def conclude(self, outcome, by):
        stored = self.outcomes(outcome.patient)
        same = patient_tables.concluded(stored, outcome)
        if same:
            return same
        self._outcomes[outcome.patient] = (*stored, outcome)
        self._changed("concluded", outcome.patient, by)
        return outcome

    def conclude_all(self, outcomes, by, progress=None):
        for outcome in outcomes:
            patient_tables.concluded(self.outcomes(outcome.patient), outcome)
        for number, outcome in enumerate(outcomes, 1):
            self.conclude(outcome, by)
            if progress:
                progress(number)
        return len(outcomes)

    def drafts(self):
        return self._drafts.infos()

    def start_draft(self, examination, by):
        draft = self._drafts.start(examination, by)
        self._tell()
        return draft

    def resume_draft(self, draft_id, by=""):
        draft, examination = self._drafts.resume(draft_id)
        done = (examination.examiner, *examination.entered_by)
        if by and by not in done:
            draft.append(Change("entered_by", "", [*examination.entered_by, by]))
        return draft, draft.examination

    def drafted(self, draft_id):
        return self._drafts.of(draft_id).examination

    def set_aside(self, draft_id, by):
        self._drafts.put_aside(draft_id, by)

    def drop_draft(self, draft):
        self._drafts.drop(draft)
        self._tell()
