"""How often signs are found in each lesion, as published and in the model; each within a factor of two, or with its reason."""

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.handbook.marginals import KINDS, TABLE, TO_MEND, Lesion, Row, form_ids, rows, tidied
from wardexam import ready
from wardexam.anatomy.catalogue import catalogue
from wardexam.reasoning.inference.prior import Priors
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.codes import BRISK_WEIGHTS

ROWS = rows()
MOST_TO_MEND = 3  # falls as the model is mended, and never rises


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r.title)
def test_a_published_figure_is_met_within_a_factor_of_two_or_the_row_says_why_not(row: Row):
    low, high = row.limits()
    told = f"published {row.per_cent:g} %, model {100 * row.model():.1f} %, within {100 * low:.1f} to {100 * high:.1f}"
    assert row.within != bool(row.because), told


def test_there_are_at_least_300_figures_with_a_source_and_none_twice():
    titles = [r.title for r in ROWS]
    assert sum(r.kind != "judgement" for r in ROWS) >= 300
    assert len(set(titles)) == len(titles)


def test_what_the_model_still_has_to_mend_does_not_grow():
    assert sum(r.because.startswith(TO_MEND) for r in ROWS) <= MOST_TO_MEND


def test_every_row_says_where_it_comes_from():
    for row in ROWS:
        assert row.source, row.title
        assert (row.kind == "judgement") == bool(row.readings), row.title
        assert row.bound in ("", "most", "least"), row.title
        assert 0 < row.per_cent < 100, row.title
        sided = any(catalogue()[s].sides == "each" for s in row.signs)
        assert bool(row.side) == sided, row.title


def test_the_head_of_the_table_counts_what_it_holds():
    head = TABLE.read_text(encoding="utf-8").split("\n[counts]")
    for kind in KINDS:
        stated = re.search(rf"^#   {kind} +(\d+) ", head[0], re.M)
        assert stated, kind
        assert int(stated[1]) == sum(r.kind == kind for r in ROWS), kind


def test_only_reasons_that_are_not_needed_are_taken_out():
    text = TABLE.read_text(encoding="utf-8")
    assert tidied(text, ROWS) == text
    met = next(n for n, row in enumerate(ROWS) if row.because)
    known = [replace(r, per_cent=100 * r.model()) if n == met else r for n, r in enumerate(ROWS)]
    gone = [
        a
        for a, b in zip(text.splitlines(), tidied(text, known).splitlines(), strict=True)
        if a != b
    ]
    assert len(gone) == 1
    assert ROWS[met].because in gone[0]


@pytest.mark.parametrize(
    ("per_cent", "bound", "low", "high"),
    [
        (50, "", 0.25, 0.75),
        (10, "", 0.05, 0.2),  # rare: the share with the sign
        (90, "", 0.8, 0.95),  # common: the share without it
        (2, "most", 0.0, 0.04),
        (98, "least", 0.96, 1.0),
    ],
)
def test_a_factor_of_two_holds_of_the_share_with_the_sign_and_of_the_share_without(
    per_cent, bound, low, high
):
    row = replace(ROWS[0], per_cent=per_cent, bound=bound)
    assert row.limits() == pytest.approx((low, high))


def test_every_form_has_its_id():
    """The names of the plan and the ids of the tables belong together."""
    by_id = dict(zip(form_ids(), ready.engine().hypotheses.forms, strict=True))
    for form_id, name in {
        "hemisphere_anterior": "hemisphere, anterior cerebral territory",
        "medulla_lateral": "lateral medulla",
        "thigh_and_fingers": "muscle, thigh and fingers",
        "presynaptic": "neuromuscular junction, presynaptic",
        "radial_groove": "radial nerve at the spiral groove",
        "L2+L3": "roots",
        "posterior_lateral_neuropathy": "cord, posterior and lateral, with neuropathy",
        "lower": "motor neurone disease, lower",
    }.items():
        assert by_id[form_id].name == name


@pytest.mark.parametrize(
    ("lesion", "sign", "counts", "side"),
    [
        (Lesion("l", "l", "root", ("S1",)), "ankle", ("absent", "reduced"), "own"),
        (
            Lesion("l", "l", "brain", ("capsule",), onset="sudden"),
            "plantar",
            ("extensor",),
            "other",
        ),
        (Lesion("l", "l", "none", age=75), "ankle", ("absent",), "both"),
        (Lesion("l", "l", "cauda"), "perianal", ("absent", "reduced"), "either"),
        (Lesion("l", "l", "cord", levels="C3-C8"), "bladder", ("retention",), ""),
    ],
)
def test_the_computed_share_is_that_of_drawn_patients(lesion, sign, counts, side):
    """Rows, briskness and answers drawn one by one, as a bedside would meet them."""
    random, made, count = np.random.default_rng(4), ready.engine().hypotheses, 20_000
    prior = np.exp(Priors(made).of_rows(lesion.context()))
    weight = np.zeros_like(prior)
    own = np.full(made.rows, "right", dtype="<U8")
    for form, form_id in zip(made.forms, form_ids(), strict=True):
        if lesion.holds(form, form_id):
            weight[form.rows] = prior[form.rows]
            own[form.rows] = form.side if form.side in ("right", "left") else "right"
    drawn = random.choice(made.rows, count, p=weight / weight.sum())
    brisk = random.choice(len(BRISK_WEIGHTS), count, p=BRISK_WEIGHTS)
    seen = observation.observed(catalogue()[sign], lesion.context())
    wanted = [seen.answers.index(a) for a in counts]

    def shows(place: np.ndarray) -> np.ndarray:
        codes = np.array([made.code(sign, p)[row] for p, row in zip(place, drawn, strict=True)])
        chance = seen.chance[codes, :, brisk][:, wanted].sum(axis=1)
        return random.random(count) < chance

    here = own[drawn]
    there = np.where(here == "right", "left", "right")
    found = {
        "": lambda: shows(np.full(count, "midline")),
        "own": lambda: shows(here),
        "other": lambda: shows(there),
        "either": lambda: shows(here) | shows(there),
        "both": lambda: shows(here) & shows(there),
    }[side]()
    row = Row(lesion, (sign,), counts, "drawn", 50, side)
    assert row.model() == pytest.approx(found.mean(), abs=4 * np.sqrt(0.25 / count))
