"""What single signs are worth, in the model and as published; each figure within, or with its reason."""

import numpy as np
import pytest

from tests.handbook.accuracy import rows, weighted_kappa

ROWS = rows()


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r.sign}-{r.kind}-{r.source[:20]}")
def test_a_published_figure_is_met_or_the_row_says_why_not(row):
    print(f"{row.sign} {row.kind}: published {row.published}, model {row.implied():.2f}")
    assert row.source
    assert row.within != bool(row.why), f"{row.implied():.3f} in {row.low} to {row.high}"


def test_most_figures_are_met():
    assert sum(r.within for r in ROWS) / len(ROWS) >= 0.7


@pytest.mark.parametrize("seed", range(5))
def test_the_weighted_kappa_agrees_with_scikit_learn(seed):
    from sklearn.metrics import cohen_kappa_score  # slow to load: not while tests are collected

    random = np.random.default_rng(seed)
    one = random.integers(0, 5, 300)
    other = np.clip(one + random.integers(-1, 2, 300), 0, 4)
    table = np.zeros((5, 5))
    np.add.at(table, (one, other), 1)
    assert weighted_kappa(table) == pytest.approx(
        cohen_kappa_score(one, other, weights="quadratic"), abs=1e-12
    )
