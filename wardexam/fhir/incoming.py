"""A bundle of ours read again: whole, every entry understood, or refused with what is wrong and where.

A bundle of another program is not guessed at. What an entry holds beside what we write (what a server added) is passed
over, but for a modifier, which may turn the meaning round.
"""

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, BinaryIO, TypeVar

from pydantic import BaseModel, ValidationError

from wardexam.errors import InputError
from wardexam.exam.entry import first_fault
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.outcome import Outcome
from wardexam.fhir.acts import read_act
from wardexam.fhir.elements import code
from wardexam.fhir.ending import outcome_id, read_outcome
from wardexam.fhir.examined import read_examination
from wardexam.fhir.findings import code_kind, read_members
from wardexam.fhir.injury import read_sheet
from wardexam.fhir.naming import FORM, LAYOUT, LONGEST, TRAIL, Resource, own, tagged
from wardexam.fhir.papers import (
    is_last,
    kind_of,
    paper_id,
    read_document,
    read_paper,
    revision_of,
)
from wardexam.fhir.stay import read_patient
from wardexam.injury.kept import KeptSheet
from wardexam.records.archive import Gathered
from wardexam.records.repository import Arrival
from wardexam.records.stored_record import strict_loads

MOST = 300  # characters of what is wrong, which may quote what was given
KINDS = (
    "Patient", "Practitioner", "Encounter", "Observation", "ServiceRequest", "Task", "DocumentReference", "Provenance",
)  # fmt: skip
_HEAD = 65_536  # bytes in which a resource says its type
EXPORT_AGAIN = "export it again with 'wardexam export --fhir'"
FAULTS = (ValueError, KeyError, TypeError, IndexError, AttributeError)

Made = TypeVar("Made", bound=BaseModel)


def is_bundle(source: BinaryIO) -> bool:
    """Whether a file says that it is a resource of FHIR, by how it begins; it is left at its beginning."""
    start = source.tell()
    head = source.read(_HEAD)
    source.seek(start)
    return b'"resourceType"' in head and not head.startswith(b'{"archive"')


@dataclass(frozen=True, slots=True)
class Placed:
    """A resource of a bundle and where it stands: ``bundle entry 12, Observation``."""

    resource: Resource
    where: str

    @property
    def kind(self) -> str:
        """Its type."""
        return str(self.resource["resourceType"])


@contextlib.contextmanager
def _reading(where: str) -> Iterator[None]:
    """Say where the bundle is not as we write it."""
    try:
        yield
    except ValidationError as error:
        raise InputError(first_fault(error)[:MOST], where, EXPORT_AGAIN) from None
    except KeyError as error:
        raise InputError(f"has no '{str(error.args[0])[:60]}'", where, EXPORT_AGAIN) from None
    except ValueError as error:
        raise InputError(str(error)[:MOST], where, EXPORT_AGAIN) from None
    except FAULTS:
        raise InputError("is not as wardexam writes it", where, EXPORT_AGAIN) from None


def read_bundle(source: BinaryIO) -> Iterator[Arrival]:
    """The patients of a bundle, each with all that belongs to it.

    Raises:
        InputError: It is not JSON, no bundle of ours, or an entry is not as we write it; says which.
    """
    for patient in _Bundle(_placed(_loaded(source))).patients():
        yield patient.arrival()


def _loaded(source: BinaryIO) -> Any:
    try:
        data = source.read(LONGEST + 1)
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", "bundle") from None
    if len(data) > LONGEST:
        raise InputError(
            f"longer than {LONGEST} bytes", "bundle", "export each patient with --patient"
        )
    try:
        return strict_loads(data.removeprefix(b"\xef\xbb\xbf"))
    except ValueError as error:
        line = getattr(error, "lineno", 0)
        where = f"bundle line {line}" if line else "bundle"
        said = getattr(error, "msg", "") or str(error)
        raise InputError(f"not JSON: {said[:80]}", where, EXPORT_AGAIN) from None


def _placed(found: Any) -> list[Placed]:
    """The resources of a bundle that is ours."""
    if not isinstance(found, dict) or found.get("resourceType") != "Bundle":
        raise InputError(
            "neither an archive of wardexam nor a FHIR bundle",
            "line 1",
            "give what 'wardexam export' or 'wardexam export --fhir' wrote",
        )
    with _reading("bundle"):
        layout = tagged(found, FORM)
    if not layout:
        raise InputError(
            "this bundle was not written by wardexam, and no other is read", "bundle",
            "give what 'wardexam export --fhir' wrote",
        )  # fmt: skip
    if layout != LAYOUT:
        raise InputError(
            f"a bundle of form '{layout[:20]}' is not known to this program, which reads '{LAYOUT}'",
            "bundle", "update wardexam",
        )  # fmt: skip
    if found.get("type") != "transaction":
        raise InputError("the bundle is no transaction", "bundle", EXPORT_AGAIN)
    entries = found.get("entry", [])
    if not isinstance(entries, list):
        raise InputError("'entry' is no list", "bundle", EXPORT_AGAIN)
    return [_entry(e, f"bundle entry {n}") for n, e in enumerate(entries, 1)]


def _entry(found: Any, where: str) -> Placed:
    with _reading(where):
        resource, kind = found["resource"], found["resource"]["resourceType"]
        if kind not in KINDS:
            raise ValueError(f"a {str(kind)[:40]} is none of what wardexam writes")
        where = f"{where}, {kind}"
    with _reading(where):
        if not isinstance(found["fullUrl"], str) or found["request"]["method"] != "PUT":
            raise ValueError("is not put in its place by its identifier")
        _no_modifier(resource)
        return Placed(resource | {"fullUrl": found["fullUrl"]}, where)


def _no_modifier(found: Any) -> None:
    """Refuse what may turn the meaning round."""
    rows = [found]
    while rows:
        row = rows.pop()
        if isinstance(row, dict):
            for name in ("modifierExtension", "implicitRules"):
                if name in row:
                    raise ValueError(f"has '{name}', which wardexam does not understand")
            rows += row.values()
        elif isinstance(row, list):
            rows += row


def _references(found: Any) -> Iterator[str]:
    rows = [found]
    while rows:
        row = rows.pop()
        if isinstance(row, dict):
            if "reference" in row:
                yield str(row["reference"])
            rows += row.values()
        elif isinstance(row, list):
            rows += row


def _taken_back(resource: Resource) -> bool:
    """Whether a resource says that it does not stand."""
    return bool(resource["status"] == "entered-in-error")


@dataclass
class _Whose:
    """All that a bundle holds of one patient."""

    placed: Placed
    people: dict[str, str]
    amendments: dict[str, Resource]
    details: list[Resource] = field(default_factory=list)
    documents: list[Placed] = field(default_factory=list)
    tasks: dict[str, list[Placed]] = field(default_factory=dict)
    heads: dict[str, Placed] = field(default_factory=dict)
    loose: dict[str, Placed] = field(default_factory=dict)

    def arrival(self) -> Arrival:
        """The patient with every revision of what was kept."""
        where = self.placed.where
        with _reading(where):
            patient = read_patient(self.placed.resource, self.details)
        gathered = Gathered(patient)
        self._documents_are_of_something()
        for document in self.documents:
            with _reading(document.where):
                base, revision = revision_of(document.resource)
                kind = kind_of(document.resource)
                last = document.resource["status"] == "current"
                self._replaces(document, base, revision)
                made = self._of(kind, base, patient) if last else read_document(document.resource)
                if _taken_back(document.resource) and not (kind == "note" and made.get("in_error")):
                    raise ValueError("is entered in error, and what it held does not say so")
            if kind == "note":
                made |= self._revision(document, last=last)
                gathered.add(self._model(Examination, made, document), document.where)
            elif kind == "injury":
                made |= self._revision(document, last=last)
                gathered.add_sheet(self._model(KeptSheet, made, document), document.where)
            else:
                made |= {"revision": revision}
                gathered.conclude(self._model(Outcome, made, document), document.where)
        for left in self.loose.values():
            if not _taken_back(left.resource):
                raise InputError(
                    "belongs to no examination of the bundle", left.where, EXPORT_AGAIN
                )
        return gathered.whole(where)

    def _documents_are_of_something(self) -> None:
        """Refuse an examination, sheet or outcome without its last document, or with two of them."""
        last: dict[str, int] = {}
        for document in self.documents:
            with _reading(document.where):
                base, _ = revision_of(document.resource)
                if kind_of(document.resource) not in ("note", "injury", "outcome"):
                    raise ValueError("is no document of wardexam's")
                last[base] = last.get(base, 0) + is_last(document.resource)
        for base, number in last.items():
            if number != 1:
                raise InputError(
                    f"{number} documents of '{base}' are the last; one is", self.placed.where, EXPORT_AGAIN
                )  # fmt: skip
        for base, head in self.heads.items():
            if base not in last:
                raise InputError("has no document", head.where, EXPORT_AGAIN)

    @staticmethod
    def _replaces(document: Placed, base: str, revision: int) -> None:
        """Hold a document against its place among the revisions."""
        related = document.resource.get("relatesTo", [])
        if (revision > 1) != any(r["code"] == "replaces" for r in related):
            raise ValueError(f"'{paper_id(base, revision)}' does not say what it replaces")

    @staticmethod
    def _model(model: type[Made], found: dict[str, Any], document: Placed) -> Made:
        with _reading(document.where):
            return model.model_validate(found)

    def _revision(self, document: Placed, *, last: bool) -> dict[str, Any]:
        if not last:
            return {}
        with _reading(document.where):
            return read_paper(document.resource, self.amendments, self.people)

    def _of(self, kind: str, base: str, patient: Patient) -> dict[str, Any]:
        """What the last revision's Observations and Tasks hold."""
        if base not in self.heads:
            raise ValueError(f"the Observation '{base}' is not in the bundle")
        head = self.heads[base]
        whose, _, name = base.partition(".")
        if whose != patient.id:
            raise ValueError("belongs to another patient")
        with _reading(head.where):
            if _taken_back(head.resource):
                raise ValueError("was entered in error, and its document does not say so")
            if code(head.resource["code"], "paper") != {"note": "examination"}.get(kind, kind):
                raise ValueError("is not what its document says")
            if kind == "outcome":
                if base != outcome_id(patient.id):
                    raise ValueError("is not the outcome of its patient")
                return {"patient": patient.id} | read_outcome(head.resource, self.people)
            made = {"id": name, "patient": patient.id}
            if kind == "injury":
                return made | read_sheet(head.resource, self.people)
            made |= read_examination(head.resource, self.people)
        return made | self._found(head) | {"acts": [self._act(t) for t in self._tasks_of(head)]}

    def _found(self, head: Placed) -> dict[str, Any]:
        findings, stated = list[dict[str, Any]](), list[dict[str, Any]]()
        for member in head.resource.get("hasMember", ()):
            placed = self.loose.pop(member["reference"], None)
            if placed is None:
                raise InputError("a finding belongs to no or to two examinations", head.where, EXPORT_AGAIN)  # fmt: skip
            with _reading(placed.where):
                one, other = read_members([placed.resource], self.people)
                findings += one
                stated += other
        return {"findings": findings, "rest_normal": stated}

    def _tasks_of(self, head: Placed) -> list[Placed]:
        return self.tasks.get(head.resource["fullUrl"], [])

    def _act(self, task: Placed) -> dict[str, Any]:
        with _reading(task.where):
            return read_act(task.resource, self.people)


class _Bundle:
    """The resources of a bundle, sorted by whose they are.

    Raises:
        InputError: A reference leads nowhere, or a resource is nobody's.
    """

    def __init__(self, placed: list[Placed]) -> None:
        self.by_url: dict[str, Placed] = {}
        for one in placed:
            url = one.resource["fullUrl"]
            if url in self.by_url:
                raise InputError("stands twice in the bundle", one.where, EXPORT_AGAIN)
            self.by_url[url] = one
        for one in placed:
            for reference in _references(one.resource):
                if reference not in self.by_url:
                    raise InputError(
                        f"refers to '{reference[:60]}', which is not in the bundle", one.where, EXPORT_AGAIN
                    )  # fmt: skip
        self.people, self.amendments = dict[str, str](), dict[str, Resource]()
        self._whose: dict[str, _Whose] = {}
        for one in placed:
            with _reading(one.where):
                self._first(one)
        for one in placed:
            with _reading(one.where):
                self._sort(one)

    def _first(self, one: Placed) -> None:
        """Take in who is named, who is a patient, and what was amended by whom."""
        url = one.resource["fullUrl"]
        if one.kind == "Practitioner":
            self.people[url] = str(one.resource["name"][0]["text"])
        elif one.kind == "Patient":
            self._whose[url] = _Whose(one, self.people, self.amendments)
        elif one.kind == "Provenance":
            self.amendments[tagged(one.resource, TRAIL)] = one.resource

    def _sort(self, one: Placed) -> None:
        """Give a resource to the patient whose it is."""
        if one.kind in ("Practitioner", "Patient", "Provenance"):
            return
        resource = one.resource
        owner = resource["for" if one.kind == "Task" else "subject"]["reference"]
        if owner not in self._whose:
            raise ValueError("belongs to no patient of the bundle")
        whose = self._whose[owner]
        if one.kind in ("Encounter", "ServiceRequest"):
            whose.details.append(resource)
        elif one.kind == "DocumentReference":
            whose.documents.append(one)
        elif one.kind == "Task":
            if not _taken_back(resource):
                whose.tasks.setdefault(resource["focus"]["reference"], []).append(one)
        elif code_kind(resource) != "paper":
            whose.loose[resource["fullUrl"]] = one
        elif code(resource["code"], "paper") == "age":
            whose.details.append(resource)
        else:
            whose.heads[own(resource)] = one

    def patients(self) -> Iterator[_Whose]:
        """Each patient with what the bundle holds of it, in the order of the bundle."""
        return iter(self._whose.values())
