"""Student's t, the distribution of a mean whose variance is estimated."""

from __future__ import annotations

import math

from scipy.special import ndtri, stdtrit


def quantile(p: float, freedom: float) -> float:
    """Quantile of Student's t; of the normal distribution where the degrees of freedom are infinite."""
    return float(ndtri(p) if math.isinf(freedom) else stdtrit(freedom, p))
