"""Measured over predicted moment of each specimen, from measured or from specified values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.models import Series
from results.domain.comparison.groups import Sample
from results.models import Prediction
from results.selectors.prediction import (
    prediction_list_of_cells,
    prediction_list_of_specimens,
    prediction_list_specified,
)
from specimens.models import Specimen

RATIO, OF_METRIC = "test_to_prediction", "peak_load"
MEASURED, SPECIFIED = "measured values", "specified values"
VALUES = {
    MEASURED: "predicted with what was measured, specified values where nothing was",
    SPECIFIED: "predicted with specified values alone, as before casting",
}
UNKNOWN = "values is {values!r}; allowed are {allowed}."


def check_values(values: str) -> str:
    """One of the two ways to predict; nothing said is with measured values.

    Raises:
        ShapeError: ``prediction.values``.
    """
    chosen = values or MEASURED
    if chosen not in VALUES:
        words = UNKNOWN.format(values=values, allowed=", ".join(VALUES))
        raise ShapeError("prediction.values", words, allowed=list(VALUES))
    return chosen


def predictions_by_values(series: Series, values: str) -> Mapping[int, Prediction]:
    """The prediction of each specimen by its key: with measured values, or with specified ones.

    With specified ones it is the specimen's own last prediction before anything was measured, else
    that of its cell.

    Args:
        series: the series.
        values: ``measured values`` or ``specified values``.
    """
    if values == MEASURED:
        return prediction_list_of_specimens(series)
    own, of_cells = prediction_list_specified(series), prediction_list_of_cells(series)
    members = Specimen.objects.filter(cell__series=series).values_list("pk", "cell_id")
    found = {pk: own.get(pk) or of_cells.get(cell) for pk, cell in members}
    return {pk: prediction for pk, prediction in found.items() if prediction is not None}


def measured_moment_knm(outcome: Mapping[str, Any], peak_kn: float) -> float:
    """Mid-span moment at a measured actuator load, with self-weight and spreader, kN·m."""
    dead = float(outcome["dead_moment"]["value"])
    return dead + peak_kn * float(outcome["shear_span"]["value"]) / 2000.0


def ratio_samples(
    series: Series,
    samples: Mapping[str, Sequence[Sample]],
    specimens: Sequence[Specimen],
    values: str,
) -> dict[str, list[Sample]]:
    """Peak loads turned into ratios; a specimen without a prediction has none.

    Args:
        series: the series.
        samples: peak loads in kN by the specimen's code.
        specimens: those that count.
        values: as ``check_values`` gives them.
    """
    predictions = predictions_by_values(series, values)
    found: dict[str, list[Sample]] = {}
    for specimen in specimens:
        prediction = predictions.get(specimen.pk)
        if prediction is None or prediction.error is not None or specimen.code not in samples:
            continue
        outcome = prediction.outcome
        predicted = float(outcome["ultimate_moment"]["value"])
        found[specimen.code] = [
            replace(sample, value=measured_moment_knm(outcome, sample.value) / predicted, u=None)
            for sample in samples[specimen.code]
        ]
    return found
