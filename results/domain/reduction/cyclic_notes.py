"""Remarks on a cyclic record as a whole: what was left out, interrupted or could not be known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.outcome import Note


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _interruptions(resolved: Mapping[str, Any], settings: CyclicSettings) -> Iterator[Note]:
    left_out, gaps = resolved["count_left_out"], resolved["count_gaps"]
    backward, stalls = resolved["count_backward"], resolved["count_stalls"]
    if left_out:
        yield Note(
            "cyclic.samples-left-out",
            f"{left_out} of {resolved['count_rows']} samples are not numbers in load, deflection "
            "or time and were left out.",
        )
    if resolved["count_dropouts"]:
        yield Note(
            "cyclic.dropouts",
            f"{resolved['count_dropouts']} samples lie in drop-outs (jumps away and back within "
            f"{settings.dropout_samples} samples) and were left out.",
        )
    if gaps:
        yield Note(
            "cyclic.gaps",
            f"The record is interrupted {_times(gaps)} for more than {settings.gap_intervals:g} "
            f"sampling intervals. {resolved['count_not_whole']} cycles with a short gap in them "
            "are counted but give no metric. Load cycles during a long gap are not counted: "
            "number later cycles by a record of their own with its cycle offset.",
        )
    if backward:
        yield Note(
            "cyclic.time-backward",
            f"Time runs backward {_times(backward)}; the record was cut there as at a gap.",
        )
    if stalls:
        yield Note(
            "cyclic.standstill",
            f"There was no reversal for more than {settings.longest_cycle_samples} samples "
            f"({_times(stalls)}); the cycle across it is not complete.",
        )


def _edges(resolved: Mapping[str, Any]) -> Iterator[Note]:
    starts, ends = resolved["count_starts_cut"], resolved["count_ends_cut"]
    if starts:
        yield Note(
            "cyclic.partial-start",
            f"The record (or a stretch after an interruption) begins within a cycle or with a "
            f"ramp, {_times(starts)}: counting starts at the first valley after it.",
        )
    if ends:
        yield Note(
            "cyclic.partial-end",
            f"The record (or a stretch before an interruption) ends within a cycle, "
            f"{_times(ends)}: an unfinished cycle is not counted.",
        )


def record_notes(
    resolved: Mapping[str, Any],
    settings: CyclicSettings,
    counts: Mapping[bool, int],
    speed: str | None,
) -> list[Note]:
    """Remarks on a record.

    Args:
        resolved: what the stream chose and counted.
        settings: as given.
        counts: complete cycles by speed (True for static).
        speed: the speed whose cycles give metrics, None where it is not known.
    """
    notes = [*_interruptions(resolved, settings), *_edges(resolved)]
    band = resolved["noise_band"]
    by_load = settings.cycles_by == "load"
    spread = resolved["spread_load_kn" if by_load else "spread_deflection_mm"]
    if not sum(counts.values()):
        notes.append(
            Note(
                "cyclic.no-cycle",
                f"No complete load cycle was found: the record moves by {spread:.4g} "
                f"{'kN' if by_load else 'mm'} and moves up to {band:.4g} count as noise.",
            )
        )
    elif settings.noise_band is None and 4.0 * band > spread:
        notes.append(
            Note(
                "cyclic.band-wide",
                f"The noise band chosen from the record, {band:.4g}, is more than a quarter of "
                f"its range {spread:.4g}; small cycles may be missed: look, and set the band.",
            )
        )
    if not resolved["timed"]:
        notes.append(
            Note(
                "cyclic.no-time",
                "The record has no time: frequency is not reported, and gaps show only where "
                "samples were left out.",
            )
        )
    elif counts[speed != "static"]:
        notes.append(
            Note(
                "cyclic.other-speed",
                f"{counts[speed != 'static']} complete cycles are not {speed} (limit "
                f"{settings.static_below_hz:g} Hz); they are counted and listed but give no "
                "metric.",
            )
        )
    return notes
