"""Counting of a variable-amplitude load history: ranges, half cycles, damage by a stated line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, ClassVar, Final, Self

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.counting import (
    RESIDUE_RULE,
    FatigueLine,
    Rainflow,
    level_crossings,
    rainflow,
)
from results.domain.reduction.noise import noise_of
from results.domain.reduction.outcome import Found, Note, Outcome
from results.domain.reduction.settings import JoinedSettings, setting
from results.domain.reduction.turning import TurningPoints, turning_points

REDUCTION: Final = "counting"
VERSION: Final = "1"
_MUCH = 0.1


class CountingSettings(JoinedSettings):
    """How a load history of variable amplitude is counted."""

    REDUCTION: ClassVar[str] = "counting"

    band_kn: float | None = setting(
        None,
        unit="kN",
        ge=0.0,
        rule="Moves of the load up to this size are noise. Where it is not given: twelve times "
        "the standard deviation of the noise, four times the resolution and at least 2 % of the "
        "range.",
    )
    exponent: float = setting(
        5.0,
        unit="1",
        gt=0.0,
        rule="Slope of the line for which the share of damage that half cycles carry is given.",
    )
    range_classes: int = setting(
        16, unit="1", ge=1, le=256, rule="Classes of equal width in which ranges are summed up."
    )
    level_count: int = setting(
        16,
        unit="1",
        ge=1,
        le=256,
        rule="Level crossings (ASTM E1049) are counted at this many levels, equally spaced between "
        "the smallest and the largest load, on the reversals beyond the noise: rising ones at the "
        "reference level and above it, falling ones below it.",
    )
    reference_level_kn: float = setting(
        0.0, unit="kN", rule="Level that divides rising from falling crossings."
    )
    line_range_kn: float | None = setting(
        None, unit="kN", gt=0.0, rule="A range on the stated line of load range over cycles."
    )
    line_cycles: float | None = setting(
        None, unit="1", gt=0.0, rule="Cycles to failure at that range."
    )
    line_threshold_kn: float = setting(
        0.0, unit="kN", ge=0.0, rule="Ranges up to this one do no damage."
    )
    line_source: str = setting(
        "",
        unit="1",
        rule="Where the line comes from, in words; damage is given only for a stated line.",
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        given = (self.line_range_kn is not None, self.line_cycles is not None, self.line_source)
        if any(given) and not all(given):
            raise ValueError(
                "a line needs line_range_kn, line_cycles and line_source, all three or none"
            )
        return self

    def line(self) -> FatigueLine | None:
        """The stated line, with the slope ``exponent``; None where none is stated."""
        if self.line_range_kn is None or self.line_cycles is None:
            return None
        return FatigueLine(
            reference_range=self.line_range_kn,
            reference_cycles=self.line_cycles,
            exponent=self.exponent,
            source=self.line_source,
            threshold=self.line_threshold_kn,
        )


def reduce_counting(*, load_kn: npt.ArrayLike, settings: CountingSettings | None = None) -> Outcome:
    """Counts a load history by rainflow (ASTM E1049).

    Args:
        load_kn: kN, shape (n,); samples that are not numbers are left out.
        settings: defaults where not given.

    Returns:
        ``counted_cycles``, ``largest_range``, ``half_cycle_share`` and, for a stated line,
        ``damage``; the residue rule among the notes; ranges by class and level crossings as
        summaries; the counted ranges as a table with columns ``range_kn``, ``mean_kn``,
        ``count``, ``first_index`` and ``last_index``.

    Raises:
        ShapeError: not one row of samples.
    """
    settings = settings or CountingSettings()
    load = np.asarray(load_kn, dtype=np.float64)
    if load.ndim != 1:
        raise ShapeError(
            "reduction.history-shape",
            f"A history of shape {load.shape} was given; allowed is one row of samples.",
        )
    rows = np.flatnonzero(np.isfinite(load))
    band = noise_of(load[rows]).band if settings.band_kn is None else settings.band_kn
    counted = rainflow(load[rows], band)
    share = counted.half_cycle_share(settings.exponent)
    slope = f"m = {settings.exponent:g}"
    metrics = [
        Found("counted_cycles", float(counted.counts.sum()), "1"),
        Found("half_cycle_share", share, "1", method=slope),
    ]
    if len(counted.ranges):
        metrics.append(Found("largest_range", float(counted.ranges.max()), "kN"))
    line = settings.line()
    if line is not None:
        metrics.append(Found("damage", line.damage(counted), "1", method=f"{slope}, {line.source}"))
    return Outcome(
        metrics=tuple(metrics),
        warnings=tuple(_notes(len(load) - len(rows), len(load), share, settings.exponent)),
        settings=settings.as_dict() | {"band_kn": band},
        table={
            "range_kn": counted.ranges,
            "mean_kn": counted.means,
            "count": counted.counts,
            "first_index": rows[counted.first],
            "last_index": rows[counted.last],
        },
        summaries=(
            _by_class(counted, settings),
            _crossed(turning_points(load[rows], band), settings),
        ),
    )


def _by_class(counted: Rainflow, settings: CountingSettings) -> dict[str, Any]:
    """Counts of equal classes of range, and what each does to a line of the stated slope."""
    size = float(counted.ranges.max()) if len(counted.ranges) else 1.0
    edges = np.linspace(0.0, size, settings.range_classes + 1)
    where = np.clip(np.searchsorted(edges, counted.ranges, side="left") - 1, 0, None)
    total = counted.power_sum(settings.exponent)
    rows = []
    for k in range(settings.range_classes):
        of_class = where == k
        counts, ranges = counted.counts[of_class], counted.ranges[of_class]
        if not len(counts):
            continue
        share = float(np.sum(counts * ranges**settings.exponent)) / total if total else 0.0
        halves = float(counts[counts < 1.0].sum())
        rows.append(
            [float(edges[k]), float(edges[k + 1]), float(counts.sum()), halves, 100 * share]
        )
    return {
        "caption": "Rainflow: ranges of load by class, above the first limit up to the second; "
        f"share of the damage of a line of slope {settings.exponent:g}. {RESIDUE_RULE}",
        "columns": [
            {"label": "Range above", "unit": "kN"},
            {"label": "up to", "unit": "kN"},
            {"label": "Cycles"},
            {"label": "of them as half cycles"},
            {"label": "Share of damage", "unit": "%", "digits": 3},
        ],
        "rows": rows,
    }


def _crossed(points: TurningPoints, settings: CountingSettings) -> dict[str, Any]:
    """Level crossings between the extremes of the history, its noise aside."""
    values = points.value
    rows: list[list[float]] = []
    if len(values) > 1:
        low, high = float(values.min()), float(values.max())
        levels = np.linspace(low, high, settings.level_count + 2)[1:-1]
        found = level_crossings(values, levels, settings.reference_level_kn)
        rows = [[level, count] for level, count in found.items()]
    return {
        "caption": "Level crossings (ASTM E1049): rising ones at and above "
        f"{settings.reference_level_kn:g} kN, falling ones below it.",
        "columns": [{"label": "Level", "unit": "kN"}, {"label": "Crossings"}],
        "rows": rows,
    }


def _notes(left_out: int, samples: int, share: float, exponent: float) -> Iterator[Note]:
    yield Note("counting.residue-rule", RESIDUE_RULE)
    if left_out:
        yield Note(
            "counting.samples-left-out",
            f"{left_out} of {samples} samples are not numbers and were left out.",
        )
    if share > _MUCH:
        yield Note(
            "counting.half-cycles",
            f"Half cycles carry {100 * share:.3g} % of the damage of a line of slope "
            f"{exponent:g}: the figure depends on where the history was cut.",
        )
