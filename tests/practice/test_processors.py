"""A seed gives the same patient and the same way whatever kernels the processor lends to numpy."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.reasoning.test_processors import PLAINEST

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = """
from hashlib import sha256
from wardexam.practice.drawing import Drawing
from wardexam.practice.path import best
from wardexam.ready import engine
drawing = Drawing(engine().hypotheses)
for level in (1, 2, 3):
    for seed in range(5):
        drawn = drawing.draw(level, seed)
        shown = [drawn.shown(*test).answer for test in drawn.tests]
        flags = sorted(drawn.whole.flags.items())
        way = [s.text for s in best(engine(), drawn).steps] if seed == 3 else []
        said = repr((drawn.draw, drawn.brisk, drawn.context, shown, flags, way))
        print(drawn.id, sha256(said.encode()).hexdigest())
"""


def cases(**env: str) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", PROGRAM],
        capture_output=True, text=True, check=True, cwd=ROOT, env={**os.environ, **env},
    )  # fmt: skip
    return done.stdout.splitlines()


@pytest.mark.long
@pytest.mark.slow
def test_the_plainest_kernels_and_the_best_draw_the_same_patients():
    best = cases()
    assert len(set(best)) == 15
    assert cases(NPY_DISABLE_CPU_FEATURES=PLAINEST) == best
