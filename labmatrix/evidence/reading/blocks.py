"""A file as blocks of whole lines, in UTF-8 with one kind of line end, in bounded memory."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from labmatrix.evidence.reading import refusals

BLOCK_BYTES = 1 << 23
LINE_LIMIT = 1 << 20


@dataclass(frozen=True)
class Block:
    """Some whole lines.

    Attributes:
        first_line: number of the first of them, counting from 1.
        data: their bytes in UTF-8 (or, in a file that claims to be UTF-8 and is not, as they
            came), each line ended by a line feed.
        cut: whether the file's last line had no line end of its own.
        consumed: bytes of the file read so far.
    """

    first_line: int
    data: bytes
    cut: bool
    consumed: int


def line_blocks(
    head: bytes,
    stream: BinaryIO,
    encoding: str,
    *,
    skip_lines: int,
    block_bytes: int = BLOCK_BYTES,
) -> Iterator[Block]:
    """The lines of a file from line ``skip_lines + 1`` on, in blocks.

    Args:
        head: bytes that were already read from the stream.
        stream: gives the rest.
        encoding: that of the file.
        skip_lines: how many lines to leave out at the start.
        block_bytes: how much to read at once.

    Raises:
        ShapeError: ``record.nul-bytes``, ``record.encoding`` or ``record.line-too-long``.
    """
    line, carry, consumed = 1, b"", 0
    recode = _Recoder(encoding)
    for raw, last in _chunks(head, stream, block_bytes):
        consumed += len(raw)
        carry += recode(raw, line, last=last)
        if last:
            break
        whole, carry = _cut(carry)
        if len(carry) > LINE_LIMIT:
            raise refusals.line_too_long(line + whole.count(b"\n"), LINE_LIMIT)
        if whole:
            data = _one_line_end(whole)
            yield from _emit(data, line, skip_lines, consumed, cut=False)
            line += data.count(b"\n")
    rest = _one_line_end(carry)
    if rest:
        cut = not rest.endswith(b"\n")
        yield from _emit(rest + b"\n" * cut, line, skip_lines, consumed, cut=cut)


def _emit(data: bytes, line: int, skip_lines: int, consumed: int, *, cut: bool) -> Iterator[Block]:
    """The block without the lines that are to be skipped, if any of it is left."""
    start = 0
    while line <= skip_lines:
        end = data.find(b"\n", start)
        if end < 0:
            return
        start, line = end + 1, line + 1
    rest = data[start:] if start else data
    if b"\x00" in rest:
        raise refusals.nul_bytes(line + rest[: rest.index(b"\x00")].count(b"\n"))
    if rest:
        yield Block(line, rest, cut, consumed)


def _chunks(head: bytes, stream: BinaryIO, size: int) -> Iterator[tuple[bytes, bool]]:
    chunk = head or stream.read(size)
    while True:
        following = stream.read(size)
        yield chunk, not following
        if not following:
            return
        chunk = following


def _cut(data: bytes) -> tuple[bytes, bytes]:
    """Whole lines, and the beginning of the next. A carriage return at the end may be half of
    a line end, so it waits."""
    at = data.rfind(b"\n")
    if at < 0:
        at = data.rfind(b"\r", 0, len(data) - 2)
        if at >= 0 and data[at + 1 : at + 2] in (b"\r", b"\n"):
            at = -1
    return data[: at + 1], data[at + 1 :]


def _one_line_end(data: bytes) -> bytes:
    if b"\r" not in data:
        return data
    return data.replace(b"\r\r\n", b"\n").replace(b"\r\n", b"\n").replace(b"\r", b"\n")


class _Recoder:
    """Turns the file's bytes into UTF-8, piece by piece. UTF-8 passes as it is."""

    def __init__(self, encoding: str) -> None:
        self._encoding = encoding
        self._at_start = True
        as_is = encoding in ("utf-8", "utf-8-sig")
        self._decoder = None if as_is else codecs.getincrementaldecoder(encoding)()

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
