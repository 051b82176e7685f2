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
from results.services.prediction import prediction_job, predictions_make
from results.services.record import JOB_KIND, Upload, channel_map_save, record_receive
from specimens.models import Specimen
from specimens.services.event import events_receive
from specimens.services.specimen import specimen_create

LABORATORY = "Quayside Structures Laboratory"
ZONE = "Europe/Lisbon"
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
            specimen_create(
                actor=people[Role.LEAD], cell=cells[beam.cell], measured=beam.measured, now=now
            )


def _predictions(people: People, series: Series, now: datetime) -> None:
    """Every cell and beam is predicted once, in the background."""
    if prediction_job(series) is None:
        lead = people[Role.LEAD]
        predictions_make(actor=lead, series=series, why="before anything is cast", now=now)


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
    for record in told.records:
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


def demo_is_loaded(told: Story) -> bool:
    """Whether every record and the predictions of the demo are there and have come to their end."""
    series = Series.objects.filter(code=told.series["code"]).first()
    job = prediction_job(series) if series else None
    if job is None or job.state in (Job.State.WAITING, Job.State.RUNNING):
        return False
    records = Record.objects.filter(subject__programme_code=told.programme["code"])
    ended = records.filter(status__in=("reduced", "refused"))
    return records.count() >= len(told.records) == ended.count()


def demo_load(*, told: Story, now: datetime, say: Say) -> None:
    """Create what the story lists, send its events, upload its records.

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
    _predictions(people, series, now)
    say(f"Logging {len(told.events)} events of {len(told.specimens)} beams …")
    _events(told, people, now)
    say(f"Uploading {len(told.records)} raw files …")
    _records(told, people, now)


def demo_progress() -> tuple[int, int]:
    """Reduction jobs that have ended, and all of them."""
    jobs = Job.objects.filter(kind=JOB_KIND)
    open_states = (Job.State.WAITING, Job.State.RUNNING)
    return jobs.exclude(state__in=open_states).count(), jobs.count()
