"""Codes: what a row causes at a sign, in one byte that indexes the tables of `observation`."""

import math

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.reasoning.model.forms import STAGES
from wardexam.reasoning.model.severities import Array

# Losses are read at these steps, so that a code fits in a byte; finer steps change no answer.
LOWER = np.array([0, 0.06, 0.14, 0.25, 0.38, 0.52, 0.66, 0.8, 0.92, 1], np.float32)
UPPER = np.array([0, 0.08, 0.22, 0.4, 0.58, 0.76, 0.92, 1], np.float32)
CODES = len(LOWER) * len(UPPER) * len(STAGES)

# Briskness: Gauss-Hermite, three points of a standard normal.
BRISK = np.array([-math.sqrt(3), 0.0, math.sqrt(3)])
BRISK_WEIGHTS = np.array([1 / 6, 2 / 3, 1 / 6])

LEVELS = len(SEGMENTS) + 1  # "none" and every segment
DEPTHS = 4
DECIMALS = 5  # beyond which a loss is only arithmetic


def encode(lower: Array, upper: Array, stage: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The code of each row's losses and stage, 0 to `CODES` - 1."""
    # Rounded first, so that the order in which a loss was added up never decides.
    a = np.searchsorted((LOWER[1:] + LOWER[:-1]) / 2, np.round(lower, DECIMALS))
    b = np.searchsorted((UPPER[1:] + UPPER[:-1]) / 2, np.round(upper, DECIMALS))
    return ((a * len(UPPER) + b) * len(STAGES) + stage).astype(np.uint8)


def decoded() -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Lower loss, upper loss and stage of every code."""
    codes = np.arange(CODES)
    upper = UPPER[(codes // len(STAGES)) % len(UPPER)].astype(float)
    lower = LOWER[codes // (len(STAGES) * len(UPPER))].astype(float)
    return lower, upper, codes % len(STAGES)


def level_code(level: Array, depth: Array) -> NDArray[np.uint8]:
    """The code of a row's sensory level and how plain it is."""
    step = np.clip((np.round(depth, DECIMALS) * DEPTHS).astype(np.int64), 0, DEPTHS - 1)
    return (np.clip(level, 0, len(SEGMENTS) - 1).astype(np.int64) * DEPTHS + step).astype(np.uint8)


# A kind of gait is coded as one of the steps of `lower`.
GAIT_CODES = LOWER[[0, 1, 2, 4, 5, 6, 7, 9]]
