"""A reading is the same to the last bit whatever kernels the processor lends to numpy."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = """
from hashlib import sha256
from tests.handbook.cases import cases
from wardexam import ready
for case in cases()[::6]:
    print(case.title, sha256(repr(ready.engine().read(case.examination)).encode()).hexdigest())
"""
# What numpy may dispatch to, by its names of 2.4 and, for earlier releases, of 2.0; unknown names are passed over.
PLAINEST = "X86_V3 X86_V4 AVX512_ICL AVX512_SPR AVX2 FMA3 AVX512F AVX512CD AVX512_SKX AVX512_CLX AVX512_CNL"


def readings(**env: str) -> str:
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", PROGRAM],
        capture_output=True, text=True, check=True, cwd=ROOT, env={**os.environ, **env},
    )  # fmt: skip
    return done.stdout


@pytest.mark.long
def test_the_plainest_kernels_and_the_best_give_the_same_readings():
    best = readings().splitlines()
    plainest = readings(NPY_DISABLE_CPU_FEATURES=PLAINEST).splitlines()
    assert len(best) > 35
    assert plainest == best
