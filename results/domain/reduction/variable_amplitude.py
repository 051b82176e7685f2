"""Counting of a variable-amplitude load history: ranges, half cycles, damage by a stated line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar, Final, Self

import numpy as np
import numpy.typing as npt
from pydantic import model_validator

from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.counting import RESIDUE_RULE, FatigueLine, rainflow
from results.domain.reduction.noise import noise_of
from results.domain.reduction.outcome import Found, Note, Outcome
from results.domain.reduction.settings import ReductionSettings, setting

REDUCTION: Final = "counting"
VERSION: Final = "1"
_MUCH = 0.1


class CountingSettings(ReductionSettings):
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
        ``damage``; the residue rule among the notes; the counted ranges as a table with columns
        ``range_kn``, ``mean_kn``, ``count``, ``first_index`` and ``last_index``.

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
    )


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
