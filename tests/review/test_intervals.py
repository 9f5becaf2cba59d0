"""Intervals and quartiles beside a statistics library."""

import numpy as np
import pytest

from wardexam.review.intervals import quartiles, wilson


@pytest.mark.parametrize(
    ("count", "of"), [(0, 1), (1, 1), (0, 20), (3, 10), (7, 9), (50, 1000), (999, 1000)]
)
def test_wilson(count, of):
    from scipy.stats import binomtest  # slow to load: not while tests are collected

    exact = binomtest(count, of).proportion_ci(method="wilson")
    assert wilson(count, of) == pytest.approx((exact.low, exact.high), abs=1e-12)


def test_of_none_nothing_is_known():
    assert wilson(0, 0) == (0.0, 1.0)
    with pytest.raises(ValueError, match="no values"):
        quartiles([])


@pytest.mark.parametrize("values", [[3.0], [1, 9], [5, 1, 4], [2, 2, 2, 7], [*range(30), 500]])
def test_quartiles(values):
    assert quartiles(values) == pytest.approx(tuple(np.percentile(values, (25, 50, 75))))
