"""The grammar of one cell: number, missing, over-range, text. One grammar for every path."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

# A value at or beyond this is an instrument's way to say "over range" (SCPI-1999, volume 1:
# infinity is written 9.9E37, not-a-number 9.91E37; recalled, not re-read).
OVER_RANGE_FROM = 9.9e37

MISSING_WORDS = frozenset(
    {
        "", "nan", "n/a", "na", "#n/a", "#na", "#nv", "null", "none", "nil", "missing", "n.a.", "?",
        "-", "–", "—", "-nan", "+nan", "-nan(ind)", "nan(ind)", "1.#qnan", "-1.#ind", "1.#ind",
    }
)  # fmt: skip
OVER_RANGE_WORDS = frozenset(
    {
        "over", "+over", "-over", "under", "ovl", "+ovl", "-ovl", "ovld", "ol", "+ol", "-ol",
        "o.l.", "overload", "overflow", "underflow", "oflo", "over range", "over-range",
        "overrange", "under range", "under-range", "underrange", "out of range", "sat",
        "saturated", "clip", "inf", "+inf", "-inf", "infinity", "+infinity", "-infinity",
        "1.#inf", "-1.#inf", "#num!", "#div/0!", "#value!", "#ref!", "err", "error", "fault",
        "invalid", "open",
    }
)  # fmt: skip
_RULED_OUT = re.compile(r"[-*#_~=.]{2,}$|[*~]$")

_PLAIN = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?$")

THOUSANDS_MARKS = (",", ".", " ", "\u00a0", "\u202f", "'", "’")
NAMES_OF_MARKS = MappingProxyType(
    {
        ",": "comma", ".": "dot", ";": "semicolon", "\t": "tab", "|": "bar", " ": "blank",
        "\u00a0": "no-break blank", "\u202f": "narrow no-break blank", "'": "apostrophe",
        "’": "apostrophe",
    }
)  # fmt: skip

LOOSE_NUMBER = re.compile(
    r"[+\-−]?(?:[0-9][0-9.,'’ \u00a0\u202f]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?$"
)


@dataclass(frozen=True)
class NumberForm:
    """How a file writes numbers: its decimal mark and its thousands mark (or None)."""

    decimal: str = "."
    thousands: str | None = None

    @cached_property
    def pattern(self) -> str:
        """Regular expression of one whole number in this form (ASCII signs)."""
        mark = re.escape(self.decimal)
        exponent = r"(?:[eE][+-]?[0-9]+)?"
        whole = r"[0-9]+"
        if self.thousands is not None:
            gap = re.escape(self.thousands)
            whole = rf"(?:[0-9]{{1,3}}(?:{gap}[0-9]{{3}})+|[0-9]+)"
        return rf"^[+-]?(?:{whole}(?:{mark}[0-9]*)?|{mark}[0-9]+){exponent}$"

    @cached_property
    def _compiled(self) -> re.Pattern[str]:
        return re.compile(self.pattern)

    def fits(self, text: str) -> bool:
        """Whether a stripped cell is a number in this form."""
        return self._compiled.match(text.replace("−", "-")) is not None

    def number(self, text: str) -> float | None:
        """The number of a stripped cell, correctly rounded; None where it is not one."""
        ascii_text = text.replace("−", "-")
        if self._compiled.match(ascii_text) is None:
            return None
        if self.thousands is not None:
            ascii_text = ascii_text.replace(self.thousands, "")
        # Negative zero is zero: a sign without a value is the logger's rounding.
        return float(ascii_text.replace(self.decimal, ".")) + 0.0


def is_missing(text: str) -> bool:
    """Whether a stripped cell says that there is no value (empty, NaN, N/A, ----)."""
    return text.lower() in MISSING_WORDS


def is_over_range(text: str) -> bool:
    """Whether a stripped cell is a logger's word for a value beyond the range, or a fault."""
    return text.lower() in OVER_RANGE_WORDS or _RULED_OUT.match(text) is not None


def is_plain_number(text: str) -> bool:
    """Whether a stripped cell is a number in the plainest writing, whatever its decimal mark."""
    return _PLAIN.match(text) is not None


def is_loose_number(text: str) -> bool:
    """Whether a stripped cell could be a number in some form."""
    return LOOSE_NUMBER.match(text) is not None


def split_line(line: str, delimiter: str) -> list[str]:
    """The cells of one line, quotes honoured, as written (not stripped).

    A field that opens a quote and never closes it runs to the end of the line.
    """
    if '"' not in line:
        return line.split(delimiter)
    return _split_quoted(line, delimiter)


def _split_quoted(line: str, delimiter: str) -> list[str]:
    cells: list[str] = []
    position, end = 0, len(line)
    while position <= end:
        start = position
        while start < end and line[start] == " " and delimiter != " ":
            start += 1
        if start < end and line[start] == '"':
            cell, position = _quoted_cell(line, start + 1, delimiter)
        else:
            stop = line.find(delimiter, position)
            stop = end if stop < 0 else stop
            cell, position = line[position:stop], stop + 1
        cells.append(cell)
    return cells


def _quoted_cell(line: str, start: int, delimiter: str) -> tuple[str, int]:
    """A cell that began with a quote, and where the next cell begins."""
    pieces: list[str] = []
    position = start
    while True:
        quote = line.find('"', position)
        if quote < 0:
            return "".join(pieces) + line[position:], len(line) + 1
        pieces.append(line[position:quote])
        if line[quote + 1 : quote + 2] != '"':
            break
        pieces.append('"')
        position = quote + 2
    stop = line.find(delimiter, quote + 1)
    stop = len(line) if stop < 0 else stop
    return "".join(pieces) + line[quote + 1 : stop], stop + 1
