"""A continuous record of constant load amplitude, of any length, with a known loss of stiffness.

Six columns as a logger writes them, each with its fixed number of decimals. The same rows always
give the same file, whatever the decimal mark.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

SAMPLES_PER_CYCLE = 200
LOSS = 0.25
_HERTZ = 2.0
_STIFFNESS_KN_MM = 6.4
_MEAN_KN, _AMPLITUDE_KN, _LAG_RAD = 48.0, 32.0, 0.03
_NOISE_KN, _NOISE_MM, _NOISE_UM, _NOISE_C = 0.01, 0.001, 1.0, 0.02
_CHUNK = 1 << 19
COLUMNS: dict[str, int] = {
    "time [s]": 4,
    "load [kN]": 4,
    "deflection [mm]": 5,
    "strain fabric [µm/m]": 2,
    "strain concrete [µm/m]": 2,
    "temperature [°C]": 3,
}
CHANNEL_MAP: list[dict[str, Any]] = [
    {"column": "time", "quantity": "time", "unit": "s"},
    {"column": "load", "quantity": "load", "unit": "kN"},
    {"column": "deflection", "quantity": "deflection", "unit": "mm"},
    {"column": "strain fabric", "quantity": "strain", "unit": "µm/m", "place": "fabric"},
    {"column": "strain concrete", "quantity": "strain", "unit": "µm/m", "place": "concrete"},
    {"column": "temperature", "quantity": "temperature", "unit": "°C"},
]


@dataclass(frozen=True)
class LongRecord:
    """A made file.

    Attributes:
        path: where it is.
        rows, cycles: what it holds; the last cycle ends with the valley that closes it.
    """

    path: Path
    rows: int
    cycles: int

    @property
    def megabytes(self) -> float:
        """Its size, 10^6 bytes."""
        return self.path.stat().st_size / 1e6


def write_record(path: Path, rows: int, *, comma: bool = False) -> LongRecord:
    """Writes the file.

    Args:
        path: of the file.
        rows: about how many; rounded to whole cycles and the valley that closes the last.
        comma: decimal commas between semicolons instead of dots between commas.
    """
    from numba import njit

    cycles = max(1, round(rows / SAMPLES_PER_CYCLE))
    rows = cycles * SAMPLES_PER_CYCLE + 1
    write = njit(cache=True)(write_kernel)
    decimals = np.array(list(COLUMNS.values()), dtype=np.int64)
    delimiter, mark = (";", ",") if comma else (",", ".")
    room = np.empty(24 * len(COLUMNS) * _CHUNK, dtype=np.uint8)
    with path.open("wb") as file:
        file.write((delimiter.join(COLUMNS) + "\n").encode())
        for first in range(0, rows, _CHUNK):
            table = _rows(first, min(_CHUNK, rows - first), cycles)
            whole = np.rint(table * 10.0 ** decimals[:, None]).astype(np.int64)
            size = write(whole, decimals, ord(delimiter), ord(mark), room)
            file.write(memoryview(room)[:size])
    return LongRecord(path, rows, cycles)


def _rows(first: int, count: int, cycles: int) -> npt.NDArray[np.float64]:
    """Rows from one on, shape (6, count)."""
    rng = np.random.default_rng([20260331, first])
    turns = np.arange(first, first + count) / SAMPLES_PER_CYCLE
    theta = 2.0 * np.pi * turns
    softened = _STIFFNESS_KN_MM * (1.0 - LOSS * turns / cycles)
    load = _MEAN_KN - _AMPLITUDE_KN * np.cos(theta)
    deflection = (_MEAN_KN - _AMPLITUDE_KN * np.cos(theta - _LAG_RAD)) / softened
    noise = rng.standard_normal((5, count))
    return np.stack(
        [
            turns / _HERTZ,
            load + _NOISE_KN * noise[0],
            deflection + _NOISE_MM * noise[1],
            120.0 * deflection + _NOISE_UM * noise[2],
            -55.0 * deflection + _NOISE_UM * noise[3],
            21.0 + 2.0 * np.sin(theta / 7200.0) + _NOISE_C * noise[4],
        ]
    )


def write_kernel(
    whole: npt.NDArray[np.int64],
    decimals: npt.NDArray[np.int64],
    delimiter: int,
    mark: int,
    room: npt.NDArray[np.uint8],
) -> int:
    """Writes rows of numbers with fixed decimals; compiled.

    Args:
        whole: the numbers without their decimal mark, shape (columns, rows).
        decimals: digits behind the mark of each column, at least 1.
        delimiter, mark: byte values.
        room: receives the text.

    Returns:
        How many bytes were written.
    """
    columns, rows = whole.shape
    digits = np.empty(24, dtype=np.uint8)
    at = 0
    for row in range(rows):
        for column in range(columns):
            number = whole[column, row]
            if number < 0:
                room[at] = 45
                at += 1
                number = -number
            count = 0
            while number > 0 or count <= decimals[column]:
                digits[count] = 48 + number % 10
                number //= 10
                count += 1
            for place in range(count - 1, -1, -1):
                room[at] = digits[place]
                at += 1
                if place == decimals[column]:
                    room[at] = mark
                    at += 1
            room[at] = delimiter if column < columns - 1 else 10
            at += 1
    return at
