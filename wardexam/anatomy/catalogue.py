"""The signs of the examination, read from the tables in `signs/`.

Gives one frozen `Sign` per row. No logic beyond looking a row up: what an answer may be is the
business of `wardexam.exam`, what it means that of `wardexam.reasoning`.
"""

from dataclasses import dataclass, field
from functools import cache
from typing import Literal

from wardexam.tables import CLOSED, all_known, checked_row, no_twice, read_table

Sides = Literal["each", "midline"]
LIMBS = ("head", "arm", "trunk", "leg", "saddle")
_MODALITIES = ("touch", "pin", "vibration", "position", "")
_POSITIONS = ("cranial", "proximal", "middle", "distal", "")

# The parts of the examination, in the order in which they are done; each is a file in signs/.
PARTS: dict[str, tuple[str, ...]] = {
    "reflexes": ("reflexes",),
    "power": ("power",),
    "sensation": ("sensation", "dermatomes"),
    "movement": ("movement",),
    "sphincters": ("sphincters",),
    "cranial": ("cranial",),
    "provocation": ("provocation",),
    "muscle": ("muscle",),
}

# Segments from head to tail. S4 and S5 share one skin area (ISNCSCI 2019), not one segment.
SEGMENTS: tuple[str, ...] = (
    *(f"C{n}" for n in range(1, 9)),
    *(f"T{n}" for n in range(1, 13)),
    *(f"L{n}" for n in range(1, 6)),
    *(f"S{n}" for n in range(1, 6)),
)

# Kinds of answers that are read in a way of their own.
TENDON, MRC, LEVEL, MEASURED = "tendon", "mrc", "level", "residual"


@dataclass(frozen=True, slots=True)
class Sign:
    """One row of the examination.

    Attributes:
        id: Stable name used in documents, e.g. ``"knee"``.
        name: What a doctor calls it.
        part: The part of the examination it belongs to, a key of `PARTS`.
        limb: ``head``, ``arm``, ``trunk``, ``leg`` or ``saddle``.
        sides: ``each`` where right and left are found apart, else ``midline``.
        answers: The set of answers it takes (``wardexam.exam.answers``).
        segments: Share of each segment in the sign, adding up to 1; empty where none carries it.
        nerve: The nerve or territory, empty where none is named.
        short: What doctors call it where there is no room for the name (common practice); empty where the name fits.
        letter: The key that jumps to it, empty where it has none.
        place: Where to touch or look, empty where the name says it.
        modality: ``touch``, ``pin``, ``vibration`` or ``position`` for sensation, else empty.
        position: ``cranial``, ``proximal``, ``middle`` or ``distal`` for muscles, else empty.
        sum_score: Whether the movement counts in the MRC sum score.
        territory: Whether it is the skin of one named nerve, with its borders.
        branches: Share of each nerve branch (``nerves.toml``) that carries it.
        cords: Share of each cord of the brachial plexus that carries it.
        length: How much of a length-dependent polyneuropathy reaches it, 0 to 1.
        pyramidal: Weight of upper motor loss in this movement; above 1 falls first.
        apart: Whether it is asked for apart: no statement that the rest was normal speaks of it, and that it
            was left unsaid says nothing.
        source: Where the row's facts come from.

    """

    __pydantic_config__ = CLOSED
    id: str
    name: str
    part: str
    limb: str
    sides: Sides
    answers: str
    source: str
    segments: dict[str, float] = field(default_factory=dict)
    nerve: str = ""
    short: str = ""
    letter: str = ""
    place: str = ""
    modality: str = ""
    position: str = ""
    sum_score: bool = False
    territory: bool = False
    branches: dict[str, float] = field(default_factory=dict)
    cords: dict[str, float] = field(default_factory=dict)
    length: float = 0.0
    pyramidal: float = 1.0
    apart: bool = False

    @property
    def tendon(self) -> bool:
        """Whether it is a tendon reflex, graded on a scale that is chosen."""
        return self.answers == TENDON

    @property
    def mrc(self) -> bool:
        """Whether it is a movement, graded 0 to 5 as by the Medical Research Council."""
        return self.answers == MRC

    @property
    def level(self) -> bool:
        """Whether its answer is a segment: the lowest that is still normal."""
        return self.answers == LEVEL

    @property
    def measured(self) -> bool:
        """Whether its answer is an amount, abnormal or not."""
        return self.answers == MEASURED

    @property
    def segment_range(self) -> str:
        """Segments as a doctor writes them, e.g. ``"L3-L4"``; those under a fifth are left out."""
        main = [s for s in SEGMENTS if self.segments.get(s, 0) >= 0.2]
        return "" if not main else main[0] if len(main) == 1 else f"{main[0]}-{main[-1]}"


@cache
def catalogue() -> dict[str, Sign]:
    """Every sign by id, in the order of the tables.

    Raises:
        TableError: A row is malformed or stands in two tables; names file, row and field.

    """
    signs: dict[str, Sign] = {}
    for part, names in PARTS.items():
        for name in (f"signs/{n}.toml" for n in names):
            for sign_id, row in read_table(name, "wardexam.anatomy").items():
                where = f"{name}, row {sign_id}"
                no_twice((*signs, sign_id), where)
                sign = checked_row(Sign, row, where, id=sign_id, part=part)
                all_known((sign.limb,), LIMBS, f"{where}, field limb")
                all_known((sign.modality,), _MODALITIES, f"{where}, field modality")
                all_known((sign.position,), _POSITIONS, f"{where}, field position")
                signs[sign_id] = sign
    return signs


def dermatomes(row: Sign) -> tuple[Sign, ...]:
    """The rows of every dermatome in the way that a row tests one, from the head down; none where it tests none."""
    named = f"{row.modality}_"
    if not row.modality or not row.id.startswith(named):
        return ()
    return tuple(s for s in catalogue().values() if s.id.startswith(named))


def signs_of(part: str) -> tuple[Sign, ...]:
    """The signs of one part, in table order."""
    return tuple(s for s in catalogue().values() if s.part == part)
