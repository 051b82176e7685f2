"""The two retentions of a strengthened member after exposure.

*Member*: S_exposed / S_laboratory. *Contribution*: (S_exposed − U_exposed) / (S_laboratory −
U_laboratory), S strengthened and U its unstrengthened twin with the same exposure. The member
ratio alone hides the total loss of a fabric, because the old member still carries its own part.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.inference.ratio import Interval, fieller_of_means

NO_TWIN = "The contribution needs an exposed unstrengthened twin; there is none."
NO_GAIN = "In the laboratory the strengthening adds nothing, so nothing can be retained of it."


@dataclass(frozen=True)
class Retention:
    """A retention with its first-order standard error.

    Attributes:
        value: no unit; above 1 is not clipped.
        standard_error: no unit; None where a group has one specimen.
        note: why there is no value, else empty.
    """

    value: float | None
    standard_error: float | None
    note: str = ""


def _mean_and_variance(values: Sequence[float], name: str) -> tuple[float, float | None]:
    if not values:
        raise ShapeError("inference.too-few", f"{name} has no value.", argument=name)
    if not all(math.isfinite(v) for v in values):
        raise RangeError(name, "not finite", "finite numbers")
    variance = statistics.variance(values) / len(values) if len(values) > 1 else None
    return statistics.fmean(values), variance


def member_retention(exposed: Sequence[float], laboratory: Sequence[float]) -> Retention:
    """Ratio of means of the strengthened member, exposed over laboratory.

    Raises:
        ShapeError: ``inference.too-few`` for an empty group.
        RangeError: a laboratory mean of zero.
    """
    (e, ve), (lab, vl) = (
        _mean_and_variance(exposed, "exposed"),
        _mean_and_variance(laboratory, "laboratory"),
    )
    if lab == 0.0:
        raise RangeError("The mean of laboratory", lab, "other than 0")
    value = e / lab
    if ve is None or vl is None:
        return Retention(value, None)
    return Retention(value, math.sqrt(ve / lab**2 + value**2 * vl / lab**2))


def contribution_retention(
    *,
    strengthened_exposed: Sequence[float],
    unstrengthened_exposed: Sequence[float],
    strengthened_laboratory: Sequence[float],
    unstrengthened_laboratory: Sequence[float],
) -> Retention:
    """What is left of the strengthening's own contribution.

    Args:
        the four groups, in the same unit; an empty exposed unstrengthened group has no answer.

    Raises:
        ShapeError: ``inference.too-few`` for another empty group.
    """
    if not unstrengthened_exposed:
        return Retention(None, None, NO_TWIN)
    groups = [
        _mean_and_variance(values, name)
        for name, values in (
            ("strengthened_exposed", strengthened_exposed),
            ("unstrengthened_exposed", unstrengthened_exposed),
            ("strengthened_laboratory", strengthened_laboratory),
            ("unstrengthened_laboratory", unstrengthened_laboratory),
        )
    ]
    (se, vse), (ue, vue), (sl, vsl), (ul, vul) = groups
    gained = sl - ul
    if gained <= 0.0:
        return Retention(None, None, NO_GAIN)
    value = (se - ue) / gained
    variances = (vse, vue, vsl, vul)
    if any(v is None for v in variances):
        return Retention(value, None)
    exposed_part = sum(v for v in (vse, vue) if v is not None)
    laboratory_part = sum(v for v in (vsl, vul) if v is not None)
    return Retention(value, math.sqrt(exposed_part + value**2 * laboratory_part) / gained)


def contribution_interval(
    *,
    strengthened_exposed: Sequence[float],
    unstrengthened_exposed: Sequence[float],
    strengthened_laboratory: Sequence[float],
    unstrengthened_laboratory: Sequence[float],
    confidence: float = 0.95,
) -> Interval:
    """Fieller's interval of the contribution that is left.

    A ratio of two differences of means: their variances are sums of the groups', with
    Welch–Satterthwaite degrees of freedom at the estimate (F. E. Satterthwaite 1946).

    Args:
        the four groups, in the same unit, at least 2 values each.
        confidence: two-sided, between 0 and 1.

    Raises:
        ShapeError: ``inference.too-few``.
        RangeError: a strengthening that adds nothing in the laboratory, or a confidence outside
            0 to 1.
    """
    if not 0 < confidence < 1:
        raise RangeError("confidence", confidence, "between 0 and 1")
    groups = (
        (strengthened_exposed, "strengthened_exposed"),
        (unstrengthened_exposed, "unstrengthened_exposed"),
        (strengthened_laboratory, "strengthened_laboratory"),
        (unstrengthened_laboratory, "unstrengthened_laboratory"),
    )
    means, variances = [], []
    for values, name in groups:
        mean, variance = _mean_and_variance(values, name)
        if variance is None:
            raise ShapeError(
                "inference.too-few",
                f"{name} has 1 value; an interval needs at least 2.",
                argument=name,
            )
        means.append(mean)
        variances.append(variance)
    left, gained = means[0] - means[1], means[2] - means[3]
    if gained <= 0.0:
        raise RangeError("The contribution in the laboratory", gained, "above 0")
    shares = (1.0, 1.0, (left / gained) ** 2, (left / gained) ** 2)
    parts = [share * v for share, v in zip(shares, variances, strict=True)]
    freedom = [len(values) - 1 for values, _ in groups]
    total, tails = sum(parts), sum(p**2 / f for p, f in zip(parts, freedom, strict=True))
    return fieller_of_means(
        left,
        variances[0] + variances[1],
        gained,
        variances[2] + variances[3],
        degrees_of_freedom=total**2 / tails if tails else float(sum(freedom)),
        confidence=confidence,
        method="Fieller, separate variances",
    )
