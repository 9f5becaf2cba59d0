"""Where a lesion may have been in the end, and on which side: names alone, so that a help text loads nothing more."""

from typing import Literal, get_args

# The sites that the reasoning knows, by their names there; held to its table by tests/exam/test_outcome.py.
FinalSite = Literal[
    "brain", "parasagittal", "brainstem", "cerebellum", "cord", "conus", "cauda", "root", "plexus", "nerve",
    "polyneuropathy", "polyradiculoneuropathy", "motor_neurone", "junction", "muscle", "meninges",
    "basal_ganglia", "systemic", "functional", "pain_limited", "none",
]  # fmt: skip
FinalSide = Literal["right", "left", "both", "midline"]
FINAL_SITES: tuple[FinalSite, ...] = get_args(FinalSite)
FINAL_SIDES: tuple[FinalSide, ...] = get_args(FinalSide)
