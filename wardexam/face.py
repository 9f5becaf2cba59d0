"""What the package gives to a script beside its models: findings in, readings and papers out."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_type_hints

from wardexam.errors import WardexamError
from wardexam.exam.answers import ScaleName
from wardexam.exam.examination import Examination, Findings, Patient
from wardexam.exam.reading import read
from wardexam.reasoning.reading import FORM, Reading
from wardexam.reasoning.rules.reason import Urgency

if TYPE_CHECKING:
    from wardexam.records.repository import Repository

Said = Findings | str | Mapping[str, Any]


def localise(findings: Said) -> Reading:
    """Rank the sites that fit some findings.

    Args:
        findings: What `wardexam.read` gave, or what it takes.

    Returns:
        The reading: sites by probability (0 to 1, adding up to 1), weights of evidence in bans (log10
        likelihood ratios, first site against second), what each next sign would tell in bits.

    Raises:
        InputError: The findings cannot be accepted.
    """
    from wardexam.ready import engine

    return engine().read(findings if isinstance(findings, Findings) else read(findings))


def localise_many(
    sheets: Iterable[Said], processes: int | None = None
) -> Iterator[Reading | WardexamError]:
    """Rank the sites for many findings: an answer for each, in order, in a memory that does not grow.

    Once there are many, as many processes as there are cores work on them, and `sheets` is drawn from
    some 32 ahead of the answers.

    Args:
        sheets: Each what `localise` takes; may be endless.
        processes: How many processes at most; 1 for none beside this one, and none drawn ahead.

    Yields:
        The reading of each sheet, the same as `localise` gives; a bad sheet's error in its place.
    """
    from wardexam.many import of, readings

    return readings(of(sheets), processes)


def assess(
    findings: Said,
    standing: Findings | None = None,
    reading: Reading | None = None,
    wording: Mapping[str, Mapping[str, str]] | None = None,
) -> Urgency:
    """How urgent it is, by rules from published guidance; blank never means normal.

    Args:
        findings: What was found.
        standing: What stands from earlier in the stay, if anything: what is worse raises urgency.
        reading: What `localise` gave, if anything: an inferred site may raise urgency, never lower it.
        wording: The hospital's own words for a rule, by the rule's id.

    Returns:
        Level 0 (not assessed, or no rule fires) to 3 (now), its word, and the reasons, gravest first.
    """
    from wardexam.reasoning.rules.urgency import assess

    found = findings if isinstance(findings, Findings) else read(findings)
    return assess(found, standing, reading, wording)


def note(
    patient: Patient,
    examination: Examination,
    *,
    previous: Examination | None = None,
    urgency: Urgency | None = None,
    form: Literal["sentences", "table", "line", "figure"] = "sentences",
    scale: ScaleName | None = None,
) -> str:
    """The examination as a plain-text note: ASCII, lines of at most 72 columns.

    Args:
        patient: Whose it is.
        examination: What was found.
        previous: An earlier examination that it is compared with.
        urgency: What `assess` gave; printed when given.
        form: Sentences alone, or with the reflexes as a table, one line, or a figure of the body.
        scale: Show tendon reflexes on this scale; as graded when None.
    """
    from wardexam.note.charted import Charted
    from wardexam.note.note import render

    return render(Charted(patient, examination, previous, urgency), form, scale)


def referral(
    patient: Patient,
    examination: Examination,
    *,
    previous: Examination | None = None,
    urgency: Urgency | None = None,
) -> str:
    """The examination as a referral: situation, background, assessment, recommendation; as `note`, ASCII.

    Args:
        patient: Whose it is.
        examination: What was found.
        previous: An earlier examination that it is compared with.
        urgency: What `assess` gave; assessed from the findings where left out.
    """
    from wardexam.note.charted import Charted
    from wardexam.note.referral import render

    return render(Charted(patient, examination, previous, urgency))


def open_ward(folder: str | Path, *, shared: bool = False) -> "Repository":
    """The ward kept in a folder, made if it is not there.

    Args:
        folder: Where; on a local disk.
        shared: Whether its files are readable by the folder's group.

    Raises:
        RecordsError: The folder cannot be used, or others can write to it.
    """
    from wardexam.records.ward import open_ward

    return open_ward(Path(folder), shared=shared)


def answer_schema() -> dict[str, Any]:
    """The JSON Schema of what `Reading.to_dict` gives and `wardexam localise --json` prints."""
    from pydantic import ConfigDict, Field, create_model

    kinds = get_type_hints(Reading)
    known: dict[str, Any] = {f.name: (kinds[f.name], ...) for f in fields(Reading)}
    model = create_model(
        "Answer",
        __config__=ConfigDict(extra="forbid"),
        version=(int, Field(ge=FORM, le=FORM)),
        id=(str, ...),
        **known,
        urgency=(Urgency | None, ...),
        caution=(str, ...),
    )
    schema = model.model_json_schema(mode="serialization")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
