"""How little a standard deviation of a few specimens says, in words."""

from __future__ import annotations

import math

_NUMBERS = {1: "One specimen", 2: "Two specimens", 3: "Three specimens", 4: "Four specimens"}
NONE = "No specimen with a value."
ONE = "One specimen: no scatter can be stated."
FEW = "{number}: s itself is uncertain by about {percent:.0f} %."


def scatter_uncertainty(n: int) -> float:
    """Relative standard deviation of s of n normal values, no unit: JCGM 100:2008, table E.1.

    With c4 = √(2/(n−1)) Γ(n/2)/Γ((n−1)/2), the mean of s/σ, it is √(1/c4² − 1).

    Args:
        n: number of values, at least 2.

    Raises:
        ValueError: fewer than two values.
    """
    if n < 2:
        raise ValueError(f"n is {n}; a scatter needs at least 2 values")
    ratio = math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))
    c4 = math.sqrt(2.0 / (n - 1)) * ratio
    return math.sqrt(1.0 / c4**2 - 1.0)


def small_n_in_words(n: int) -> str:
    """A sentence for up to four specimens; empty for more."""
    if n == 0:
        return NONE
    if n == 1:
        return ONE
    if n not in _NUMBERS:
        return ""
    return FEW.format(number=_NUMBERS[n], percent=100.0 * scatter_uncertainty(n))
