"""Published kappas of signs, read from `published.toml` and checked."""

from functools import cache
from importlib.resources import files
from typing import Annotated

from pydantic import Field

from wardexam.anatomy.catalogue import LIMBS, PARTS, catalogue
from wardexam.errors import TableError
from wardexam.tables import MEND, TableRow, all_known, checked_rows, parsed

NAME = "published.toml"


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
    made = checked_rows(Published, parsed(text, NAME), NAME)
    for name, row in made.items():
        where = f"{NAME}, row {name}"
        for named, known in ((row.signs, catalogue()), (row.parts, PARTS), (row.limbs, LIMBS)):
            all_known(named, known, where)
        if not (row.signs or (row.parts and row.limbs)):
            raise TableError("speaks of no sign", where, MEND)
    return made


@cache
def published() -> dict[str, Published]:
    """The published kappas by row.

    Raises:
        TableError: The table is malformed.
    """
    return read_published((files("wardexam.review") / NAME).read_text(encoding="utf-8"))
