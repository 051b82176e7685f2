"""One pass over one file of a cyclic record, in bounded memory, to be left and taken up again."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from functools import cached_property
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from labmatrix.evidence.domain.channels import BoundChannel, BoundMap, Channel, Channels, ZeroFinder
from labmatrix.evidence.domain.restarts import RestartTrack
from labmatrix.evidence.reading.blocks import BLOCK_BYTES
from labmatrix.evidence.reading.layout import Piece
from labmatrix.evidence.reading.parquet import decimals_of
from labmatrix.evidence.reading.streamed import Streamed, open_stream
from results.domain.curve_keeper import CurveKeeper
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.cyclic_stream import CyclicStream
from results.domain.reduction.instruments import Instrument
from results.services.calibrated import calibrated, factors_of
from results.services.instruments_of import instrument_of
from results.services.main_channels import main_channel
from results.services.row_window import Pick, RowWindow

Floats = npt.NDArray[np.float64]
Columns = dict[str, npt.NDArray[Any]]
# For some rows (their time in s, the first of them, how many, and the part of the file that they
# belong to) the channels that other files give there.
Beside = Callable[[Floats | None, int, int, int], Sequence[Channel]]
_DAY_S = 86_400.0
COUNTER = "count"
_BOUNDING = ("time", "load", "deflection")


@dataclass(frozen=True)
class Source:
    """What a pass needs to know of its file.

    Attributes:
        name: of the file.
        bound: its channels; zeros may be open.
        calibrations: as they stand in the inputs of the reduction.
        date_order: of dates that the head of the file does not prove.
        beside: what other files give; None without such files.
    """

    name: str
    bound: BoundMap
    calibrations: Sequence[Mapping[str, Any]]
    date_order: str = "day first"
    beside: Beside | None = None


class FilePass:
    """Samples of one file in, cycles out; see ``Source``.

    Attributes:
        stream: finds and measures the cycles, numbered from 1 in each file.
        curve: load over deflection as measured.
        restarts: where the file starts again.
        carried: what else is read off at valley and peak of each cycle; JSON-ready.
        instruments: what is known of load and of deflection.
        started_at: when the file begins, s on the calendar; None without a date.
        warnings: what reading met, once the pass has ended.
        ended: whether the whole file went by.

    Args:
        source: the file and its channels.
        settings: of the cyclic reduction.
        state: where another pass over the same file stood.
        curve: keeps deflection and load as they go by; a light one where not given.
    """

    def __init__(
        self,
        source: Source,
        settings: CyclicSettings,
        state: Mapping[str, Any] | None = None,
        curve: CurveKeeper | None = None,
    ) -> None:
        self.source = source
        self._factors = factors_of(source.calibrations)
        self.instruments: list[Instrument] = []
        self.stream = CyclicStream(settings)
        self.curve = curve or CurveKeeper()
        self.restarts = RestartTrack()
        self.carried: list[dict[str, Any]] | None = None
        self.started_at: float | None = None
        self.warnings: list[dict[str, Any]] = []
        self.ended = False
        self._window = RowWindow(0)
        self._reading: dict[str, Any] | None = None
        self._stream: Streamed | None = None
        if state is not None:
            self._go_on(state)

    def run(
        self, file: BinaryIO, told: Callable[[float], None], kept: Callable[[], None]
    ) -> Iterator[Columns]:
        """Reads on to the end of the file; gives tables of finished cycles.

        Args:
            file: the file's bytes from its beginning.
            told: told the share of the file that was read.
            kept: called between two pieces, when all tables given so far are accounted for and
                ``state`` may be asked.

        Raises:
            UserError: why the file cannot be read or reduced.
        """
        if self.ended:
            yield self._finished()
            return
        reading = self._opened(file)
        for piece in reading.pieces(told):
            yield self._take(piece, reading)
            self._stream = reading
            kept()
        self.stream.close()
        self.warnings = [
            {"file": self.source.name, **warning.as_dict()} for warning in reading.warnings()
        ]
        self.ended = True
        yield self._finished()

    def _opened(self, file: BinaryIO) -> Streamed:
        """The reading to go on with; at the beginning the zeros are settled first."""
        order, size = self.source.date_order, BLOCK_BYTES
        if self._reading is not None:
            return open_stream(file, block_bytes=size, state=self._reading)
        finder = ZeroFinder(self.source.bound)
        if not finder.settled:
            pieces = open_stream(file, date_order=order, block_bytes=size).pieces()
            while not finder.settled and (piece := next(pieces, None)) is not None:
                finder.feed(piece.values)
            pieces.close()
            file.seek(0)
        self.source = replace(self.source, bound=finder.found())
        return open_stream(file, date_order=order, block_bytes=size)

    def _take(self, piece: Piece, reading: Streamed) -> Columns:
        # Once it is known what is carried along, only what bounds cycles is needed in every row.
        bound = self.source.bound if self.carried is None else self._bounding
        own = calibrated(bound.take(piece.values), self._factors)
        load = main_channel(own, "load")
        time = own.time_of(load)
        starts = self._starts(time)
        beside = self._beside(time, starts, len(load.values))
        channels = Channels((*own.channels, *beside))
        deflection = main_channel(channels, "deflection")
        if self.carried is None:
            self._begin(channels, load, deflection, reading)
            self.instruments = [self._instrument(c, piece) for c in (load, deflection)]
        self._window.append(len(load.values), self._pick(piece, beside))
        self.stream.feed(load.values, deflection.values, time)
        self.curve.feed(deflection.values, load.values)
        return self._finished()

    @cached_property
    def _bounding(self) -> BoundMap:
        """The channels that are looked at in every row."""
        channels = self.source.bound.channels
        return BoundMap(tuple(c for c in channels if c.entry.quantity in _BOUNDING))

    @cached_property
    def _own(self) -> dict[str, BoundChannel]:
        """The file's own channels by the names that they have in the table of cycles."""
        channels = self.source.bound.channels
        return {carried_name(one.channel(np.empty(0))): one for one in channels}

    def _pick(self, piece: Piece, beside: Sequence[Channel]) -> Pick:
        """The carried channels at some rows of a piece, in the order of ``carried``."""
        own, factors, raw = self._own, self._factors, piece.values
        others = {carried_name(channel): channel for channel in beside}
        names = [entry["name"] for entry in self.carried or ()]

        def picked(rows: npt.NDArray[np.int64]) -> Floats:
            values = np.empty((len(names), len(rows)))
            for place, name in enumerate(names):
                if name in others:
                    values[place] = others[name].values[rows]
                else:
                    one = own[name].channel(raw[own[name].index][rows])
                    values[place] = calibrated(Channels((one,)), factors).channels[0].values
            return values

        return picked

    def _starts(self, time: Floats | None) -> list[tuple[int, int]]:
        """First row within the piece, and number, of each part of the file that it touches."""
        first, part = self.stream.rows, len(self.restarts.rows)
        if time is None:
            return [(0, part)]
        found = [(row - first, part + k) for k, row in enumerate(self.restarts.feed(time), 1)]
        return found if found and found[0][0] == 0 else [(0, part), *found]

    def _beside(
        self, time: Floats | None, starts: Sequence[tuple[int, int]], size: int
    ) -> tuple[Channel, ...]:
        """Channels of other files at these rows, part by part of this file."""
        if self.source.beside is None:
            return ()
        ends = [row for row, _ in starts[1:]] + [size]
        first = self.stream.rows
        given = [
            self.source.beside(None if time is None else time[at:end], first + at, end - at, part)
            for (at, part), end in zip(starts, ends, strict=True)
        ]
        return tuple(
            replace(parts[0], values=np.concatenate([channel.values for channel in parts]))
            for parts in zip(*given, strict=True)
        )

    def _begin(
        self, channels: Channels, load: Channel, deflection: Channel, reading: Streamed
    ) -> None:
        """Notes with the first rows what is carried along and when the file begins."""
        used = (load, deflection)
        others = [c for c in channels.channels if c not in used and c.quantity != "time"]
        self.carried = [_told(channel) for channel in others]
        self._window = RowWindow(len(others))
        for channel in channels.channels:
            origin = reading.origins.get(channel.column)
            there = np.flatnonzero(np.isfinite(channel.values))
            if channel.quantity == "time" and origin is not None and len(there):
                days = date.fromisoformat(origin).toordinal()
                self.started_at = days * _DAY_S + float(channel.values[there[0]])

    def _instrument(self, channel: Channel, piece: Piece) -> Instrument:
        """What is known of a channel; the step of its column is that of the first piece."""
        steps = [
            bound.step(decimals_of(piece.values[bound.index]))
            for bound in self.source.bound.channels
            if bound.column == channel.column and channel.joined_from is None
        ]
        return instrument_of(channel, self.source.calibrations, *steps)

    def _finished(self) -> Columns:
        table: Columns = dict(self.stream.finished_cycles())
        ends = {end: self._window.at(table[f"{end}_index"]) for end in ("valley", "peak")}
        for place, entry in enumerate(self.carried or ()):
            for end, values in ends.items():
                table[f"{end}_{entry['name']}"] = values[place]
        starts = np.array(self.restarts.rows, dtype=np.int64)
        table["part"] = np.searchsorted(starts, table["valley_index"], side="right")
        self._window.forget_before(self.stream.needed_from)
        return table

    def state(self) -> dict[str, Any]:
        """Where the pass stands, JSON-ready."""
        return {
            "zeros": [channel.zero for channel in self.source.bound.channels],
            "date_order": self.source.date_order,
            "stream": self.stream.state_dict(),
            "curve": self.curve.state(),
            "restarts": self.restarts.state(),
            "window": self._window.state(),
            "carried": self.carried,
            "instruments": [asdict(one) | {"scale_dof": None} for one in self.instruments],
            "started_at": self.started_at,
            "warnings": self.warnings,
            "ended": self.ended,
            "reading": None if self.ended else self._read_so_far(),
        }

    def _read_so_far(self) -> dict[str, Any] | None:
        """Where the reading stands; told only when it is asked for, between two pieces."""
        return self._reading if self._stream is None else self._stream.state()

    def _go_on(self, state: Mapping[str, Any]) -> None:
        channels = [
            replace(channel, zero=zero)
            for channel, zero in zip(self.source.bound.channels, state["zeros"], strict=True)
        ]
        self.source = replace(
            self.source, bound=BoundMap(tuple(channels)), date_order=state["date_order"]
        )
        self.stream = CyclicStream.from_state(state["stream"])
        self.curve = CurveKeeper.from_state(state["curve"])
        self.restarts.go_on(state["restarts"])
        self.carried, self.started_at = state["carried"], state["started_at"]
        self._window = RowWindow(len(self.carried or ()))
        self._window.go_on(state["window"])
        self.instruments = [
            Instrument(**{**one, "scale_dof": math.inf}) for one in state["instruments"]
        ]
        self.warnings, self.ended = state["warnings"], state["ended"]
        self._reading = state["reading"]


def carried_name(channel: Channel) -> str:
    """What a channel is called in the table of cycles."""
    words = [channel.quantity, channel.place or "", channel.joined_from or ""]
    return "_".join(re.sub(r"\W+", "_", word.strip()) for word in words if word)


def _told(channel: Channel) -> dict[str, Any]:
    return {
        "name": carried_name(channel),
        "quantity": channel.quantity,
        "place": channel.place,
        "unit": channel.unit,
        "column": channel.column.strip(),
        "file": channel.joined_from or channel.file,
    }
