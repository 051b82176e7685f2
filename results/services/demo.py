"""Load the invented demo through the same services as any laboratory's own data.

Every step looks whether its thing is there already, so a load that was cut off goes on where it
stood, and a second load changes nothing.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from datetime import datetime

from conditioning.models import Machine, Regime, Sensor
from conditioning.services.machine import machine_add
from conditioning.services.regime import regime_add
from conditioning.services.sensor import calibration_add, sensor_add
from labmatrix.evidence.models import Job, Record
from labmatrix.kernel.errors import RuleBroken
from labmatrix.matrix.models import Cell, Programme, Series
from labmatrix.matrix.services.matrix_import import matrix_import
from labmatrix.matrix.services.programme import membership_set, programme_create
from labmatrix.matrix.services.series import series_create
from labmatrix.web.domain.demo import DEMO_PASSWORD, DEMO_PEOPLE
from labmatrix.web.domain.roles import Role
from labmatrix.web.models import Laboratory, Person
from labmatrix.web.services.laboratory import laboratory_setup, person_add
from results.domain.invented.story import Story
from results.services.prediction import JOB_KIND as PREDICT_KIND
from results.services.prediction import prediction_job, predictions_make
from results.services.record import JOB_KIND, Upload, channel_map_save, record_receive
from specimens.models import Lot, Specimen, TypedTest
from specimens.services.event import events_receive
from specimens.services.lot import lot_add
from specimens.services.specimen import specimen_create, specimen_measured_set
from specimens.services.typed_test import typed_test_add

LABORATORY = "Quayside Structures Laboratory"
ZONE = "Europe/Lisbon"
BEFORE_CASTING, MEASURED_IN = "before anything is cast", "measured values have come in"
NOT_THE_DEMO = (
    "This installation serves {name} and is not the demo's; the demo goes only into an empty one."
)
_BATCH = 400
Say = Callable[[str], None]
People = dict[str, Person]


def _people() -> People:
    laboratory = Laboratory.objects.first()
    if laboratory is not None and not laboratory.is_invented:
        raise RuleBroken("demo.not-empty", NOT_THE_DEMO.format(name=laboratory.name))
    if laboratory is None:
        laboratory_setup(name=LABORATORY, time_zone=ZONE, is_invented=True)
    found = {person.username: person for person in Person.objects.filter(is_demo=True)}
    for role in DEMO_PEOPLE:
        if str(role) not in found:
            found[str(role)] = person_add(
                username=str(role),
                password=DEMO_PASSWORD,
                role=role,
                display_name=f"The {role}",
                is_demo=True,
            )
    return found


def _matrix(told: Story, people: People, now: datetime) -> Series:
    lead = people[Role.LEAD]
    programme = Programme.objects.filter(code=told.programme["code"]).first()
    if programme is None:
        programme = programme_create(actor=lead, now=now, **told.programme)
    for name, person in people.items():
        membership_set(actor=lead, programme=programme, person=person, role=Role(name), now=now)
    series = Series.objects.filter(code=told.series["code"]).first()
    if series is None:
        series = series_create(actor=lead, programme=programme, now=now, **told.series)
    content = json.dumps(told.matrix).encode()
    matrix_import(actor=lead, series=series, filename="quayside.json", content=content, now=now)
    return series


def _machines(told: Story, people: People, now: datetime) -> None:
    manager = people[Role.MANAGER]
    there = set(Machine.objects.values_list("code", flat=True))
    for machine in told.machines:
        if machine.code not in there:
            machine_add(
                actor=manager,
                code=machine.code,
                name=machine.name,
                kind=machine.kind,
                positions=machine.positions,
                note=machine.note,
                dynamic_performance=machine.performance(),
                now=now,
            )
    known = set(Regime.objects.values_list("code", flat=True))
    for regime in told.regimes:
        if regime.code not in known:
            regime_add(
                actor=manager,
                code=regime.code,
                title=regime.title,
                kind=regime.kind,
                text=regime.text,
                settings=dict(regime.settings),
                now=now,
            )


def _sensors(told: Story, people: People, now: datetime) -> None:
    manager = people[Role.MANAGER]
    for spec in told.sensors:
        sensor = Sensor.objects.filter(serial=spec.serial).first() or sensor_add(
            actor=manager,
            serial=spec.serial,
            quantity=spec.quantity,
            unit=spec.unit,
            range_low=spec.range_low,
            range_high=spec.range_high,
            now=now,
        )
        there = set(sensor.calibrations.values_list("calibrated_at", flat=True))
        for calibration in spec.calibrations:
            if calibration.calibrated_at not in there:
                calibration_add(
                    actor=manager,
                    sensor=sensor,
                    calibrated_at=calibration.calibrated_at,
                    factor=calibration.factor,
                    zero=calibration.zero,
                    u_relative=calibration.u_relative,
                    certificate=calibration.certificate,
                    due_on=calibration.due_on,
                    now=now,
                )


def _specimens(told: Story, people: People, series: Series, now: datetime) -> None:
    cells = {cell.code: cell for cell in Cell.objects.filter(series=series)}
    there = set(Specimen.objects.values_list("code", flat=True))
    for beam in told.specimens:
        if beam.code not in there:
            specimen_create(actor=people[Role.LEAD], cell=cells[beam.cell], now=now)


def _measured(told: Story, people: People, now: datetime) -> None:
    """Geometry as measured; strengths are those of the lots."""
    codes = {beam.code: beam.measured for beam in told.specimens if beam.measured}
    for specimen in Specimen.objects.filter(code__in=codes, measured={}).select_related("subject"):
        specimen_measured_set(
            actor=people[Role.LEAD],
            specimen=specimen,
            measured=codes[specimen.code],
            why="measured after it was taken out of its mould",
            now=now,
        )


def _predictions(people: People, series: Series, now: datetime, why: str) -> None:
    """Every cell and beam is predicted in the background, once for each reason."""
    if not predictions_asked(series, why):
        predictions_make(actor=people[Role.LEAD], series=series, why=why, now=now)


def predictions_asked(series: Series, why: str) -> bool:
    """Whether the demo asked for predictions of its series for this reason."""
    asked = Job.objects.filter(kind=PREDICT_KIND, key__startswith=f"{PREDICT_KIND}:{series.code}:")
    return any(job.payload["why"] == why for job in asked)


def _materials(told: Story, people: People, series: Series, now: datetime) -> None:
    """Lots first, then what was typed of them."""
    there = {lot.code: lot for lot in Lot.objects.all()}
    for spec in told.lots:
        if spec.code not in there:
            there[spec.code] = lot_add(
                actor=people[Role.MANAGER],
                programme=series.programme,
                code=spec.code,
                kind=spec.kind,
                title=spec.title,
                made_on=spec.made_on,
                specified=dict(spec.specified),
                source=spec.source,
                note=spec.note,
                now=now,
            )
    typed = set(TypedTest.objects.values_list("lot__code", "mark"))
    for test in told.typed_tests:
        if (test.lot, test.mark) not in typed:
            typed_test_add(
                actor=people[Role.TECHNICIAN],
                lot=there[test.lot],
                test=test.test,
                mark=test.mark,
                tested_on=test.tested_on,
                values=dict(test.values),
                note=test.note,
                now=now,
            )


def _events(told: Story, people: People, now: datetime) -> int:
    sent = 0
    for role, bodies in told.events_by_role().items():
        for start in range(0, len(bodies), _BATCH):
            batch = bodies[start : start + _BATCH]
            for answer in events_receive(actor=people[role], raws=batch, now=now):
                if answer.answer == "rejected":
                    raise RuleBroken("demo.event", f"An event of the demo was rejected: {answer}")
                sent += answer.answer != "duplicate"
    return sent


def _records(told: Story, people: People, now: datetime) -> int:
    technician = people[Role.TECHNICIAN]
    for name, entries in told.channel_maps.items():
        channel_map_save(actor=technician, name=name, entries=entries, now=now)
    before = Record.objects.count()
    for record in (*told.material_records, *told.records):
        record_receive(
            actor=technician,
            subject_code=record.subject,
            test=record.test,
            uploads=[Upload(record.file_name, io.BytesIO(record.content()))],
            channels=record.channel_map,
            settings=record.settings,
            cycle_offset=record.cycle_offset,
            measured_at=record.measured_at,
            now=now,
        )
    return Record.objects.count() - before


def _series(told: Story) -> Series | None:
    return Series.objects.filter(code=told.series["code"]).first()


def demo_is_loaded(told: Story) -> bool:
    """Whether every record and both rounds of predictions have come to their end."""
    series = _series(told)
    if series is None or not predictions_asked(series, MEASURED_IN):
        return False
    return demo_is_predicted(told) and demo_is_reduced(told)


def demo_is_predicted(told: Story) -> bool:
    """Whether no prediction of the demo is waited for."""
    series = _series(told)
    job = prediction_job(series) if series else None
    return job is not None and job.state not in (Job.State.WAITING, Job.State.RUNNING)


def demo_is_reduced(told: Story) -> bool:
    """Whether every record of the demo is there and has come to its end."""
    records = Record.objects.filter(subject__programme_code=told.programme["code"])
    ended = records.filter(status__in=("reduced", "refused"))
    wanted = len(told.records) + len(told.material_records)
    return records.count() >= wanted == ended.count()


def demo_plan(*, told: Story, now: datetime, say: Say) -> None:
    """People, matrix, machines, specimens; and predictions before anything is cast.

    Raises:
        RuleBroken: ``demo.not-empty`` in an installation with data of its own.
    """
    people = _people()
    say("Planning the matrix …")
    series = _matrix(told, people, now)
    _machines(told, people, now)
    _sensors(told, people, now)
    _specimens(told, people, series, now)
    say(f"Predicting {len(told.specimens)} beams and their cells in the background …")
    _predictions(people, series, now, BEFORE_CASTING)


def demo_load(*, told: Story, now: datetime, say: Say) -> None:
    """What happened after the plan: materials, measurements, events, records.

    To be called when nothing waits for the predictions of the plan any more: they rest on what is
    specified.
    """
    people, series = _people(), Series.objects.get(code=told.series["code"])
    say(f"Adding {len(told.lots)} lots of material with {len(told.typed_tests)} typed tests …")
    _materials(told, people, series, now)
    _measured(told, people, now)
    say(f"Logging {len(told.events)} events of {len(told.specimens)} beams …")
    _events(told, people, now)
    say(f"Uploading {len(told.records) + len(told.material_records)} raw files …")
    _records(told, people, now)


def demo_predict_again(*, told: Story, now: datetime, say: Say) -> None:
    """Predict once more with what was measured; what was predicted before stays beside it."""
    series = Series.objects.get(code=told.series["code"])
    say("Predicting again with what was measured …")
    _predictions(_people(), series, now, MEASURED_IN)


def demo_progress() -> tuple[int, int]:
    """Reduction jobs that have ended, and all of them."""
    jobs = Job.objects.filter(kind=JOB_KIND)
    open_states = (Job.State.WAITING, Job.State.RUNNING)
    return jobs.exclude(state__in=open_states).count(), jobs.count()
