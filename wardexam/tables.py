"""The tables of knowledge: a file read and its rows checked, so that a mistake of one is an error at load that names its place."""

import tomllib
from collections.abc import Collection, Hashable, Iterable
from functools import cache
from importlib.resources import files
from typing import Annotated, Any, TypeVar, cast

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from wardexam.errors import TableError

MEND = "mend the table"
CLOSED = ConfigDict(extra="forbid")  # `__pydantic_config__` of a dataclass that is a row
# What is wrong with a column, by pydantic's name for it, where its own words say it to a programmer.
_SAID = {"missing": "is missing", "extra_forbidden": "is no column", "unexpected_keyword_argument": "is no column"}  # fmt: skip


class Columns(BaseModel):
    """Part of a row: frozen, no unknown column."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class TableRow(Columns):
    """Base of the rows: its columns and a source."""

    source: Annotated[str, Field(min_length=3)]


T = TypeVar("T")


def parsed(text: str, name: str) -> dict[str, Any]:
    """The TOML of a table.

    Raises:
        TableError: It is none, or holds a row twice; names the file and the line.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TableError(str(error), where=name, remedy=MEND) from error


def read_table(name: str, package: str) -> dict[str, Any]:
    """The parsed TOML of one table of a folder, e.g. ``"signs/reflexes.toml"`` of ``"wardexam.anatomy"``.

    Raises:
        TableError: The file is missing or is not TOML; names the file and the line.
    """
    try:
        text = (files(package) / name).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise TableError(str(error), where=name, remedy=MEND) from error
    return parsed(text, name)


@cache
def _adapter(model: Any) -> TypeAdapter[Any]:
    return TypeAdapter(model)


def checked_row(model: type[T], row: object, where: str, **given: str) -> T:
    """One validated row; ``where`` names its file and itself, ``given`` what no column of it says.

    Raises:
        TableError: It is malformed; names the field as well.
    """
    if given and isinstance(row, dict):
        all_known(row.keys() & given, (), where)
        row = row | given
    try:
        made: T = _adapter(cast(Hashable, model)).validate_python(row)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        field = ".".join(str(p) for p in fault["loc"])
        place = f"{where}, field {field}" if field else where
        what = _SAID.get(fault["type"]) or f"{fault['msg']}, not {fault['input']!r}"
        raise TableError(what, where=place, remedy=MEND) from None
    return made


def checked_rows(model: type[T], rows: object, where: str) -> dict[str, T]:
    """The validated rows of a table or of a section by id; ``where`` names it.

    Raises:
        TableError: A row is malformed; names file, row and field.
    """
    if not isinstance(rows, dict) or not rows:
        raise TableError("no rows", where=where, remedy=MEND)
    return {key: checked_row(model, row, f"{where}, row {key}") for key, row in rows.items()}


def read_rows(name: str, package: str, model: type[T], section: str = "") -> dict[str, T]:
    """The validated rows of a table of a folder, or of one section of it, by id.

    Raises:
        TableError: A row is malformed; names file, row and field.
    """
    table = read_table(name, package)
    if not section:
        return checked_rows(model, table, name)
    return checked_rows(model, table.get(section), f"{name}, {section}")


def all_known(names: Iterable[str], known: Collection[str], where: str) -> None:
    """Refuse a name that is not known.

    Raises:
        TableError: One is none of these.
    """
    for name in names:
        if name not in known:
            raise TableError(f"unknown '{name}'", where=where, remedy=MEND)


def all_there(names: Collection[str], wanted: Collection[str], where: str) -> None:
    """Refuse names that are not exactly those wanted, in whatever order.

    Raises:
        TableError: One is unknown, or is missing.
    """
    all_known(names, wanted, where)
    for name in wanted:
        if name not in names:
            raise TableError(f"no '{name}'", where=where, remedy=MEND)


def no_twice(names: Iterable[str], where: str) -> None:
    """Refuse a name that stands twice.

    Raises:
        TableError: One does.
    """
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise TableError(f"'{name}' stands twice", where=where, remedy=MEND)
        seen.add(name)
