"""Predict what a member will do, and keep it with all that it came from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from labmatrix import __version__
from labmatrix.evidence.models import Job
from labmatrix.evidence.registry import JobRun
from labmatrix.evidence.services.job import job_submit
from labmatrix.evidence.services.ledger import ledger_append, ledger_transaction
from labmatrix.kernel.canonical import canonical_json, content_key
from labmatrix.kernel.clock import now as clock_now
from labmatrix.kernel.errors import ShapeError, UserError
from labmatrix.kernel.text import check_storable
from labmatrix.matrix.models import Cell, Series
from labmatrix.matrix.selectors.cell import cell_list_of_many
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.services.series import series_subject
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person
from results.domain.materials.resolve import MEASURED, Material
from results.domain.prediction.predict import VERSION, Predicted, predict
from results.models import Prediction
from results.selectors.materials import materials_of_specimens
from results.selectors.prediction_rules import rules_of_many
from results.services.prediction_inputs import (
    Rigs,
    Rules,
    cell_inputs,
    rigs_known,
    specimen_inputs,
)
from results.services.reduce import environment_hash
from specimens.models import Specimen

JOB_KIND = "predict"


@dataclass(frozen=True)
class Made:
    """A prediction that was computed and is not written yet."""

    cell: Cell
    specimen: Specimen | None
    inputs: Mapping[str, Any]
    predicted: Predicted = field(default_factory=Predicted)
    error: dict[str, Any] | None = None

    @property
    def key(self) -> str:
        """SHA-256 of the canonical JSON of the inputs."""
        return content_key(self.inputs)


Materials = Mapping[int, tuple[Material, ...]]


def _inputs_of(
    cell: Cell,
    specimen: Specimen | None,
    rigs: Rigs,
    materials: Materials | None = None,
    rules: Rules | None = None,
) -> dict[str, Any]:
    if specimen is None:
        return cell_inputs(cell, rigs, rules)
    found = materials_of_specimens([specimen]) if materials is None else materials
    return specimen_inputs(specimen, cell, rigs, found[specimen.pk], rules)


def prediction_compute(
    cell: Cell, specimen: Specimen | None, rigs: Rigs, materials: Materials | None = None
) -> Made:
    """Predict a cell as specified, or one of its specimens with what was measured.

    A member that cannot be predicted gives the sentence why, and is kept with it.

    Args:
        cell: with its series.
        specimen: one of the cell's, or None.
        rigs: as ``rigs_known`` gives them.
        materials: of many specimens, where they were read at once.
    """
    try:
        inputs = _inputs_of(cell, specimen, rigs, materials)
    except UserError as error:
        subject = specimen.code if specimen else f"{cell.series.code}/{cell.code}"
        unread = {"subject": subject, "error": error.as_dict(), "mechanics": {"version": VERSION}}
        return Made(cell, specimen, unread, error=error.as_dict())
    if Prediction.objects.filter(key=content_key(inputs)).exists():
        return Made(cell, specimen, inputs)
    try:
        return Made(cell, specimen, inputs, predict(inputs))
    except UserError as error:
        return Made(cell, specimen, inputs, error=error.as_dict())


def prediction_is_stale(prediction: Prediction) -> bool:
    """Whether plan, measurements or mechanics have changed since a prediction was made."""
    try:
        inputs = _inputs_of(prediction.cell, prediction.specimen, rigs_known())
    except UserError:
        return prediction.error is None
    return content_key(inputs) != prediction.key


def predictions_out_of_date(series: Sequence[Series]) -> dict[int, int]:
    """How many current predictions were made from other inputs than there are now, by series' key.

    As many queries for one series as for many.

    Args:
        series: which; a series without any is left out of the answer.
    """
    ids = [one.pk for one in series]
    asked = Prediction.objects.filter(cell__series__in=ids, is_current=True)
    current = {(p.cell_id, p.specimen_id): p for p in asked.defer("sheet", "inputs", "curve")}
    wanted, rigs, rules = _members(ids), rigs_known(), rules_of_many(ids)
    materials = materials_of_specimens([s for _, s in wanted if s is not None])
    count: dict[int, int] = defaultdict(int)
    for cell, specimen in wanted:
        prediction = current.get((cell.pk, specimen.pk if specimen else None))
        if prediction is None:
            continue
        own = rules.get(cell.series_id, {})
        try:
            key = content_key(_inputs_of(cell, specimen, rigs, materials, own))
        except UserError:
            count[cell.series_id] += prediction.error is None
        else:
            count[cell.series_id] += key != prediction.key
    return {pk: found for pk, found in count.items() if found}


def prediction_write(made: Made, *, why: str, now: datetime) -> Prediction:
    """Keep a prediction as the current one; what stood before stays beside it, superseded.

    Only inside a transaction.
    """
    there = Prediction.objects.filter(key=made.key).first()
    prediction = there or Prediction.objects.create(
        key=made.key,
        cell=made.cell,
        specimen=made.specimen,
        values=_values(made),
        used=dict(made.predicted.used),
        inputs=canonical_json(made.inputs),
        version=VERSION,
        outcome=dict(made.predicted.outcome),
        curve=dict(made.predicted.curve),
        sheet=dict(made.predicted.sheet),
        error=made.error,
        is_current=False,
        why=why,
        made_at=now,
        software_version=__version__,
        environment=environment_hash(),
    )
    if prediction.is_current:
        return prediction
    Prediction.objects.filter(cell=made.cell, specimen=made.specimen, is_current=True).update(
        is_current=False, superseded_at=now, superseded_by=prediction
    )
    prediction.is_current, prediction.why = True, why
    prediction.superseded_at = prediction.superseded_by = None
    prediction.save(update_fields=["is_current", "why", "superseded_at", "superseded_by"])
    return prediction


def _values(made: Made) -> str:
    of_lots = any(m["origin"] == MEASURED for m in made.inputs.get("materials", ()))
    measured = of_lots or bool(made.specimen and made.specimen.measured)
    return Prediction.Values.MEASURED if measured else Prediction.Values.SPECIFIED


def prediction_make(
    *, actor: Person, cell: Cell, specimen: Specimen | None = None, now: datetime
) -> Prediction:
    """Predict one cell, or one specimen of it, at once.

    Args:
        actor: lead or manager of the programme.
        cell: with its series and programme.
        specimen: one of the cell's, or None.
        now: of the asking.

    Raises:
        NotFound: not the person's to do.
    """
    require(programme_role(actor, cell.series.programme), Action.ASK_PREDICTION)
    made = prediction_compute(cell, specimen, rigs_known())
    with ledger_transaction():
        _note(actor, cell.series, {"subject": made.inputs["subject"], "key": made.key}, now)
        return prediction_write(made, why="asked for alone", now=now)


def _note(actor: Person, series: Series, body: dict[str, Any], now: datetime) -> None:
    ledger_append(
        actor=str(actor.id),
        kind="prediction-request",
        subject=series_subject(series),
        body={**body, "version": VERSION},
        now=now,
    )


def predictions_make(*, actor: Person, series: Series, why: str, now: datetime) -> Job:
    """Ask for predictions of every cell and specimen of a series, in the background.

    Args:
        actor: lead or manager of the programme.
        series: with its programme.
        why: the reason, kept with each.
        now: of the asking.

    Raises:
        NotFound: not the person's to do.
        ShapeError: ``prediction.why`` without a reason, ``prediction.no-cells`` without cells.
    """
    require(programme_role(actor, series.programme), Action.ASK_PREDICTION)
    check_storable(why, argument="why")
    if not why.strip():
        raise ShapeError("prediction.why", "Say why the series is predicted.")
    if not series.cells.exists():
        raise ShapeError(
            "prediction.no-cells", f"The series {series.code} has no cells yet; plan them first."
        )
    begins = f"{JOB_KIND}:{series.code}:"
    with ledger_transaction():
        waiting = Job.objects.filter(key__startswith=begins, state=Job.State.WAITING).first()
        if waiting is not None:
            return waiting
        number = Job.objects.filter(key__startswith=begins).count() + 1
        _note(actor, series, {"why": why.strip()[:400]}, now)
        return job_submit(
            kind=JOB_KIND,
            key=f"{begins}{number}",
            payload={"series": series.pk, "why": why.strip()[:400]},
            now=now,
            queue=Job.Queue.LONG,
        )


def prediction_job(series: Series) -> Job | None:
    """The last job that predicted the series, or is about to."""
    begins = f"{JOB_KIND}:{series.code}:"
    return Job.objects.filter(key__startswith=begins).order_by("-created_at", "-id").first()


class PredictHandler:
    """Predicts a series, cells first, and writes all of it at the end."""

    def run(self, run: JobRun) -> Callable[[], None]:
        """Compute outside any transaction; what is returned writes the predictions."""
        series = Series.objects.get(pk=run.payload["series"])
        why = str(run.payload["why"])
        wanted, rigs = _members([series.pk]), rigs_known()
        materials = materials_of_specimens([s for _, s in wanted if s is not None])
        made: list[Made] = []
        for at, (cell, specimen) in enumerate(wanted):
            subject = specimen.code if specimen else cell.code
            run.report(at / len(wanted), f"predicting {subject}, {at + 1} of {len(wanted)}")
            made.append(prediction_compute(cell, specimen, rigs, materials))
        return lambda: _write_all(made, why=why, now=clock_now())

    def refuse(self, payload: Mapping[str, Any], error: UserError) -> None:
        """Nothing was written; the job itself says why."""


def _members(series: Sequence[int]) -> list[tuple[Cell, Specimen | None]]:
    """Cells and then specimens of the series with these keys."""
    cells = list(cell_list_of_many(series))
    by_pk = {cell.pk: cell for cell in cells}
    specimens = (
        Specimen.objects.filter(cell__series__in=series)
        .select_related("state", "subject")
        .order_by("cell_id", "number")
    )
    return [*((cell, None) for cell in cells), *((by_pk[s.cell_id], s) for s in specimens)]


def _write_all(made: list[Made], *, why: str, now: datetime) -> None:
    for one in made:
        prediction_write(one, why=why, now=now)
