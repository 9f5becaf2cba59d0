"""What a keeper of a ward can do, whatever stands behind it: a folder of files, memory, a server.

The screens and the commands know these operations and no others. One contract suite
(`tests/records/test_contract.py`) holds every implementation to them. Whatever writes may be given once
more where it is not known whether it was written: the same again is no fault and is stored once.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Protocol, Self

from wardexam.errors import RecordsError
from wardexam.exam.moments import moment
from wardexam.exam.text import counted

if TYPE_CHECKING:
    from pathlib import Path

    from wardexam.exam.examination import Amendment, Examination, Patient
    from wardexam.exam.outcome import Outcome
    from wardexam.injury.kept import KeptSheet
    from wardexam.records.audit import Head
    from wardexam.records.light_file import Event, Stay


class OutageError(RecordsError):
    """The store cannot be reached now; nothing was changed, and what was given may be given again."""


class UncertainError(OutageError):
    """The store was lost while it wrote: it may have written or not; the same again is no fault."""


class FencedError(RecordsError):
    """Another session has taken over what this one held; nothing of this one's is written any more."""


class ConflictError(RecordsError):
    """Someone else changed it first; `stored` is what they saved."""

    def __init__(self, stored: "Patient") -> None:
        super().__init__(
            "was changed by someone else meanwhile",
            stored.bed,
            "look at the difference and save again",
        )
        self.stored = stored


class AmendedMeanwhileError(RecordsError):
    """The examination was amended by someone else first; `stored` is their revision."""

    def __init__(self, stored: "Examination") -> None:
        super().__init__(
            "was amended by someone else meanwhile",
            stored.id,
            "look at the difference and save again",
        )
        self.stored = stored


class ConcludedMeanwhileError(RecordsError):
    """Someone else recorded an outcome first; `stored` is theirs, None where there is none any more."""

    def __init__(self, stored: "Outcome | None") -> None:
        super().__init__(
            "the outcome was recorded by someone else meanwhile",
            stored.patient if stored else "",
            "look at it and record again",
        )
        self.stored = stored


@dataclass(frozen=True, slots=True)
class Summary:
    """What the ward list shows of the last examination.

    Attributes:
        urgency: 0 (not assessed, or no rule fires) to 3 (now).
        urgency_word: The same in words.
        worse: Whether it was worse than what stood before.
        headline: Why.
        due: When the first of the limits that run ends, with its zone; empty where none runs. Whether it is
            passed is for whoever shows it.
        step: What is to be done by then.
        new: Whether nothing was done yet about one of the gravest reasons: the alarm is new.
        short: Why, in few whole words; empty where `headline` is short enough or an earlier version saved it.
    """

    urgency: int
    urgency_word: str
    worse: bool
    headline: str
    due: str = ""
    step: str = ""
    new: bool = True
    short: str = ""

    @property
    def due_at(self) -> datetime | None:
        """When the first of the limits that run ends; None where none runs."""
        return datetime.fromisoformat(self.due) if self.due else None


def hours_after(at: datetime, hours: int) -> datetime:
    """So many hours after a time; the last moment there is where that would be later."""
    try:
        return at + timedelta(hours=hours)
    except OverflowError:
        return datetime.max.replace(tzinfo=UTC)


def next_examination(
    hours: int | None, last: datetime | None, admitted: datetime | None
) -> datetime | None:
    """When the next examination is due, a first one since the admission; None without a schedule."""
    if hours is None:
        return None
    return hours_after(last, hours) if last else admitted


@dataclass(frozen=True, slots=True)
class Bed:
    """One line of the ward list; times are ISO texts with their zone.

    `trouble` says why the patient's record cannot be read, in one line; empty when it can. `reason` is why
    the patient was admitted; empty where that is not known. `draft` is what an examination that is not saved
    says, `told` what that reason says by itself of one who was never examined; None where there is nothing,
    or it was not asked for. `writing` is who has an examination of the patient open now; empty where nobody has.
    """

    patient_id: str
    bed: str
    name: str
    age: int | None
    sex: str
    last_at: str | None
    last_by: str
    examinations: int
    summary: Summary | None
    recheck_hours: int | None
    discharged: str | None
    has_draft: bool = False
    trouble: str = ""
    reason: str = ""
    draft: Summary | None = None
    told: Summary | None = None
    writing: str = ""

    @property
    def graver_draft(self) -> Summary | None:
        """What the examination that is not saved says, where it is graver than what is saved, or as grave and worse; else None."""
        saved = (self.summary.urgency, self.summary.worse) if self.summary else (0, False)
        return self.draft if self.draft and (self.draft.urgency, self.draft.worse) > saved else None

    @property
    def listed(self) -> Summary | None:
        """What the list goes by: what is not saved where that is graver, else what is saved, else what was told at admission."""
        return self.graver_draft or self.summary or self.told

    @property
    def next_at(self) -> datetime | None:
        """When the next examination is due; None without a schedule, or before the first: the list holds no admission."""
        return self.next_since(None)

    def next_since(self, admitted: datetime | None) -> datetime | None:
        """When the next examination is due of a patient who was admitted then; None without a schedule."""
        last = datetime.fromisoformat(self.last_at) if self.last_at else None
        return next_examination(self.recheck_hours, last, admitted)

    @classmethod
    def from_json(cls, row: dict[str, Any], **more: Any) -> Self:
        """From a row of an index, with further fields.

        Raises:
            ValueError, TypeError, KeyError: It is no such row.
        """
        summary = row["summary"]
        made = cls(**{**row, **more, "summary": Summary(**summary) if summary else None})
        texts = [made.patient_id, made.bed, made.name, made.sex, made.last_by, made.reason]
        numbers = [made.examinations, made.age or 0, made.recheck_hours or 0]
        if made.summary:
            texts += [
                made.summary.urgency_word,
                made.summary.headline,
                made.summary.step,
                made.summary.short,
            ]
            numbers.append(made.summary.urgency)
            if type(made.summary.new) is not bool:
                raise TypeError
        if not all(isinstance(t, str) for t in texts) or {*map(type, numbers)} > {int}:
            raise TypeError
        for time in (made.last_at, made.discharged, made.summary and made.summary.due):
            if time and datetime.fromisoformat(time).tzinfo is None:
                raise ValueError
        return made


@dataclass(frozen=True, slots=True)
class DraftInfo:
    """A draft: whose, by whom, last added to (seconds since 1970), how many keys.

    `held` while a living session writes it: then it is nobody else's to resume. `trouble` says why
    it cannot be resumed, in one line; the patient is then empty where it cannot be told any more.
    """

    draft_id: str
    patient_id: str
    by: str
    started: str
    last: float
    keys: int
    held: bool = False
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class TrailLine:
    """One line of the audit trail.

    Attributes:
        at: When, as an ISO text with its zone.
        event: What was done: ``saved``, ``viewed``.
        patient: To whom; empty for the ward.
        by: Who did it, as given.
        login: The login under which it was done.
        what: The examination and its revision, or more about the event.
        hash: What chains the line to the one before it, and names it.
    """

    at: str
    event: str
    patient: str
    by: str
    login: str
    what: str
    hash: str


@dataclass(frozen=True, slots=True)
class Arrival:
    """A patient with every revision of the examinations, cord injury sheets and outcome, to be taken in."""

    patient: "Patient"
    examinations: "tuple[Examination, ...]" = ()
    summary: Summary | None = None
    sheets: "tuple[KeptSheet, ...]" = ()
    outcomes: "tuple[Outcome, ...]" = ()


def clock_line(now: datetime, last: datetime) -> str:
    """What to say of a clock that stands before the last examination; else empty."""
    if now >= last:
        return ""
    said, then = moment(now, now), moment(last, now)
    return f"The clock says {said}, before the last examination ({then}): check it."


def draft_line(info: DraftInfo, bed: str, now: datetime) -> str:
    """Whose draft it is and how old, in a few words."""
    minutes = max(0.0, now.timestamp() - info.last) / 60
    age = (
        f"{minutes:.0f} min"
        if minutes < 100
        else f"{minutes / 60:.0f} h"
        if minutes < 2880
        else f"{minutes / 1440:.0f} d"
    )
    return f"{bed} by {info.by}, {age} old, {counted(info.keys, 'entry', 'entries')}"


class Jotted(Protocol):
    """A change that a draft keeps as one line."""

    def to_json(self) -> dict[str, Any]:
        """As a JSON object."""
        ...


class Place(Protocol):
    """Where a draft is kept: a file, or a server. Every method may raise OSError or `RecordsError`.

    A draft is rows: the first, number 0, is what it began with, each further one a change, by number.

    Attributes:
        renew: Seconds after which `hold` is called again, so that it does not run out; None where it does not.
    """

    renew: float | None

    def bring(self, rows: Sequence[bytes]) -> None:
        """Bring the place up to all rows; those that it has by number are not written again.

        Raises:
            FencedError: Another session has taken the draft over.
        """
        ...

    def hold(self) -> None:
        """Hold the draft for this session, or hold it on; nobody else may resume it meanwhile."""
        ...

    def let_go(self) -> None:
        """Hold it no longer."""
        ...

    def remove(self) -> None:
        """Take away what is kept here, if anything is."""
        ...


class DraftWriter(Protocol):
    """A draft being written. Its change of number n is the n-th that was handed over.

    Attributes:
        sent: Changes handed over.
        kept: Changes known to be kept beyond this process.
        problem: Why changes are not where they should be and where they are instead, in one line.
        settled: Called, from any thread, once changes are kept or cannot be.
    """

    sent: int
    kept: int
    problem: str
    settled: Callable[[], object]

    @property
    def draft_id(self) -> str:
        """The identifier of the draft: that of its examination or sheet."""
        ...

    def append(self, change: Jotted) -> None:
        """Hand a change over; returns at once."""
        ...

    def flush(self, timeout: float = 1.0) -> bool:
        """Wait until every change is kept; whether it is."""
        ...

    def unkept(self, seconds: float) -> int:
        """How many changes are in memory only, once that long has been waited for them."""
        ...

    def close(self) -> None:
        """Keep what is left and let go, so that another session may resume."""
        ...


class PatientFile(Protocol):
    """One patient's papers as they stood when they were read, in one go.

    Attributes:
        patient: The details.
        examinations: The latest revision of every examination that counts, in the order in which they were saved;
            each is made when it is asked for. What was entered in error is left out here, and by nobody else.
        with_errors: The same with those that were entered in error, as stored: for who shows, keeps or sends all.
        outcomes: Every revision of what it was in the end, first to last.
    """

    @property
    def patient(self) -> "Patient":
        """The details."""
        ...

    @property
    def examinations(self) -> "Sequence[Examination]":
        """The latest revision of every examination that counts, in the order in which they were saved."""
        ...

    @property
    def with_errors(self) -> "Sequence[Examination]":
        """The latest revision of every examination, those entered in error too, in the order in which they were saved."""
        ...

    def in_error(self, examination_id: str) -> "Amendment | None":
        """Who says of an examination that it was entered in error, when and why; None where it counts."""
        ...

    def counted(self, examination: "Examination") -> "Examination":
        """What of an examination counts: without what was done on one entered in error."""
        ...

    @property
    def sheets(self) -> "tuple[KeptSheet, ...]":
        """Every revision of every cord injury sheet, in the order in which they were saved."""
        ...

    @property
    def outcomes(self) -> "tuple[Outcome, ...]":
        """Every revision of what it was in the end, first to last."""
        ...

    def revisions(self, examination_id: str) -> "tuple[Examination, ...]":
        """Every revision of one examination, first to last."""
        ...

    def numbered(self) -> list[tuple[str, int]]:
        """Every stored revision as its examination's identifier and number, in the order saved."""
        ...

    def telling(self, until: str = "") -> "tuple[Examination, ...]":
        """The examinations that count, before one or all, that say what no later one of them says again."""
        ...


class SheetDrafts(Protocol):
    """The drafts of cord injury sheets."""

    def infos(self) -> tuple[DraftInfo, ...]:
        """Drafts, oldest first."""
        ...

    def start(self, kept: "KeptSheet", by: str) -> DraftWriter:
        """A new draft."""
        ...

    def resume(self, draft_id: str) -> "tuple[DraftWriter, KeptSheet]":
        """A draft that was left, with the sheet as far as it got."""
        ...

    def put_aside(self, draft_id: str, by: str) -> None:
        """Stop offering a draft without destroying it."""
        ...

    def drop(self, draft: DraftWriter) -> None:
        """Close a draft that is no longer needed and take it away."""
        ...


@dataclass(frozen=True, slots=True)
class Opened:
    """What opening a patient's examination or sheet needs, read in one go.

    Attributes:
        file: The patient's details, examinations, sheets and outcomes.
        drafts: The drafts of this patient's examinations, oldest first.
        sheet_drafts: Those of the patient's cord injury sheets.
    """

    file: PatientFile
    drafts: tuple[DraftInfo, ...] = ()
    sheet_drafts: tuple[DraftInfo, ...] = ()


@dataclass(frozen=True, slots=True)
class Papers:
    """What a paper of the whole ward is made from: one snapshot, each file verified as it was read.

    Attributes:
        rows: The current patients by bed, each with the file.
        left_out: Those whose record cannot be read, with the reason in `trouble`.
        head: The number and hash of the audit trail's last line, short; empty where there is none.
        drafts: The drafts of examinations, oldest first.
    """

    rows: "tuple[tuple[Bed, PatientFile], ...]"
    left_out: "tuple[Bed, ...]"
    head: str = ""
    drafts: tuple[DraftInfo, ...] = ()


@dataclass(frozen=True, slots=True)
class Report:
    """What a check found, line by line; `sound` when nothing is wrong, missing, skipped or set aside."""

    lines: tuple[str, ...]
    sound: bool


class Watch(Protocol):
    """Somebody is told of changes until this is closed."""

    def close(self) -> None:
        """Tell no more; does not wait for a call that is under way."""
        ...


class Repository(Protocol):
    """A ward as it is kept. Every method raises `RecordsError` when the keeper fails, and may be called from any thread.

    `by` is who the doctor says to be; the author that the audit trail names beside it is the store's own
    word: the login, or the role at a database.

    Attributes:
        patience: Seconds that an operation waits for another session before `BusyError`.
    """

    patience: float

    @property
    def problem(self) -> str:
        """What was last found not to be as it should be, in one line; empty when all is well. Asks nothing."""
        ...

    @property
    def spool(self) -> "Path | None":
        """Where this login keeps what the ward cannot take now; None where it is kept nowhere."""
        ...

    @property
    def sheet_drafts(self) -> SheetDrafts:
        """The drafts of cord injury sheets."""
        ...

    def watch(self, changed: Callable[[], object]) -> Watch:
        """Call `changed`, from a thread of the store's own, whenever any session may have changed the ward.

        Within a second of the change; once after several; also when the store can be reached again after it
        could not: all that was read is then read again.
        """
        ...

    def beds(self, *, discharged: bool = False) -> tuple[Bed, ...]:
        """The ward list, by bed; discharged patients instead when asked for."""
        ...

    def patient(self, patient_id: str) -> "Patient":
        """A patient's details; InputError when there is no such patient."""
        ...

    def file(self, patient_id: str) -> PatientFile:
        """A patient's details and examinations, read once; InputError when there is no such patient."""
        ...

    def opened(self, patient_id: str, by: str) -> Opened:
        """What opening an examination needs, in one call; that it was viewed is put into the trail.

        InputError when there is no such patient.
        """
        ...

    def papers(self) -> Papers:
        """The current patients with their files, for a paper of the whole ward, in one call."""
        ...

    def verify(self) -> bool:
        """Look at the files behind the list that have changed since; whether the list says something new.

        For a thread of its own: it may take as long as reading every file.
        """
        ...

    def settle(self) -> None:
        """Write what has been waiting for another session."""
        ...

    def check(
        self,
        *,
        repair: bool,
        by: str,
        heads: "Sequence[Head]" = (),
        progress: Callable[[int], None] = lambda _: None,
    ) -> Report:
        """Verify everything that is kept, each against the other; nothing is changed unless told to repair.

        Args:
            repair: Whether to repair what can be repaired.
            by: Who repairs, for the trail.
            heads: Heads of the trail kept elsewhere, such as on a printed handover.
            progress: Told how many patients are read.
        """
        ...

    def stays(self) -> "Sequence[Stay]":
        """Every patient, also discharged ones, to be read for counting; each may be handed to another process."""
        ...

    def events(self) -> "Iterator[Event]":
        """The events of the trail in order, as far as it can be read."""
        ...

    def trail(self, patient_id: str = "") -> Iterable[TrailLine]:
        """The lines of the audit trail of one patient, or all of them, first to last; torn ones are none."""
        ...

    def examinations(self, patient_id: str) -> "tuple[Examination, ...]":
        """The latest revision of every examination that counts, in the order in which they were saved."""
        ...

    def revisions(self, patient_id: str, examination_id: str) -> "tuple[Examination, ...]":
        """Every revision of one examination, first to last."""
        ...

    def admit(self, patient: "Patient", by: str) -> "Patient":
        """Add a patient; InputError when the identifier is another's. The same again is no fault."""
        ...

    def take_in(
        self,
        arrivals: Iterable[Arrival],
        by: str,
        progress: Callable[[int], None] | None = None,
    ) -> int:
        """Add patients with their examinations, all or none; gives how many."""
        ...

    def update(self, patient: "Patient", by: str, event: str = "edited") -> "Patient":
        """Save changed details over the revision that was read; else ConflictError. The same again is no fault."""
        ...

    def discharge(self, patient: "Patient", at: datetime, by: str) -> "Patient":
        """Take a patient off the list, as the details were read; everything is kept.

        ConflictError where someone else changed them since; the same again is no fault.
        """
        ...

    def restore(self, patient: "Patient", by: str) -> "Patient":
        """Bring a discharged patient back, as the details were read; as `discharge` otherwise."""
        ...

    def erase(self, patient_id: str, by: str, why: str) -> None:
        """Take a discharged patient out for good, or one whose record is lost: details, examinations, sheets, outcomes, drafts, list rows.

        The audit trail stays whole and says who erased whom by the identifier, why and when. InputError
        where nothing is stored of the patient, no reason is given, or the patient is on the ward.
        """
        ...

    def erased(self) -> dict[str, str]:
        """Who was erased and not brought in again, with when, as an ISO text.

        Raises:
            RecordsError: That cannot be told, since a line of the trail is damaged.
        """
        ...

    def save(
        self, examination: "Examination", by: str, summary: Summary | None = None
    ) -> "Examination":
        """Save an examination; what is stored is never overwritten, the same again is no fault."""
        ...

    def amend(
        self,
        examination: "Examination",
        by: str,
        why: str,
        at: datetime,
        summary: Summary | None = None,
    ) -> "Examination":
        """Save a further revision of a stored examination, with who, when and why.

        `examination.revision` names the revision it was made from; AmendedMeanwhileError when that
        is not the last any more.
        """
        ...

    def mark(
        self,
        examination: "Examination",
        by: str,
        why: str,
        at: datetime,
        summarise: "Callable[[PatientFile], Summary | None]",
        *,
        in_error: bool,
    ) -> "Examination":
        """Save a further revision which says that an examination was entered in error, or which takes that back.

        Nothing else of it changes. `summarise` gives what the ward list shows of the file as it then stands. The
        same again is no fault. InputError where no words say why or where it is so already; `examination.revision`
        as with `amend`.
        """
        ...

    def save_sheet(self, kept: "KeptSheet", by: str) -> "KeptSheet":
        """Save a cord injury sheet, or a further revision of one; nothing stored is overwritten.

        The same again is no fault. InputError where another text is stored as this revision, or where the
        revision before it is not the last one stored.
        """
        ...

    def outcomes(self, patient_id: str) -> "tuple[Outcome, ...]":
        """Every revision of what it was in the end, first to last; of discharged patients as well."""
        ...

    def conclude(self, outcome: "Outcome", by: str) -> "Outcome":
        """Record what it was in the end, or a further revision of it; the same again is no fault.

        `outcome.revision` is one more than the last that is stored; else ConcludedMeanwhileError.
        """
        ...

    def conclude_all(
        self,
        outcomes: "Sequence[Outcome]",
        by: str,
        progress: Callable[[int], None] | None = None,
    ) -> int:
        """Record the outcomes of several patients, all or none, as `conclude` does; gives how many.

        ConcludedMeanwhileError where one was made from a revision that is not the last any more.
        """
        ...

    def drafts(self) -> tuple[DraftInfo, ...]:
        """Drafts, oldest first."""
        ...

    def start_draft(self, examination: "Examination", by: str) -> DraftWriter:
        """A new draft."""
        ...

    def resume_draft(self, draft_id: str, by: str = "") -> "tuple[DraftWriter, Examination]":
        """A draft that was left, with the examination as far as it got; who resumes it is put down."""
        ...

    def drafted(self, draft_id: str) -> "Examination":
        """The examination of a draft as far as it got; nobody is put down for reading it, and nothing is held."""
        ...

    def set_aside(self, draft_id: str, by: str) -> None:
        """Stop offering a draft without destroying it; where there is none any more that is no fault."""
        ...

    def drop_draft(self, draft: DraftWriter) -> None:
        """Close a draft that is no longer needed and take it away."""
        ...

    def record(self, event: str, patient_id: str, by: str, what: str = "") -> None:
        """Write to the audit trail what was viewed, copied or exported."""
        ...
