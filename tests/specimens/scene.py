"""One standing cast: a laboratory, its people, two programmes, cells with a route, a machine."""

from __future__ import annotations

import itertools
import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from labmatrix.evidence.models import Subject
from labmatrix.matrix.models import Cell, CellLevel, Factor, Level, Membership, Programme, Series
from labmatrix.web.models import Laboratory, Person
from specimens.models import Specimen, SpecimenState
from specimens.services.event import Answer, events_receive
from specimens.services.specimen import specimen_create

NOW = datetime(2026, 9, 1, 9, 0, tzinfo=UTC)
CAST_AT = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)
ROUTE: dict[str, Any] = {
    "stages": [
        {"stage": "cast"},
        {"stage": "cure", "days": 28},
        {"stage": "strengthen", "plies": {"factor": "plies"}, "unless": {"plies": 0}},
        {"stage": "cure-mortar", "days": 28, "unless": {"plies": 0}},
        {
            "parallel": [
                {"stage": "expose", "regime": "wet-dry salt", "days": 84},
                {"stage": "sustain", "level": 0.4},
            ],
            "unless": {"plies": 0},
        },
        {"stage": "cycle", "cycles": 2_000_000, "unless": {"plies": 0}},
        {"stage": "break", "concrete_age_days": 170, "tolerance_days": 10},
    ]
}
MEMBER = {"b_mm": 200, "h_mm": 300, "fc_mpa": 31.5, "fabric": "invented"}
ROLES = ("lead", "manager", "technician", "sponsor", "stranger")
_ids = itertools.count(1)


@dataclass
class Scene:
    """Who and what there is."""

    people: dict[str, Person]
    series: Series
    cells: dict[str, Cell]
    machine: Subject

    @property
    def lead(self) -> Person:
        """May do everything in the programme."""
        return self.people["lead"]

    @property
    def technician(self) -> Person:
        """Logs."""
        return self.people["technician"]

    def specimen(self, cell: str = "P2", **more: Any) -> Specimen:
        """The next specimen of a cell, with no event yet."""
        return specimen_create(actor=self.lead, cell=self.cells[cell], now=NOW, **more)

    def send(self, *raws: Any, by: str = "technician", **more: Any) -> list[Answer]:
        """A batch through the service."""
        return events_receive(actor=self.people[by], raws=raws, now=NOW, **more)

    def log(self, code: str, kind: str, day: float, payload: Any = None, **more: Any) -> Answer:
        """One event through the service, some days after the standing day."""
        by = more.pop("by", "technician")
        return self.send(raw_event(code, kind, day, payload, **more), by=by)[0]

    def state(self, specimen: Specimen) -> SpecimenState:
        """The state as it is stored now."""
        return SpecimenState.objects.get(specimen=specimen)


def new_id() -> str:
    """An id of a test's own, in the order of asking."""
    return str(uuid.UUID(int=(0x0190 << 112) | (0x7 << 76) | (0x2 << 62) | next(_ids)))


def raw_event(code: str, kind: str, day: float = 0.0, payload: Any = None, **more: Any) -> Any:
    """An event as a device sends it."""
    at = CAST_AT + timedelta(days=day)
    return {
        "id": new_id(),
        "subject": code,
        "kind": kind,
        "occurred_at": at.isoformat(),
        "payload": payload or {},
        **more,
    }


def kn(value: float) -> dict[str, Any]:
    """A force."""
    return {"value": value, "unit": "kN"}


MODE = {"scheme": "bond planes", "letter": "D", "words": "slip in the mortar"}


def sound_life(code: str) -> list[Any]:
    """A strengthened beam, exposed under load, cycled to run-out and broken, all on plan."""
    stay = {"machine": "SALT-1", "position": "3", "run": "WD-1"}
    run = {
        "machine": "RIG-1",
        "minimum": kn(8),
        "maximum": kn(40),
        "frequency": {"value": 5, "unit": "Hz"},
    }
    told = [
        ("cast", 0, {"batch": "C-01"}),
        ("layer", 28.01, {"kind": "fabric", "ply": 1, "lot": "F-1"}),
        ("layer", 28.02, {"kind": "mortar", "lot": "M-1"}),
        ("layer", 28.03, {"kind": "fabric", "ply": 2, "lot": "F-1"}),
        ("layer", 28.04, {"kind": "mortar", "lot": "M-1"}),
        ("loaded", 57, {"load": kn(18), "reference": "its control, measured"}),
        ("entered", 57.1, stay),
        ("left", 142, stay),
        ("cycling-started", 150, run),
        ("counted", 155, {"cycles": 2_000_000}),
        ("cycling-stopped", 155.01, {"reason": "target reached"}),
        ("broken", 168, {"end": "run-out, then broken", "mode": MODE}),
    ]
    return [raw_event(code, kind, day, payload) for kind, day, payload in told]


def _series(programme: Programme, code: str) -> Series:
    return Series.objects.create(
        programme=programme,
        code=code,
        title="Beams in bending",
        specimen_type="beam",
        route=ROUTE,
        member=MEMBER,
    )


def _cells(series: Series) -> dict[str, Cell]:
    factor = Factor.objects.create(
        series=series, name="plies", kind="numeric", part="strengthening", position=0
    )
    cells = {}
    for n in (0, 2):
        level = Level.objects.create(
            factor=factor, value=str(n), number=n, code=f"P{n}", is_control=n == 0, position=n
        )
        cell = Cell.objects.create(series=series, code=f"P{n}", replicates=4, combination=f"{n}")
        CellLevel.objects.create(cell=cell, factor=factor, level=level)
        cells[cell.code] = cell
    return cells


def scene() -> Scene:
    """Set the cast up in the test's database; the stranger leads another programme."""
    Laboratory.objects.create(id=1, name="Quayside Structures Laboratory", time_zone="Europe/Oslo")
    people = {
        name: Person.objects.create_user(
            username=name,
            password="a-long-password",
            laboratory_role="technician" if name == "stranger" else name,
        )
        for name in ROLES
    }
    programme = Programme.objects.create(code="QUAYSIDE", title="Quayside")
    other = Programme.objects.create(code="ELSEWHERE", title="Elsewhere")
    for name, person in people.items():
        own = other if name == "stranger" else programme
        role = "lead" if name == "stranger" else name
        Membership.objects.create(programme=own, person=person, role=role)
    series = _series(programme, "QS")
    _cells(_series(other, "ES"))
    return Scene(
        people=people,
        series=series,
        cells=_cells(series),
        machine=Subject.objects.create(code="OLD-RIG", kind=Subject.Kind.MACHINE),
    )
