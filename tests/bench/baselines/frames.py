"""Recorded screens: what each key of a run showed, to be shown again by the baselines.

A frame is a list of lines; a line is a list of runs ``[text, fg, bold, reverse]``.
"""

import json
from pathlib import Path
from typing import Any

Run = list[Any]
Frame = list[list[Run]]


def of_screen(screen: Any) -> Frame:
    """The frame that an emulated screen shows now."""
    frame: Frame = []
    for y in range(screen.lines):
        row = screen.buffer[y]
        runs: list[Run] = []
        for x in range(screen.columns):
            cell = row[x]
            look = [cell.fg, cell.bold, cell.reverse]
            if runs and runs[-1][1:] == look:
                runs[-1][0] += cell.data
            else:
                runs.append([cell.data, *look])
        frame.append(runs)
    return frame


def save(path: Path, frames: list[Frame]) -> None:
    """Write frames for a baseline to read."""
    path.write_text(json.dumps(frames))


def load(path: str) -> list[Frame]:
    """Frames as written by `save`."""
    frames: list[Frame] = json.loads(Path(path).read_text())
    return frames
