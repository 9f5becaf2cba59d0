"""The damage to every structure under every row: a row is one form of a lesion at one severity."""

import numpy as np

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.anatomy.structures import branches
from wardexam.errors import TableError
from wardexam.reasoning.model.severities import Array

NO_LEVEL = 99  # the level of a row without a cord lesion


class Structures:
    """Which structures are damaged and which are read, and by whom: a name in one place only is a mistake.

    A name with a dot is one of a family, such as ``grey.C5``, and stands for the family; its members come
    from checked tables. A whole nerve may be damaged without any sign that reads it.
    """

    SPARED = "nothing"  # what a path is read from that nothing damages

    def __init__(self) -> None:
        self.damaged: dict[str, str] = {}
        self.read: dict[str, str] = {}

    def check(self) -> None:
        """Hold the names that lesions damage to those that signs read.

        Raises:
            TableError: A structure is read and never damaged, or damaged and never read.
        """
        damaged, read = (
            {name.split(".")[0]: who for name, who in names.items()}
            for names in (self.damaged, self.read)
        )
        for name, who in read.items():
            if name not in damaged and name != self.SPARED:
                raise TableError(f"no lesion damages '{name}'", where=f"sign {who}")
        for name, who in damaged.items():
            if name not in read and name not in branches():
                raise TableError(f"no sign reads '{name}'", where=f"lesion {who}")


class Body:
    """Damage 0 to 1 by structure and side over all rows; a structure never touched is not stored.

    Cord tracts need no structure for each segment, since a lesion interrupts whatever passes its
    level: they are kept as the level and the damage to each tract there.

    Attributes:
        rows: Number of rows.
        structures: The names damaged and read so far; may be shared by the bodies of one set of tables.
        now: The lesion or sign at work, for `structures`.
        level: Segment number of the cord lesion, `NO_LEVEL` where there is none. Shape (rows,).
        offset: Segments by which the pain level lies below the lesion. Shape (rows,).
        lowered: Segments of it by which all sensation does. Shape (rows,).
        tracts: Damage by tract and side (0 right, 1 left of the cord), each of shape (rows,).
    """

    TRACTS = (
        "pyramid_arm",
        "pyramid_leg",
        "column_arm",
        "column_leg",
        "spinothalamic",
        "autonomic",
    )

    def __init__(self, rows: int, structures: Structures | None = None) -> None:
        self.rows = rows
        self.structures = structures or Structures()
        self.now = ""
        self.level = np.full(rows, NO_LEVEL, np.int16)
        self.offset = np.zeros(rows, np.float32)
        self.lowered = np.zeros(rows, np.float32)
        self.tracts = {(t, s): np.zeros(rows, np.float32) for t in self.TRACTS for s in (0, 1)}
        self._damage: dict[tuple[str, int], Array] = {}
        self._nothing = np.zeros(rows, np.float32)

    def take(self, where: slice, structure: str, side: int, damage: Array | float) -> None:
        """Damage a structure further; damage to the same structure adds up without passing 1."""
        self.structures.damaged.setdefault(structure, self.now)
        held = self._damage.setdefault((structure, side), np.zeros(self.rows, np.float32))
        held[where] = 1 - (1 - held[where]) * (1 - np.clip(damage, 0, 1))

    def cut(self, where: slice, tract: str, side: int, damage: Array | float) -> None:
        """Damage a cord tract at the row's level."""
        self.tracts[tract, side][where] = np.clip(damage, 0, 1)

    def damage(self, structure: str, side: int) -> Array:
        """Damage to one structure on one side, shape (rows,)."""
        self.structures.read.setdefault(structure, self.now)
        return self._damage.get((structure, side), self._nothing)

    def below(self, segment: str, shift: Array | float = 0) -> Array:
        """1 where a segment lies below the row's cord lesion, else 0; `shift` lowers the lesion."""
        return (SEGMENTS.index(segment) > self.level + shift).astype(np.float32)
