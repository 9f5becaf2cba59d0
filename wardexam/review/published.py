"""Published kappas of signs, read from `published.toml` and checked."""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Annotated

from pydantic import Field

from wardexam.anatomy.catalogue import PARTS, catalogue
from wardexam.anatomy.structures import TableRow, checked_row
from wardexam.errors import TableError

NAME = "published.toml"
LIMBS = ("head", "arm", "trunk", "leg", "saddle")


class Published(TableRow):
    """One published kappa: of which signs, or of which parts of the examination in which limbs."""

    signs: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    limbs: tuple[str, ...] = ()
    kappa: Annotated[float, Field(ge=-1, le=1)]

    def of(self, sign: str) -> bool:
        """Whether it speaks of a sign."""
        row = catalogue()[sign]
        return sign in self.signs or (row.part in self.parts and row.limb in self.limbs)


def read_published(text: str) -> dict[str, Published]:
    """The rows of a text in the form of the table.

    Raises:
        TableError: A row is malformed, has no source, or speaks of no sign or part that there is.
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TableError(str(error), where=NAME, remedy="mend the table") from None
    made = {n: checked_row(Published, row, f"{NAME}, row {n}") for n, row in table.items()}
    for name, row in made.items():
        unknown = [s for s in row.signs if s not in catalogue()]
        unknown += [p for p in row.parts if p not in PARTS]
        unknown += [limb for limb in row.limbs if limb not in LIMBS]
        if unknown or not (row.signs or (row.parts and row.limbs)):
            what = f"unknown '{unknown[0]}'" if unknown else "speaks of no sign"
            raise TableError(what, f"{NAME}, row {name}")
    return made


@cache
def published() -> dict[str, Published]:
    """The published kappas by row.

    Raises:
        TableError: The table is malformed.
    """
    return read_published((files("wardexam.review") / NAME).read_text(encoding="utf-8"))
