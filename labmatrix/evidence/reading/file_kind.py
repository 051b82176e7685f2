"""What the bytes at the head of a file are: text in some encoding, or something else."""

from __future__ import annotations

import codecs

from labmatrix.evidence.reading import refusals

ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252")

_SEND_TEXT = "Export the table as text and send that."
_SEND_RECORD = "Send the record; photos and reports go to the specimen's page."
_MAGIC: tuple[tuple[bytes, str, str], ...] = (
    (b"\x89PNG", "a PNG picture", _SEND_RECORD),
    (b"\xff\xd8\xff", "a JPEG picture", _SEND_RECORD),
    (b"GIF8", "a GIF picture", _SEND_RECORD),
    (b"%PDF", "a PDF document", _SEND_RECORD),
    (b"{\\rtf", "a rich-text document", _SEND_TEXT),
    (b"\xd0\xcf\x11\xe0", "an old Excel workbook or Office document", _SEND_TEXT),
    (b"\x1f\x8b", "a gzip archive", "Unpack it and send the text file in it."),
    (b"BZh", "a bzip2 archive", "Unpack it and send the text file in it."),
    (b"\xfd7zXZ", "an xz archive", "Unpack it and send the text file in it."),
    (b"7z\xbc\xaf", "a 7z archive", "Unpack it and send the text file in it."),
    (b"Rar!", "a RAR archive", "Unpack it and send the text file in it."),
    (b"\x89HDF", "an HDF5 file", _SEND_TEXT),
    (b"SQLite format 3", "a database file", _SEND_TEXT),
    (b"\x7fELF", "a program", _SEND_TEXT),
    (b"MZ\x90", "a program", _SEND_TEXT),
    (b"PAR1", "a Parquet file", "It is read when its name or type says that it is Parquet."),
)
_UTF8_BOM, _UTF16_BOMS = codecs.BOM_UTF8, (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


def is_parquet(head: bytes) -> bool:
    """Whether the first bytes are those of a Parquet file."""
    return head[:4] == b"PAR1"


def refuse_foreign(head: bytes) -> None:
    """Refuse what is not a table of text, by its first bytes.

    Raises:
        ShapeError: ``record.empty``, ``record.foreign-kind`` or ``record.nul-bytes``.
    """
    if not head.strip(b" \t\r\n\x00\xef\xbb\xbf\xff\xfe\x1a"):
        if b"\x00" in head.strip(b"\xff\xfe"):
            raise refusals.nul_bytes(None)
        raise refusals.empty_file()
    if head[:4] == b"PK\x03\x04":
        raise refusals.foreign_kind(*_zip_kind(head))
    for magic, kind, advice in _MAGIC:
        if head.startswith(magic):
            raise refusals.foreign_kind(kind, advice)
    _refuse_markup(head)


def _zip_kind(head: bytes) -> tuple[str, str]:
    if b"xl/" in head or b"[Content_Types]" in head:
        return "an Excel workbook or Office document", _SEND_TEXT
    if b"opendocument" in head:
        return "an OpenDocument file", _SEND_TEXT
    return "a ZIP archive", "Unpack it and send the text file in it."


def _refuse_markup(head: bytes) -> None:
    text = head.removeprefix(_UTF8_BOM).lstrip()[:200].lower()
    if text.startswith((b"<!doctype html", b"<html", b"<head", b"<body", b"<table")):
        raise refusals.foreign_kind("a web page (HTML)", _SEND_TEXT)
    if text.startswith((b"<?xml", b"<svg", b"<!doctype")):
        raise refusals.foreign_kind("an XML document", _SEND_TEXT)
    if text.startswith((b"{", b'["', b"[{")) and b":" in text:
        raise refusals.foreign_kind("a JSON document", _SEND_TEXT)


def encoding_of(head: bytes, *, complete: bool) -> str:
    """The encoding of the text that begins with ``head``.

    Args:
        head: the first bytes of the file.
        complete: whether ``head`` is the whole file.

    Raises:
        ShapeError: ``record.nul-bytes``, ``record.foreign-kind`` (control characters) or
            ``record.encoding``.
    """
    if head.startswith(_UTF8_BOM):
        return "utf-8-sig"
    if head.startswith(_UTF16_BOMS):
        return "utf-16"
    if b"\x00" in head:
        return _utf16_without_mark(head)
    _refuse_control_characters(head)
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head, final=complete)
    except UnicodeDecodeError as error:
        return _cp1252(head, error.start)
    return "utf-8"


def _utf16_without_mark(head: bytes) -> str:
    """UTF-16 shows itself by every other byte being zero: text of numbers is almost all ASCII."""
    even, odd = head[0::2], head[1::2]
    if even.count(0) == 0 and odd.count(0) > 0.7 * len(odd):
        return "utf-16-le"
    if odd.count(0) == 0 and even.count(0) > 0.7 * len(even):
        return "utf-16-be"
    _refuse_control_characters(head.replace(b"\x00", b""))
    raise refusals.nul_bytes(head[: head.index(0)].count(b"\n") + 1)


def _refuse_control_characters(head: bytes) -> None:
    control = bytes(set(range(1, 32)) - {9, 10, 12, 13, 26, 27})
    count = len(head) - len(head.translate(None, control))
    if count > max(2, 0.002 * len(head)):
        raise refusals.foreign_kind("binary", _SEND_TEXT)


def _cp1252(head: bytes, start: int) -> str:
    undefined = b"\x81\x8d\x8f\x90\x9d"
    for position in range(start, len(head)):
        if head[position] in undefined:
            raise refusals.undecodable(head[:position].count(b"\n") + 1, "Windows-1252 or UTF-8")
    return "cp1252"
