"""One world for every page: the invented demo, a release, and somebody with nothing yet.

What a name of the access tables stands for is said here once, so that a page that is added to a
table is walked without another line; a name that nobody has told yet is an error in words.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from PIL import Image

from conditioning.models import Machine, Regime, Sensor
from labmatrix.evidence.models import Job, Record
from labmatrix.evidence.services.blob import blob_put
from labmatrix.evidence.services.job import job_perform
from labmatrix.kernel.clock import now
from labmatrix.matrix.models import Programme, Series
from labmatrix.matrix.services.invitation import invitation_create
from labmatrix.matrix.services.programme import programme_create
from labmatrix.matrix.services.series import series_create
from labmatrix.web.domain.roles import Role
from labmatrix.web.models import Person
from labmatrix.web.services.laboratory import person_add
from results.domain.assumed_error import AssumedError
from results.domain.invented.programme import PROGRAMME_CODE, SERIES_CODE
from results.domain.invented.story import story
from results.models import Metric, Prediction, Release
from results.selectors.snapshot import MetricAsked
from results.selectors.what_if import what_if_job
from results.services.demo import demo_load, demo_plan, demo_predict_again
from results.services.history import history_receive
from results.services.release import release_make
from results.services.what_if import what_if_ask
from specimens.models import Deviation, Event, Lot, Specimen
from specimens.services.event import events_receive
from specimens.services.event_id import event_id_new
from specimens.services.lot import lot_add
from specimens.services.typed_test import typed_test_add
from tests.results.history_books import OLD, imported_number, workbook

NAME = re.compile(r"\{(\w+)\}")
PASSWORD = "a-long-password"
EMPTY_PROGRAMME, EMPTY_SERIES = "ELSEWHERE", "ES"
UNKNOWN = "tests/pages/world.py does not say what {{{name}}} of the access tables stands for"


@dataclass(frozen=True)
class World:
    """Who looks, and what the names of the access tables stand for in which state of things."""

    people: Mapping[str, Person]
    scenes: Mapping[str, Mapping[str, str]]


def _specimen(stage: str, **more: Any) -> Specimen:
    found = Specimen.objects.filter(state__stage=stage, **more).order_by("code").first()
    assert found is not None, f"the demo has no beam that is {stage}"
    return found


def _photo(specimen: Specimen, technician: Person) -> str:
    picture = io.BytesIO()
    Image.new("RGB", (32, 24), "grey").save(picture, "PNG")
    picture.seek(0)
    blob = blob_put(stream=picture, now=now())
    raw = {
        "id": event_id_new(now()),
        "subject": specimen.code,
        "kind": "photo",
        "occurred_at": now().isoformat(),
        "payload": {"blob": blob.sha256, "caption": "Soffit after the test"},
    }
    (answer,) = events_receive(actor=technician, raws=[raw], now=now())
    assert answer.answer == "stored", answer
    return blob.sha256


def _of_specimen(specimen: Specimen, test: str = "", metric: str = "") -> dict[str, str]:
    """What there is of one beam; what it has not got is left out."""
    found = {"specimen": specimen.code, "cell": specimen.cell.code}
    record = Record.objects.filter(subject=specimen.subject, test=test).order_by("pk").first()
    if record is not None:
        found["record"] = str(record.pk)
    value = Metric.objects.filter(reduction__record=record, name=metric).order_by("at").last()
    if value is not None:
        found["metric"] = str(value.pk)
    prediction = Prediction.objects.filter(specimen=specimen).order_by("pk").first()
    if prediction is not None:
        found["prediction"] = str(prediction.pk)
    event = Event.objects.filter(subject=specimen.subject).order_by("occurred_at").first()
    if event is not None:
        found["event"] = str(event.pk)
    lead = Person.objects.get(username="lead")
    number = imported_number(lead, specimen.cell.series.programme, specimen.code)
    return found | {"imported": str(number.pk)}


def _release(lead: Person) -> str:
    release: Release = release_make(
        actor=lead,
        series=Series.objects.get(code=SERIES_CODE),
        scope="Valid for beams of series QS in four-point bending. Invented.",
        why="first half of the programme",
        metrics=[MetricAsked("peak_load")],
        now=now(),
    )
    return str(release.pk)


# A table's name, and how it is found in the demo.
_LOOKUPS: dict[str, Callable[[], str]] = {
    "programme": lambda: PROGRAMME_CODE,
    "series": lambda: SERIES_CODE,
    "machine": lambda: Machine.objects.filter(kind="rig").order_by("code")[0].code,
    "sensor": lambda: Sensor.objects.order_by("serial")[0].serial,
    "regime": lambda: Regime.objects.order_by("code")[0].code,
    "fresh": lambda: event_id_new(now()),
}
# Cells that the workbooks of the tests name, and those of the demo in their place.
_CELLS_OF_OLD = {"P2-LAB": "P2-LAB-S0-M", "P0-LAB": "P0-LAB-S0-M"}
# Found when the world is set up.
_MADE = (
    *("specimen", "cell", "record", "metric", "prediction", "event", "deviation", "photo"),
    *("release", "person", "invitation", "link", "lot", "typed", "what_if", "import", "imported"),
)
KNOWN = frozenset({*_LOOKUPS, *_MADE})


def _invited(lead: Person) -> dict[str, str]:
    issued = invitation_create(
        actor=lead, email="ida@floor.example", role=Role.TECHNICIAN, now=now()
    )
    return {
        "invitation": str(issued.invitation.pk),
        "link": issued.link.rstrip("/").rpartition("/")[2],
    }


def _lot(lead: Person) -> dict[str, str]:
    """A batch of concrete with one cylinder."""
    programme = Programme.objects.get(code=PROGRAMME_CODE)
    lot = Lot.objects.filter(programme=programme, code="C-01").first() or lot_add(
        actor=lead, programme=programme, code="C-01", kind="concrete", title="C30/37",
        made_on=date(2026, 1, 12), specified={"fc_mpa": 30}, source="design", now=now(),
    )  # fmt: skip
    values = {"diameter_mm": 150.0, "length_mm": 300.0, "load_kn": 540.0}
    typed = typed_test_add(actor=lead, lot=lot, test="cylinder", mark="WALK-1",
                           tested_on=date(2026, 2, 9), values=values, now=now())  # fmt: skip
    return {"lot": lot.code, "typed": str(typed.pk)}


def _workbook(lead: Person, cells: Mapping[str, str]) -> str:
    """A workbook of past specimens, looked at and not taken in; its cells renamed."""
    sheets = {
        name: [[cells.get(str(cell), cell) for cell in row] for row in rows]
        for name, rows in OLD.items()
    }
    sent = history_receive(
        actor=lead,
        programme=Programme.objects.get(code=PROGRAMME_CODE),
        filename="old.xlsx",
        stream=io.BytesIO(workbook(sheets)),
        now=now(),
    )
    assert sent.job_id is not None
    job_perform(job_id=sent.job_id)
    return str(sent.pk)


def _what_if(lead: Person) -> str:
    """What one per cent on a load cell would change, answered."""
    serials = {
        entry["sensor"]
        for record in Record.objects.filter(test="break", status="reduced").order_by("pk")
        for entry in record.channel_map["entries"]
        if entry["quantity"] == "load"
    }
    sensor = Sensor.objects.get(serial=min(serials))
    asked = what_if_ask(
        actor=lead, errors=[AssumedError(sensor.serial, 1.01)], since=date(2026, 1, 1),
        until=None, why="the cell was dropped", now=now(),
    )  # fmt: skip
    job = what_if_job(asked.what_if)
    assert job is not None
    assert job_perform(job_id=job.pk)
    return str(asked.what_if.pk)


def _full(people: Mapping[str, Person]) -> dict[str, str]:
    deviation = Deviation.objects.filter(decision="").order_by("pk")[0]
    specimen = deviation.specimen
    return {
        **{name: found() for name, found in _LOOKUPS.items()},
        **_of_specimen(specimen, "break", "peak_load"),
        "deviation": str(deviation.pk),
        "photo": _photo(specimen, people["technician"]),
        "release": _release(people["lead"]),
        "person": str(people["technician"].pk),
        **_invited(people["lead"]),
        **_lot(people["lead"]),
        "what_if": _what_if(people["lead"]),
        "import": _workbook(people["lead"], _CELLS_OF_OLD),
    }


def world_make() -> World:
    """Load the demo, reduce what it brings, release it; add a lead whose programme is empty."""
    told = story()
    for load in (demo_plan, demo_load, demo_predict_again):
        load(told=told, now=now(), say=lambda words: None)
        for job in Job.objects.filter(state=Job.State.WAITING).order_by("pk"):
            job_perform(job_id=job.pk)
    stranger = person_add(username="stranger", password=PASSWORD, role=Role.LEAD)
    elsewhere = programme_create(actor=stranger, code=EMPTY_PROGRAMME, title="Elsewhere", now=now())
    series_create(
        actor=stranger, programme=elsewhere, code=EMPTY_SERIES, title="Slabs",
        specimen_type="slab", now=now(),
    )  # fmt: skip
    assert Programme.objects.count() == 2
    people = {person.username: person for person in Person.objects.all()}
    full = _full(people)
    in_conflict = Specimen.objects.filter(state__conflict_count__gt=0).order_by("code")[0]
    refused = Record.objects.filter(status="refused").order_by("pk")[0]
    return World(
        people,
        {
            "full": full,
            "cycled": full | _of_specimen(_specimen("cycling"), "cyclic", "stiffness"),
            "failed": full | _of_specimen(_specimen("failed in cycling"), "cyclic", "cycles"),
            "conflict": full | _of_specimen(in_conflict, "break", "peak_load"),
            "refused": full | {"record": str(refused.pk), "import": _workbook(people["lead"], {})},
            "planned": full | _of_specimen(_specimen("planned")),
            "empty": {"programme": EMPTY_PROGRAMME, "series": EMPTY_SERIES},
        },
    )
