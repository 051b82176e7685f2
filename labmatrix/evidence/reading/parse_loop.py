"""The inner loop of the quickest path: a block of plain numbers becomes float64, column by column.

Exact by construction: digits are gathered as a whole number below 2^53 and divided or multiplied
once by a power of ten up to 10^22, both exact in float64, so that the one rounding is the correct
one (Clinger, "How to read floating point numbers accurately", PLDI 1990; recalled, not re-read).
Eight bytes are looked at as one 64-bit word (Lamport, "Multiple byte processing with full-word
instructions", CACM 1975; recalled, not re-read). The functions run compiled; see ``compiled``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Word = np.uint64
Place = int | np.int64

_FEED, _TAB, _BLANK, _PLUS, _MINUS = 10, 9, 32, 43, 45
_DIGIT_0, _DIGIT_9, _UPPER_E, _LOWER_E = 48, 57, 69, 101
_MOST_WHOLE, _MOST_POWER = 9_007_199_254_740_991, 22
# The quick look at a cell reads no further than this behind its first byte.
_REACH = 24
ODD, HARD = -1, -2

_ZEROS, _HIGH = Word(0x3030303030303030), Word(0x8080808080808080)
_SEVENS, _TO_HIGH = Word(0x7F7F7F7F7F7F7F7F), Word(0x7676767676767676)
_PAIRS, _FOURS, _NIBBLES = (
    Word(0x5555555555555555),
    Word(0x3333333333333333),
    Word(0x0F0F0F0F0F0F0F0F),
)
_ONES, _HALVES = Word(0x0101010101010101), Word(0x000000FF000000FF)
_HUNDREDS, _TEN_THOUSANDS = Word(0x000F424000000064), Word(0x0000271000000001)
_0, _1, _2, _3, _4, _5, _6, _7, _8 = (Word(k) for k in range(9))
_10, _16, _24, _32, _40, _48, _56, _64, _72 = (
    Word(k) for k in (10, 16, 24, 32, 40, 48, 56, 64, 72)
)
_BYTE = Word(255)


def word_at(raw: Bytes, at: Word) -> Word:
    """Eight bytes from a place on, the first of them lowest; one load when compiled."""
    return (
        Word(raw[at])
        | (Word(raw[at + _1]) << _8)
        | (Word(raw[at + _2]) << _16)
        | (Word(raw[at + _3]) << _24)
        | (Word(raw[at + _4]) << _32)
        | (Word(raw[at + _5]) << _40)
        | (Word(raw[at + _6]) << _48)
        | (Word(raw[at + _7]) << _56)
    )


def ended_at(marks: Word) -> Word:
    """How many bits lie below the byte of the lowest mark (0x80 in its byte); wrong without one.

    Counts the ones below the mark; compiled, this is a single instruction.
    """
    below = ~marks & (marks - _1)
    below = below - ((below >> _1) & _PAIRS)
    below = (below & _FOURS) + ((below >> _2) & _FOURS)
    below = (below + (below >> _4)) & _NIBBLES
    return ((below * _ONES) >> _56) - _7


def number_of(digits: Word) -> Word:
    """The number of eight bytes that hold a digit each (0 to 9), the highest digit lowest."""
    pairs = digits * _10 + (digits >> _8)
    whole: Word = (
        ((pairs & _HALVES) * _HUNDREDS) + (((pairs >> _16) & _HALVES) * _TEN_THOUSANDS)
    ) >> _32
    return whole


def odd_cell_kernel(  # noqa: C901, PLR0912, PLR0917 - one loop over bytes, compiled as a whole
    raw: Bytes, at: Place, end: Place, delimiter: int, decimal: int, powers: NDArray[np.float64]
) -> tuple[Place, float]:
    """One cell byte by byte: signs, blanks around, exponents, or nothing.

    Args:
        raw: whole lines.
        at: where the cell begins.
        end: the byte that must follow it.
        delimiter, decimal: byte values.
        powers: 10^0 … 10^22.

    Returns:
        Where the next cell begins and the number, NaN for an empty cell. ``ODD`` instead where the
        cell is no plain number; ``HARD`` less that place where it is one and needs more care.
    """
    size = len(raw)
    while at < size and (raw[at] == _BLANK or (raw[at] == _TAB and delimiter != _TAB)):
        at += 1
    negative = at < size and raw[at] == _MINUS
    signed = negative or (at < size and raw[at] == _PLUS)
    if signed:
        at += 1
    whole, digits, power = 0, 0, 0
    hard = False
    while at < size and _DIGIT_0 <= raw[at] <= _DIGIT_9:
        hard = hard or whole >= _MOST_WHOLE // 10
        whole = 0 if hard else 10 * whole + (raw[at] - _DIGIT_0)
        digits += 1
        at += 1
    if at < size and raw[at] == decimal:
        at += 1
        while at < size and _DIGIT_0 <= raw[at] <= _DIGIT_9:
            hard = hard or whole >= _MOST_WHOLE // 10
            whole = 0 if hard else 10 * whole + (raw[at] - _DIGIT_0)
            digits += 1
            power -= 1
            at += 1
        if digits == 0:
            return ODD, 0.0
    if digits and at < size and (raw[at] == _UPPER_E or raw[at] == _LOWER_E):
        at += 1
        down = at < size and raw[at] == _MINUS
        if at < size and (raw[at] == _MINUS or raw[at] == _PLUS):
            at += 1
        exponent, places = 0, 0
        while at < size and _DIGIT_0 <= raw[at] <= _DIGIT_9:
            exponent = min(10 * exponent + (raw[at] - _DIGIT_0), 99_999)
            places += 1
            at += 1
        if places == 0:
            return ODD, 0.0
        power += -exponent if down else exponent
    while at < size and (raw[at] == _BLANK or (raw[at] == _TAB and delimiter != _TAB)):
        at += 1
    if at >= size or raw[at] != end or (signed and digits == 0):
        return ODD, 0.0
    at += 1
    if digits == 0:
        return at, np.nan
    if hard or power > _MOST_POWER or power < -_MOST_POWER:
        return HARD - at, 0.0
    value = whole / powers[-power] if power < 0 else whole * powers[power]
    return at, -value if negative and whole else value


def parse_lines(  # noqa: C901, PLR0912, PLR0915, PLR0917 - one loop over cells, compiled as a whole
    raw: Bytes,
    delimiter: int,
    decimal: int,
    powers: NDArray[np.float64],
    table: NDArray[np.float64],
    hard: NDArray[np.int64],
    counts: NDArray[np.int64],
) -> int:
    """Parse lines of numbers into ``table``; the grammar of ``cells`` for plain numbers.

    Args:
        raw: whole lines, each ended by a line feed.
        delimiter, decimal: their byte values.
        powers: 10^0 … 10^22.
        table: takes the numbers, shape (columns, rows), NaN for an empty cell.
        hard: takes row, column, first byte and end of each cell whose number is left to the
            caller, shape (room, 4).
        counts: takes the number of hard cells, and of empty ones by column; shape (1 + columns,).

    Returns:
        Number of rows parsed: all of them, or fewer where a cell or row is of another kind.
    """
    columns, rows = table.shape
    mark, between = Word(decimal), Word(delimiter)
    at, size = _0, Word(len(raw))
    for row in range(rows):
        for column in range(columns):
            end = between if column < columns - 1 else _10
            found = False
            if at + Word(_REACH) <= size:
                word = word_at(raw, at)
                negative = Word((word & _BYTE) == Word(_MINUS))
                start = at + negative
                if negative:
                    word = word_at(raw, start)
                digits = word ^ _ZEROS
                marks = (((digits & _SEVENS) + _TO_HIGH) | digits) & _HIGH
                first = ended_at(marks)
                behind = (word >> first) & _BYTE
                whole, places, stop = _0, _0, start + (first >> _3)
                if marks and behind == mark:
                    rest = marks & (marks - _1)
                    second = ended_at(rest)
                    if rest and second > _8:  # the whole cell is in one word
                        behind = (word >> second) & _BYTE
                        below = (_1 << first) - _1
                        joined = (digits & below) | ((digits >> _8) & ~below)
                        whole = number_of(joined << (_72 - second))
                        places = (second - first - _8) >> _3
                        stop = start + (second >> _3)
                        found = behind == end
                    else:
                        if first:
                            whole = number_of(digits << (_64 - first))
                        stop += _1
                        word = word_at(raw, stop)
                        digits = word ^ _ZEROS
                        marks = (((digits & _SEVENS) + _TO_HIGH) | digits) & _HIGH
                        second = ended_at(marks)
                        if marks and second:
                            places = second >> _3
                            whole = whole * Word(powers[places])
                            whole += number_of(digits << (_64 - second))
                            stop += places
                            found = ((word >> second) & _BYTE) == end
                elif marks and first and behind == end:
                    whole = number_of(digits << (_64 - first))
                    found = True
                if found:
                    signed = np.int64((whole ^ (_0 - negative)) + negative)
                    table[column, row] = signed / powers[places]
                    at = stop + _1
            if not found:
                place, value = odd_cell_kernel(
                    raw, np.int64(at), np.int64(end), delimiter, decimal, powers
                )
                if place == ODD or (place < 0 and counts[0] == len(hard)):
                    return row
                if place < 0:
                    place = HARD - place
                    hard[counts[0], 0], hard[counts[0], 1] = row, column
                    hard[counts[0], 2], hard[counts[0], 3] = np.int64(at), place - 1
                    counts[0] += 1
                elif np.isnan(value):
                    counts[1 + column] += 1
                table[column, row] = value
                at = Word(place)
    return rows if at == size else 0
