"""A channel map applied to the tables of a record: channels in base units.

Whole tables go through ``apply_map``; a record read in pieces binds the map (``bind_map``), settles
the zeros (``ZeroFinder``) and takes piece after piece; both give the numbers of ``BoundChannel``.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.domain.channel_map import ChannelEntry, ChannelMap
from labmatrix.evidence.reading.column import plain_name
from labmatrix.evidence.reading.table import RawTable, TableHead
from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.units import conversion


@dataclass(frozen=True, eq=False)
class Channel:
    """One measured quantity over the rows of one file.

    Attributes:
        quantity: what it measures.
        values: in the base unit, shape (rows of its file,), float64, NaN where missing.
        unit: base unit of the quantity.
        place: where on the specimen, or None.
        sensor: serial of the sensor, or None.
        column: name of the column as the file writes it.
        file: name of the file.
        zero: what was subtracted, in the base unit, before scale and sign.
        entry: the map's entry that made it.
        joined_from: the file that it came from, where it was moved onto another file's rows.
    """

    quantity: str
    values: NDArray[np.float64]
    unit: str
    place: str | None
    sensor: str | None
    column: str
    file: str
    zero: float
    entry: ChannelEntry
    joined_from: str | None = None


@dataclass(frozen=True, eq=False)
class Channels:
    """The channels of one record."""

    channels: tuple[Channel, ...]

    def all(self, quantity: str) -> tuple[Channel, ...]:
        """Every channel of a quantity, in the order of the map; none is an empty tuple."""
        return tuple(channel for channel in self.channels if channel.quantity == quantity)

    def one(self, quantity: str, place: str | None = None) -> Channel:
        """The one channel of a quantity, at a place if named.

        Without a place the only channel of the quantity counts; of several, the one without a
        place.

        Raises:
            ShapeError: ``channels.quantity-missing`` or ``channels.ambiguous``.
        """
        found = self.all(quantity)
        matching = [c for c in found if place is None or c.place == place]
        if place is None and len(matching) > 1:
            matching = [c for c in matching if c.place is None] or matching
        if not matching:
            raise self._missing(quantity, place)
        if len(matching) > 1:
            raise ShapeError(
                "channels.ambiguous",
                f"{quantity} was asked for once and the channel map has it {len(matching)} times "
                f"({', '.join(_described(c) for c in matching)}); name the place.",
                quantity=quantity,
                places=[c.place for c in matching],
            )
        return matching[0]

    def time_of(self, channel: Channel) -> NDArray[np.float64] | None:
        """Seconds of the channel's rows, (rows,); None where its file has no time column, so that
        rows count by their order."""
        for other in self.channels:
            if other.quantity == "time" and other.file == channel.file:
                return other.values
        return None

    def _missing(self, quantity: str, place: str | None) -> ShapeError:
        there = sorted({_described(channel) for channel in self.channels})
        where = f" at {place!r}" if place else ""
        return ShapeError(
            "channels.quantity-missing",
            f"The channel map has no {quantity}{where}; it has {', '.join(there)}.",
            quantity=quantity,
            place=place,
        )


@dataclass(frozen=True)
class BoundChannel:
    """An entry of the map with the column that it means.

    Attributes:
        entry: of the map.
        file, column: where the column is, as written.
        index: place of the column in its file.
        zero: what is subtracted, in the base unit; None where it is still to be read off the
            record's first numbers.
    """

    entry: ChannelEntry
    file: str
    column: str
    index: int
    zero: float | None

    def based(self, raw: NDArray[np.float64]) -> NDArray[np.float64]:
        """Numbers of the column in the base unit, before zero, scale and sign; shape as given."""
        factor, offset = conversion(self.entry.unit, self.entry.base)
        return raw if (factor, offset) == (1.0, 0.0) else raw * factor + offset

    def step(self, decimals: int | None) -> float:
        """Smallest step of the channel in the base unit where its column is written with so many
        decimals; 0 where their number is not fixed."""
        if decimals is None:
            return 0.0
        factor, _ = conversion(self.entry.unit, self.entry.base)
        return abs(factor) * self.entry.scale / 10.0**decimals

    def channel(self, raw: NDArray[np.float64]) -> Channel:
        """The channel of some rows of the column, shape (rows,); the zero is known."""
        if self.zero is None:
            raise ValueError(f"the zero of {self.column} is not known yet")
        entry = self.entry
        factor = entry.sign * entry.scale
        values = self.based(raw) - self.zero if self.zero else self.based(raw)
        return Channel(
            quantity=entry.quantity,
            values=values if factor == 1.0 else factor * values,
            unit=entry.base,
            place=entry.place,
            sensor=entry.sensor,
            column=self.column,
            file=self.file,
            zero=self.zero,
            entry=entry,
        )


@dataclass(frozen=True)
class BoundMap:
    """A channel map bound to the columns of a record's files.

    Attributes:
        channels: one for each entry, in the order of the map.
    """

    channels: tuple[BoundChannel, ...]

    def of(self, file: str) -> BoundMap:
        """The channels of one file."""
        return BoundMap(tuple(bound for bound in self.channels if bound.file == file))

    def take(self, values: Sequence[NDArray[np.float64]]) -> Channels:
        """The channels of some rows of one file.

        Args:
            values: one array (rows,) for each column of the file.
        """
        return Channels(tuple(bound.channel(values[bound.index]) for bound in self.channels))


class ZeroFinder:
    """Settles the zeros of one file's channels on its first rows.

    Args:
        bound: the channels of one file.
    """

    def __init__(self, bound: BoundMap) -> None:
        self._bound = bound
        self._first: dict[int, list[NDArray[np.float64]]] = {
            place: [] for place, channel in enumerate(bound.channels) if channel.zero is None
        }

    @property
    def settled(self) -> bool:
        """Whether no further row can change a zero."""
        return all(self._missing(place) == 0 for place in self._first)

    def _missing(self, place: int) -> int:
        zero = self._bound.channels[place].entry.zero
        wanted = 0 if isinstance(zero, float) else zero.first
        return wanted - sum(len(part) for part in self._first[place])

    def feed(self, values: Sequence[NDArray[np.float64]]) -> None:
        """Takes the next rows; one array (rows,) for each column of the file."""
        for place, parts in self._first.items():
            missing = self._missing(place)
            if missing:
                channel = self._bound.channels[place]
                base = channel.based(values[channel.index])
                parts.append(base[np.isfinite(base)][:missing])

    def found(self) -> BoundMap:
        """The channels with their zeros, from as many of the first numbers as came.

        Raises:
            ShapeError: ``channels.zero-missing``.
        """
        channels = list(self._bound.channels)
        for place, parts in self._first.items():
            first = np.concatenate(parts) if parts else np.empty(0)
            if len(first) == 0:
                raise _zero_missing(channels[place].entry)
            channels[place] = replace(channels[place], zero=float(np.mean(first)))
        return BoundMap(tuple(channels))


def bind_map(heads: Mapping[str, TableHead], channel_map: ChannelMap) -> BoundMap:
    """The map's entries with the columns that they mean.

    Args:
        heads: the columns of each of the record's files, by file name.
        channel_map: which column measures what.

    Raises:
        ShapeError: ``channels.file-missing``, ``channels.column-missing``,
            ``channels.file-needed``, ``channels.mapped-twice`` or ``channels.written-time``.
    """
    channels: list[BoundChannel] = []
    for entry in channel_map.entries:
        file, column = _find(heads, entry)
        if any(bound.file == file and bound.column == column for bound in channels):
            raise ShapeError(
                "channels.mapped-twice",
                f"Column {column.strip()!r} of {file} is mapped twice; allowed is once.",
                column=column.strip(),
                file=file,
            )
        if column in heads[file].clocks:
            _refuse_unit_of_clock(entry, column)
        names = [there.name for there in heads[file].columns]
        channels.append(
            BoundChannel(entry, file, column, names.index(column), _constant_zero(entry))
        )
    return BoundMap(tuple(channels))


def apply_map(tables: Mapping[str, RawTable], channel_map: ChannelMap) -> Channels:
    """The channels of a record: ``sign · scale · (convert(raw, unit → base) − zero_base)``.

    Args:
        tables: the record's files as tables, by file name.
        channel_map: which column measures what.

    Raises:
        ShapeError: as ``bind_map``, and ``channels.zero-missing``.
    """
    bound = bind_map({file: table.head for file, table in tables.items()}, channel_map)
    settled: dict[tuple[str, int], BoundChannel] = {}
    for file, table in tables.items():
        finder = ZeroFinder(bound.of(file))
        finder.feed([table.values[column.name] for column in table.columns])
        settled |= {(file, one.index): one for one in finder.found().channels}
    return Channels(
        tuple(
            settled[one.file, one.index].channel(tables[one.file].values[one.column])
            for one in bound.channels
        )
    )


def _refuse_unit_of_clock(entry: ChannelEntry, column: str) -> None:
    if entry.quantity != "time" or entry.unit != "s":
        raise ShapeError(
            "channels.written-time",
            f"Column {column.strip()!r} is written as clock time or date and has become seconds; "
            f"the channel map calls it {entry.quantity} in {entry.unit}, allowed is time in s.",
            column=column.strip(),
            quantity=entry.quantity,
            unit=entry.unit,
        )


def _find(tables: Mapping[str, TableHead], entry: ChannelEntry) -> tuple[str, str]:
    """File and name as written of an entry's column."""
    if entry.file is not None and entry.file not in tables:
        raise ShapeError(
            "channels.file-missing",
            f"The channel map asks for the file {entry.file!r}; the record has "
            f"{', '.join(sorted(tables))}.",
            file=entry.file,
            files=sorted(tables),
        )
    files = [entry.file] if entry.file is not None else list(tables)
    found = [(f, column) for f in files if (column := tables[f].find(entry.column)) is not None]
    if len(found) > 1:
        raise ShapeError(
            "channels.file-needed",
            f"Column {entry.column!r} is in {', '.join(file for file, _ in found)}; name the file "
            "in the channel map.",
            column=entry.column,
            files=[file for file, _ in found],
        )
    if not found:
        raise _column_missing(entry.column, {f: tables[f] for f in files})
    file, column = found[0]
    return file, column.name


def _column_missing(wanted: str, tables: Mapping[str, TableHead]) -> ShapeError:
    there = [plain_name(c.name) for table in tables.values() for c in table.columns]
    folded = {name.casefold(): name for name in there}
    close = difflib.get_close_matches(wanted.casefold(), list(folded), n=1)
    hint = f" Closest is {folded[close[0]]!r}." if close else ""
    return ShapeError(
        "channels.column-missing",
        f"The channel map asks for column {wanted!r}; the file has "
        f"{', '.join(repr(name) for name in there)}.{hint}",
        column=wanted,
        columns=there,
        closest=folded[close[0]] if close else None,
    )


def _constant_zero(entry: ChannelEntry) -> float | None:
    if not isinstance(entry.zero, float):
        return None
    factor, offset = conversion(entry.unit, entry.base)
    return 0.0 if entry.zero == 0.0 else entry.zero * factor + offset


def _zero_missing(entry: ChannelEntry) -> ShapeError:
    return ShapeError(
        "channels.zero-missing",
        f"Column {entry.column!r} shall be zeroed at its first reading and has no number at all.",
        column=entry.column,
    )


def _described(channel: Channel) -> str:
    return channel.quantity + (f" at {channel.place!r}" if channel.place else "")
