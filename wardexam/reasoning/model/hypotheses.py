"""Every hypothesis as rows of numbers: made once from the tables, or taken from a copy kept on disk.

A row is one form of a lesion at one stage and severity, or at several severities that show alike (four in ten do:
where one side alone is hurt, it makes no difference which would be the worse). For every sign and side it holds one code,
which stands for the losses that row causes there (`codes`). Nothing here touches a file: `packed` gives the
bytes to keep and `unpacked` reads them back.
"""

import hashlib
import json
import zlib
from dataclasses import dataclass, fields, replace
from functools import cache, cached_property
from importlib.resources import files
from itertools import pairwise
from sys import intern
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.anatomy.lesion_tables import check_lesions
from wardexam.anatomy.structures import check_signs
from wardexam.exam.findings import sides_of
from wardexam.reasoning.model import losses
from wardexam.reasoning.model.codes import CODES, GAIT_CODES, encode, level_code
from wardexam.reasoning.model.damage import Body, Structures
from wardexam.reasoning.model.forms import PAIRS, SIDE_NAMES, STAGES, Form
from wardexam.reasoning.model.lesions import plan

Key = tuple[str, str]  # (sign id, side)
Codes = NDArray[np.uint8]
# The sides a lesion may have; where two are as likely, the first is named.
SIDES: tuple[Literal["right", "left", "both", "none"], ...] = ("both", "none", "right", "left")
_NAME, _SUM, _SIZE = (
    16,
    4,
    8,
)  # bytes of the fingerprint, and of the checksum and size before the rows
_HEAD = _SUM + _SIZE
_SLICES = ("draws", "rows")  # of a form
_CHUNK = 60  # forms worked out at a time, so that the peak of memory stays low


@dataclass(frozen=True)
class Hypotheses:
    """The rows.

    Attributes:
        forms: The forms, each with the slice of its rows.
        rows: Number of rows.
        codes: Code by sign and row, shape (signs and sides, rows).
        at: The line of `codes` that belongs to a sign and side; after the signs, each limb with its
            worst loss of sensation (as lower) and of power (as upper).
        row_of: The row that holds each draw of the forms, shape (draws,).
    """

    forms: tuple[Form, ...]
    rows: int
    codes: Codes
    at: dict[Key, int]
    row_of: NDArray[np.uint16]

    @cached_property
    def form_of(self) -> NDArray[np.int16]:
        """The number of each row's form."""
        return _numbers([form.rows for form in self.forms])

    @cached_property
    def draws(self) -> NDArray[np.uint8]:
        """How many draws each row holds, shape (rows,); 72 at most."""
        return np.bincount(self.row_of).astype(np.uint8)

    @cached_property
    def log_draws(self) -> NDArray[np.float64]:
        """Log of how many draws each row holds, shape (rows,)."""
        return np.log(self.draws, dtype=float)

    @property
    def form_of_draw(self) -> NDArray[np.int16]:
        """The number of each draw's form, shape (draws,)."""
        return _numbers([form.draws for form in self.forms])

    @cached_property
    def groups(self) -> list[str]:
        """What is ranked as one place, by id."""
        return sorted({f.group for f in self.forms})

    @cached_property
    def group_of_form(self) -> NDArray[np.int16]:
        """The number of each form's group."""
        index = {g: n for n, g in enumerate(self.groups)}
        return np.array([index[f.group] for f in self.forms], np.int16)

    @cached_property
    def forms_of(self) -> list[NDArray[np.intp]]:
        """The numbers of each group's forms."""
        return [np.flatnonzero(self.group_of_form == n) for n in range(len(self.groups))]

    @cached_property
    def names_of(self) -> list[NDArray[np.intp]]:
        """The number of each name among the forms of each group, shape (forms of the group,)."""
        made = []
        for members in self.forms_of:
            known: dict[str, int] = {}
            made.append(
                np.array([known.setdefault(self.forms[m].name, len(known)) for m in members])
            )
        return made

    @cached_property
    def named_apart(self) -> list[bool]:
        """Whether the forms of each group have more than one name."""
        return [bool(names.any()) for names in self.names_of]

    @cached_property
    def side_of_form(self) -> NDArray[np.int8]:
        """The number of each form's side in `SIDES`."""
        return np.array([SIDES.index(f.side) for f in self.forms], np.int8)

    @cached_property
    def sides_of(self) -> list[NDArray[np.int8]]:
        """The numbers of the sides of each group's forms."""
        return [self.side_of_form[members] for members in self.forms_of]

    @cached_property
    def level_of_form(self) -> NDArray[np.int8]:
        """The number of each form's segment, -1 where it has none."""
        return np.array([-1 if f.level is None else f.level for f in self.forms], np.int8)

    @cached_property
    def start_of_form(self) -> NDArray[np.intp]:
        """The first row of each form."""
        return np.array([f.rows.start for f in self.forms])

    @cached_property
    def rows_of_form(self) -> NDArray[np.intp]:
        """How many rows each form has."""
        return np.array([f.rows.stop - f.rows.start for f in self.forms])

    @cached_property
    def sites(self) -> list[str]:
        """The sites that the forms are of, by id."""
        return sorted({f.site for f in self.forms})

    @cached_property
    def site_of_form(self) -> NDArray[np.int16]:
        """The number of each form's site."""
        index = {s: n for n, s in enumerate(self.sites)}
        return np.array([index[f.site] for f in self.forms], np.int16)

    @cached_property
    def place_of_form(self) -> NDArray[np.intp]:
        """The number of each form's place: a group at a level and side."""
        places: dict[tuple[str, int | None, str], int] = {}
        keys = [(f.group, f.level, f.side) for f in self.forms]
        return np.array([places.setdefault(key, len(places)) for key in keys])

    @cached_property
    def group_of(self) -> NDArray[np.int16]:
        """The number of each row's group."""
        return self.group_of_form[self.form_of]

    def code(self, sign: str, side: str, rows: NDArray[np.intp] | None = None) -> Codes:
        """The codes of one sign on one side, of every row or of each of those given."""
        made: Codes = self.codes[self.at[sign, side]]
        return made if rows is None else made.take(rows, mode="clip")

    def taken(self, lines: NDArray[np.intp], rows: NDArray[np.intp]) -> Codes:
        """Some lines of `codes` at some rows, shape (lines, rows); many times as fast as by an index of each."""
        return self.codes.ravel().take(lines[:, None] * self.rows + rows, mode="clip")

    def both(self, key: Key, other: Key, rows: NDArray[np.intp] | None = None) -> NDArray[np.int32]:
        """The codes of two signs as one number, of every row or of each of those given."""
        return self.code(*key, rows).astype(np.int32) * CODES + self.code(*other, rows)


def _numbers(parts: list[slice]) -> NDArray[np.int16]:
    """The number of the part that each place lies in, where one part follows the other."""
    return np.repeat(np.arange(len(parts), dtype=np.int16), [p.stop - p.start for p in parts])


def keys() -> list[tuple[Sign, str, int]]:
    """Every sign and side, in the order of the catalogue: the lines of `Hypotheses.codes`."""
    return [(s, side, n) for s in catalogue().values() for n, side in enumerate(sides_of(s))]


LIMBS = ("arm", "leg")


def _stages(form: Form) -> NDArray[np.uint8]:
    if form.upper:
        return np.repeat(np.arange(len(STAGES), dtype=np.uint8), 2 * PAIRS)
    return np.full(2 * PAIRS, STAGES.index("established"), np.uint8)


def _code(body: Body, sign: Sign, side: int, stage: NDArray[np.uint8]) -> Codes:
    if sign.level:
        return level_code(*losses.level_of(body, sign.modality, side))
    lower, upper = losses.paths(body, sign, side)
    if sign.answers == "gait":
        lower = GAIT_CODES[lower.astype(int)]
    return encode(lower, upper, stage)


def make() -> Hypotheses:
    """Work every row out from the tables (about a second).

    Raises:
        TableError: A structure is read by a sign and damaged by no lesion, or the other way round; or a sign or a
            lesion names what is unknown, or shares that do not add up to 1.
    """
    check_signs()
    check_lesions()
    lesions, at, structures = plan(), lines(), Structures()
    forms: list[Form] = []
    shown: list[Codes] = []
    row_of = np.empty(lesions.draws, np.uint16)
    cuts = [*range(0, len(lesions.forms), _CHUNK), len(lesions.forms)]
    for first, last in pairwise(cuts):
        body = lesions.body(first, last, structures)
        some = lesions.forms[first:last]
        stage = np.concatenate([_stages(f) for f in some])
        codes = np.empty((len(at) + 1, body.rows), np.uint8)
        codes[-1] = stage  # draws of two stages are never one row
        for line, (sign, _, side) in enumerate(keys()):
            body.now = sign.id
            codes[line] = _code(body, sign, side, stage)
        for limb in LIMBS:
            for side, name in enumerate(SIDE_NAMES):
                worst = losses.limb_loss(body, limb, side)
                codes[at[limb, name]] = encode(*worst, stage)
        before = some[0].draws.start
        for form in some:
            of_form = codes[:, form.draws.start - before : form.draws.stop - before]
            unlike, number = _unlike(of_form)
            start = forms[-1].rows.stop if forms else 0
            row_of[form.draws] = start + number
            forms.append(replace(form, rows=slice(start, start + len(unlike))))
            shown.append(of_form[:-1, unlike])
    structures.check()
    codes = np.ascontiguousarray(np.concatenate(shown, axis=1))
    return Hypotheses(tuple(forms), codes.shape[1], codes, at, row_of)


def _unlike(codes: Codes) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The first of the draws that show alike, and the number among those of what each draw shows."""
    known: dict[bytes, int] = {}
    number = [known.setdefault(draw.tobytes(), len(known)) for draw in codes.T]
    return np.unique(number, return_index=True)[1], np.array(number)


@cache
def lines() -> dict[Key, int]:
    """The line of `Hypotheses.codes` of every sign and side, then of every limb."""
    at = {(sign.id, side): line for line, (sign, side, _) in enumerate(keys())}
    for limb in LIMBS:
        for side in SIDE_NAMES:
            at[limb, side] = len(at)
    return at


@cache
def fingerprint() -> str:
    """A name for what the rows depend on: every table and module of anatomy and reasoning."""
    made = hashlib.blake2b(np.__version__.encode(), digest_size=_NAME)
    packages = ("anatomy", "anatomy.signs", "reasoning", "reasoning.model", "reasoning.inference", "reasoning.rules")  # fmt: skip
    for package in (f"wardexam.{name}" for name in packages):
        for entry in sorted(files(package).iterdir(), key=lambda e: e.name):
            if entry.name.endswith((".toml", ".csv", ".py")):
                made.update(f"{package}/{entry.name}".encode() + entry.read_bytes())
    return made.hexdigest()


def packed(made: Hypotheses) -> bytes:
    """The rows as bytes, with a checksum."""
    stories: list[Story] = []
    for form in made.forms:
        if form.story not in stories:
            stories.append(form.story)
    head = json.dumps(
        {"stories": stories, "forms": [_row(f, stories) for f in made.forms]}
    ).encode()
    body = len(head).to_bytes(_SIZE, "big") + head + made.row_of.tobytes() + made.codes.tobytes()
    return zlib.crc32(body).to_bytes(_SUM, "big") + body


def unpacked(data: bytes | memoryview) -> Hypotheses | None:
    """The rows from bytes that `packed` gave; None where they are damaged or cut short."""
    data = memoryview(data)
    if len(data) < _HEAD or zlib.crc32(data[_SUM:]) != int.from_bytes(data[:_SUM], "big"):
        return None
    size = int.from_bytes(data[_SUM:_HEAD], "big")
    head = json.loads(bytes(data[_HEAD : _HEAD + size]))
    forms = tuple(_form(row, head["stories"]) for row in head["forms"])
    rows, draws = forms[-1].rows.stop, forms[-1].draws.stop
    row_of = np.frombuffer(data, np.uint16, draws, _HEAD + size)
    codes = np.frombuffer(data[_HEAD + size + row_of.nbytes :], np.uint8)
    return Hypotheses(forms, rows, codes.reshape(len(lines()), rows), lines(), row_of)


Story = dict[str, dict[str, float]]


def _row(form: Form, stories: list[Story]) -> dict[str, Any]:
    """A form as JSON takes it, its story by number: few differ."""
    row = {f.name: getattr(form, f.name) for f in fields(Form)}
    row |= {name: (row[name].start, row[name].stop) for name in _SLICES}
    return row | {"story": stories.index(form.story)}


def _form(row: dict[str, Any], stories: list[Story]) -> Form:
    """The form that `_row` gave; forms share their stories and texts."""
    row = {name: intern(v) if isinstance(v, str) else v for name, v in row.items()}
    row |= {name: slice(*row[name]) for name in _SLICES}
    return Form(**(row | {"story": stories[row["story"]]}))
