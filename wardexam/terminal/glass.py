"""What the terminal shows now, cell by cell: only cells that differ are sent.

Everything drawn passes here, whoever drew it, so that what is believed of the terminal is what was
sent to it. A frame costs the cells that changed, the shortest way to them, and no more.
"""

from collections.abc import Iterable

from rich.cells import cell_len

Cell = tuple[str, str]  # what stands there ("" right of a wide character) and its SGR parameters

BLANK: Cell = (" ", "")
UNKNOWN: Cell = ("", "?")  # equal to nothing that is drawn
GAP = 4  # unchanged cells that cost no more to send again than to jump over
ERASE = 4  # blanks up to the right edge from which erasing is shorter


def cells_of(pieces: Iterable[tuple[str, str]]) -> list[Cell]:
    """Texts with their SGR parameters as cells."""
    cells: list[Cell] = []
    for text, look in pieces:
        if text.isascii():
            cells += [(character, look) for character in text]
            continue
        for character in text:
            width = cell_len(character)
            if width:
                cells += [(character, look), ("", look)][:width]
            elif cells:  # an accent of its own stands in the cell before, right of which "" may be
                at = -2 if cells[-1][0] == "" and len(cells) > 1 else -1
                cells[at] = (cells[at][0] + character, cells[at][1])
    return cells


class Glass:
    """The terminal's cells as they are and as they shall be."""

    def __init__(self) -> None:
        self.size = (0, 0)
        self._shown: list[list[Cell]] = []
        self._wanted: list[list[Cell]] = []
        self._touched: set[int] = set()
        self._cursor = (-1, -1)

    def resize(self, width: int, height: int) -> None:
        """The terminal has this many columns and lines; nothing is known of it if that is new."""
        if (width, height) != self.size:
            self.size = (width, height)
            self._wanted = [[BLANK] * width for _ in range(height)]
            self.forget()

    def forget(self) -> None:
        """Something else may have drawn: send everything again."""
        width, height = self.size
        self._shown = [[UNKNOWN] * width for _ in range(height)]
        self._touched = set(range(height))
        self._cursor = (-1, -1)

    def put(self, y: int, x: int, pieces: Iterable[tuple[str, str]]) -> None:
        """Draw on line `y` from column `x`; what falls off the edge is cut."""
        width, height = self.size
        if not 0 <= y < height or not 0 <= x < width:
            return
        cells = cells_of(pieces)[: width - x]
        if x + len(cells) < width and self._wanted[y][x + len(cells)][0] == "":
            cells.append(BLANK)  # half of a wide character cannot stay
        if cells and x + len(cells) == width and cell_len(cells[-1][0][:1]) == 2:
            cells[-1] = BLANK
        self._wanted[y][x : x + len(cells)] = cells
        self._touched.add(y)

    def changes(self, cursor: tuple[int, int]) -> str:
        """What to send so that the terminal shows what was drawn, its cursor at (column, line)."""
        out: list[str] = []
        for y in sorted(self._touched):
            if self._wanted[y] != self._shown[y]:
                self._line(y, out)
                self._shown[y] = self._wanted[y].copy()
        self._touched.clear()
        if out or cursor != self._cursor:
            self._cursor = cursor
            out.append(f"\x1b[{cursor[1] + 1};{cursor[0] + 1}H")
        return "".join(out)

    def _line(self, y: int, out: list[str]) -> None:
        wanted, shown = self._wanted[y], self._shown[y]
        width = len(wanted)
        differ = [x for x in range(width) if wanted[x] != shown[x]]
        end = width
        while end and wanted[end - 1] == BLANK:
            end -= 1
        erases = sum(x >= end for x in differ) >= ERASE
        spans: list[list[int]] = []
        for x in differ:
            if erases and x >= end:
                break
            if spans and x - spans[-1][1] <= GAP:
                spans[-1][1] = x + 1
            else:
                spans.append([x, x + 1])
        at = -1
        look = ""
        for first, last in [*spans, *([[end, end]] if erases else [])]:
            if at < 0:
                out.append(f"\x1b[{y + 1}H" if first == 0 else f"\x1b[{y + 1};{first + 1}H")
            elif first > at:
                out.append(f"\x1b[{first - at}C" if first > at + 1 else "\x1b[C")
            for text, wants in wanted[first:last]:
                if wants != look:
                    out.append(f"\x1b[{'0;' if look and wants else ''}{wants}m")
                    look = wants
                out.append(text)
            at = last
        if look:
            out.append("\x1b[m")
        if erases:
            out.append("\x1b[K")
