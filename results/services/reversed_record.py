"""What a reversed cyclic test of growing amplitude gives beside its cycles: reversals, both
envelopes with their equal-energy yield, and stiffness and energy by amplitude."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from results.domain.reduction.cycle_envelope import SIDES, reduce_envelope
from results.domain.reduction.cyclic import CyclicSettings, reduce_cyclic
from results.domain.reduction.cyclic_metrics import STIFFNESS_COLUMN
from results.domain.reduction.outcome import Found, Note, Outcome
from results.domain.reduction.turning import turning_points
from results.services.cyclic_work import CyclicFound

Floats = npt.NDArray[np.float64]
ROWS_MAX: Final = 5_000_000
CYCLES_MAX: Final = 2_000
# Fewer amplitudes than these on each side are no envelope but a level that was repeated.
_AMPLITUDES = 3
_REVERSED = 0.2
TOO_LONG = (
    "The record goes to both sides and has {rows} rows; its envelope is taken of up to {most}."
)


def is_reversed(curve: Mapping[str, Any]) -> bool:
    """Whether load and deflection go to both sides, by the light curve, which keeps every extreme:
    the lesser side reaches a fifth of the larger one."""
    for name in ("x", "y"):
        values = np.asarray(curve[name], dtype=np.float64)
        values = values[np.isfinite(values)]
        if len(values) == 0:
            return False
        least, most = sorted((float(-values.min()), float(values.max())))
        if least < _REVERSED * most:
            return False
    return True


def with_envelope(found: CyclicFound, x: Floats, y: Floats) -> CyclicFound:
    """The same with reversals and envelopes, where the amplitude grows.

    Args:
        found: of a record that goes to both sides.
        x, y: deflection in mm and load in kN of every row, shape (rows,), NaN where left out.
    """
    read = reduce_envelope(load_kn=y, deflection_mm=x)
    table = read.table or {}
    counts = [int(np.count_nonzero(table["side"] == sign)) for sign in (1, -1)]
    if min(counts) <= _AMPLITUDES:
        return found
    rows = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    band = float(read.settings["band_mm"])
    turns = turning_points(x[rows], band)
    inner = slice(1, -1)
    reversals = {
        "rows": rows[turns.index[inner]].tolist(),
        "deflection_mm": _rounded(turns.value[inner]),
    }
    count = Found("reversals", float(len(reversals["rows"])), "1", method="deflection")
    outcome = replace(
        found.judged.outcome,
        metrics=(*found.judged.outcome.metrics, count, *read.metrics),
        warnings=(*found.judged.outcome.warnings, *read.warnings),
        marks=(*found.judged.outcome.marks, *read.marks),
        settings={**found.judged.outcome.settings, "envelope": dict(read.settings)},
    )
    curve = {
        **found.curve,
        "envelope": _sides(read),
        "reversals": reversals,
        "by_cycle": _by_cycle(x, y),
    }
    return replace(found, judged=replace(found.judged, outcome=outcome), curve=curve)


def too_long(found: CyclicFound) -> CyclicFound:
    """The same with a note that its envelope is not taken."""
    words = TOO_LONG.format(rows=found.curve["of_rows"], most=ROWS_MAX)
    note = Note("envelope.too-long", words)
    outcome = replace(found.judged.outcome, warnings=(*found.judged.outcome.warnings, note))
    return replace(found, judged=replace(found.judged, outcome=outcome))


def _sides(read: Outcome) -> dict[str, Any]:
    """Each side as recorded, and its elastic–perfectly plastic curve where there is one."""
    table = read.table or {}
    found: dict[str, Any] = {}
    values = {(m.name.removeprefix("envelope_"), m.method): m.value for m in read.metrics}
    for side, sign in zip(SIDES, (1, -1), strict=True):
        of_side = table["side"] == sign
        drawn: dict[str, Any] = {
            "x": _rounded(table["deflection_mm"][of_side]),
            "y": _rounded(table["load_kn"][of_side]),
            "rows": [int(row) for row in table["index"][of_side]],
        }
        corner = [values.get((name, side)) for name in ("yield_deflection", "yield_load")]
        end = values[("ultimate_deflection", side)]
        if corner[0] is not None and corner[1] is not None:
            drawn["idealised"] = {
                "x": _rounded(sign * np.array([0.0, corner[0], end])),
                "y": _rounded(sign * np.array([0.0, corner[1], corner[1]])),
            }
        found[side] = drawn
    return found


def _by_cycle(x: Floats, y: Floats) -> dict[str, list[Any]] | None:
    """Amplitude, stiffness and energy of each load cycle; None of more than ``CYCLES_MAX``.

    These cycles go from valley to valley of the deflection: where a specimen softens and sheds
    load, the load has extremes that are no ends of a cycle.
    """
    settings = CyclicSettings.from_dict({"cycles_by": "deflection"})
    table = reduce_cyclic(load_kn=y, deflection_mm=x, settings=settings).table or {}
    if not 0 < len(table.get("cycle", ())) <= CYCLES_MAX:
        return None
    amplitude = (table["peak_deflection_mm"] - table["valley_deflection_mm"]) / 2.0
    return {
        "cycle": table["cycle"].tolist(),
        "amplitude_mm": _rounded(amplitude),
        "stiffness_kn_mm": _rounded(table[STIFFNESS_COLUMN["deflection-extremes"]]),
        "energy_kn_mm": _rounded(table["loop_energy_kn_mm"]),
    }


def _rounded(values: npt.NDArray[Any]) -> list[Any]:
    return [round(float(v), 6) if np.isfinite(v) else None for v in values]
