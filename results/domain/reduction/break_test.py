"""Reduction of a break test: cracking, yield, peak, ultimate, stiffness, ductility, energy.

Everything is read off the envelope of the record (``break_curve``), which holds its largest load.
Loads are those of the actuator; self-weight and spreader are kept apart, in the settings of the
outcome.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from labmatrix.kernel.errors import RangeError
from results.domain.reduction.break_prepare import Prepared, channels_checked, prepare
from results.domain.reduction.break_reading import Reading
from results.domain.reduction.break_settings import BreakSettings
from results.domain.reduction.outcome import Floats, Note, Outcome, Point

REDUCTION: Final = "break"
VERSION: Final = "2"

__all__ = ["REDUCTION", "VERSION", "BreakSettings", "reduce_break"]


def reduce_break(
    *,
    load_kn: npt.ArrayLike,
    deflection_mm: npt.ArrayLike,
    settlement_mm: Sequence[npt.ArrayLike] = (),
    time_s: npt.ArrayLike | None = None,
    settings: BreakSettings | None = None,
    already_cracked: bool,
    self_weight_kn: float = 0.0,
    spreader_kn: float = 0.0,
    bar_strain: npt.ArrayLike | None = None,
    carried: Mapping[str, npt.ArrayLike] | None = None,
) -> Outcome:
    """Reads a monotonic test to failure.

    Args:
        load_kn: TOTAL load of the actuator, kN, shape (n,).
        deflection_mm: mid-span deflection, mm, shape (n,).
        settlement_mm: settlement of each support, mm, shape (n,) each; their mean is subtracted.
        time_s: time, s, shape (n,); only looked at for its order.
        settings: defaults where not given.
        already_cracked: the member was cracked, cycled or sustained before: first crack and
            initial stiffness are not reported.
        self_weight_kn, spreader_kn: loads on the member that the actuator does not show, kN.
        bar_strain: strain of a tension bar, mm/mm, shape (n,), for yield by gauge.
        carried: further channels (strain, crack width), shape (n,), picked at the envelope.

    Returns:
        Metrics, notes, marks, resolved settings, and the envelope as a table with columns
        ``index``, ``deflection_mm``, ``load_kn`` and those carried along.

    Raises:
        ShapeError: channels of different lengths, too few samples, or a sign that cannot be.
        RangeError: a negative self-weight or spreader.
    """
    settings = settings or BreakSettings()
    apart = _loads_apart(self_weight_kn=self_weight_kn, spreader_kn=spreader_kn)
    told = {"already_cracked": already_cracked} | apart
    extra = dict(carried or {})
    optional = [a for a in (time_s, bar_strain) if a is not None]
    load, deflection, rest = channels_checked(
        load_kn, deflection_mm, [*settlement_mm, *optional, *extra.values()]
    )
    settlement, rest = rest[: len(settlement_mm)], rest[len(settlement_mm) :]
    time = rest.pop(0) if time_s is not None else None
    strain = rest.pop(0) if bar_strain is not None else None
    prepared = prepare(load, deflection, settlement, settings)
    if time is not None:
        _note_time(prepared, time)
    reading = Reading(prepared, settings, already_cracked=already_cracked)
    reading.read(strain)
    beside = dict(zip(extra, rest, strict=True))
    return Outcome(
        metrics=tuple(reading.metrics),
        warnings=tuple(prepared.notes),
        marks=tuple(reading.marks),
        settings=settings.as_dict() | prepared.resolved | told,
        table=_table(prepared, beside),
        summaries=_at_points(reading.marks, beside),
    )


def _loads_apart(**loads_kn: float) -> dict[str, float]:
    """Loads that the actuator does not show, kept apart; none can be negative."""
    for name, value in loads_kn.items():
        if not value >= 0.0:
            raise RangeError(name, value, "0 kN or more")
    return loads_kn


def _note_time(prepared: Prepared, time: Floats) -> None:
    back = int(np.count_nonzero(np.diff(time[prepared.row]) < 0.0))
    if back:
        prepared.notes.append(
            Note(
                "break.time-backward",
                f"Time runs backward at {back} samples; the samples were read in the order of "
                "the record.",
            )
        )


def _at_points(
    marks: Sequence[Point], carried: Mapping[str, Floats]
) -> tuple[Mapping[str, Any], ...]:
    """What the channels carried along read at the points found; nothing without such channels."""
    if not carried:
        return ()
    rows = [
        [mark.label, *(_known(values[mark.index]) for values in carried.values())] for mark in marks
    ]
    units = ["mm/mm" if name.startswith("strain") else "mm" for name in carried]
    columns = [{"label": name, "unit": u} for name, u in zip(carried, units, strict=True)]
    caption = "Channels carried along, at the row of the record nearest to each point found."
    told = {"caption": caption, "columns": [{"label": "Point", "kind": "text"}, *columns]}
    return ({**told, "rows": rows},)


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _table(prepared: Prepared, carried: Mapping[str, Floats]) -> dict[str, npt.NDArray[Any]]:
    curve = prepared.curve
    return {
        "index": curve.index,
        "deflection_mm": curve.deflection,
        "load_kn": curve.load,
        **{name: values[curve.index] for name, values in carried.items()},
    }
