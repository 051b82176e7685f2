"""Measured over predicted strength of every broken specimen of a series."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from labmatrix.kernel.units import quantity
from labmatrix.matrix.models import Cell, CellLevel, Series
from results.domain.comparison.groups import Sample
from results.domain.comparison.model_error import (
    PUBLISHED,
    Ratio,
    RatioGroup,
    ratio_group,
    ratio_groups,
)
from results.models import Prediction
from results.selectors.comparison import comparison_get
from results.selectors.ratio_samples import (
    MEASURED,
    check_values,
    measured_moment_knm,
    predictions_by_values,
)
from results.selectors.samples import AS_STORED, Instead
from specimens.models import Specimen

METRIC = "peak_load"
NO_PREDICTION = "{specimen} is broken and not predicted: {why}"
NOT_YET = "ask for predictions of the series"


@dataclass(frozen=True)
class RatioRow:
    """One specimen's ratio with what it came from.

    Attributes:
        ratio: see there.
        peak_kn: measured at the actuator, without self-weight and spreader.
        metric_id: of the measured load.
        prediction: with measured section and material values, or with specified ones.
    """

    ratio: Ratio
    peak_kn: float
    metric_id: str
    prediction: Prediction


@dataclass(frozen=True)
class Ratios:
    """The ratios of a series.

    Attributes:
        values: which values the predictions rest on, a name of ``VALUES``.
        rows: one for each broken and predicted specimen.
        sound: all members that were not conditioned before, which is what judges the equation.
        every: all members, conditioned ones too.
        cells, modes: by cell, and by governing mode as predicted.
        missing: sentences on specimens that are broken and not predicted.
        left_out: specimens that a person excluded.
        imported: specimens whose peak load is imported: a model is judged by records alone.
    """

    series: Series
    include: str
    values: str
    rows: tuple[RatioRow, ...]
    sound: RatioGroup
    every: RatioGroup
    cells: tuple[RatioGroup, ...]
    modes: tuple[RatioGroup, ...]
    missing: tuple[str, ...]
    left_out: tuple[str, ...]
    imported: tuple[str, ...]


def _conditioned(series: Series) -> set[int]:
    """Cells with exposure, sustained load or load cycles: a conditioning level not its control."""
    found = CellLevel.objects.filter(
        cell__series=series, factor__part="conditioning", level__is_control=False
    )
    return set(found.values_list("cell_id", flat=True))


def ratios_get(
    *,
    series: Series,
    include: str = "judged",
    values: str = MEASURED,
    instead: Instead = AS_STORED,
) -> Ratios:
    """Test-to-prediction ratios of a series; the caller has checked who asks.

    The measured moment holds self-weight and spreader; the prediction has measured values in the
    place of specified ones and φ = 1.

    Args:
        series: the series.
        include: ``judged``, ``all`` or ``clean``, as in a comparison.
        values: ``measured values``, or ``specified values``.
        instead: peak loads to be taken in the place of stored ones; nothing is written.

    Raises:
        ShapeError: an unknown choice.
    """
    chosen = check_values(values)
    comparison = comparison_get(
        series=series, metric=METRIC, include=include, instead=instead, imported="without"
    )
    specimens = {s.code: s for s in Specimen.objects.filter(cell__series=series)}
    predictions = predictions_by_values(series, chosen)
    conditioned = _conditioned(series)
    rows: list[RatioRow] = []
    missing: list[str] = []
    for row in comparison.rows:
        for sample in row.samples:
            found = predictions.get(specimens[sample.specimen].pk)
            if found is None or found.error is not None:
                why = found.error["message"] if found and found.error else NOT_YET
                missing.append(NO_PREDICTION.format(specimen=sample.specimen, why=why))
                continue
            rows.append(_row(row.cell, sample, found, row.cell.pk in conditioned))
    ratios = [row.ratio for row in rows]
    return Ratios(
        series=series,
        include=include,
        values=chosen,
        rows=tuple(rows),
        sound=ratio_group("unconditioned members", [r for r in ratios if not r.is_conditioned]),
        every=ratio_group("all members", ratios),
        cells=ratio_groups(ratios, lambda r: r.cell, [r.cell.code for r in comparison.rows]),
        modes=ratio_groups(ratios, lambda r: r.mode),
        missing=tuple(missing),
        left_out=comparison.left_out,
        imported=comparison.imported_codes,
    )


def _row(cell: Cell, sample: Sample, prediction: Prediction, is_conditioned: bool) -> RatioRow:
    outcome = prediction.outcome
    ratio = Ratio(
        specimen=sample.specimen,
        cell=cell.code,
        mode=outcome["mode"],
        measured_knm=measured_moment_knm(outcome, sample.value),
        predicted_knm=float(outcome["ultimate_moment"]["value"]),
        is_bound=sample.bound == "lower",
        is_conditioned=is_conditioned,
    )
    return RatioRow(ratio, sample.value, sample.metric_id, prediction)


def _group_as_dict(group: RatioGroup) -> dict[str, Any]:
    return {
        "name": group.name,
        "n": group.n,
        "mean": group.mean,
        "s": group.s,
        "cov": group.cov,
        "lower_bounds_left_out": group.left_out,
    }


def _row_as_dict(row: RatioRow) -> dict[str, Any]:
    ratio = row.ratio
    return {
        "specimen": ratio.specimen,
        "cell": ratio.cell,
        "mode": ratio.mode,
        "test_to_prediction": ratio.value,
        "bound": "lower" if ratio.is_bound else None,
        "measured": quantity(ratio.measured_knm, "kN·m"),
        "predicted": quantity(ratio.predicted_knm, "kN·m"),
        "peak_load": quantity(row.peak_kn, "kN"),
        "metric": row.metric_id,
        "prediction": str(row.prediction.id),
        "values": row.prediction.values,
        "is_conditioned": ratio.is_conditioned,
    }


def ratios_as_dict(found: Ratios) -> dict[str, Any]:
    """The ratios as the API words them, the published ones beside."""
    return {
        "metric": "test_to_prediction",
        "series": found.series.code,
        "include": found.include,
        "values": found.values,
        "specimens": [_row_as_dict(row) for row in found.rows],
        "unconditioned": _group_as_dict(found.sound),
        "all": _group_as_dict(found.every),
        "by_cell": [_group_as_dict(g) for g in found.cells],
        "by_mode": [_group_as_dict(g) for g in found.modes],
        "missing": list(found.missing),
        "left_out": list(found.left_out),
        "published": {
            "mean": PUBLISHED.mean,
            "s": PUBLISHED.s,
            "n": PUBLISHED.n,
            "source": PUBLISHED.source,
        },
    }
