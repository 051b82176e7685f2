"""The values of a cell as dots on a line, with mean and scatter, on one common scale."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Scale:
    """From low to high, both in the metric's unit, onto 0 to width of a drawing."""

    low: float
    high: float
    width: float

    def x(self, value: float) -> float:
        """Where a value is drawn, kept on the line."""
        share = (value - self.low) / (self.high - self.low)
        return round(min(max(share, 0.0), 1.0) * self.width, 1)


@dataclass(frozen=True)
class Value:
    """One specimen's value: in the metric's unit, whether it is a bound, whether it is imported."""

    value: float
    bound: bool = False
    imported: bool = False


@dataclass(frozen=True)
class Dot:
    """Where one specimen's value lies, and what is told of it."""

    x: float
    code: str
    bound: bool
    imported: bool


@dataclass(frozen=True)
class Strip:
    """What is drawn of one cell: a dot for each specimen, the mean, one s to either side.

    Attributes:
        dots: of each specimen.
        mean: where the mean lies; None without one.
        low, high: where mean − s and mean + s lie; None below two specimens.
    """

    dots: tuple[Dot, ...]
    mean: float | None
    low: float | None
    high: float | None


def scale_for(values: Sequence[float], *, width: float) -> Scale:
    """The scale that holds every value and zero, so that lengths can be compared."""
    low, high = min([0.0, *values]), max([0.0, *values])
    return Scale(low, high if high > low else low + 1.0, width)


def strip_of(
    values: Mapping[str, Value], mean: float | None, s: float | None, scale: Scale
) -> Strip:
    """The strip of one cell.

    Args:
        values: by specimen, several of one as their mean.
        mean: of the cell, None without one.
        s: sample standard deviation, None below two specimens.
        scale: common to all cells.
    """
    around = (None, None) if mean is None or s is None else (scale.x(mean - s), scale.x(mean + s))
    return Strip(
        dots=tuple(
            Dot(scale.x(v.value), code, v.bound, v.imported) for code, v in sorted(values.items())
        ),
        mean=None if mean is None else scale.x(mean),
        low=around[0],
        high=around[1],
    )
