"""A sheet of findings as scripts and tests give it: the input of `wardexam localise`.

More convenient than a stored examination and no less strict: a side may be ``both``, a sign may
be a named group, the scale is said once. Everything is spelled out into findings before use.
"""

import json
from functools import cache, lru_cache
from itertools import product
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, ValidationError

from wardexam.anatomy.catalogue import LEVEL, PARTS, SEGMENTS, TENDON, catalogue
from wardexam.errors import InputError, TableError
from wardexam.exam.acts import MOST, Act
from wardexam.exam.answering import answer_code, synonyms
from wardexam.exam.answers import SCALES, ScaleName, answers_for
from wardexam.exam.entry import first_fault, valid
from wardexam.exam.examination import Also, Context, Findings, YesNo
from wardexam.exam.findings import (
    Finding,
    Limb,
    Model,
    Quality,
    Reason,
    RestNormal,
    Side,
    Text,
    nearest,
)
from wardexam.exam.flags import flag_names
from wardexam.tables import MEND, all_known, no_twice, read_rows

LONGEST_SHEET = 1_000_000  # characters; a full examination takes about 40,000
NESTED = "not JSON that can be read: nested too deeply"
_KEPT = 4096  # findings spelled out, some 0.5 kB each
LONGEST_NUMBER = 20  # digits; no sign, age or amount takes more than a few

SheetSide = Literal["right", "left", "both", "midline"]
SheetLimb = Literal[
    "head",
    "trunk",
    "right arm",
    "left arm",
    "right leg",
    "left leg",
    "both arms",
    "both legs",
    "all",
]

_LIMBS: dict[str, tuple[Limb, ...]] = {
    "both arms": ("right arm", "left arm"),
    "both legs": ("right leg", "left leg"),
    "all": ("head", "trunk", "right arm", "left arm", "right leg", "left leg"),
}


@cache
def groups() -> dict[str, tuple[str, ...]]:
    """Named groups of signs, each with the ids it stands for.

    Raises:
        TableError: A row is malformed, or names none, what is no sign, one twice, or signs that are not answered alike.
    """
    made = read_rows("groups.toml", "wardexam.exam", tuple[str, ...])
    for name, signs in made.items():
        where = f"groups.toml, row {name}"
        all_known(signs, catalogue(), where)
        no_twice(signs, where)
        if len({catalogue()[s].answers for s in signs}) != 1:
            raise TableError("the signs are not answered alike", where=where, remedy=MEND)
    return made


@cache
def sign_names() -> dict[str, str]:
    """Every way of writing a sign or group, lower case with underscores, to its id.

    Raises:
        TableError: Another name stands for no sign and no group.
    """
    names = {s.name.lower().replace(" ", "_").replace(",", ""): s.id for s in catalogue().values()}
    own = names | {i.lower(): i for i in catalogue()} | {g: g for g in groups()}
    others = synonyms()["signs"]
    for name, meant in others.items():
        all_known((meant,), (*catalogue(), *groups()), f"synonyms.toml, signs, row {name}")
    return others | own


def sign_named(name: str) -> str:
    """The id of a sign or group by any of its names; the name itself where it has no other."""
    if name in catalogue() or name in groups():
        return name
    written = name.lower().replace(",", "").replace(" ", "_")
    names = sign_names()
    return names.get(written, names.get(written.replace("-", "_"), name))


def _code(sign: str, answer: str | None, scale: ScaleName) -> str | None:
    """The code of an answer by any word that a typed line takes for it; the word itself otherwise.

    A bare ``-``, which means "not examined" on a typed line, is no answer.
    """
    row = catalogue().get(sign)
    if row is None or answer in (None, "-"):
        return answer
    return answer_code(row, answer, scale) or answer


class SheetFinding(Model):
    """A finding, or the same finding in a group of signs or on both sides.

    Attributes:
        sign: A sign id, another name that doctors use for it, or the name of a group.
        side: ``both`` stands for right and left; a sign of the midline needs none.
        answer: A code of the sign's answer set, or None when not testable.
        scale: For tendon reflexes; the sheet's scale where left out.
        qualities: How a tendon reflex came.
        amount: Beats, degrees or mL.
        not_testable: Why it could not be tested.
        known: When and where it was documented before, unchanged since.
        comment: Free text.
    """

    sign: str
    side: SheetSide = "midline"
    answer: str | None = None
    scale: ScaleName | None = None
    qualities: tuple[Quality, ...] = Field(default=(), strict=False)
    amount: int | None = None
    not_testable: Reason | None = None
    known: Annotated[str, StringConstraints(max_length=120)] = ""
    comment: Text = ""

    def spelled_out(self, scale: ScaleName) -> tuple[Finding, ...]:
        """The findings it stands for."""
        return _spelled_out(self, scale)


@lru_cache(maxsize=_KEPT)
def _spelled_out(said: SheetFinding, scale: ScaleName) -> tuple[Finding, ...]:
    """The findings that one of a sheet stands for; kept, since many sheets say the same."""
    sides: tuple[Side, ...] = ("right", "left") if said.side == "both" else (said.side,)
    found = []
    name = sign_named(said.sign)
    for sign in groups().get(name, (name,)):
        row = catalogue().get(sign)
        graded = row is not None and row.tendon and said.not_testable is None
        middle = row is not None and row.sides == "midline" and said.side == "both"
        for side in ("midline",) if middle else sides:
            document = said.model_dump(mode="json") | {"sign": sign, "side": side}
            document["answer"] = _code(sign, said.answer, said.scale or scale)
            if document["answer"] in SEGMENTS and said.amount is not None:
                raise InputError(f"'{said.answer}' takes no number", where=sign)
            document["scale"] = (said.scale or scale) if graded else said.scale
            found.append(Finding.model_validate(document))
    return tuple(found)


class SheetRestNormal(Model):
    """A statement that the rest of a part was examined and normal, in one limb or in several.

    The part ``all`` stands for every part that such a statement may speak of: never the sphincters.
    """

    part: str
    limb: SheetLimb

    def spelled_out(self) -> list[RestNormal]:
        """One statement for each limb that has something to examine in this part."""
        limbs = _LIMBS.get(self.limb, (self.limb,))
        parts = [p for p in PARTS if p != "sphincters"] if self.part == "all" else [self.part]
        found, fault = [], None
        for part, limb in product(parts, limbs):
            try:
                found.append(RestNormal.model_validate({"part": part, "limb": limb}))
            except ValidationError as error:
                fault = error
        if not found and fault:
            raise fault
        return found


class Sheet(Model):
    """One patient's findings at one time.

    Attributes:
        id: Returned with the answer; any short text.
        scale: The tendon scale where a finding names none.
        context: Age, sex, onset and complaint.
        findings: What was found; a sign that was not examined is left out.
        rest_normal: Explicit statements.
        flags: Red flags answered yes or no; one not asked is left out.
        acts: What was done about reasons of urgency, in its order.
    """

    id: Annotated[str, StringConstraints(max_length=120)] = ""
    scale: ScaleName = "conventional"
    context: Context = Context()
    findings: tuple[SheetFinding, ...] = Field(default=(), strict=False)
    rest_normal: tuple[SheetRestNormal, ...] = Field(default=(), strict=False)
    flags: dict[str, YesNo] = Field(default_factory=dict)
    acts: tuple[Act, ...] = Field(default=(), strict=False, max_length=MOST)

    def spelled_out(self) -> Findings:
        """The findings the sheet stands for, every group and ``both`` spelled out.

        A sign found on its own outweighs what was said of its group; of two answers the first is kept, and what
        was said otherwise stands in `also`.

        Raises:
            InputError: A finding is not acceptable; names it and what is allowed.
        """
        general: dict[tuple[str, Side], Finding] = {}
        single: dict[tuple[str, Side], Finding] = {}
        statements: list[dict[str, Any]] = []
        also: list[Also] = []
        of_group: dict[tuple[str, Side], str] = {}
        said: set[SheetFinding | SheetRestNormal] = set()
        for number, finding in enumerate(self.findings):
            if finding in said:
                continue
            said.add(finding)
            name = sign_named(finding.sign)
            found = general if name in groups() else single
            try:
                for item in finding.spelled_out(self.scale):
                    first = found.setdefault(item.key, item)
                    if name in groups():
                        of_group.setdefault(item.key, name)
                    if first == item:
                        continue
                    if None in (first.answer, item.answer) or first.answer == item.answer:
                        raise InputError(
                            f"{item.sign} {item.side} is given twice, and differently",
                            where=f"findings.{number}",
                        )
                    also.append(Also(finding=item, group=name if name in groups() else ""))
            except ValidationError as error:
                if name not in groups() and name not in catalogue():
                    hint = nearest(name.lower(), [*catalogue(), *groups(), *synonyms()["signs"]])
                    raise InputError(
                        f"unknown sign '{finding.sign}': {hint}", f"findings.{number}"
                    ) from None
                raise InputError(first_fault(error), where=f"findings.{number}") from None
        for number, statement in enumerate(self.rest_normal):
            if statement in said:  # again says nothing more, and each may stand for many
                continue
            said.add(statement)
            try:
                statements += [s.model_dump(mode="json") for s in statement.spelled_out()]
            except ValidationError as error:
                raise InputError(first_fault(error), where=f"rest_normal.{number}") from None
        also += [
            Also(finding=item, group=of_group[key])
            for key, item in general.items()
            if key in single
            and None not in (item.answer, single[key].answer)
            and item.answer != single[key].answer
        ]
        document = {
            "scale": self.scale,
            "context": self.context.model_dump(mode="json"),
            "findings": [f.model_dump(mode="json") for f in (general | single).values()],
            "rest_normal": statements,
            "flags": self.flags,
            "acts": [a.model_dump(mode="json") for a in self.acts],
            "also": tuple(also),
        }
        return valid(Findings, document)


def read_sheet(text: str) -> Sheet:
    """A sheet from one JSON document.

    Raises:
        InputError: The text is not JSON or not a sheet; one line naming field, value and what
            is allowed.
    """
    if len(text) > LONGEST_SHEET:
        raise InputError(f"longer than {LONGEST_SHEET} characters", where="sheet")
    try:
        json.loads(text, object_pairs_hook=no_duplicates, parse_int=_short)
        return Sheet.model_validate_json(text)
    except ValidationError as error:
        # Python 3.13 reads deeper than Pydantic does.
        fault = NESTED if "recursion limit" in (said := first_fault(error)) else said
        raise InputError(fault) from None
    except RecursionError:
        raise InputError(NESTED) from None
    except ValueError as error:
        raise InputError(f"not JSON: {error}") from None


def _short(digits: str) -> int:
    """A number that is not longer than any that has a meaning here."""
    if len(digits) > LONGEST_NUMBER:
        raise InputError(f"a number of {len(digits)} digits is too long")
    return int(digits)


def no_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A JSON object whose names differ; a name given twice would hide a finding."""
    made: dict[str, Any] = {}
    for name, value in pairs:
        if name in made:
            raise InputError(f"'{name}' is given twice in one object")
        made[name] = value
    return made


def sheet_schema() -> dict[str, Any]:
    """The JSON Schema of a sheet, with every sign, its sides and its answers spelled out."""
    schema = Sheet.model_json_schema()
    finding = schema["$defs"]["SheetFinding"]
    signs = catalogue()
    finding["properties"]["sign"]["enum"] = [*signs, *groups()]
    kinds: dict[tuple[str, str], list[str]] = {}
    for sign in signs.values():
        kinds.setdefault((sign.answers, sign.sides), []).append(sign.id)
    for name, members in groups().items():
        row = signs[members[0]]
        kinds[row.answers, row.sides].append(name)
    rules = []
    for (answers, sides), names in kinds.items():
        if answers == TENDON:
            codes = sorted({c for s in SCALES for c in answers_for(answers, s).codes})
        else:
            codes = [*answers_for(answers).codes, *(SEGMENTS if answers == LEVEL else ())]
        allowed = ["right", "left", "both"] if sides == "each" else ["midline"]
        rules.append(
            {
                "if": {"properties": {"sign": {"enum": names}}},
                "then": {
                    "properties": {"answer": {"enum": [*codes, None]}, "side": {"enum": allowed}}
                },
            }
        )
    finding["allOf"] = rules
    schema["properties"]["flags"]["propertyNames"] = {"enum": list(flag_names())}
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
