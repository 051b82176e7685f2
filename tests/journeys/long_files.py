"""A controller file with two restarts and a strain file beside it, of any length. Invented.

Cycles of 2 Hz from 8 to 40 kN on a beam that loses a quarter of its stiffness. The controller's
clock and its counter begin anew whenever the machine is started, and it writes its header again;
a plug was loose for a moment; the disk was full in the middle of the last line. The logger's clock
runs on, and is another one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
HERTZ, STIFFNESS, LOSS, PHASE = 2.0, 6.4, 0.25, 0.03
MICROSTRAIN_A_KN, CLOCK = 40.0, 913.4
RIG_HEAD, LOGGER_HEAD = "time;load;deflection;count\ns;kN;mm;1\n", "t;P;e\ns;kN;µm/m\n"
RIG, LOGGER = "rig.csv", "logger.csv"
DROPPED_ROWS, CUT_CHARACTERS = 4, 9
CHANNELS = [
    {"column": "time", "quantity": "time", "unit": "s", "file": RIG},
    {"column": "load", "quantity": "load", "unit": "kN", "file": RIG, "sensor": "LC-3"},
    {"column": "deflection", "quantity": "deflection", "unit": "mm", "file": RIG,
     "sensor": "LVDT-2"},
    {"column": "count", "quantity": "count", "unit": "1", "file": RIG},
    {"column": "t", "quantity": "time", "unit": "s", "file": LOGGER},
    {"column": "P", "quantity": "load", "unit": "kN", "file": LOGGER},
    {"column": "e", "quantity": "strain", "unit": "µm/m", "place": "bar", "file": LOGGER},
]  # fmt: skip


@dataclass(frozen=True)
class LongRun:
    """How long the run is and how closely it is sampled.

    Attributes:
        cycles: load cycles.
        samples: of the controller in one cycle.
        logger_hertz: of the strain logger.
    """

    cycles: int
    samples: int = 100
    logger_hertz: float = 20.0

    def spans(self) -> list[tuple[float, float]]:
        """When the machine runs, s: three spells of different lengths with stops between them."""
        shares, at, found = (0.31, 0.27, 0.42), 30.0, []
        for share, stop in zip(shares, (60.0, 41.0, 30.0), strict=True):
            length = round(share * self.cycles) / HERTZ
            found.append((at, at + length))
            at += length + stop
        return found

    def load_at(self, time: Floats) -> Floats:
        """Load, kN."""
        load = np.full(len(time), 8.0)
        for start, stop in self.spans():
            on = (time >= start) & (time < stop)
            load[on] = 24.0 - 16.0 * np.cos(2 * np.pi * HERTZ * (time[on] - start))
        return load

    def done_at(self, time: Floats) -> Floats:
        """Load cycles gone through."""
        return np.sum([np.clip(time - a, 0, b - a) for a, b in self.spans()], axis=0) * HERTZ

    def rig_rows(self) -> int:
        """Rows of numbers that the controller writes, the cut one among them."""
        per_s = HERTZ * self.samples
        return sum(round((stop - start + 10.0) * per_s) for start, stop in self.spans())

    def rig_lines(self) -> Iterator[str]:
        """The controller's file, some lines at a time, with its dirt."""
        rng = np.random.default_rng(31)
        spans = self.spans()
        for k, (start, stop) in enumerate(spans):
            yield RIG_HEAD
            begin, step = start - 5.0, 1.0 / HERTZ / self.samples
            rows = round((stop - start + 10.0) / step)
            dropped = range(rows // 2, rows // 2 + DROPPED_ROWS) if k == 1 else range(0)
            for low in range(0, rows, 50_000):
                at = np.arange(low, min(low + 50_000, rows))
                text = self._rig_text(begin, begin + step * at, 7.0 * k, np.isin(at, dropped), rng)
                is_last = k == len(spans) - 1 and low + 50_000 >= rows
                yield text[:-CUT_CHARACTERS] if is_last else text

    def _rig_text(
        self, begin: float, time: Floats, back: float, dropped: Floats, rng: np.random.Generator
    ) -> str:
        done = self.done_at(time)
        lagged = self.load_at(time - PHASE / (2 * np.pi * HERTZ))
        deflection = lagged / (STIFFNESS * (1.0 - LOSS * done / self.cycles))
        load = self.load_at(time) + rng.normal(0, 0.03, len(time))
        columns = (
            time - begin,
            np.where(dropped, 0.0, load),
            deflection + rng.normal(0, 0.003, len(time)),
            # The counter was saved some cycles before the machine stopped.
            np.floor(done) - back,
        )
        return _text(columns, ("%.4f", "%.3f", "%.4f", "%d"))

    def logger_lines(self) -> Iterator[str]:
        """The strain logger's file, some lines at a time."""
        yield LOGGER_HEAD
        rng = np.random.default_rng(32)
        rows = round((self.spans()[-1][1] + 40.0) * self.logger_hertz)
        for low in range(0, rows, 50_000):
            time = np.arange(low, min(low + 50_000, rows)) / self.logger_hertz
            load = self.load_at(time)
            noisy = load + rng.normal(0, 0.03, len(time))
            yield _text((time - CLOCK, noisy, MICROSTRAIN_A_KN * load), ("%.3f", "%.3f", "%.1f"))

    def write(self, folder: Path) -> list[Path]:
        """Both files in a folder."""
        folder.mkdir(parents=True, exist_ok=True)
        paths = [folder / RIG, folder / LOGGER]
        for path, lines in zip(paths, (self.rig_lines(), self.logger_lines()), strict=True):
            with path.open("w", encoding="utf-8", newline="") as stream:
                stream.writelines(lines)
        return paths


def _text(columns: tuple[Floats, ...], forms: tuple[str, ...]) -> str:
    form = ";".join(forms)
    return "".join(form % row + "\n" for row in zip(*columns, strict=True))
