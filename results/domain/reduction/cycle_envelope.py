"""Envelope of a reversed cyclic test, and its equal-energy yield (form of ASTM E2126)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any, ClassVar, Final, Literal

import numpy as np
import numpy.typing as npt

from results.domain.reduction.break_curve import Curve
from results.domain.reduction.break_prepare import channels_checked
from results.domain.reduction.noise import noise_of
from results.domain.reduction.outcome import Bound, Floats, Found, Ints, Note, Outcome, Point
from results.domain.reduction.settings import JoinedSettings, setting
from results.domain.reduction.turning import turning_points

REDUCTION: Final = "envelope"
VERSION: Final = "1"
Side = Literal["positive", "negative"]
SIDES: tuple[Side, Side] = ("positive", "negative")
_SIGN: Mapping[str, float] = MappingProxyType({"positive": 1.0, "negative": -1.0})
_LARGER = 1.02


class EnvelopeSettings(JoinedSettings):
    """How the envelope of reversed cycles is taken and read."""

    REDUCTION: ClassVar[str] = "envelope"

    band_mm: float | None = setting(
        None,
        unit="mm",
        gt=0.0,
        rule="Reversals of the deflection within this band are noise. Where it is not given: "
        "twelve times the noise, four times the resolution and at least 1 % of the range.",
    )
    elastic_share: float = setting(
        0.40, unit="1", gt=0.05, lt=0.75, rule="Share of the peak whose secant is elastic."
    )
    ultimate_share: float = setting(
        0.80,
        unit="1",
        ge=0.5,
        lt=1.0,
        rule="Ultimate is where the envelope has fallen to this share of its peak; where it does "
        "not, its last point is a lower bound.",
    )


def cycle_envelope(load: Floats, deflection: Floats, side: Side, band_mm: float) -> Curve | None:
    """The envelope of one side of a reversed record, both axes turned positive.

    Between two zero crossings of the deflection, the sample of largest load (of several, the
    furthest one) counts, where the reversal goes at least 2 % further than every one before it on
    this side: the first cycle at each new amplitude.

    Args:
        load, deflection: kN and mm, finite, shape (n,).
        side: of the deflection.
        band_mm: reversals within it are noise, mm.

    Returns:
        The curve from the origin, or None where the record never loads to this side.
    """
    sign = _SIGN[side]
    points = turning_points(sign * deflection, band_mm)
    picked, furthest = [], 0.0
    for k in np.flatnonzero((points.kind > 0) & (points.value > band_mm)).tolist():
        if points.value[k] < _LARGER * furthest:
            continue
        furthest = float(points.value[k])
        start = int(points.index[k - 1]) if k else 0
        stop = int(points.index[k + 1]) if k + 1 < len(points.index) else len(load) - 1
        outward = np.arange(start, stop + 1)[sign * deflection[start : stop + 1] > 0.0]
        picked.append(_largest(sign * load, sign * deflection, outward))
    if not picked:
        return None
    rows = np.array(picked, dtype=np.int64)
    x = np.concatenate([[0.0], sign * deflection[rows]])
    y = np.concatenate([[0.0], sign * load[rows]])
    if y.max() <= 0.0:
        return None
    return Curve(np.concatenate([rows[:1], rows]), np.maximum.accumulate(x), y, sigma=0.0)


def _largest(load: Floats, deflection: Floats, rows: Ints) -> int:
    """The row of largest load; of several, as on a plateau, the one of largest deflection."""
    tied = rows[load[rows] == load[rows].max()]
    return int(tied[np.argmax(deflection[tied])])


def reduce_envelope(
    *,
    load_kn: npt.ArrayLike,
    deflection_mm: npt.ArrayLike,
    settings: EnvelopeSettings | None = None,
) -> Outcome:
    """Reads both envelopes of a reversed cyclic test.

    Args:
        load_kn, deflection_mm: kN and mm, shape (n,); samples that are not numbers are left out.
        settings: defaults where not given.

    Returns:
        For each side (the method of the metrics): ``envelope_peak_load``,
        ``envelope_peak_deflection``, ``envelope_ultimate_deflection``, ``envelope_stiffness``,
        ``envelope_yield_load``, ``envelope_yield_deflection`` and ``envelope_ductility``; the
        envelope as a table with columns ``side`` (+1, −1), ``index``, ``deflection_mm`` and
        ``load_kn``, signed as recorded.

    Raises:
        ShapeError: channels of different lengths.
    """
    settings = settings or EnvelopeSettings()
    load, deflection, _ = channels_checked(load_kn, deflection_mm, [])
    rows = np.flatnonzero(np.isfinite(load) & np.isfinite(deflection))
    load, deflection = load[rows], deflection[rows]
    band = settings.band_mm or _band(deflection)
    reading = _Reading(settings)
    for side in SIDES:
        curve = cycle_envelope(load, deflection, side, band)
        if curve is None:
            reading.note(
                "no-side", f"The record never loads to the {side} side (beyond {band:.3g} mm)."
            )
        else:
            reading.read(replace(curve, index=rows[curve.index]), side)
    return Outcome(
        metrics=tuple(reading.metrics),
        warnings=tuple(reading.notes),
        marks=tuple(reading.marks),
        settings=settings.as_dict() | {"band_mm": band},
        table=reading.table(),
    )


def _band(deflection: Floats) -> float:
    noise = noise_of(deflection)
    spread = float(np.ptp(deflection)) if len(deflection) else 0.0
    return max(12.0 * noise.sigma, 4.0 * noise.resolution, 0.01 * spread)


class _Reading:
    """Reads metrics off the envelopes, one side after the other."""

    def __init__(self, settings: EnvelopeSettings) -> None:
        self.settings = settings
        self.metrics: list[Found] = []
        self.notes: list[Note] = []
        self.marks: list[Point] = []
        self.curves: list[tuple[float, Curve]] = []

    def note(self, code: str, message: str) -> None:
        self.notes.append(Note(f"envelope.{code}", message))

    def read(self, curve: Curve, side: Side) -> None:
        """Peak, ultimate and equal-energy yield of one side."""
        sign = _SIGN[side]
        self.curves.append((sign, curve))

        def add(name: str, value: float, unit: str, bound: Bound | None = None) -> None:
            found = Found(f"envelope_{name}", value, unit, bound=bound, method=side)
            self.metrics.append(found)

        def mark(deflection: float, load: float, label: str) -> None:
            point = curve.point(deflection, load, f"{label} of the {side} envelope")
            self.marks.append(replace(point, deflection_mm=sign * deflection, load_kn=sign * load))

        add("peak_load", curve.peak_load, "kN")
        add("peak_deflection", curve.peak_deflection, "mm")
        mark(curve.peak_deflection, curve.peak_load, "peak")
        fallen = curve.falls_to(self.settings.ultimate_share * curve.peak_load)
        bound: Bound | None = "lower" if fallen is None else None
        ultimate = curve.end if fallen is None else fallen
        add("ultimate_deflection", ultimate, "mm", bound)
        mark(ultimate, curve.load_at(ultimate), "ultimate" if fallen else "end")
        corner = curve.equal_energy(self.settings.elastic_share, ultimate)
        if corner is None:
            self.note(
                "no-equal-energy",
                f"The {side} envelope has no elastic–perfectly plastic curve of equal energy.",
            )
            return
        deflection, load = corner
        add("stiffness", load / deflection, "kN/mm")
        add("yield_load", load, "kN")
        add("yield_deflection", deflection, "mm")
        add("ductility", ultimate / deflection, "1", bound)
        mark(deflection, load, "equal-energy yield")

    def table(self) -> dict[str, npt.NDArray[Any]]:
        """The envelopes as recorded, one side after the other."""
        sides = [np.full(len(curve.index), int(sign)) for sign, curve in self.curves]
        return {
            "side": np.concatenate([np.empty(0, dtype=np.int64), *sides]),
            "index": np.concatenate(
                [np.empty(0, dtype=np.int64), *(curve.index for _, curve in self.curves)]
            ),
            "deflection_mm": np.concatenate(
                [np.empty(0), *(sign * curve.deflection + 0.0 for sign, curve in self.curves)]
            ),
            "load_kn": np.concatenate(
                [np.empty(0), *(sign * curve.load + 0.0 for sign, curve in self.curves)]
            ),
        }
