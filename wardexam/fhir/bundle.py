"""A ward, or one patient, as a transaction bundle of FHIR R4.

Every entry is put in the place of the one with the same identifier, so that a bundle that is sent again doubles
nothing. The same ward gives the same bytes: neither the time nor the program that writes it stands in it.
What the tool suggests stays out, but what the doctor accepted; GUIDE.md has the table of what goes where.
"""

import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import TYPE_CHECKING

from wardexam.case import case_of
from wardexam.errors import WardexamError
from wardexam.exam.examination import Examination
from wardexam.exam.outcome import Outcome
from wardexam.fhir.acts import act_resources
from wardexam.fhir.elements import Outgoing, cleaned, practitioner
from wardexam.fhir.ending import outcome_id, outcome_resource, outcome_text
from wardexam.fhir.examined import examination_id, examination_resource
from wardexam.fhir.findings import Made, member_resources
from wardexam.fhir.injury import sheet_id, sheet_resource
from wardexam.fhir.naming import FORM, LAYOUT, LONGEST, Resource, entry
from wardexam.fhir.papers import ERROR, Paper, paper_resources
from wardexam.fhir.standard_codes import Hospital
from wardexam.fhir.stay import patient_entries
from wardexam.fhir.trail import provenance, wrote
from wardexam.injury.kept import KeptSheet
from wardexam.injury.typed import write_typed

if TYPE_CHECKING:
    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.repository import PatientFile, Repository, TrailLine

TOOLS_OWN = {"raised", "reading"}  # fields of an examination that are the tool's, not the doctor's
# What a bundle cannot hold, or does not on purpose, by how it is said of one and of several.
LEFT_OUT = {
    "reading": ("reading of the tool's", "readings of the tool's"),
    "raised": (
        "set of urgency reasons kept with an examination",
        "sets of urgency reasons kept with an examination",
    ),
    "viewed": ("line of the trail that wrote nothing", "lines of the trail that wrote nothing"),
    "text": ("text with a character that FHIR cannot hold", "texts with a character that FHIR cannot hold"),
}  # fmt: skip

Missed = Callable[[str, WardexamError], object]


@dataclass
class Bundling:
    """What a bundle is written with, and what it leaves out.

    Attributes:
        hospital: What the hospital says of its bundles.
        wording: The hospital's own words for urgency, in which notes are written.
        left_out: How often each thing of `LEFT_OUT` was.
        size: How many bytes were written.
    """

    hospital: Hospital = field(default_factory=Hospital)
    wording: "Wording" = field(default_factory=dict)
    left_out: Counter[str] = field(default_factory=Counter)
    size: int = 0

    @property
    def too_long(self) -> bool:
        """Whether it is longer than what is read again."""
        return self.size > LONGEST

    @property
    def said(self) -> str:
        """What was left out, in words; empty where nothing was."""
        return ", ".join(
            f"{number} {LEFT_OUT[what][number > 1]}"
            for what in LEFT_OUT
            if (number := self.left_out[what])
        )


def write_bundle(
    ward: "Repository",
    bundling: Bundling,
    patients: Sequence[str] | None = None,
    *,
    missed: Missed = lambda *_: None,
) -> Iterator[str]:
    """The bundle in pieces of text, an entry a line.

    Args:
        ward: What is written.
        bundling: How; told what was left out.
        patients: Only these; all of them without.
        missed: Told who is left out, since the record cannot be read, and why.

    Raises:
        RecordsError: A patient who was asked for, or the trail, cannot be read.
    """
    rows = _rows(ward, bundling, patients, missed)
    first = next(rows, None)  # before anything is written: whoever was asked for can be read
    head = {
        "resourceType": "Bundle",
        "meta": {"tag": [{"system": FORM, "code": LAYOUT}]},
        "type": "transaction",
    }
    yield json.dumps(head)[:-1] + ', "entry": ['
    between = "\n"
    for row in chain(filter(None, [first]), rows):
        line = between + json.dumps(cleaned(row, lambda: bundling.left_out.update(["text"])))
        bundling.size += len(line)
        yield line
        between = ",\n"
    yield "\n]}\n"


def _rows(
    ward: "Repository", bundling: Bundling, patients: Sequence[str] | None, missed: Missed
) -> Iterator[Resource]:
    """The entries of a bundle; who is named in one stands before it, each once."""
    trail: dict[str, list[TrailLine]] = {}
    for line in ward.trail(patients[0] if patients and len(patients) == 1 else ""):
        if line.patient and wrote(line):
            trail.setdefault(line.patient, []).append(line)
        else:
            bundling.left_out["viewed"] += 1
    out, sent = Outgoing(bundling.hospital), 0
    for patient_id in patients or every_patient(ward):
        try:
            file, lines = ward.file(patient_id), trail.get(patient_id, ())
            made = list(patient_bundle(file, lines, out, bundling))
        except WardexamError as error:
            if patients:
                raise
            missed(patient_id, error)
            continue
        yield from map(practitioner, list(out.people)[sent:])
        sent = len(out.people)
        yield from made


def every_patient(ward: "Repository") -> list[str]:
    """Every patient of a ward, also those discharged, by identifier."""
    return sorted({b.patient_id for d in (False, True) for b in ward.beds(discharged=d)})


def patient_bundle(
    file: "PatientFile", trail: "Iterable[TrailLine]", out: Outgoing, bundling: Bundling
) -> Iterator[Resource]:
    """The entries of one patient; those of people who are named in them are for the caller.

    Raises:
        RecordsError: A record cannot be read.
    """
    yield from patient_entries(file.patient, out)
    papers: set[str] = set()

    def entries(made: Iterable[Made]) -> Iterator[Resource]:
        for value, resource in made:
            if resource["resourceType"] == "DocumentReference":
                papers.add(value)
            yield entry(resource, value)

    for name in dict.fromkeys(name for name, _ in file.numbered()):
        yield from entries(_examination(file, file.revisions(name), out, bundling))
    yield from entries(_sheets(file.sheets, out))
    yield from entries(_outcomes(file.outcomes, out))
    yield from entries(provenance(line, papers, out) for line in trail)


def _examination(
    file: "PatientFile", revisions: Sequence[Examination], out: Outgoing, bundling: Bundling
) -> Iterator[Made]:
    """An examination as it stands now, what is taken back of it, and a document for each revision.

    Of one entered in error nothing stands: all of it is sent as that, and its last document holds all that it held.
    """
    last, base = revisions[-1], examination_id(revisions[-1])
    members = dict(member_resources(last, out, base))
    acts = dict(act_resources(last, out, base))
    status = {"status": ERROR} if last.in_error else {}
    yield from ((value, resource | status) for value, resource in members.items())
    yield base, examination_resource(last, out, list(members)) | status
    yield from ((value, resource | status) for value, resource in acts.items())
    yield from _taken_back(revisions[:-1], {*members, *acts}, out, base)
    for e in revisions:
        bundling.left_out["reading"] += e.reading is not None
        bundling.left_out["raised"] += bool(e.raised)
        case = case_of(file, e, bundling.wording)
        if (
            e is last and file.examinations and e.id == file.examinations[-1].id
        ):  # as the note that is printed of it
            case = replace(case, sheets=file.sheets)
        yield from paper_resources(
            Paper(
                "note", base, e.patient, e.revision, e is last, e.at, (e.examiner, *e.entered_by), e.saved_by, e.amendment,
                case.note(ascii_only=False), e.model_dump(mode="json", exclude=TOOLS_OWN), last.in_error,
            ),
            out,
        )  # fmt: skip


def _taken_back(
    earlier: Sequence[Examination], standing: set[str], out: Outgoing, base: str
) -> Iterator[Made]:
    """What an earlier revision held and the last one does not: it may have been sent, and must not stand."""
    gone: dict[str, Resource] = {}
    for e in earlier:
        gone |= dict(member_resources(e, out, base)) | dict(act_resources(e, out, base))
    for value, resource in gone.items():
        if value not in standing:
            yield value, resource | {"status": ERROR}


def _sheets(sheets: Sequence[KeptSheet], out: Outgoing) -> Iterator[Made]:
    last = {s.id: s for s in sheets}
    for s in last.values():
        yield sheet_id(s), sheet_resource(s, out)
    for s in sheets:
        yield from paper_resources(
            Paper(
                "injury", sheet_id(s), s.patient, s.revision, s is last[s.id], s.at, (s.examiner,), s.saved_by, s.amendment,
                write_typed(s.sheet), s.model_dump(mode="json"),
            ),
            out,
        )  # fmt: skip


def _outcomes(outcomes: Sequence[Outcome], out: Outgoing) -> Iterator[Made]:
    if outcomes:
        yield outcome_id(outcomes[-1].patient), outcome_resource(outcomes[-1], out)
    for o in outcomes:
        yield from paper_resources(
            Paper(
                "outcome", outcome_id(o.patient), o.patient, o.revision, o is outcomes[-1], o.at, (o.by,), "", None,
                outcome_text(o), o.model_dump(mode="json"),
            ),
            out,
        )  # fmt: skip
