"""One pass over a cyclic record of any length, in bounded memory.

Samples go in by chunks of any size, finished cycles come out by chunks. What is kept is the open
cycle (never longer than ``longest_cycle_samples``), a margin for the local fit, and the cycles
that give metrics; the outcome does not depend on how the record was cut into chunks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from labmatrix.kernel.errors import RangeError, RuleBroken, ShapeError
from results.domain.reduction.compiled import loop_for
from results.domain.reduction.cycles import COLUMNS, WINDOW_MAX, CycleMeasure
from results.domain.reduction.cyclic_metrics import Keeper
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.noise import HEAD, Noise, noise_of
from results.domain.reduction.outcome import Floats, Ints, Outcome, Table
from results.domain.reduction.sample_buffer import Part, SampleBuffer
from results.domain.reduction.turning import FALLING, VALLEY, new_state, scan_kernel

STATE_VERSION = 1
_COUNTERS = ("left_out", "gaps", "backward", "stalls", "starts_cut", "ends_cut", "cycles", "rows")


class CyclicStream:
    """Finds and measures load cycles while the record goes by.

    Args:
        settings: see ``CyclicSettings``; what is chosen from the record is chosen from its first
            200 000 samples.
        cycle_offset: load cycles that the specimen had before this record.

    Raises:
        RangeError: ``cycle_offset`` below 0.
    """

    def __init__(self, settings: CyclicSettings, *, cycle_offset: int = 0) -> None:
        if cycle_offset < 0:
            raise RangeError("cycle_offset", cycle_offset, "0 or more load cycles")
        self.settings = settings
        self.cycle_offset = cycle_offset
        self.timed: bool | None = None
        self.noise_load: Noise | None = None
        self.noise_deflection: Noise | None = None
        self.interval_s: float | None = None
        self.band = 0.0
        self.closed = False
        self.count = dict.fromkeys(_COUNTERS, 0)
        self.keeper = Keeper(settings)
        self._buffer = SampleBuffer()
        self._scan_f, self._scan_i = new_state()
        self._seen = 0
        self._stretch = 0
        self._stretch_start = True
        self._open: list[int] = []
        self._last_step: tuple[float, int] | None = None
        self._finished: list[Part] = []

    # -- samples in ------------------------------------------------------------------------

    def feed(
        self,
        load_kn: npt.ArrayLike,
        deflection_mm: npt.ArrayLike,
        time_s: npt.ArrayLike | None = None,
    ) -> None:
        """Takes the next samples of the record.

        Args:
            load_kn, deflection_mm: shape (n,); samples that are not numbers are left out.
            time_s: shape (n,), or None in every call.

        Raises:
            RuleBroken: the stream is closed.
            ShapeError: different lengths, or time in some calls only.
        """
        if self.closed:
            raise RuleBroken(
                "reduction.stream-closed",
                "Samples were fed to a stream that was closed; a closed record takes no more.",
            )
        part = self._checked(load_kn, deflection_mm, time_s)
        if self.noise_load is not None:
            self._take(part)
        else:
            self._buffer.append(part)
            if len(self._buffer) >= HEAD:
                self._choose_and_replay()
        self._buffer.own()

    def _checked(
        self, load_kn: npt.ArrayLike, deflection_mm: npt.ArrayLike, time_s: npt.ArrayLike | None
    ) -> Part:
        load = np.ascontiguousarray(load_kn, dtype=np.float64)
        deflection = np.ascontiguousarray(deflection_mm, dtype=np.float64)
        time = None if time_s is None else np.ascontiguousarray(time_s, dtype=np.float64)
        shapes = {a.shape for a in (load, deflection, time) if a is not None}
        if len(shapes) > 1 or load.ndim != 1:
            raise ShapeError(
                "reduction.channel-lengths",
                f"Channels of shapes {sorted(shapes)} were given; allowed are rows of one length.",
            )
        if self.timed is None:
            self.timed = time is not None
        elif self.timed != (time is not None):
            raise ShapeError(
                "reduction.time-sometimes",
                "Time was given for one part of the record and not for another; allowed is all "
                "or none.",
            )
        row = np.arange(self.count["rows"], self.count["rows"] + len(load), dtype=np.int64)
        self.count["rows"] += len(load)
        part = {"load": load, "deflection": deflection, "row": row}
        good = np.isfinite(load) & np.isfinite(deflection)
        if time is not None:
            part["time"] = time
            good &= np.isfinite(time)
        if not good.all():
            self.count["left_out"] += int(np.count_nonzero(~good))
            part = {name: values[good] for name, values in part.items()}
        return part

    def _choose_and_replay(self) -> None:
        whole = self._buffer.whole()
        self.noise_load = noise_of(whole["load"])
        self.noise_deflection = noise_of(whole["deflection"])
        by_load = self.settings.cycles_by == "load"
        bounding = self.noise_load if by_load else self.noise_deflection
        given = self.settings.noise_band
        self.band = bounding.band if given is None else given
        if self.timed:
            steps = np.diff(whole["time"][:HEAD])
            ahead = steps[steps > 0.0]
            self.interval_s = float(np.median(ahead)) if len(ahead) else None
        self._buffer = SampleBuffer()
        self._take(whole)

    # -- the scan --------------------------------------------------------------------------

    def _take(self, part: Part) -> None:
        if not len(part["load"]):
            return
        cuts = self._breaks(part)
        edges = [0, *cuts.tolist(), len(part["load"])]
        for k, (start, stop) in enumerate(pairwise(edges)):
            if k > 0:
                self._end_stretch()
            self._scan({name: values[start:stop] for name, values in part.items()})

    def _breaks(self, part: Part) -> Ints:
        """Positions in the part before which the record is interrupted."""
        row, time = part["row"], part.get("time")
        before_time, before_row = self._last_step or (
            float(time[0]) if time is not None else 0.0,
            int(row[0]) - 1,
        )
        self._last_step = (float(time[-1]) if time is not None else 0.0, int(row[-1]))
        backward = np.zeros(len(row), dtype=np.bool_)
        if time is not None:
            step = np.diff(time, prepend=before_time)
            backward = step < 0.0
            unit = self.interval_s
        else:
            step = np.diff(row, prepend=before_row).astype(np.float64)
            unit = 1.0
        gap = np.zeros(len(row), dtype=np.bool_)
        if unit is not None and self.settings.gap_intervals is not None:
            gap = step > self.settings.gap_intervals * unit * (1.0 + 1e-9)
        self.count["gaps"] += int(np.count_nonzero(gap))
        self.count["backward"] += int(np.count_nonzero(backward))
        return np.flatnonzero(gap | backward)

    def _scan(self, part: Part) -> None:
        """Feeds one unbroken stretch to the scan, anew after each standstill."""
        limit = self.settings.longest_cycle_samples
        while len(part["load"]):
            bounding = part[self.settings.cycles_by]
            size = len(bounding)
            index, kind = np.empty(size + 1, dtype=np.int64), np.empty(size + 1, dtype=np.int64)
            scan = loop_for(scan_kernel, self._seen + size)
            found, consumed = scan(
                bounding, self._seen, self.band, limit, self._scan_f, self._scan_i, index, kind
            )
            self._buffer.append({name: values[:consumed] for name, values in part.items()})
            self._seen += consumed
            self._reversals(index[:found], kind[:found])
            if self._seen - 1 - int(self._scan_i[3]) > limit:
                self.count["stalls"] += 1
                self._end_stretch()
            part = {name: values[consumed:] for name, values in part.items()}

    def _reversals(self, index: Ints, kind: Ints) -> None:
        if len(index):
            if not self._open and kind[0] != VALLEY:
                if self._stretch_start:
                    self.count["starts_cut"] += 1
                index = index[1:]
                self._stretch_start = False
            self._close_cycles(np.concatenate([np.array(self._open, dtype=np.int64), index]))
        self._forget()

    def _close_cycles(self, points: Ints) -> None:
        """Measures the complete cycles among valley, peak, valley, …; the rest stays open."""
        if self._stretch_start and len(points) >= 3:
            self._stretch_start = False
            if not self._starts_at_valley(points[:3]):
                self.count["starts_cut"] += 1
                points = points[2:]
        complete = max(0, (len(points) - 1) // 2)
        self._open = points[2 * complete :].tolist()
        if complete:
            self._measure(points[: 2 * complete + 1])

    def _bounding(self, positions: Ints) -> Floats:
        values: Floats = self._buffer.whole()[self.settings.cycles_by][
            positions - self._buffer.base
        ]
        return values

    def _starts_at_valley(self, points: Ints) -> bool:
        start, peak, valley = self._bounding(points).tolist()
        allowed = max(self.band, self.settings.edge_share * (peak - min(start, valley)))
        return bool(abs(start - valley) <= allowed)

    def _end_stretch(self) -> None:
        """Ends an unbroken stretch: closes its last cycle where it may, and starts afresh."""
        phase, low = int(self._scan_i[0]), int(self._scan_i[1])
        cut = bool(self._open)
        if phase == FALLING and len(self._open) == 2:
            points = np.array([*self._open, low], dtype=np.int64)
            valley, peak, end = self._bounding(points).tolist()
            if end <= valley + max(self.band, self.settings.edge_share * (peak - valley)):
                self._close_cycles(points)
                cut = False
        self.count["ends_cut"] += int(cut)
        self._open = []
        self._scan_f, self._scan_i = new_state()
        self._buffer = SampleBuffer(self._seen)
        self._stretch = self._seen
        self._stretch_start = True

    # -- measured cycles -------------------------------------------------------------------

    def _measure(self, points: Ints) -> None:
        buffer, base = self._buffer.whole(), self._buffer.base
        assert self.noise_load is not None  # noqa: S101 - chosen before any scan
        assert self.noise_deflection is not None  # noqa: S101
        local = points - base
        valley, peak, after = local[:-1:2], local[1::2], local[2::2]
        measure = CycleMeasure(
            buffer["load"],
            buffer["deflection"],
            sigma_load=self.noise_load.sigma,
            sigma_deflection=self.noise_deflection.sigma,
            fitted=self.settings.extremes == "fitted",
            effort=self._seen,
        )
        table: Part = dict(
            measure.table(
                valley,
                peak,
                after,
                lowest=max(0, self._stretch - base),
                by_load=self.settings.cycles_by == "load",
            )
        )
        first = self.cycle_offset + self.count["cycles"] + 1
        self.count["cycles"] += len(valley)
        table["cycle"] = np.arange(first, first + len(valley), dtype=np.int64)
        table["frequency_hz"] = self._frequency(buffer, valley, after)
        table["static"] = table["frequency_hz"] < self.settings.static_below_hz
        row = buffer["row"]
        table["valley_index"], table["peak_index"] = row[valley], row[peak]
        table["next_valley_index"], table["samples"] = row[after], after - valley
        ordered = {name: table[name] for name in COLUMNS}
        self.keeper.keep(ordered)
        self._finished.append(ordered)

    def _frequency(self, buffer: Part, start: Ints, end: Ints) -> Floats:
        frequency = np.full(len(start), np.nan)
        if self.timed:
            period = buffer["time"][end] - buffer["time"][start]
            np.divide(1.0, period, out=frequency, where=period > 0.0)
        return frequency

    def finished_cycles(self) -> Table:
        """The cycles finished since the last call: the columns of ``COLUMNS``."""
        drained, self._finished = self._finished, []
        return {
            name: np.concatenate([np.empty(0, dtype=kind), *(chunk[name] for chunk in drained)])
            for name, kind in COLUMNS.items()
        }

    def close(self) -> None:
        """Ends the record; its last cycle is closed by the trailing valley."""
        if self.closed:
            return
        if self.noise_load is None:
            self._choose_and_replay()
        self._end_stretch()
        self.closed = True

    def outcome(self, table: Table | None = None) -> Outcome:
        """Metrics of a closed record; the table is passed on as it is.

        Raises:
            RuleBroken: the stream is still open.
        """
        if not self.closed:
            raise RuleBroken(
                "reduction.stream-open",
                "The outcome of a record was asked for before its end; close the stream first.",
            )
        assert self.noise_load is not None  # noqa: S101 - closed streams have chosen
        assert self.noise_deflection is not None  # noqa: S101
        resolved = {
            "cycle_offset": self.cycle_offset,
            "noise_band": self.band,
            "noise_load_kn": self.noise_load.sigma,
            "noise_deflection_mm": self.noise_deflection.sigma,
            "resolution_load_kn": self.noise_load.resolution,
            "resolution_deflection_mm": self.noise_deflection.resolution,
            "spread_load_kn": self.noise_load.spread,
            "spread_deflection_mm": self.noise_deflection.spread,
            "interval_s": self.interval_s,
            "timed": bool(self.timed),
            **{f"count_{name}": number for name, number in self.count.items()},
        }
        return self.keeper.outcome(resolved, table)

    def _forget(self) -> None:
        """Lets go of samples that no open cycle can need."""
        phase, low, high, _ = (int(v) for v in self._scan_i)
        oldest = self._open[0] if self._open else low if phase == FALLING else min(low, high)
        self._buffer.forget_before(oldest - WINDOW_MAX)

    # -- resuming --------------------------------------------------------------------------

    def state_dict(self) -> dict[str, Any]:
        """Everything needed to go on later, JSON-ready.

        Raises:
            RuleBroken: finished cycles wait to be drained (they would be lost).
        """
        if self._finished:
            raise RuleBroken(
                "reduction.stream-undrained",
                "The state was asked for while finished cycles wait; drain them first.",
            )
        return {
            "version": STATE_VERSION,
            "settings": self.settings.as_dict(),
            "cycle_offset": self.cycle_offset,
            "timed": self.timed,
            "noise_load": asdict(self.noise_load) if self.noise_load else None,
            "noise_deflection": asdict(self.noise_deflection) if self.noise_deflection else None,
            "interval_s": self.interval_s,
            "band": self.band,
            "closed": self.closed,
            "count": dict(self.count),
            "keeper": self.keeper.state_dict(),
            "scan": [self._scan_f.tolist(), self._scan_i.tolist()],
            "places": [self._seen, self._stretch],
            "stretch_start": self._stretch_start,
            "open": list(self._open),
            "last_step": list(self._last_step) if self._last_step else None,
            "buffer": self._buffer.state(),
        }

    @classmethod
    def from_state(cls, state: Mapping[str, Any]) -> CyclicStream:
        """A stream that goes on where ``state_dict`` was taken.

        Raises:
            ShapeError: ``reduction.state-version``.
        """
        if state.get("version") != STATE_VERSION:
            raise ShapeError(
                "reduction.state-version",
                f"A stream state of version {state.get('version')} was given; this code reads "
                f"version {STATE_VERSION}: start the record anew.",
            )
        stream = cls(
            CyclicSettings.from_dict(state["settings"]), cycle_offset=state["cycle_offset"]
        )
        stream.timed, stream.interval_s = state["timed"], state["interval_s"]
        stream.band, stream.closed = state["band"], state["closed"]
        if state["noise_load"] is not None:
            stream.noise_load = Noise(**state["noise_load"])
            stream.noise_deflection = Noise(**state["noise_deflection"])
        stream.count = dict(state["count"])
        stream.keeper.load_state(state["keeper"])
        stream._scan_f = np.array(state["scan"][0], dtype=np.float64)
        stream._scan_i = np.array(state["scan"][1], dtype=np.int64)
        stream._seen, stream._stretch = state["places"]
        stream._stretch_start, stream._open = state["stretch_start"], list(state["open"])
        last = state["last_step"]
        stream._last_step = None if last is None else (float(last[0]), int(last[1]))
        stream._buffer = SampleBuffer.from_state(state["buffer"])
        return stream
