"""Ratios of two small groups with their confidence: logarithmic Welch and Fieller intervals."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from labmatrix.kernel.errors import RangeError, ShapeError

UNBOUNDED = (
    "The control's mean cannot be told from zero at this confidence (g = {g:.2f}, 1 or more), so "
    "the interval is unbounded."
)


@dataclass(frozen=True)
class Interval:
    """A two-sided confidence interval; infinite ends where it is unbounded.

    Attributes:
        estimate: the ratio, no unit.
        low, high: ends of the interval.
        confidence: such as 0.95.
        degrees_of_freedom: of the t quantile used.
        method: "log Welch", "Fieller, pooled variance" or "Fieller, separate variances".
        note: what a reader must know, else empty.
    """

    estimate: float
    low: float
    high: float
    confidence: float
    degrees_of_freedom: float
    method: str
    note: str = ""


def _checked(values: Sequence[float], name: str) -> list[float]:
    if len(values) < 2:
        raise ShapeError(
            "inference.too-few",
            f"{name} has {len(values)} values; an interval needs at least 2.",
            argument=name,
        )
    if not all(math.isfinite(v) for v in values):
        raise RangeError(name, "not finite", "finite numbers")
    return [float(v) for v in values]


def _t(p: float, degrees_of_freedom: float) -> float:
    from scipy import stats

    return float(stats.t.ppf(p, degrees_of_freedom))


def _welch_df(va: float, na: int, vb: float, nb: int) -> float:
    """Welch–Satterthwaite degrees of freedom of two variances of means."""
    total = va + vb
    if total == 0.0:
        return float(na + nb - 2)
    return total**2 / (va**2 / (na - 1) + vb**2 / (nb - 1))


def log_welch(
    exposed: Sequence[float], control: Sequence[float], *, confidence: float = 0.95
) -> Interval:
    """Ratio of geometric means with Welch's interval on the logarithms.

    Args:
        exposed, control: positive values in the same unit, at least 2 each.
        confidence: two-sided, between 0 and 1.

    Raises:
        RangeError: a value that is not positive, or a confidence outside 0 to 1.
        ShapeError: ``inference.too-few``.
    """
    if not 0 < confidence < 1:
        raise RangeError("confidence", confidence, "between 0 and 1")
    logs = []
    for name, values in (("exposed", exposed), ("control", control)):
        checked = _checked(values, name)
        if min(checked) <= 0:
            raise RangeError(name, min(checked), "values above 0, whose logarithm exists")
        logs.append([math.log(v) for v in checked])
    (a, b) = logs
    va, vb = statistics.variance(a) / len(a), statistics.variance(b) / len(b)
    df = _welch_df(va, len(a), vb, len(b))
    middle = statistics.fmean(a) - statistics.fmean(b)
    half = _t(0.5 + confidence / 2, df) * math.sqrt(va + vb)
    return Interval(
        math.exp(middle),
        math.exp(middle - half),
        math.exp(middle + half),
        confidence,
        df,
        "log Welch",
    )


def log_welch_lower(
    exposed: Sequence[float], control: Sequence[float], *, confidence: float = 0.95
) -> float:
    """One-sided lower confidence limit of the ratio of geometric means.

    Raises:
        RangeError, ShapeError: as ``log_welch``.
    """
    return log_welch(exposed, control, confidence=2 * confidence - 1).low


def fieller(
    exposed: Sequence[float],
    control: Sequence[float],
    *,
    confidence: float = 0.95,
    pooled: bool = False,
) -> Interval:
    """Ratio of means with Fieller's interval (E. C. Fieller 1954).

    Args:
        exposed, control: values in the same unit, at least 2 each; the control's mean not zero.
        confidence: two-sided, between 0 and 1.
        pooled: one variance for both groups, else one each with Welch–Satterthwaite degrees of
            freedom at the estimate.

    Raises:
        RangeError: a control mean of zero, or a confidence outside 0 to 1.
        ShapeError: ``inference.too-few``.
    """
    if not 0 < confidence < 1:
        raise RangeError("confidence", confidence, "between 0 and 1")
    a, b = _checked(exposed, "exposed"), _checked(control, "control")
    ma, mb = statistics.fmean(a), statistics.fmean(b)
    if mb == 0.0:
        raise RangeError("The mean of control", mb, "other than 0")
    ratio, va, vb, df = ma / mb, statistics.variance(a), statistics.variance(b), 0.0
    if pooled:
        df = len(a) + len(b) - 2
        va = vb = ((len(a) - 1) * va + (len(b) - 1) * vb) / df
    va, vb = va / len(a), vb / len(b)
    if not pooled:
        df = _welch_df(va, len(a), ratio**2 * vb, len(b))
    method = f"Fieller, {'pooled variance' if pooled else 'separate variances'}"
    return fieller_of_means(
        ma, va, mb, vb, degrees_of_freedom=df, confidence=confidence, method=method
    )


def fieller_of_means(
    top: float,
    top_variance: float,
    bottom: float,
    bottom_variance: float,
    *,
    degrees_of_freedom: float,
    confidence: float,
    method: str,
) -> Interval:
    """Fieller's interval of the ratio of two independent estimates.

    Args:
        top, bottom: the estimates, in the same unit; ``bottom`` not zero.
        top_variance, bottom_variance: of the estimates, not of single values.
        degrees_of_freedom: of the t quantile.
        confidence: two-sided, between 0 and 1.
        method: its name in the answer.
    """
    ratio = top / bottom
    t = _t(0.5 + confidence / 2, degrees_of_freedom)
    g = t**2 * bottom_variance / bottom**2
    if g >= 1.0:
        note = UNBOUNDED.format(g=g)
        return Interval(ratio, -math.inf, math.inf, confidence, degrees_of_freedom, method, note)
    spread = top_variance + ratio**2 * bottom_variance - g * top_variance
    half = t / abs(bottom) * math.sqrt(spread)
    low, high = (ratio - half) / (1 - g), (ratio + half) / (1 - g)
    return Interval(ratio, low, high, confidence, degrees_of_freedom, method)
