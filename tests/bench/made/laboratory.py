"""A laboratory after ten years, made through the product's own services in an empty installation.

``python -m tests.bench.made.laboratory SPECIMENS EVENTS`` says what came of it. The home and the
database are those of the environment.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Sequence
from datetime import date
from importlib import import_module
from typing import Any

import django
from django.core.management import call_command

from results.domain.invented.programme import PROGRAMME, series_json
from tests.bench.harness import say
from tests.bench.made.many_lives import CHAMBER, FRAME, NOW, RIG, Raw, life_of
from tests.bench.made.predicted_cells import document

PASSWORD = "quayside-demo"
REPLICATES = 5
SERIES_CELLS, LARGEST_CELLS = 50, 200  # cells of each series, and of the first
_AT_ONCE = 5000
_MACHINES = ((CHAMBER, "chamber", 400), (RIG, "rig", 0), (FRAME, "frame", 0))


def series_sizes(specimens: int) -> list[int]:
    """Cells of each series: one large, all others alike, REPLICATES specimens in each cell."""
    cells = max(2, specimens // REPLICATES)
    largest = min(LARGEST_CELLS, max(1, cells // 2))
    rest = cells - largest
    return [largest, *([SERIES_CELLS] * (rest // SERIES_CELLS)), *_left(rest % SERIES_CELLS)]


def _left(cells: int) -> list[int]:
    return [cells] if cells else []


def _people() -> dict[str, Any]:
    people = import_module("labmatrix.web.services.laboratory")
    people.laboratory_setup(name="Quayside", time_zone="UTC", is_invented=True)
    roles = ("lead", "manager", "technician", "sponsor")
    return {r: people.person_add(username=r, password=PASSWORD, role=r) for r in roles}


def _machines(manager: Any) -> None:
    add = import_module("conditioning.services.machine").machine_add
    for code, kind, positions in _MACHINES:
        add(actor=manager, code=code, name=code.title(), kind=kind, positions=positions, now=NOW)


def _planned(people: dict[str, Any], number: int, cells: int) -> Any:
    """A series with its cells and its specimens; every second one begins a programme."""
    programmes = import_module("labmatrix.matrix.services.programme")
    models = import_module("labmatrix.matrix.models")
    lead, code = people["lead"], f"QUAY{number // 2:02}"
    programme = models.Programme.objects.filter(code=code).first()
    if programme is None:
        asked = {**PROGRAMME, "code": code, "ends_on": date(2016 + number // 2 + 1, 12, 31)}
        programme = programmes.programme_create(
            actor=lead, now=NOW, **{**asked, "starts_on": date(2016 + number // 2, 1, 4)}
        )
        for role in ("manager", "technician", "sponsor"):
            programmes.membership_set(
                actor=lead, programme=programme, person=people[role], role=role, now=NOW
            )
    series = import_module("labmatrix.matrix.services.series").series_create(
        actor=lead, programme=programme, now=NOW, **{**series_json(), "code": f"Q{number:02}"}
    )
    made = document(cells)
    made["cells"] = [{**cell, "replicates": REPLICATES} for cell in made["cells"]]
    import_module("labmatrix.matrix.services.matrix_import").matrix_import(
        actor=lead, series=series, filename="many.json",
        content=json.dumps(made).encode(), now=NOW,
    )  # fmt: skip
    series.refresh_from_db()
    return series


def _received(technician: Any, raws: Sequence[Raw]) -> int:
    answers = import_module("specimens.services.event").events_receive(
        actor=technician, raws=raws, now=NOW
    )
    return sum(answer.answer == "stored" for answer in answers)


def laboratory_make(specimens: int, events: int) -> dict[str, Any]:
    """Migrates, plans, makes specimens and logs their events.

    Args:
        specimens: how many.
        events: how many in all; 0 leaves every specimen as it was planned.

    Returns:
        How many specimens and events there are, how many events were refused a plain "stored",
        and the seconds of each part.
    """
    call_command("migrate", verbosity=0)
    begun = time.perf_counter()
    people = _people()
    _machines(people["manager"])
    create = import_module("specimens.services.specimen").specimens_create_planned
    for number, cells in enumerate(series_sizes(specimens)):
        series = _planned(people, number, cells)
        create(actor=people["lead"], cells=list(series.cells.order_by("pk")), now=NOW)
    planned = time.perf_counter()
    models = import_module("specimens.models")
    codes = list(
        models.Specimen.objects.order_by("cell__series", "pk").values_list("code", flat=True)
    )
    each, stored, sent = events // len(codes), 0, 0
    waiting: list[Raw] = []
    for number, code in enumerate(codes if each else ()):
        waiting += life_of(code, number, number / len(codes), each)
        if len(waiting) > _AT_ONCE - each or number == len(codes) - 1:
            stored += _received(people["technician"], waiting)
            sent, waiting = sent + len(waiting), []
    logged = time.perf_counter()
    return {
        "specimens": len(codes),
        "events": models.Event.objects.count(),
        "not_stored": sent - stored,
        "seconds_planned": planned - begun,
        "seconds_logged": logged - planned,
    }


if __name__ == "__main__":
    django.setup()
    say(laboratory_make(int(sys.argv[1]), int(sys.argv[2])))
