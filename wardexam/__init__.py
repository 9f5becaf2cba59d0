"""wardexam: the bedside neurological examination, for a doctor at the terminal and for a script.

A start::

    import wardexam

    findings = wardexam.read("knee 2/0 ankle 2/0 plantar down/up age=63 onset=days")
    reading = wardexam.localise(findings)
    for site in reading.sites[:3]:
        print(f"{site.probability:.0%} {site.name}")
    print(wardexam.assess(findings, reading=reading).word)

Many at once, on every core, in order; a bad sheet is an `InputError` in its place::

    for answer in wardexam.localise_many(sheets):
        rows = [] if isinstance(answer, wardexam.WardexamError) else answer.rows()

What it gives
    read            text or a dict -> Findings
    localise        findings -> Reading: ranked sites, reasons, the sign to test next
    localise_many   an iterable of findings -> an iterator of readings and errors
    assess          findings, what stands from before, a reading -> Urgency
    note, referral  patient and examination -> plain text for the chart
    open_ward       a folder -> Repository: patients and their examinations
    sheet_schema, answer_schema     what `read` takes and `Reading.to_dict` gives, as JSON Schema
    Context, Examination, Finding, Findings, Patient, Reading, RestNormal, Site, Urgency, Repository    models
    WardexamError, InputError, RecordsError, TableError     errors: one line each, what and where

Units: a probability is 0 to 1 among the sites considered; a weight of evidence is a log10 likelihood
ratio (bans); what a sign would tell is in bits; a fit is a z score; segments run C1 to S5.

It suggests; a doctor decides. It rules nothing out: what was not examined or not asked stays unknown.
Each name is loaded when it is first used; none of them loads a screen.
"""

from typing import TYPE_CHECKING

from wardexam.version import __version__ as __version__

if TYPE_CHECKING:
    from wardexam.errors import InputError, RecordsError, TableError, WardexamError
    from wardexam.exam.examination import Context, Examination, Findings, Patient
    from wardexam.exam.findings import Finding, RestNormal
    from wardexam.exam.reading import read
    from wardexam.exam.sheet import sheet_schema
    from wardexam.face import (
        answer_schema,
        assess,
        localise,
        localise_many,
        note,
        open_ward,
        referral,
    )
    from wardexam.reasoning.reading import Reading, Site
    from wardexam.reasoning.rules.reason import Urgency
    from wardexam.records.repository import Repository

# Where each public name stands.
_PLACES = {
    "read": "exam.reading",
    **dict.fromkeys(("localise", "localise_many", "assess", "note", "referral", "open_ward"), "face"),
    "sheet_schema": "exam.sheet",
    "answer_schema": "face",
    **dict.fromkeys(("Context", "Examination", "Findings", "Patient"), "exam.examination"),
    **dict.fromkeys(("Finding", "RestNormal"), "exam.findings"),
    **dict.fromkeys(("Reading", "Site"), "reasoning.reading"),
    "Urgency": "reasoning.rules.reason",
    "Repository": "records.repository",
    **dict.fromkeys(("WardexamError", "InputError", "RecordsError", "TableError"), "errors"),
}  # fmt: skip

__all__ = [  # noqa: RUF022  # in the order of use
    "read", "localise", "localise_many", "assess", "note", "referral", "open_ward",
    "sheet_schema", "answer_schema",
    "Context", "Examination", "Finding", "Findings", "Patient", "Reading", "Repository", "RestNormal", "Site", "Urgency",
    "WardexamError", "InputError", "RecordsError", "TableError",
]  # fmt: skip


def __getattr__(name: str) -> object:
    """A public name, loaded at its first use."""
    if name not in _PLACES:
        raise AttributeError(f"module 'wardexam' has no attribute '{name}'")
    from importlib import import_module

    found: object = getattr(import_module(f"wardexam.{_PLACES[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """The public names and what a module has anyway."""
    return sorted({*globals(), *__all__})
