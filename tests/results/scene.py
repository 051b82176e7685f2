"""One standing cast: a laboratory, its people, a programme with cells, specimens and events."""

from __future__ import annotations

import io
import itertools
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from labmatrix.evidence.models import Record
from labmatrix.evidence.services.job import job_perform
from labmatrix.matrix.models import (
    Cell,
    CellLevel,
    Factor,
    Level,
    Membership,
    Programme,
    Series,
)
from labmatrix.web.models import Laboratory, Person
from results.services.record import Upload, record_receive
from specimens.models import Specimen
from specimens.services.event import Answer, events_receive
from specimens.services.specimen import specimen_create

NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
CAST_AT = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)
ROUTE = {
    "stages": [
        {"stage": "cast"},
        {"stage": "cure", "days": 28},
        {"stage": "strengthen", "plies": {"factor": "plies"}, "unless": {"plies": 0}},
        {"stage": "cycle", "cycles": 2_000_000, "optional": True},
        {"stage": "break"},
    ]
}
CHANNELS: list[dict[str, Any]] = [
    {"column": "load", "quantity": "load", "unit": "kN", "sensor": "LC-3"},
    {"column": "deflection", "quantity": "deflection", "unit": "mm", "place": "mid-span"},
]


@dataclass
class Scene:
    """Who and what there is."""

    lead: Person
    manager: Person
    technician: Person
    sponsor: Person
    stranger: Person
    programme: Programme
    series: Series
    cells: dict[str, Cell]
    specimens: dict[str, Specimen] = field(default_factory=dict)

    def specimen(self, cell: str, *, locations: tuple[str, ...] = ()) -> Specimen:
        """The next specimen of a cell, cast on the standing day."""
        made = specimen_create(actor=self.lead, cell=self.cells[cell], now=NOW, locations=locations)
        self.log(made, "cast", CAST_AT, {"batch": "C-01"})
        self.specimens[made.code] = made
        return made

    def log(
        self, specimen: Specimen, kind: str, at: datetime, payload: dict[str, Any] | None = None
    ) -> Answer:
        """One event through the service."""
        raw = {
            "id": str(uuid.uuid4()),
            "subject": specimen.code,
            "kind": kind,
            "occurred_at": at.isoformat(),
            "payload": payload or {},
        }
        return events_receive(actor=self.lead, raws=[raw], now=NOW)[0]

    def broke(self, specimen: Specimen, day: float = 120.0, end: str = "broken") -> Answer:
        """The end of a specimen, some days after casting."""
        mode = {"scheme": "bond letters", "letter": "D", "words": "slip in the mortar"}
        at = CAST_AT + timedelta(days=day)
        return self.log(specimen, "broken", at, {"end": end, "mode": mode})

    def record(self, subject: str, content: bytes, **more: Any) -> Record:
        """A record through the service, reduced at once."""
        record = self.received(subject, content, **more)
        assert record.job_id is not None
        job_perform(job_id=record.job_id)
        record.refresh_from_db()
        return record

    def received(self, subject: str, content: bytes, **more: Any) -> Record:
        """A record through the service, not reduced yet."""
        arguments: dict[str, Any] = {
            "actor": self.technician,
            "test": "break",
            "channels": CHANNELS,
            "now": NOW,
            **more,
        }
        name = arguments.pop("name", "break.csv")
        return record_receive(
            subject_code=subject, uploads=[Upload(name, io.BytesIO(content))], **arguments
        )


def curve_csv(points: list[tuple[float, float]]) -> bytes:
    """A deflection–load curve as a plain logger file, 20 rows between the points."""
    rows = ["deflection,load", "mm,kN"]
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        rows += [f"{x0 + (x1 - x0) * k / 20:.6f},{y0 + (y1 - y0) * k / 20:.6f}" for k in range(20)]
    rows.append(f"{points[-1][0]:.6f},{points[-1][1]:.6f}")
    return ("\n".join(rows) + "\n").encode()


def _person(name: str, role: str) -> Person:
    return Person.objects.create_user(
        username=name, password="a-long-password", laboratory_role=role
    )


def _cells(series: Series) -> dict[str, Cell]:
    plies = Factor.objects.create(
        series=series, name="plies", kind="numeric", part="strengthening", position=0
    )
    salt = Factor.objects.create(
        series=series, name="exposure", kind="named", part="conditioning", position=1
    )
    ply = {
        n: Level.objects.create(
            factor=plies, value=str(n), number=n, code=f"P{n}", is_control=n == 0, position=n
        )
        for n in (0, 2)
    }
    exposed = {
        code: Level.objects.create(
            factor=salt, value=value, code=code, is_control=code == "LAB", position=i
        )
        for i, (code, value) in enumerate((("LAB", "laboratory"), ("WDS", "wet–dry salt")))
    }
    cells = {}
    for n in (0, 2):
        for code in ("LAB", "WDS"):
            cell = Cell.objects.create(
                series=series,
                code=f"P{n}-{code}",
                replicates=3,
                combination=f"{n}-{code}",
                gain_control=cells.get(f"P0-{code}"),
                conditioning_control=cells.get(f"P{n}-LAB"),
            )
            for factor, level in ((plies, ply[n]), (salt, exposed[code])):
                CellLevel.objects.create(cell=cell, factor=factor, level=level)
            cells[cell.code] = cell
    return cells


def scene() -> Scene:
    """Set the cast up in the test's database."""
    Laboratory.objects.create(
        id=1, name="Quayside Structures Laboratory", time_zone="Europe/Lisbon", is_invented=True
    )
    people = {name: _person(name, name) for name in ("lead", "manager", "technician", "sponsor")}
    stranger = _person("stranger", "lead")
    programme = Programme.objects.create(code="QUAYSIDE", title="Quayside", is_invented=True)
    other = Programme.objects.create(code="ELSEWHERE", title="Elsewhere")
    for name, person in people.items():
        Membership.objects.create(programme=programme, person=person, role=name)
    Membership.objects.create(programme=other, person=stranger, role="lead")
    series = Series.objects.create(
        programme=programme, code="QS", title="Beams", specimen_type="beam", route=ROUTE
    )
    return Scene(
        stranger=stranger, programme=programme, series=series, cells=_cells(series), **people
    )
