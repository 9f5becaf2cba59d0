"""The key tables of the guide, made from the keys: `python -m tests.keys_page` writes them anew."""

import re
from pathlib import Path

from wardexam.terminal.keys import SCREENS, shown

GUIDE = Path(__file__).parents[1] / "wardexam" / "GUIDE.md"
TITLES = {
    "ward": "On the ward",
    "examine": "In an examination",
    "text": "On a note or another text",
    "reasons": "On the reasons; a digit chooses one",
    "injury": "On a cord injury sheet; a digit scores",
}
PLACE = re.compile(r"(?<=<!-- keys -->\n).*?(?=<!-- /keys -->)", re.S)


def tables() -> str:
    """A table for each screen: its keys, and what each does."""
    parts = []
    for screen, rows in SCREENS.items():
        lines = [f"{TITLES[screen]}:", "", "| key | does |", "| --- | --- |"]
        for row in rows:
            keys = ", ".join(f"`{shown(key)}`" for key in row.keys)
            lines.append(f"| {keys} | {row.does} |")
        parts.append("\n".join(lines) + "\n\n")
    return "\n" + "".join(parts)


if __name__ == "__main__":
    GUIDE.write_text(PLACE.sub(lambda _: tables(), GUIDE.read_text()))
