"""The logarithm of a probability between two bounds, beside the normal distribution itself (scipy)."""

from __future__ import annotations

import numpy as np
from scipy.stats import norm

from reviewkit.metrology.normal import log_between


def test_it_is_what_the_normal_distribution_says_wherever_the_bounds_lie() -> None:
    edges = np.concatenate([np.linspace(-45, 45, 361), [-37.7, -9.0, 9.0, -38.5, 8.3]])
    lower, upper = (
        side[edges[:, None] < edges[None, :]] for side in np.broadcast_arrays(edges[:, None], edges)
    )
    plain = np.log(np.maximum(norm.cdf(upper) - norm.cdf(lower), 1e-300))
    assert np.array_equal(log_between(lower, upper), plain)


def test_bounds_of_any_shape_keep_it() -> None:
    lower = np.linspace(-3.0, 2.0, 24).reshape(2, 3, 4)
    assert log_between(lower, lower + 1).shape == (2, 3, 4)
