"""A channel map applied to the tables of a record: channels in base units."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.domain.channel_map import ChannelEntry, ChannelMap
from labmatrix.evidence.reading.column import plain_name
from labmatrix.evidence.reading.table import RawTable
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


def apply_map(tables: Mapping[str, RawTable], channel_map: ChannelMap) -> Channels:
    """The channels of a record: ``sign · scale · (convert(raw, unit → base) − zero_base)``.

    Args:
        tables: the record's files as tables, by file name.
        channel_map: which column measures what.

    Raises:
        ShapeError: ``channels.file-missing``, ``channels.column-missing``,
            ``channels.file-needed``, ``channels.mapped-twice``, ``channels.written-time`` or
            ``channels.zero-missing``.
    """
    channels: list[Channel] = []
    for entry in channel_map.entries:
        file, column = _find(tables, entry)
        if any(channel.file == file and channel.column == column for channel in channels):
            raise ShapeError(
                "channels.mapped-twice",
                f"Column {column.strip()!r} of {file} is mapped twice; allowed is once.",
                column=column.strip(),
                file=file,
            )
        if column in tables[file].clocks:
            _refuse_unit_of_clock(entry, column)
        channels.append(_channel(entry, file, column, tables[file].values[column]))
    return Channels(tuple(channels))


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


def _find(tables: Mapping[str, RawTable], entry: ChannelEntry) -> tuple[str, str]:
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


def _column_missing(wanted: str, tables: Mapping[str, RawTable]) -> ShapeError:
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


def _channel(entry: ChannelEntry, file: str, column: str, raw: NDArray[np.float64]) -> Channel:
    factor, offset = conversion(entry.unit, entry.base)
    base = raw * factor + offset
    zero = _zero(entry, base, factor, offset)
    values = (entry.sign * entry.scale) * (base - zero)
    return Channel(
        quantity=entry.quantity,
        values=values,
        unit=entry.base,
        place=entry.place,
        sensor=entry.sensor,
        column=column,
        file=file,
        zero=zero,
        entry=entry,
    )


def _zero(entry: ChannelEntry, base: NDArray[np.float64], factor: float, offset: float) -> float:
    if isinstance(entry.zero, float):
        return 0.0 if entry.zero == 0.0 else entry.zero * factor + offset
    first = base[np.isfinite(base)][: entry.zero.first]
    if len(first) == 0:
        raise ShapeError(
            "channels.zero-missing",
            f"Column {entry.column!r} shall be zeroed at its first reading and has no number at "
            "all.",
            column=entry.column,
        )
    return float(np.mean(first))


def _described(channel: Channel) -> str:
    return channel.quantity + (f" at {channel.place!r}" if channel.place else "")
