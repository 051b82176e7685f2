"""Finds load cycles in a clean stream of samples and measures them as they close."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from results.domain.reduction.compiled import loop_for
from results.domain.reduction.cycles import COLUMNS, WINDOW_MAX, CycleMeasure
from results.domain.reduction.cyclic_chosen import Chosen
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.outcome import Floats, Ints
from results.domain.reduction.sample_buffer import Part, SampleBuffer
from results.domain.reduction.turning import FALLING, VALLEY, new_state, scan_kernel

_COUNTERS = ("stalls", "starts_cut", "ends_cut", "cycles", "not_whole")


class CycleFinder:
    """Finds and measures valley–peak–valley cycles in stretches without interruption.

    Args:
        settings: see ``CyclicSettings``.
        chosen: what was chosen from the record.
        cycle_offset: load cycles before this record.

    Attributes:
        count: cycles, and what was cut off or not whole.
        finished: tables of finished cycles (columns of ``COLUMNS``), to be taken out.
    """

    def __init__(self, settings: CyclicSettings, chosen: Chosen, cycle_offset: int) -> None:
        self.settings, self.chosen, self.cycle_offset = settings, chosen, cycle_offset
        self.count = dict.fromkeys(_COUNTERS, 0)
        self.finished: list[Part] = []
        self._buffer = SampleBuffer()
        self._scan_f, self._scan_i = new_state()
        self._seen = 0
        self._stretch = 0
        self._stretch_start = True
        self._open: list[int] = []
        self._soft: list[int] = []
        self._last_cycle = 0

    @property
    def held(self) -> SampleBuffer:
        """The samples that an open cycle or its fit may need."""
        return self._buffer

    def gap(self, samples: float) -> None:
        """Samples are missing here: about so many, infinite where nothing can be said.

        A gap of up to ``bridge_share`` of the last cycle is bridged, and the cycle across it is not
        whole; any other ends the stretch.
        """
        if samples <= self.settings.bridge_share * self._last_cycle:
            self._soft.append(self._seen)
        else:
            self.end_stretch()

    def own(self) -> None:
        """Copies what still looks into the caller's arrays."""
        self._buffer.own()

    def scan(self, part: Part) -> None:
        """Takes samples without interruption; the search begins anew after a standstill."""
        limit, band = self.settings.longest_cycle_samples, self.chosen.band
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
                self.end_stretch()
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
        values: Floats = self._buffer.at(self.settings.cycles_by, positions - self._buffer.base)
        return values

    def _starts_at_valley(self, points: Ints) -> bool:
        start, peak, valley = self._bounding(points).tolist()
        allowed = max(self.chosen.band, self.settings.edge_share * (peak - min(start, valley)))
        return bool(abs(start - valley) <= allowed)

    def end_stretch(self) -> None:
        """Ends an unbroken stretch: closes its last cycle where it may, and starts afresh."""
        phase, low = int(self._scan_i[0]), int(self._scan_i[1])
        cut = bool(self._open)
        if phase == FALLING and len(self._open) == 2:
            points = np.array([*self._open, low], dtype=np.int64)
            valley, peak, end = self._bounding(points).tolist()
            if end <= valley + max(self.chosen.band, self.settings.edge_share * (peak - valley)):
                self._close_cycles(points)
                cut = False
        self.count["ends_cut"] += int(cut)
        self._open, self._soft = [], []
        self._scan_f, self._scan_i = new_state()
        self._buffer = SampleBuffer(self._seen)
        self._stretch = self._seen
        self._stretch_start = True

    def _measure(self, points: Ints) -> None:
        buffer, base = self._buffer, self._buffer.base
        local = points - base
        valley, peak, after = local[:-1:2], local[1::2], local[2::2]
        measure = CycleMeasure(
            buffer.column("load"),
            buffer.column("deflection"),
            sigma_load=self.chosen.load.sigma,
            sigma_deflection=self.chosen.deflection.sigma,
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
        table["frequency_hz"] = self._frequency(valley, after)
        table["static"] = table["frequency_hz"] < self.settings.static_below_hz
        table["valley_index"], table["peak_index"] = (
            buffer.at("row", valley),
            buffer.at("row", peak),
        )
        table["next_valley_index"], table["samples"] = buffer.at("row", after), after - valley
        table["whole"] = self._whole(points[:-1:2], points[2::2])
        self._last_cycle = int(table["samples"][-1])
        ordered = {name: table[name] for name in COLUMNS}
        self.finished.append(ordered)

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

    def _frequency(self, start: Ints, end: Ints) -> Floats:
        frequency = np.full(len(start), np.nan)
        if "time" in self._buffer:
            period = self._buffer.at("time", end) - self._buffer.at("time", start)
            np.divide(1.0, period, out=frequency, where=period > 0.0)
        return frequency

    def _forget(self) -> None:
        """Lets go of samples that no open cycle can need."""
        phase, low, high, _ = (int(v) for v in self._scan_i)
        oldest = self._open[0] if self._open else low if phase == FALLING else min(low, high)
        self._buffer.forget_before(oldest - WINDOW_MAX)

    def state(self) -> dict[str, Any]:
        """JSON-ready; ``load_state`` reads it."""
        return {
            "count": dict(self.count),
            "scan": [self._scan_f.tolist(), self._scan_i.tolist()],
            "places": [self._seen, self._stretch, self._last_cycle],
            "stretch_start": self._stretch_start,
            "open": list(self._open),
            "soft": list(self._soft),
            "buffer": self._buffer.state(),
        }

    def load_state(self, state: Mapping[str, Any]) -> None:
        """Goes on from a ``state``."""
        self.count = dict(state["count"])
        self._scan_f = np.array(state["scan"][0], dtype=np.float64)
        self._scan_i = np.array(state["scan"][1], dtype=np.int64)
        self._seen, self._stretch, self._last_cycle = state["places"]
        self._stretch_start = bool(state["stretch_start"])
        self._open, self._soft = list(state["open"]), list(state["soft"])
        self._buffer = SampleBuffer.from_state(state["buffer"])
