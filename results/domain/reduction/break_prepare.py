"""From the raw channels of a break test to its envelope: zero, settlement, seating, loops."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.break_curve import Curve, envelope_kernel
from results.domain.reduction.break_settings import BreakSettings
from results.domain.reduction.compiled import loop_for
from results.domain.reduction.lines import line_between
from results.domain.reduction.noise import FEWEST, noise_of
from results.domain.reduction.outcome import Floats, Ints, Note
from results.domain.reduction.turning import VALLEY, turning_points

_DROP_SHARE = 0.05
_STIFFNESS_SHARE = 0.4
_LOOP_SHARE = 0.1
_REST_FEWEST = 32
_SPIKE_SIGMAS, _SPIKE_SHARE = 12.0, 0.02


@dataclass
class Prepared:
    """A record after preparation.

    Attributes:
        row: rows of the record that were used, shape (n,).
        load, deflection: kN and mm after zero, settlement and seating, shape (n,), in time order.
        curve: the envelope.
        resolved: what was chosen from the record, JSON-ready.
        notes: remarks.
    """

    row: Ints
    load: Floats
    deflection: Floats
    curve: Curve
    resolved: dict[str, float | int | bool] = field(default_factory=dict)
    notes: list[Note] = field(default_factory=list)


def channels_checked(
    load_kn: npt.ArrayLike,
    deflection_mm: npt.ArrayLike,
    others: Sequence[npt.ArrayLike],
) -> tuple[Floats, Floats, list[Floats]]:
    """Channels as rows of floats of one length.

    Raises:
        ShapeError: ``reduction.channel-lengths`` or ``break.record-short``.
    """
    rows = [np.asarray(a, dtype=np.float64) for a in (load_kn, deflection_mm, *others)]
    shapes = {a.shape for a in rows}
    if len(shapes) > 1 or rows[0].ndim != 1:
        raise ShapeError(
            "reduction.channel-lengths",
            f"Channels of shapes {sorted(shapes)} were given; allowed are rows of one length.",
        )
    return rows[0], rows[1], rows[2:]


def _usable(row_count: int, good: npt.NDArray[np.bool_], notes: list[Note]) -> Ints:
    rows = np.flatnonzero(good)
    if len(rows) < 3:
        raise ShapeError(
            "break.record-short",
            f"The record has {len(rows)} samples with load and deflection; a break test needs at "
            "least 3.",
        )
    if len(rows) < row_count:
        notes.append(
            Note(
                "break.samples-left-out",
                f"{row_count - len(rows)} of {row_count} samples are not numbers in load, "
                "deflection or settlement and were left out.",
            )
        )
    return rows


def _without_spikes(load: Floats, sigma: float, notes: list[Note]) -> npt.NDArray[np.bool_]:
    """Marks single samples that stand out from both neighbours on the same side."""
    good = np.ones(len(load), dtype=np.bool_)
    if sigma <= 0.0:
        return good
    limit = max(_SPIKE_SIGMAS * sigma, _SPIKE_SHARE * float(np.ptp(load)))
    left, right = load[1:-1] - load[:-2], load[1:-1] - load[2:]
    apart = np.abs(load[2:] - load[:-2])
    smaller = np.minimum(np.abs(left), np.abs(right))
    good[1:-1] = ~((left * right > 0.0) & (smaller > limit) & (apart < 0.5 * smaller))
    spikes = int(np.count_nonzero(~good))
    if spikes:
        notes.append(
            Note(
                "break.spikes-left-out",
                f"{spikes} single samples stand out from both neighbours by more than "
                f"{limit:.3g} kN and were left out.",
            )
        )
    return good


def _rest_count(values: Floats, sigma: float) -> int:
    """Samples at the start before a channel leaves its first level.

    Halved until it rises over them by no more than its noise (or what noise alone can feign). A
    record that begins with the ramp has next to no rest: of fewer than 32 samples an eighth
    counts.
    """
    if len(values) < FEWEST:
        return 1
    level = float(np.median(values[:8]))
    away = np.flatnonzero(np.abs(values - level) > 6.0 * sigma)
    count = max(1, int(away[0]) if len(away) else len(values))
    while count >= _REST_FEWEST:
        along = np.arange(count) - 0.5 * (count - 1)
        rise = float(along @ values[:count]) / float(along @ along) * (count - 1)
        if abs(rise) <= sigma * max(1.0, 2.5 * math.sqrt(12.0 / count)):
            return count
        count //= 2
    return max(1, count // 8)


def _check_signs(load: Floats, deflection: Floats) -> None:
    top = int(np.argmax(load))
    if load[top] <= 0.0 or -float(load.min()) > float(load[top]):
        raise ShapeError(
            "break.load-sign",
            f"The load goes from {load.min():.4g} to {load.max():.4g} kN; a break test loads in "
            "the positive sense. Turn the sign of the load in the channel map.",
        )
    if deflection[top] <= 0.0:
        raise ShapeError(
            "break.deflection-sign",
            f"The deflection at the peak load is {deflection[top]:.4g} mm; it has to grow with "
            "load. Turn its sign in the channel map.",
        )


def prepare(
    load: Floats, deflection: Floats, settlement: Sequence[Floats], settings: BreakSettings
) -> Prepared:
    """Zero, settlement of the supports, spikes, envelope and seating of a record.

    Args:
        load, deflection: kN and mm, shape (n,).
        settlement: one channel for each support, mm, shape (n,); their mean is subtracted.
        settings: see ``BreakSettings``.

    Raises:
        ShapeError: too few samples, or a sign that cannot be.
    """
    notes: list[Note] = []
    net = deflection - np.mean(settlement, axis=0) if settlement else deflection
    rows = _usable(len(load), np.isfinite(load) & np.isfinite(net), notes)
    sigma = noise_of(load[rows]).sigma
    rows = rows[_without_spikes(load[rows], sigma, notes)]
    p, d = load[rows], net[rows]
    resolved: dict[str, float | int | bool] = {
        "noise_load_kn": sigma,
        "zero_load_kn": 0.0,
        "zero_deflection_mm": 0.0,
        "settlement_channels": len(settlement),
    }
    if settings.zero == "rest":
        p, d = _zeroed(p, d, settings, resolved, notes)
    _check_signs(p, d)
    curve = _envelope(rows, p, d, sigma, settings)
    prepared = Prepared(rows, p, d, curve, resolved, notes)
    _note_loops(prepared)
    return _seated(prepared, settings) if settings.seating == "toe" else prepared


def _zeroed(
    load: Floats,
    deflection: Floats,
    settings: BreakSettings,
    resolved: dict[str, float | int | bool],
    notes: list[Note],
) -> tuple[Floats, Floats]:
    count = _rest_count(load, float(resolved["noise_load_kn"]))
    # Each channel has its own rest: with slack, deflection runs ahead of load.
    still = min(count, _rest_count(deflection, noise_of(deflection).sigma))
    rest, zero = float(np.mean(load[:count])), float(np.mean(deflection[:still]))
    resolved["rest_samples"] = count
    resolved["zero_deflection_mm"] = zero
    if abs(rest) > settings.zero_limit_share * float(np.max(np.abs(load))):
        resolved["preload_kn"] = rest
        notes.append(
            Note(
                "break.preload",
                f"The record begins at {rest:.4g} kN, more than "
                f"{100 * settings.zero_limit_share:g} % of its peak: taken as a preload and kept; "
                "deflections count from there.",
            )
        )
        return load, deflection - zero
    resolved["zero_load_kn"] = rest
    return load - rest, deflection - zero


def _envelope(
    rows: Ints, load: Floats, deflection: Floats, sigma: float, settings: BreakSettings
) -> Curve:
    peak = float(load.max())
    at = int(np.flatnonzero(load >= _STIFFNESS_SHARE * peak)[0])
    stiffness = float(load[at] / deflection[at]) if deflection[at] > 0.0 else 0.0
    keep, flat = np.empty(len(load), dtype=np.int64), np.empty(len(load))
    loop = loop_for(envelope_kernel, len(load))
    drop = max(_DROP_SHARE * peak, 6.0 * sigma)
    kept = loop(load, deflection, stiffness, settings.unloading_recovery, drop, keep, flat)
    keep, flat = keep[:kept], flat[:kept].copy()
    top = int(np.argmax(load))
    if top not in keep:
        # The largest sample is the peak, even where its deflection lags by a little noise.
        at = int(np.searchsorted(keep, top))
        keep = np.insert(keep, at, top)
        flat = np.insert(flat, at, flat[at - 1])
    return Curve(rows[keep], flat, load[keep], sigma)


def _note_loops(prepared: Prepared) -> None:
    load = prepared.load
    top = int(np.argmax(load))
    points = turning_points(load[: top + 1], _LOOP_SHARE * float(load[top]))
    loops = int(np.count_nonzero(points.kind[1:] == VALLEY))
    prepared.resolved["unloadings"] = loops
    if loops:
        prepared.notes.append(
            Note(
                "break.unloadings",
                f"The load was taken back {loops} times before the peak (by more than 10 % of "
                "it). Metrics are read off the envelope; the loops are left out of energies.",
            )
        )


def _seated(prepared: Prepared, settings: BreakSettings) -> Prepared:
    """Replaces a soft toe by the line above it, where there is one."""
    curve = prepared.curve
    low, high = (
        curve.rising_to(share * curve.peak_load)
        for share in (settings.seating_low_share, settings.seating_high_share)
    )
    start = float(curve.deflection[0])
    prepared.resolved["toe_mm"] = 0.0
    if low is None or high is None or not start < low < high:
        return prepared
    line = line_between(curve.deflection, curve.load, low, high)
    soft = (curve.load_at(low) - float(curve.load[0])) / (low - start)
    if line is None or line.slope <= 0.0 or soft >= settings.seating_stiffness_ratio * line.slope:
        return prepared
    toe = -line.at_zero / line.slope
    prepared.resolved["toe_mm"] = toe
    prepared.notes.append(
        Note(
            "break.seating",
            f"The curve seats softly up to {curve.load_at(low):.3g} kN ({soft:.3g} against "
            f"{line.slope:.3g} kN/mm); deflections count from {toe:.4g} mm, where the line above "
            "meets zero load.",
        )
    )
    above = curve.deflection >= low
    first = int(np.flatnonzero(above)[0])
    seated = replace(
        curve,
        index=np.concatenate([curve.index[max(first - 1, 0) : first], curve.index[above]]),
        deflection=np.concatenate([[0.0], curve.deflection[above] - toe]),
        load=np.concatenate([[0.0], curve.load[above]]),
    )
    return replace(prepared, curve=seated, deflection=prepared.deflection - toe)
