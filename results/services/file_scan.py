"""One whole reading of a file for its load over time, in bounded memory."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from labmatrix.evidence.domain.channels import BoundMap, Channel, Channels, ZeroFinder
from labmatrix.evidence.domain.long_trace import LoadKeeper
from labmatrix.evidence.domain.restarts import RestartTrack
from labmatrix.evidence.domain.stamps import HEAD, StampSpreader
from labmatrix.evidence.models import Blob
from labmatrix.evidence.reading.blocks import BLOCK_BYTES
from labmatrix.evidence.reading.streamed import open_stream
from labmatrix.evidence.services.blob import blob_open
from labmatrix.kernel.errors import ShapeError
from results.services.calibrated import calibrated
from results.services.main_channels import main_channel
from results.services.sample_store import SampleStore

Floats = npt.NDArray[np.float64]
LOAD_MISSING = (
    "Files of one test are joined on the load that each carries; {file} has no load in the channel "
    "map. Map its load, or send it as a record of its own."
)
TIME_MISSING = (
    "{file} has no time in the channel map, so its clock cannot be compared; map its time column "
    "or state the seconds between two rows."
)


@dataclass(frozen=True)
class JoinedFile:
    """One file of a test.

    Attributes:
        name, sha256: of the file.
        bound: its channels; zeros may be open.
        factors: calibration factor of each sensor.
        row_s: time between two rows of a file without a time column, s.
    """

    name: str
    sha256: str
    bound: BoundMap
    factors: Mapping[str, float]
    row_s: float | None = None


class FileScan:
    """Reads a file from end to end.

    Attributes:
        loads: what is kept of the load, for each part of the file between its restarts.
        stores: its other channels, for each part, where a folder for them was given.
        bound: its channels with their zeros.
        spreader: for time whose clock is coarse, as before the first row.
        date_order: of its dates.
        warnings: what reading met, JSON-ready.

    Args:
        file: what to read.
        kept_in: how the files begin in which the channels are kept that are neither time nor load.
    """

    def __init__(self, file: JoinedFile, kept_in: Path | None = None) -> None:
        self.file = file
        self.bound = file.bound
        self.loads: list[LoadKeeper] = []
        self.stores: list[SampleStore] = []
        self.spreader = StampSpreader(np.empty(0))
        self.date_order = "day first"
        self.warnings: list[dict[str, Any]] = []
        self._kept_in = kept_in

    def run(self, told: Callable[[float], None]) -> None:
        """Reads; ``told`` is told the share done.

        Raises:
            ShapeError: ``join.load-missing``, ``join.time-missing``, or why the file cannot be
                read.
        """
        self._refuse_without_load_or_time()
        try:
            self._read(told)
        except ShapeError as error:
            if error.code != "record.date-ambiguous":
                raise
            self.date_order = "month first"
            self._read(told)

    def _refuse_without_load_or_time(self) -> None:
        quantities = {channel.entry.quantity for channel in self.file.bound.channels}
        timed = "time" in quantities or self.file.row_s is not None
        for there, code, words in (
            ("load" in quantities, "join.load-missing", LOAD_MISSING),
            (timed, "join.time-missing", TIME_MISSING),
        ):
            if not there:
                raise ShapeError(code, words.format(file=self.file.name), file=self.file.name)

    def _read(self, told: Callable[[float], None]) -> None:
        self._settle()
        restarts = RestartTrack()
        self.loads, self.stores = [], []
        self._begin_part()
        first = 0
        spreader = replaced(self.spreader)
        for channels in self._channels(told):
            load = main_channel(channels, "load").values
            raw = clock_of(channels, self.file, first, len(load))
            time, kept = spreader.spread(raw), _stacked(channels, len(load))
            edges = [row - first for row in restarts.feed(raw)]
            for low, high in zip([0, *edges], [*edges, len(load)], strict=True):
                if low in edges:
                    self._begin_part()
                self.loads[-1].feed(time[low:high], load[low:high])
                if self.stores:
                    self.stores[-1].append(time[low:high], kept[:, low:high])
            first += len(load)
        for store in self.stores:
            store.close()

    def _begin_part(self) -> None:
        self.loads.append(LoadKeeper(self.file.name))
        if self._kept_in is not None:
            path = part_path(self._kept_in, len(self.stores))
            self.stores.append(SampleStore(path, len(kept_channels(self.bound))))

    def _settle(self) -> None:
        """Settles zeros and the kind of clock on the file's beginning."""
        finder = ZeroFinder(self.file.bound)
        head: list[Floats] = []
        index = next((c.index for c in self.bound.channels if c.entry.quantity == "time"), None)
        with blob_open(Blob(sha256=self.file.sha256)) as stream:
            reading = open_stream(stream, date_order=self.date_order, block_bytes=BLOCK_BYTES)
            pieces = reading.pieces()
            for piece in pieces:
                finder.feed(piece.values)
                head += [piece.values[index]] if index is not None else []
                if finder.settled and sum(map(len, head)) >= (0 if index is None else HEAD):
                    break
            pieces.close()
        self.bound = finder.found()
        timed = [c for c in self.bound.channels if c.entry.quantity == "time"]
        if timed and head:
            self.spreader = StampSpreader(timed[0].channel(np.concatenate(head)).values)

    def _channels(self, told: Callable[[float], None]) -> Iterator[Channels]:
        with blob_open(Blob(sha256=self.file.sha256)) as stream:
            reading = open_stream(stream, date_order=self.date_order, block_bytes=BLOCK_BYTES)
            for piece in reading.pieces(told):
                yield calibrated(self.bound.take(piece.values), self.file.factors)
            self.warnings = [
                {"file": self.file.name, **warning.as_dict()} for warning in reading.warnings()
            ]


def part_path(kept_in: Path, part: int) -> Path:
    """Where the channels of one part of a file are kept."""
    return kept_in.with_name(f"{kept_in.name}-{part}.f64")


def replaced(spreader: StampSpreader) -> StampSpreader:
    """A spreader that stands where another does."""
    copy = StampSpreader(np.empty(0))
    copy.go_on(spreader.state())
    return copy


def clock_of(channels: Channels, file: JoinedFile, first: int, size: int) -> Floats:
    """Seconds of some rows on the file's own clock, shape (rows,), as written."""
    time = channels.time_of(main_channel(channels, "load"))
    if time is not None:
        return time
    return (file.row_s or 0.0) * np.arange(first, first + size, dtype=np.float64)


def kept_channels(bound: BoundMap) -> tuple[Channel, ...]:
    """The channels that a file gives to the others, without rows: neither time nor load."""
    return tuple(
        replace(channel, zero=channel.zero or 0.0).channel(np.empty(0))
        for channel in bound.channels
        if channel.entry.quantity not in ("time", "load")
    )


def _stacked(channels: Channels, size: int) -> Floats:
    kept = [c.values for c in channels.channels if c.quantity not in ("time", "load")]
    return np.stack(kept) if kept else np.empty((0, size))
