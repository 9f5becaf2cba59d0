"""Shows recorded frames with curses, the next one at each key: the same cells, the leanest way."""

import curses
import sys
from typing import Any

from frames import Frame, load

COLOURS = {"red": 1, "green": 2, "brown": 3, "yellow": 3, "blue": 4, "magenta": 5, "cyan": 6}


def look(fg: str, bold: bool, reverse: bool) -> int:
    """Curses attributes of a run."""
    bright = fg.startswith("bright")
    number = COLOURS.get(fg.removeprefix("bright"), 0)
    return (
        (curses.color_pair(number) if number else 0)
        | (curses.A_BOLD if bold or bright else 0)
        | (curses.A_REVERSE if reverse else 0)
    )


def draw(window: Any, frame: Frame) -> None:
    """Draw a whole frame; curses sends what differs."""
    for y, runs in enumerate(frame):
        x = 0
        for text, fg, bold, reverse in runs:
            room = 79 - x if y == len(frame) - 1 else 80 - x
            if room > 0:
                window.addstr(y, x, text[:room], look(fg, bold, reverse))
            x += len(text)
    window.refresh()


def main(window: Any) -> None:
    """Run until the frames are used up and then go round."""
    frames = load(sys.argv[1])
    curses.use_default_colors()
    for number in range(1, 7):
        curses.init_pair(number, number, -1)
    curses.curs_set(0)
    n = 0
    while True:
        draw(window, frames[n])
        if window.getch() == ord("Q"):
            return
        n = (n + 1) % len(frames)


if __name__ == "__main__":
    curses.wrapper(main)
