"""One pass over a cyclic record of any length, in bounded memory.

Samples go in by chunks of any size, finished cycles come out by chunks. What is kept is the open
cycle (never longer than ``longest_cycle_samples``), a margin for the local fit, and the cycles
that give metrics; the outcome does not depend on how the record was cut into chunks.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from labmatrix.kernel.errors import RangeError, RuleBroken, ShapeError
from results.domain.reduction.compiled import loop_for
from results.domain.reduction.cycles import COLUMNS, WINDOW_MAX, CycleMeasure
from results.domain.reduction.cyclic_chosen import Chosen, choose
from results.domain.reduction.cyclic_metrics import Keeper
from results.domain.reduction.cyclic_notes import record_notes
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.dropouts import DropoutFilter
from results.domain.reduction.interruptions import GapFinder
from results.domain.reduction.outcome import Floats, Ints, Outcome, Table
from results.domain.reduction.sample_buffer import Part, SampleBuffer
from results.domain.reduction.turning import FALLING, VALLEY, new_state, scan_kernel

STATE_VERSION = 2
_COUNTERS = ("left_out", "stalls", "starts_cut", "ends_cut", "cycles", "not_whole", "rows")


class CyclicStream:
    """Finds and measures load cycles while the record goes by.

    Args:
        settings: see ``CyclicSettings``; what is chosen from the record is chosen from its first
            200 000 samples.
        cycle_offset: load cycles that the specimen had before this record.

    Raises:
        RangeError: ``cycle_offset`` below 0.
    """

    # Samples from which noise, band and interval are chosen, so that one pass is enough.
    HEAD: ClassVar[int] = 200_000

    def __init__(self, settings: CyclicSettings, *, cycle_offset: int = 0) -> None:
        if cycle_offset < 0:
            raise RangeError("cycle_offset", cycle_offset, "0 or more load cycles")
        self.settings = settings
        self.cycle_offset = cycle_offset
        self.timed: bool | None = None
        self.chosen: Chosen | None = None
        self.closed = False
        self.count = dict.fromkeys(_COUNTERS, 0)
        self.keeper = Keeper(settings)
        self._buffer = SampleBuffer()
        self._scan_f, self._scan_i = new_state()
        self._seen = 0
        self._stretch = 0
        self._stretch_start = True
        self._open: list[int] = []
        self._soft: list[int] = []
        self._last_cycle = 0
        self._filters: list[DropoutFilter] = []
        self._finder = GapFinder(None, None)
        self._finished: list[Part] = []

    @property
    def _known(self) -> Chosen:
        assert self.chosen is not None  # noqa: S101 - chosen before any scan
        return self.chosen

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
        if self.chosen is not None:
            self._take(part)
        else:
            self._buffer.append(part)
            if len(self._buffer) >= self.HEAD:
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

    def _choose_and_replay(self, *, last: bool = False) -> None:
        whole = self._buffer.whole()
        if not self.timed:
            whole = {name: values for name, values in whole.items() if name != "time"}
        head = {name: values[: self.HEAD] for name, values in whole.items()}
        self._set_chosen(choose(head, self.settings))
        self._buffer = SampleBuffer()
        self._take(whole, last=last)

    def _set_chosen(self, chosen: Chosen) -> None:
        self.chosen = chosen
        self._finder = GapFinder(self.settings.gap_intervals, chosen.interval_s)
        longest = self.settings.dropout_samples
        if longest is not None:
            self._filters = [
                DropoutFilter("load", chosen.load_jump, longest),
                DropoutFilter("deflection", chosen.deflection_jump, longest),
            ]

    # -- the scan --------------------------------------------------------------------------

    def _take(self, part: Part, *, last: bool = False) -> None:
        for stage in self._filters:
            part = stage.push(part, last=last)
        size = len(part["load"])
        if not size:
            return
        done = 0
        for at, missing in self._finder.find(part):
            self._scan({name: values[done:at] for name, values in part.items()})
            done = at
            if missing <= self.settings.bridge_share * self._last_cycle:
                self._soft.append(self._seen)
            else:
                self._end_stretch()
        self._scan({name: values[done:] for name, values in part.items()})

    def _scan(self, part: Part) -> None:
        """Feeds one unbroken stretch to the scan, anew after each standstill."""
        limit, band = self.settings.longest_cycle_samples, self._known.band
        while len(part["load"]):
            bounding = part[self.settings.cycles_by]
            size = len(bounding)
            index, kind = np.empty(size + 1, dtype=np.int64), np.empty(size + 1, dtype=np.int64)
            scan = loop_for(scan_kernel, self._seen + size)
            found, consumed = scan(
                bounding, self._seen, band, limit, self._scan_f, self._scan_i, index, kind
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
        allowed = max(self._known.band, self.settings.edge_share * (peak - min(start, valley)))
        return bool(abs(start - valley) <= allowed)

    def _end_stretch(self) -> None:
        """Ends an unbroken stretch: closes its last cycle where it may, and starts afresh."""
        phase, low = int(self._scan_i[0]), int(self._scan_i[1])
        cut = bool(self._open)
        if phase == FALLING and len(self._open) == 2:
            points = np.array([*self._open, low], dtype=np.int64)
            valley, peak, end = self._bounding(points).tolist()
            if end <= valley + max(self._known.band, self.settings.edge_share * (peak - valley)):
                self._close_cycles(points)
                cut = False
        self.count["ends_cut"] += int(cut)
        self._open, self._soft = [], []
        self._scan_f, self._scan_i = new_state()
        self._buffer = SampleBuffer(self._seen)
        self._stretch = self._seen
        self._stretch_start = True

    # -- measured cycles -------------------------------------------------------------------

    def _measure(self, points: Ints) -> None:
        buffer, base = self._buffer.whole(), self._buffer.base
        local = points - base
        valley, peak, after = local[:-1:2], local[1::2], local[2::2]
        measure = CycleMeasure(
            buffer["load"],
            buffer["deflection"],
            sigma_load=self._known.load.sigma,
            sigma_deflection=self._known.deflection.sigma,
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
        table["whole"] = self._whole(points[:-1:2], points[2::2])
        self._last_cycle = int(table["samples"][-1])
        ordered = {name: table[name] for name in COLUMNS}
        self.keeper.keep(ordered)
        self._finished.append(ordered)

    def _whole(self, start: Ints, end: Ints) -> npt.NDArray[np.bool_]:
        """Which cycles no bridged gap lies in."""
        soft = np.array(self._soft, dtype=np.int64)
        inside = np.searchsorted(soft, end, side="right") - np.searchsorted(
            soft, start, side="right"
        )
        self._soft = [at for at in self._soft if at > end[-1]]
        self.count["not_whole"] += int(np.count_nonzero(inside))
        whole: npt.NDArray[np.bool_] = inside == 0
        return whole

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
        if self.chosen is None:
            self._choose_and_replay(last=True)
        else:
            self._take(self._checked([], [], [] if self.timed else None), last=True)
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
        count = self.count | {
            "dropouts": sum(stage.left_out for stage in self._filters),
            "gaps": self._finder.gaps,
            "backward": self._finder.backward,
        }
        resolved = {
            "cycle_offset": self.cycle_offset,
            "timed": bool(self.timed),
            **self._known.resolved(),
            **{f"count_{name}": number for name, number in count.items()},
        }
        speed = self.keeper.speed(timed=bool(self.timed))
        notes = record_notes(resolved, self.settings, self.keeper.counts, speed)
        return self.keeper.outcome(resolved, notes, table)

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
            "chosen": self.chosen.as_dict() if self.chosen else None,
            "closed": self.closed,
            "count": dict(self.count),
            "keeper": self.keeper.state_dict(),
            "scan": [self._scan_f.tolist(), self._scan_i.tolist()],
            "places": [self._seen, self._stretch],
            "stretch_start": self._stretch_start,
            "open": list(self._open),
            "soft": list(self._soft),
            "last_cycle": self._last_cycle,
            "filters": [stage.state() for stage in self._filters],
            "finder": [self._finder.gaps, self._finder.backward, self._finder.last],
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
        stream.timed, stream.closed = state["timed"], state["closed"]
        if state["chosen"] is not None:
            stream._set_chosen(Chosen.from_dict(state["chosen"]))
            for stage, kept in zip(stream._filters, state["filters"], strict=True):
                stage.load_state(kept)
            finder = stream._finder
            finder.gaps, finder.backward, last = state["finder"]
            finder.last = None if last is None else (float(last[0]), float(last[1]))
        stream.count = dict(state["count"])
        stream.keeper.load_state(state["keeper"])
        stream._scan_f = np.array(state["scan"][0], dtype=np.float64)
        stream._scan_i = np.array(state["scan"][1], dtype=np.int64)
        stream._seen, stream._stretch = state["places"]
        stream._stretch_start, stream._open = state["stretch_start"], list(state["open"])
        stream._soft, stream._last_cycle = list(state["soft"]), int(state["last_cycle"])
        stream._buffer = SampleBuffer.from_state(state["buffer"])
        return stream
