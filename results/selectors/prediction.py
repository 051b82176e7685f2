"""Read predictions."""

from __future__ import annotations

import json
from typing import Any

from django.db.models import QuerySet

from labmatrix.kernel.clock import iso
from labmatrix.kernel.errors import NotFound
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.web.domain.roles import NOT_YOURS, Action, allowed, require
from labmatrix.web.models import Person
from results.domain.materials.resolve import materials_sentence
from results.domain.prediction_changes import Change, changes_between
from results.models import Prediction
from specimens.models import Specimen
from specimens.selectors.access import programme_roles


def prediction_list_visible(*, actor: Person) -> QuerySet[Prediction]:
    """Predictions of the programmes whose work the person sees, cells first, in a fixed order."""
    codes = [c for c, role in programme_roles(actor).items() if allowed(role, Action.SEE_WORK)]
    return (
        Prediction.objects.filter(cell__series__programme__code__in=codes)
        .select_related("cell__series__programme", "specimen")
        .order_by("cell__series__code", "cell_id", "specimen__number", "-made_at", "id")
    )


def prediction_get(*, actor: Person, prediction_id: str) -> Prediction:
    """A prediction, superseded ones too.

    Raises:
        NotFound: not there, not theirs, or beyond their role.
    """
    found = (
        Prediction.objects.filter(id=prediction_id)
        .select_related("cell__series__programme", "specimen")
        .first()
    )
    if found is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    require(programme_role(actor, found.cell.series.programme), Action.SEE_WORK)
    return found


def prediction_list_of_cells(series: Series) -> dict[int, Prediction]:
    """The current prediction of each cell as specified, by the cell's key; one query."""
    found = Prediction.objects.filter(
        cell__series=series, specimen__isnull=True, is_current=True
    ).defer("sheet", "inputs")
    return {prediction.cell_id: prediction for prediction in found}


def prediction_list_of_specimens(series: Series) -> dict[int, Prediction]:
    """The current prediction of each specimen, by the specimen's key; one query."""
    found = Prediction.objects.filter(
        cell__series=series, specimen__isnull=False, is_current=True
    ).defer("sheet", "inputs")
    return {p.specimen_id: p for p in found if p.specimen_id is not None}


def prediction_list_specified(series: Series) -> dict[int, Prediction]:
    """The last prediction of each specimen with specified values alone, by its key; one query."""
    found = Prediction.objects.filter(
        cell__series=series,
        specimen__isnull=False,
        values=Prediction.Values.SPECIFIED,
        error__isnull=True,
    ).order_by("made_at", "id")
    kept = found.defer("sheet", "inputs")
    return {p.specimen_id: p for p in kept if p.specimen_id is not None}


def prediction_of_specimen(specimen: Specimen) -> Prediction | None:
    """What is expected of a specimen: its own prediction, else that of its cell."""
    own = Prediction.objects.filter(specimen=specimen, is_current=True).first()
    if own is not None:
        return own
    return Prediction.objects.filter(
        cell_id=specimen.cell_id, specimen__isnull=True, is_current=True
    ).first()


def prediction_as_dict(prediction: Prediction, *, whole: bool = False) -> dict[str, Any]:
    """A prediction as the API words it.

    Args:
        prediction: with its cell and series.
        whole: with inputs, curve and every step.
    """
    shown: dict[str, Any] = {
        "id": str(prediction.id),
        "series": prediction.cell.series.code,
        "cell": prediction.cell.code,
        "specimen": prediction.specimen.code if prediction.specimen else None,
        "values": prediction.values,
        "used": prediction.used,
        "outcome": prediction.outcome,
        "error": prediction.error,
        "is_current": prediction.is_current,
        "superseded_by": str(prediction.superseded_by_id or "") or None,
        "why": prediction.why,
        "made_at": iso(prediction.made_at),
        "key": prediction.key,
        "version": prediction.version,
        "software": prediction.software_version,
    }
    if whole:
        shown |= {
            "inputs": json.loads(prediction.inputs),
            "curve": prediction.curve,
            "sheet": prediction.sheet,
        }
    return shown


def prediction_before(prediction: Prediction) -> Prediction | None:
    """The last prediction of the same cell or specimen that was made earlier; None without one.

    Of a specimen's first prediction it is that of its cell, which holds what was specified.
    """
    own = Prediction.objects.filter(
        cell=prediction.cell, specimen=prediction.specimen, made_at__lt=prediction.made_at
    )
    found = own.order_by("-made_at", "id").first()
    if found is not None or prediction.specimen_id is None:
        return found
    of_cell = Prediction.objects.filter(cell_id=prediction.cell_id, specimen__isnull=True)
    return of_cell.filter(made_at__lte=prediction.made_at).order_by("-made_at", "id").first()


def prediction_changes(prediction: Prediction, before: Prediction) -> tuple[Change, ...]:
    """What is otherwise in a prediction than in an earlier one."""
    told = [
        {
            "used": one.used,
            "options": json.loads(one.inputs).get("options", {}),
            "version": one.version,
            "outcome": one.outcome,
        }
        for one in (before, prediction)
    ]
    return changes_between(told[0], told[1])


def materials_said(prediction: Prediction) -> str:
    """The material values of a prediction in a sentence, each with what it rests on."""
    if prediction.error is not None:
        return ""
    fabric = bool(prediction.outcome.get("gain_words")) or _has_plies(prediction)
    return materials_sentence(prediction.used, has_fabric=fabric)


def _has_plies(prediction: Prediction) -> bool:
    stages = json.loads(prediction.inputs).get("stages", ())
    return any(stage.get("stage") == "strengthen" for stage in stages)
