"""A file as blocks of whole lines, in UTF-8 with one kind of line end, in bounded memory."""

from __future__ import annotations

import base64
import codecs
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading import refusals
from labmatrix.kernel.compiled import compiled

BLOCK_BYTES = 1 << 22
# Below this size the start of the compiler would cost more than it saves.
COMPILE_BYTES = 1 << 21
LINE_LIMIT = 1 << 20
_FEED = 10
_NONE, _SEVEN, _EIGHT, _FORTY_EIGHT = (np.uint64(k) for k in (0, 7, 8, 48))
_FEEDS, _UPPER = np.uint64(0x0A0A0A0A0A0A0A0A), np.uint64(0xF0F0F0F0F0F0F0F0)
_SEVENS, _EVEN = np.uint64(0x7F7F7F7F7F7F7F7F), np.uint64(0x00FF00FF00FF00FF)
_FOUR_ONES = np.uint64(0x0001000100010001)


@dataclass(frozen=True)
class Place:
    """Where a reading stands between two blocks.

    Attributes:
        consumed: bytes of the file read so far.
        line: number of the next line.
        carry: the beginning of that line, as a block would hold it.
        decoder: what the decoder of an encoding other than UTF-8 keeps in mind, or None.
        at_start: whether nothing but a byte order mark has come yet.
    """

    consumed: int = 0
    line: int = 1
    carry: bytes = b""
    decoder: tuple[bytes, int] | None = None
    at_start: bool = True

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready; ``from_dict`` reads it."""
        decoder = self.decoder and [base64.b64encode(self.decoder[0]).decode(), self.decoder[1]]
        return {
            "consumed": self.consumed,
            "line": self.line,
            "carry": base64.b64encode(self.carry).decode(),
            "decoder": decoder,
            "at_start": self.at_start,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Place:
        """From ``as_dict``."""
        kept = data["decoder"]
        return cls(
            consumed=int(data["consumed"]),
            line=int(data["line"]),
            carry=base64.b64decode(data["carry"]),
            decoder=(base64.b64decode(kept[0]), int(kept[1])) if kept else None,
            at_start=bool(data["at_start"]),
        )


@dataclass(frozen=True)
class Block:
    """Some whole lines.

    Attributes:
        first_line: number of the first of them, counting from 1.
        rows: how many.
        data: their bytes in UTF-8 (or, in a file that claims to be UTF-8 and is not, as they
            came), each line ended by a line feed.
        cut: whether the file's last line had no line end of its own.
        after: where reading stands behind it; reading goes on there as if it had never stopped.
    """

    first_line: int
    rows: int
    data: bytes
    cut: bool
    after: Place


def line_blocks(
    head: bytes,
    stream: BinaryIO,
    encoding: str,
    *,
    skip_lines: int,
    block_bytes: int = BLOCK_BYTES,
    place: Place | None = None,
) -> Iterator[Block]:
    """The lines of a file from line ``skip_lines + 1`` on, in blocks.

    Args:
        head: bytes that were already read from the stream.
        stream: gives the rest.
        encoding: that of the file.
        skip_lines: how many lines to leave out at the start.
        block_bytes: how much to read at once.
        place: where an earlier reading with the same ``block_bytes`` stood; ``head`` and stream
            then give what follows ``place.consumed`` bytes.

    Raises:
        ShapeError: ``record.nul-bytes``, ``record.encoding`` or ``record.line-too-long``.
    """
    place = place or Place()
    line, carry, consumed = place.line, place.carry, place.consumed
    recode = _Recoder(encoding, place)
    for raw, last in _chunks(head, stream, block_bytes):
        consumed += len(raw)
        piece = recode(raw, line, last=last)
        if last:
            carry += piece
            break
        whole, carry = _cut(carry, piece)
        if len(carry) > LINE_LIMIT:
            raise refusals.line_too_long(line + whole.count(b"\n"), LINE_LIMIT)
        if whole:
            feeds, suspect = _looked(whole)
            data = _one_line_end(whole) if suspect else whole
            first, line = line, line + (line_count(data) if suspect else feeds)
            after = recode.place(consumed, line, carry)
            yield from _emit(data, first, skip_lines, after, suspect=suspect)
    rest = _one_line_end(carry)
    if rest:
        cut = not rest.endswith(b"\n")
        after = recode.place(consumed, line + rest.count(b"\n") + cut, b"")
        yield from _emit(rest + b"\n" * cut, line, skip_lines, after, cut=cut)


def _emit(
    data: bytes,
    line: int,
    skip_lines: int,
    after: Place,
    *,
    cut: bool = False,
    suspect: bool = True,
) -> Iterator[Block]:
    """The block without the lines that are to be skipped, if any of it is left; ``after`` stands
    behind its last line."""
    start = 0
    while line <= skip_lines:
        end = data.find(b"\n", start)
        if end < 0:
            return
        start, line = end + 1, line + 1
    rest = data[start:] if start else data
    if suspect and b"\x00" in rest:
        raise refusals.nul_bytes(line + rest[: rest.index(b"\x00")].count(b"\n"))
    if rest:
        yield Block(line, after.line - line, rest, cut, after)


def _chunks(head: bytes, stream: BinaryIO, size: int) -> Iterator[tuple[bytes, bool]]:
    """Head and rest in chunks, and whether each is the last."""
    begun = 0

    def following() -> bytes:
        nonlocal begun
        begun += size
        return head[begun - size : begun] or stream.read(size)

    chunk = following()
    while True:
        ahead = following()
        yield chunk, not ahead
        if not ahead:
            return
        chunk = ahead


def _cut(carry: bytes, piece: bytes) -> tuple[bytes, bytes]:
    """Whole lines, and the beginning of the next. A carriage return at the end may be half of
    a line end, so it waits."""
    at = piece.rfind(b"\n")
    if at >= 0:
        return b"".join((carry, memoryview(piece)[: at + 1])), piece[at + 1 :]
    data = carry + piece
    at = data.rfind(b"\r", 0, len(data) - 2)
    if at >= 0 and data[at + 1 : at + 2] in (b"\r", b"\n"):
        at = -1
    return data[: at + 1], data[at + 1 :]


def line_count(data: bytes) -> int:
    """Number of line feeds."""
    return _looked(data)[0]


def _looked(data: bytes) -> tuple[int, bool]:
    """Number of line feeds, and whether there may be carriage returns or NUL bytes."""
    raw = np.frombuffer(data, dtype=np.uint8)
    if len(raw) >= COMPILE_BYTES:
        whole = len(raw) // 8 * 8
        feeds, low = compiled(look_kernel)(raw[:whole].view(np.uint64), raw[whole:])
        return int(feeds), low != feeds
    return int(np.count_nonzero(raw == _FEED)), b"\r" in data or b"\x00" in data


def look_kernel(words: NDArray[np.uint64], rest: NDArray[np.uint8]) -> tuple[int, int]:
    """Number of line feeds, and of all bytes below 16; eight bytes at once.

    Args:
        words: the bytes, eight in each.
        rest: the few behind them.
    """
    feeds, low = 0, 0
    for first in range(0, len(words), 255):
        # Each byte of a sum counts one of the eight places, up to 255.
        feed_sums, low_sums = _NONE, _NONE
        for k in range(first, min(first + 255, len(words))):
            apart = words[k] ^ _FEEDS
            feed_sums += ~(((apart & _SEVENS) + _SEVENS) | apart | _SEVENS) >> _SEVEN
            upper = words[k] & _UPPER
            low_sums += ~(((upper & _SEVENS) + _SEVENS) | upper | _SEVENS) >> _SEVEN
        for sums, is_feed in ((feed_sums, True), (low_sums, False)):
            pairs = (sums & _EVEN) + ((sums >> _EIGHT) & _EVEN)
            count = int(np.int64((pairs * _FOUR_ONES) >> _FORTY_EIGHT))
            feeds += count if is_feed else 0
            low += 0 if is_feed else count
    for k in range(len(rest)):
        feeds += rest[k] == _FEED
        low += rest[k] < 16
    return feeds, low


def _one_line_end(data: bytes) -> bytes:
    if b"\r" not in data:
        return data
    return data.replace(b"\r\r\n", b"\n").replace(b"\r\n", b"\n").replace(b"\r", b"\n")


class _Recoder:
    """Turns the file's bytes into UTF-8, piece by piece. UTF-8 passes as it is."""

    def __init__(self, encoding: str, place: Place) -> None:
        self._encoding = encoding
        self._at_start = place.at_start
        as_is = encoding in ("utf-8", "utf-8-sig")
        self._decoder = None if as_is else codecs.getincrementaldecoder(encoding)()
        if self._decoder is not None and place.decoder is not None:
            self._decoder.setstate(place.decoder)

    def place(self, consumed: int, line: int, carry: bytes) -> Place:
        """Where reading stands, with what this decoder keeps in mind."""
        kept = None if self._decoder is None else self._decoder.getstate()
        return Place(consumed, line, carry, kept, self._at_start)

    def __call__(self, raw: bytes, line: int, *, last: bool) -> bytes:
        data = raw if self._decoder is None else self._decode(raw, line, last=last)
        if self._at_start and data:
            self._at_start = False
            data = data.removeprefix(codecs.BOM_UTF8)
        return data

    def _decode(self, raw: bytes, line: int, *, last: bool) -> bytes:
        if self._decoder is None or (self._encoding == "cp1252" and raw.isascii()):
            return raw
        try:
            return self._decoder.decode(raw, final=last).encode("utf-8")
        except UnicodeError as error:
            start = getattr(error, "start", 0)
            before = raw[:start].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
            raise refusals.undecodable(line + before.count(b"\n"), self._encoding) from error
