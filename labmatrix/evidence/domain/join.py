"""Several files of one test on one clock: the files are joined on the load that each carries.

The first file whose load the channel map names is the reference: its rows are the rows of the
joined record. The channels of every other file are moved by the clock offset and interpolated
there; outside its time and across its gaps they are missing. The other file's own load has then
done its work: how well it agrees stays in the offset, and the reference's load is the load.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.domain.channels import Channel, Channels
from labmatrix.evidence.domain.clock_offset import ClockOffset, clock_offset
from labmatrix.evidence.domain.load_fit import LoadTrace
from labmatrix.kernel.errors import ShapeError

# Across a gap of more than this many usual steps nothing is interpolated.
GAP_STEPS = 10.0
# A gain beyond this says that the two loads are not calibrated alike.
GAIN_BAND = 0.02


@dataclass(frozen=True)
class JoinRemark:
    """Something that a person should know about a join: a stable code and a sentence."""

    code: str
    message: str


@dataclass(frozen=True, eq=False)
class Joined:
    """A record of several files on the clock and rows of the reference.

    Attributes:
        channels: all channels, each with as many values as the reference has rows.
        reference: name of the reference file.
        offsets: for every other file how its clock stands, in the order of the channel map.
        remarks: what should be looked at.
    """

    channels: Channels
    reference: str
    offsets: tuple[ClockOffset, ...]
    remarks: tuple[JoinRemark, ...]


def join_files(
    channels: Channels,
    *,
    seconds_per_row: Mapping[str, float] | None = None,
    search_s: tuple[float, float] | None = None,
    stated_offset_s: Mapping[str, float] | None = None,
) -> Joined:
    """The channels of several files of one test, on one clock.

    Args:
        channels: what ``apply_map`` gives for the files.
        seconds_per_row: for a file without a time column, the time between two rows.
        search_s: smallest and largest clock offset to try; None tries all.
        stated_offset_s: for a file whose offset a person states, that offset
            (time in the reference = time in the file + offset); the load then only confirms it.

    Raises:
        ShapeError: ``join.…``, where a file has no load or no time, or where no offset is
            convincing.
    """
    files = list(dict.fromkeys(channel.file for channel in channels.channels))
    if len(files) == 1:
        return Joined(channels, files[0], (), ())
    rates, stated = seconds_per_row or {}, stated_offset_s or {}
    reference = _reference(channels, files)
    at = _clock(channels, reference, rates)
    kept = [channel for channel in channels.channels if channel.file == reference]
    offsets: list[ClockOffset] = []
    remarks: list[JoinRemark] = []
    for file in [file for file in files if file != reference]:
        search = (stated[file], stated[file]) if file in stated else search_s
        offset = clock_offset(
            _trace(channels, reference, at),
            _trace(channels, file, _clock(channels, file, rates)),
            search_s=search,
        )
        moved = _clock(channels, file, rates) + offset.offset_s
        offsets.append(offset)
        remarks += join_remarks(offset, _usual_step(at))
        kept += [
            _moved(channel, moved, at, reference)
            for channel in channels.channels
            if channel.file == file and channel.quantity not in ("time", "load")
        ]
    return Joined(Channels(tuple(kept)), reference, tuple(offsets), tuple(remarks))


def _reference(channels: Channels, files: list[str]) -> str:
    with_load = {channel.file for channel in channels.all("load")}
    without = [file for file in files if file not in with_load]
    if without:
        raise ShapeError(
            "join.load-missing",
            f"Files of one test are joined on the load that each carries; {', '.join(without)} "
            "has no load in the channel map. Map its load, or send it as a record of its own.",
            files=without,
        )
    return next(file for file in files if file in with_load)


def _load(channels: Channels, file: str) -> Channel:
    return Channels(tuple(c for c in channels.channels if c.file == file)).one("load")


def _clock(channels: Channels, file: str, rates: Mapping[str, float]) -> NDArray[np.float64]:
    """Seconds of each row of a file, rows that share one stamp spread over its length."""
    load = _load(channels, file)
    time = channels.time_of(load)
    if time is not None:
        return spread_equal_stamps(time)
    if file not in rates:
        raise ShapeError(
            "join.time-missing",
            f"{file} has no time in the channel map, so its clock cannot be compared; map its "
            "time column or state the seconds between two rows.",
            file=file,
        )
    return rates[file] * np.arange(len(load.values), dtype=np.float64)


def spread_equal_stamps(time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Time whose clock is coarser than the sampling: rows with one stamp share its length evenly.

    Args:
        time: seconds, shape (rows,).

    Returns:
        Seconds, shape (rows,); unchanged where fewer than half of the rows repeat a stamp.
    """
    steps = np.diff(time)
    if len(steps) == 0 or 2 * np.count_nonzero(steps == 0) < len(steps):
        return time
    starts = np.concatenate(([0], 1 + np.flatnonzero(steps != 0)))
    lengths = np.diff(np.concatenate((starts, [len(time)])))
    stamps = time[starts]
    tick = float(np.median(np.diff(stamps))) if len(stamps) > 1 else 0.0
    share = np.concatenate([np.arange(n) / n for n in lengths])
    # The first and the last stamp may be partly filled: their rows keep the usual spacing.
    usual = float(np.median(lengths))
    if len(lengths) > 1 and lengths[0] < usual:
        share[: lengths[0]] = 1.0 - np.arange(lengths[0], 0, -1) / usual
    if len(lengths) > 1 and lengths[-1] < usual:
        share[starts[-1] :] = np.arange(lengths[-1]) / usual
    return np.repeat(stamps, lengths) + tick * share


def _trace(channels: Channels, file: str, time: NDArray[np.float64]) -> LoadTrace:
    """Time and load of a file where both are there, time rising."""
    load = _load(channels, file).values
    there = np.isfinite(time) & np.isfinite(load)
    time, load = time[there], load[there]
    if len(time):
        highest = np.maximum.accumulate(time)
        rising = np.concatenate(([True], time[1:] > highest[:-1]))
        time, load = time[rising], load[rising]
    return LoadTrace(file, time, load)


def _usual_step(time: NDArray[np.float64]) -> float:
    there = time[np.isfinite(time)]
    return float(np.median(np.abs(np.diff(there)))) if len(there) > 1 else 0.0


def _moved(
    channel: Channel, time: NDArray[np.float64], at: NDArray[np.float64], reference: str
) -> Channel:
    """A channel interpolated at the reference's times; missing outside and across gaps."""
    there = np.isfinite(time) & np.isfinite(channel.values)
    known, values = time[there], channel.values[there]
    order = np.argsort(known, kind="stable")
    known, values = known[order], values[order]
    result = np.full(len(at), np.nan)
    if len(known) > 1:
        after = np.searchsorted(known, at, side="left").clip(1, len(known) - 1)
        gap = known[after] - known[after - 1]
        inside = (at >= known[0]) & (at <= known[-1])
        inside &= gap <= GAP_STEPS * _usual_step(known)
        result[inside] = np.interp(at[inside], known, values)
    return replace(channel, values=result, file=reference, joined_from=channel.file)


def join_remarks(offset: ClockOffset, step: float) -> list[JoinRemark]:
    """What should be said of an offset; ``step`` is the usual step of the reference in s."""
    remarks = [
        JoinRemark(
            "join.offset",
            f"The clock of {offset.file} is moved by {offset.offset_s:+.4g} s "
            f"(± {offset.uncertainty_s:.2g} s) onto that of {offset.reference}; the loads "
            f"correlate with {offset.correlation:.4f} over {offset.overlap_s:.4g} s.",
        )
    ]
    if abs(offset.gain - 1.0) > GAIN_BAND:
        remarks.append(
            JoinRemark(
                "join.gain",
                f"The load in {offset.file} reads {offset.gain:.3f} times that in "
                f"{offset.reference}; one of the two is calibrated or scaled otherwise.",
            )
        )
    if abs(offset.drift_s) > max(step, 6.0 * offset.uncertainty_s):
        remarks.append(
            JoinRemark(
                "join.drift",
                f"The clocks of {offset.file} and {offset.reference} drift apart by "
                f"{offset.drift_s:+.3g} s within the test; late samples are off by that much.",
            )
        )
    return remarks
