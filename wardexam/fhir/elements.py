"""The small parts of resources: codes, times, texts, numbers, who; how they are written and read again."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid5

from wardexam.errors import InputError
from wardexam.fhir.naming import CODES, PRACTITIONER, SPACE, Resource, entry, reference
from wardexam.fhir.own_codes import SEPARATOR, words
from wardexam.fhir.standard_codes import UCUM, Hospital, standard_codes, units

NOT_NAMED = "not named"  # who, where a name is needed and none is kept
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
FAR = 1_000_000  # beyond any number that an examination holds
FARTHEST = timedelta(hours=14)  # from UTC, that a time of FHIR may be

Element = dict[str, Any]


@dataclass
class Outgoing:
    """What the resources of a bundle are written with.

    Attributes:
        hospital: What the hospital says of its bundles.
        people: Everybody named so far, each once, in order.
    """

    hospital: Hospital = field(default_factory=Hospital)
    people: dict[str, None] = field(default_factory=dict)

    def concept(self, kind: str, name: str, text: str = "") -> Element:
        """A code of ours, with that of a standard where one is certain, and in words.

        A name that no table has any more, as of a reason of an earlier version, is given without its words.
        """
        code = f"{kind}{SEPARATOR}{name}"
        said = words().get(code, "")
        coding = {"system": CODES, "code": code} | ({"display": said} if said else {})
        beside = self.hospital.codes.get(code) or standard_codes().get(code)
        return {
            "coding": [coding, *([dict(beside)] if beside else [])],
            "text": text or said or name,
        }

    def who(self, name: str) -> Element:
        """A reference to somebody by name."""
        if not name:
            return {"display": NOT_NAMED}
        self.people[name] = None
        return reference("Practitioner", practitioner_id(name)) | (
            {"display": name} if name.strip() else {}
        )


def practitioner_id(name: str) -> str:
    """The identifier of somebody of whom no more than a name is kept."""
    return uuid5(SPACE, f"practitioner|{name}").hex


def practitioner(name: str) -> Resource:
    """The entry of somebody of whom no more than a name is kept."""
    value = practitioner_id(name)
    return entry(
        {
            "resourceType": "Practitioner",
            "identifier": [{"system": PRACTITIONER, "value": value}],
            "name": [{"text": name}],
        },
        value,
    )


def named(who: Element, people: dict[str, str]) -> str:
    """The name that a reference to somebody leads to; `people` are the names by the resource."""
    if "reference" not in who:
        return ""
    return people[who["reference"]]


def code(concept: Element, kind: str) -> str:
    """The name of our code in a concept.

    Raises:
        ValueError: It has no code of ours, or one of another kind.
    """
    for coding in concept["coding"]:
        if coding.get("system") == CODES:
            found, _, name = str(coding["code"]).partition(SEPARATOR)
            if found != kind:
                raise ValueError(f"'{coding['code']}' stands where a code of '{kind}' does")
            return name
    raise ValueError("has no code of wardexam")


def when(at: datetime) -> str:
    """A time as FHIR writes it: with its zone, in UTC where FHIR does not know one so far from it.

    Raises:
        InputError: It is a time at the end of the calendar in a zone that cannot be written.
    """
    away = at.utcoffset() or timedelta()
    if abs(away) > FARTHEST or away % timedelta(minutes=1):
        try:
            at = at.astimezone(UTC)
        except OverflowError:
            raise InputError("a time at the end of the calendar cannot be written", at.isoformat()) from None  # fmt: skip
    return at.isoformat()


def quantity(value: int, unit: str) -> Element:
    """A number with its unit."""
    return {"value": value, "unit": unit, "system": UCUM, "code": units()[unit]}


def whole(found: Element) -> int:
    """The number of a quantity.

    Raises:
        ValueError: It is no whole number.
    """
    number = found["value"]
    if isinstance(number, float) and number.is_integer():  # as a server may write it
        number = int(number)
    if type(number) is not int or abs(number) >= FAR:
        raise ValueError(f"a whole number below {FAR} is needed")
    return number


def absent(out: Outgoing, kind: str, reason: str) -> Element:
    """Why there is no value: our reason, and in HL7's words that it was not done."""
    concept = out.concept(kind, reason)
    concept["coding"].append(
        {"system": ABSENT, "code": "not-performed", "display": "Not Performed"}
    )
    return concept


def examined() -> list[Element]:
    """The category of what was found by examining."""
    return [{"coding": [{"system": CATEGORY, "code": "exam", "display": "Exam"}]}]


def component(out: Outgoing, kind: str, name: str, **value: Any) -> Element:
    """A part of an observation: a code of ours and its value."""
    return {"code": out.concept(kind, name), **value}


def components(resource: Resource, kind: str) -> Iterator[tuple[str, Element]]:
    """The parts of an observation whose code is of one kind, by name."""
    for part in resource.get("component", ()):
        for coding in part["code"]["coding"]:
            if coding.get("system") == CODES and coding["code"].startswith(f"{kind}{SEPARATOR}"):
                yield coding["code"].partition(SEPARATOR)[2], part


def notes(text: str) -> Element:
    """A free text as the note of a resource; nothing where it says nothing."""
    return {"note": [{"text": text}]} if text.strip() else {}


def noted(resource: Resource) -> str:
    """The free text of a resource."""
    return "\n\n".join(str(n["text"]) for n in resource.get("note", ()))


def text(name: str, said: str) -> Element:
    """A text as an element; nothing where it says nothing."""
    return {name: said} if said.strip() else {}


class Numbered:
    """Gives identifiers, each once: one that was given already goes on with a number."""

    def __init__(self) -> None:
        self._given: dict[str, int] = {}

    def __call__(self, value: str) -> str:
        """The identifier, or the next one of it."""
        self._given[value] = number = self._given.get(value, 0) + 1
        return value if number == 1 else f"{value}.{number}"


def writable(character: str) -> bool:
    """Whether FHIR can hold a character: no control but tab and ends of lines, no half of a pair."""
    number = ord(character)
    return (number >= 32 or character in "\t\n\r") and not 0xD800 <= number <= 0xDFFF


def cleaned(value: Any, lost: Callable[[], object]) -> Any:
    """A resource with ``?`` for every character that FHIR cannot hold; `lost` is told of each text."""
    if isinstance(value, str):
        if value.isprintable() or all(map(writable, value)):
            return value
        lost()
        return "".join(c if writable(c) else "?" for c in value)
    if isinstance(value, dict):
        return {key: cleaned(v, lost) for key, v in value.items()}
    return [cleaned(v, lost) for v in value] if isinstance(value, list) else value
