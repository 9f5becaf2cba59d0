"""An outcome from what was typed or read from a file: one field at a time, refused in words."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any

from wardexam.errors import InputError
from wardexam.exam.entry import valid
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.final_sites import FINAL_SIDES, FINAL_SITES
from wardexam.exam.outcome import Outcome
from wardexam.exam.text import counted
from wardexam.reasoning.tables import read
from wardexam.review.standards import standards

FIELDS = ("imaged", "image", "positive", "site", "side", "diagnosis", "by", "why")
CLEAR = "-"  # what takes a field away
WAYS = ("%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M", "%d.%m.%Y %H:%M", "%d/%m/%Y %H:%M", "%H:%M")


@cache
def site_words() -> dict[str, str]:
    """The sites in a doctor's words, by their names."""
    table = read("inference/sites.toml")
    return {name: str(table[name]["name"]).split(":")[0] for name in FINAL_SITES}


def read_time(text: str, now: datetime) -> datetime:
    """When something was done: ``14:30`` (today), ``2026-03-02 14:30``, ``2.3.2026 14:30``, or with its zone.

    Args:
        text: As it was typed.
        now: Gives the day and the zone where they are not said.

    Raises:
        InputError: It is no time, or a day alone.
    """
    text = " ".join(text.split())
    if text.casefold() == "now":
        return now
    for way in WAYS:
        try:
            found = datetime.strptime(text, way)
        except ValueError:
            continue
        if way == "%H:%M":
            return now.replace(hour=found.hour, minute=found.minute, second=0, microsecond=0)
        return found.replace(tzinfo=now.tzinfo)
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            "is no time; such as 2026-03-02 14:30, or 14:30 for today", text[:40]
        ) from None
    if _is_day(text):
        raise InputError("needs the time of day, such as 2026-03-02 14:30", text[:40])
    return found if found.tzinfo else found.replace(tzinfo=now.tzinfo)


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _one_of(text: str, names: Mapping[str, str], what: str) -> str:
    """The name that is meant: itself, its number, its words, or the beginning of one alone."""
    wanted = " ".join(text.replace("_", " ").split()).casefold()
    if wanted.isdecimal() and 1 <= int(wanted) <= len(names):
        return [*names][int(wanted) - 1]
    spelled = {name: (name.replace("_", " "), words.casefold()) for name, words in names.items()}
    for fits in (str.__eq__, str.startswith):
        found = [n for n, each in spelled.items() if any(fits(words, wanted) for words in each)]
        if len(found) == 1:
            return found[0]
    raise InputError(f"is no {what}", text[:40], f"one of {', '.join(names)}")


def read_site(text: str) -> str:
    """A final site, by name, number of the list, words, or the beginning of one alone.

    Raises:
        InputError: None, or more than one, is meant.
    """
    return _one_of(text, site_words(), "site")


def read_side(text: str) -> str:
    """A final side, likewise.

    Raises:
        InputError: None is meant.
    """
    return _one_of(text, {side: side for side in FINAL_SIDES}, "side")


def read_yes(text: str) -> str:
    """``yes`` or ``no``, also ``y``, ``n``, ``1``, ``0``.

    Raises:
        InputError: It is neither.
    """
    found = {"y": "yes", "yes": "yes", "1": "yes", "n": "no", "no": "no", "0": "no"}
    try:
        return found[text.strip().casefold()]
    except KeyError:
        raise InputError("is neither yes nor no", text[:40]) from None


def read_field(name: str, text: str, now: datetime) -> Any:
    """One field as it is kept.

    Raises:
        InputError: It cannot be; says what was given and what is wanted.
    """
    if name == "imaged":
        return read_time(text, now)
    reader = {"positive": read_yes, "site": read_site, "side": read_side}.get(name)
    return reader(text) if reader else text


def concluded(
    given: Mapping[str, str], patient: str, last: Outcome | None, by: str, now: datetime
) -> Outcome:
    """The outcome that is to be recorded next: what is given, and for the rest what the last revision says.

    Args:
        given: By the names of `FIELDS`, as text; ``-`` takes a field away, empty leaves it.
        patient: The patient's identifier.
        last: The last revision; None for a first one.
        by: Who records it, and says so where ``by`` is not given.
        now: When.

    Raises:
        InputError: A field is refused; says which.
    """
    found: dict[str, Any] = {}
    if last:
        found = {name: getattr(last, name) for name in FIELDS if name not in ("by", "why")}
    for name in FIELDS:
        text = given.get(name, "").strip()
        if text == CLEAR:
            found.pop(name, None)
        elif text:
            try:
                found[name] = read_field(name, text, now)
            except InputError as error:
                raise InputError(
                    f"{name}: {error.where} {error.what}", remedy=error.remedy
                ) from None
    if found.get("site") is None and not given.get("side", "").strip():
        found.pop("side", None)
    if last and not given.get("by", "").strip() and _same(last, found):
        found["by"] = last.by
    revision = last.revision + 1 if last else 1
    known = {"patient": patient, "revision": revision, "at": now}
    return valid(Outcome, {"by": by[:120]} | found | known)


def check_image(
    made: Outcome, last: Outcome | None, patient: Patient, examinations: Iterable[Examination]
) -> str:
    """What is to be said of the time of the image; empty where there is nothing, or it is not said anew.

    An image has its result after it: one later than the last result that was written is a slip in the time, or
    another patient's. Of a further image whose result nobody wrote the reason says so.

    Args:
        made: What is to be recorded.
        last: The last revision; None for a first one.
        patient: Whose it is.
        examinations: The stay's, each as it stands; read only where the time is said anew.

    Raises:
        InputError: The image is later than the last result, or too long before the admission.
    """
    imaged = made.imaged
    if imaged is None or (last and last.imaged == imaged):
        return ""
    results = [a.at for e in examinations for a in e.acts if a.kind == "done"]
    if results and max(results) < imaged and not made.why:
        written = max(results).astimezone(imaged.tzinfo)
        raise InputError(
            f"the image is after the last result, written {written:%Y-%m-%d %H:%M}",
            remedy="mend the time; of a further image write the result first, or give --why",
        )
    days = standards().before_admission
    if imaged < patient.admitted - timedelta(days=days):
        raise InputError(
            f"the image is more than {days} days before the admission",
            remedy=f"imaged {imaged:%Y-%m-%d}, admitted {patient.admitted:%Y-%m-%d}",
        )
    before = (patient.admitted.astimezone(imaged.tzinfo).date() - imaged.date()).days
    if imaged >= patient.admitted:
        return ""
    span = counted(before, "day") if before else "less than a day"
    return f"The image is {span} before the admission: is the date right?"


def _same(last: Outcome, found: Mapping[str, Any]) -> bool:
    """Whether nothing of what it was is said anew: the name of then then stays."""
    says = {name: value for name, value in last.said.items() if name != "by"}
    return all((found.get(name) or None) == (value or None) for name, value in says.items())


def still_said(given: Mapping[str, str], last: Outcome | None, kept: Outcome) -> list[str]:
    """Which fields a further revision says only because the one before did, by the names of `FIELDS`."""
    if last is None or kept == last:
        return []
    return [
        name
        for name in FIELDS
        if name not in ("by", "why") and not given.get(name, "").strip() and getattr(kept, name)
    ]


def outcome_lines(outcome: Outcome) -> list[str]:
    """An outcome in words, a line for each thing it says; what is not said is not written."""
    lines = []
    if outcome.imaged or outcome.image or outcome.positive:
        when = f" {outcome.imaged:%Y-%m-%d %H:%M}" if outcome.imaged else ""
        shown = {"yes": "positive", "no": "not positive", None: "not said whether positive"}
        words = f": {outcome.image}" if outcome.image else ""
        lines.append(f"Image{when}, {shown[outcome.positive]}{words}")
    if outcome.site:
        side = f", {outcome.side}" if outcome.side else ""
        lines.append(f"Site: {site_words()[outcome.site]}{side}")
    if outcome.diagnosis:
        lines.append(f"Diagnosis: {outcome.diagnosis}")
    why = f"; why: {outcome.why}" if outcome.why else ""
    lines.append(f"By {outcome.by}, recorded {outcome.at:%Y-%m-%d %H:%M}{why}")
    return lines
