"""The curve behind a reduction's numbers at full resolution, from the raw bytes."""

from __future__ import annotations

import json
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from labmatrix.evidence.services.blob import blob_open
from labmatrix.evidence.services.job_folder import passing_folder
from labmatrix.kernel.text import grouped
from results.domain.curve import View, Window, view_of
from results.models import Reduction
from results.services.compute import channels_of, table_columns
from results.services.cyclic_record import cyclic_samples
from results.services.main_channels import drawn_channels
from results.services.methods import CyclicMethod, RunMethod
from results.services.run_record import own_inputs

Floats = npt.NDArray[np.float64]
POINTS = 2000
# Longer records are read again for every view rather than kept in memory.
_KEPT_ROWS_MAX = 2_000_000
_one_at_a_time = threading.Lock()


@dataclass(frozen=True, eq=False)
class _Line:
    """A line to draw, with the row of the record behind each of its points."""

    x: Floats
    y: Floats
    rows: npt.NDArray[np.int64]

    def between(self, first: int, last: int) -> _Line:
        low, high = np.searchsorted(self.rows, [first, last + 1])
        return _Line(self.x[low:high], self.y[low:high], self.rows[low:high])


@dataclass(frozen=True, eq=False)
class _Drawn:
    """Both lines of a reduction: as measured, and as its numbers were read off."""

    raw: _Line
    reduced: _Line | None
    x_title: str
    y_title: str


def _read(key: str) -> _Drawn:
    reduction = Reduction.objects.select_related("table").get(key=key)
    inputs = json.loads(reduction.inputs)
    if reduction.name in (CyclicMethod.name, RunMethod.name):
        with passing_folder() as folder:
            x, y = cyclic_samples(own_inputs(inputs), folder)
        x_title, y_title = reduction.curve["x_title"], reduction.curve["y_title"]
    else:
        read = channels_of(inputs, lambda share, words: None)
        x, y, x_title, y_title = drawn_channels(read.channels)
    raw = _Line(x, y, np.arange(x.size, dtype=np.int64))
    return _Drawn(raw, _reduced(reduction), x_title, y_title)


def _reduced(reduction: Reduction) -> _Line | None:
    if reduction.table is None or not reduction.curve.get("reduced"):
        return None
    with blob_open(reduction.table) as stream:
        table = table_columns(stream)
    if "side" in table:
        return None  # two envelopes, each of few points that the curve has already
    x, y = (np.asarray(table[name], dtype=np.float64) for name in ("deflection_mm", "load_kn"))
    return _Line(x, y, np.asarray(table["index"], dtype=np.int64))


@lru_cache(maxsize=4)
def _read_and_kept(key: str) -> _Drawn:
    return _read(key)


def curve_between(
    *, reduction: Reduction, from_row: int = 0, to_row: int | None = None, window: Window
) -> dict[str, Any]:
    """The curve of a reduction between two rows and within a window, every row where it fits.

    Args:
        reduction: whose stored inputs are read again.
        from_row, to_row: rows of the record from 0, both included; None for the last.
        window: in the units of the curve; open for all of it.

    Returns:
        {"key", "from_row", "to_row", "of_rows", "rows_in_view", "rows_drawn", "words", "x_title",
        "y_title", "lines": {"raw": {"x", "y", "rows"}, "reduced"?: …}}; None in x and y stands
        where the curve was outside between.

    Raises:
        UserError: the raw files cannot be read any more.
    """
    keeps = int(reduction.curve.get("of_rows", 0)) <= _KEPT_ROWS_MAX
    with _one_at_a_time:  # a long record takes much memory while it is read
        drawn = _read_and_kept(reduction.key) if keeps else _read(reduction.key)
    of_rows = drawn.raw.x.size
    last = of_rows - 1 if to_row is None else min(to_row, of_rows - 1)
    lines = {"raw": drawn.raw} | ({"reduced": drawn.reduced} if drawn.reduced else {})
    between = {name: line.between(from_row, last) for name, line in lines.items()}
    views = {
        name: view_of(line.x, line.y, window, at_most=POINTS) for name, line in between.items()
    }
    seen = views["raw"]
    return {
        "key": reduction.key,
        "from_row": from_row,
        "to_row": last,
        "of_rows": of_rows,
        "rows_in_view": seen.rows_in_view,
        "rows_drawn": int(seen.rows.size),
        "words": _words(seen),
        "x_title": drawn.x_title,
        "y_title": drawn.y_title,
        "lines": {name: _as_dict(between[name], view) for name, view in views.items()},
    }


def _words(view: View) -> str:
    if view.rows_in_view == 0:
        return "No row of the record lies here."
    if view.rows.size == view.rows_in_view:
        return f"Every row in view is drawn: {grouped(view.rows_in_view)}."
    passes = ""
    if view.passes_drawn < view.passes:
        passes = f", {grouped(view.passes_drawn)} of {grouped(view.passes)} passes"
    return (
        f"{grouped(view.rows.size)} of {grouped(view.rows_in_view)} rows in view are drawn{passes}."
    )


def _as_dict(line: _Line, view: View) -> dict[str, list[Any]]:
    starts = {int(place) for place in view.starts}
    found: Mapping[str, list[Any]] = {"x": [], "y": [], "rows": []}
    for place, row in enumerate(view.rows):
        if place in starts:
            for values in found.values():
                values.append(None)
        found["x"].append(shown(float(line.x[row])))
        found["y"].append(shown(float(line.y[row])))
        found["rows"].append(int(line.rows[row]))
    return dict(found)


def shown(value: float) -> float:
    """A coordinate as a drawing needs it: seven significant digits."""
    return float(f"{value:.7g}")
