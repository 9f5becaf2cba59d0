"""What may be chosen, numbered, whole, in as many columns as it takes."""

import itertools
from collections.abc import Sequence

DOWN = 9  # answers that stand below each other; more stand in columns


def numbered(answers: Sequence[str], width: int) -> list[str]:
    """Answers with their numbers, in as many columns as their lines need; none is cut."""
    cells = [f"{number:>2} {answer}" for number, answer in enumerate(answers, 1)]
    columns = [cells[at : at + DOWN] for at in range(0, len(cells), DOWN)]
    wide = min(max(map(len, cells)) + 3, width // len(columns))
    rows = itertools.zip_longest(*columns, fillvalue="")
    return [" ".join(f"{cell:<{wide}}" for cell in row).rstrip() for row in rows]
