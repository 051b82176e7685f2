"""Plans so many cells in an empty installation and predicts them; run as a process of its own."""

from __future__ import annotations

import itertools
import json
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from importlib import import_module
from typing import Any

import django
from django.core.management import call_command

from results.domain.invented.programme import PROGRAMME, matrix_json, series_json
from tests.bench.harness import say

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
_PARTS = 20


def document(cells: int) -> dict[str, Any]:
    """The invented matrix with more plies, exposures and load cycles, and so many cells."""
    made = matrix_json()
    plies, exposure, sustained, cycles = made["factors"]
    plies["levels"] = [_level(n, f"P{n}") for n in range(5)]
    exposure["levels"] += [_level(f"invented {n}", f"X{n}") for n in range(_PARTS)]
    cycles["levels"] += [_level(n * 100_000, f"C{n}") for n in range(1, 4)]
    values = [[level["value"] for level in f["levels"]] for f in made["factors"]]
    names = [factor["name"] for factor in made["factors"]]
    every = (dict(zip(names, one, strict=True)) for one in itertools.product(*values))
    allowed = (one for one in every if not (one[sustained["name"]] and one[cycles["name"]]))
    made["forbidden"] = []
    made["cells"] = [
        {"levels": levels, "replicates": 1, "gain_control": "none", "conditioning_control": "none"}
        for levels in itertools.islice(allowed, cells)
    ]
    return made


def _level(value: float | str, code: str) -> dict[str, Any]:
    return {"value": value, "code": code, "label": ""}


class _Run:
    """What the job's handler is given; counts what it reports."""

    def __init__(self, payload: dict[str, Any]) -> None:
        self.payload = payload
        self.reports = 0

    def report(self, fraction: float, words: str) -> None:
        """As the worker would show it."""
        self.reports += 1


def main(cells: int) -> None:
    """Says how long it took from asking to the last written row."""
    django.setup()
    call_command("migrate", verbosity=0)
    services = "labmatrix.matrix.services"
    people = import_module("labmatrix.web.services.laboratory")
    people.laboratory_setup(name="Quayside", time_zone="UTC", is_invented=True)
    lead = people.person_add(username="lead", password="quayside-demo", role="lead")
    programme = import_module(f"{services}.programme").programme_create(
        actor=lead, now=NOW, **PROGRAMME
    )
    series = import_module(f"{services}.series").series_create(
        actor=lead, programme=programme, now=NOW, **series_json()
    )
    import_module(f"{services}.matrix_import").matrix_import(
        actor=lead, series=series, filename="many.json",
        content=json.dumps(document(cells)).encode(), now=NOW,
    )  # fmt: skip
    prediction = import_module("results.services.prediction")
    transaction = import_module("labmatrix.evidence.services.ledger").ledger_transaction
    run = _Run({"series": series.pk, "why": "a measurement of speed"})
    begun = time.perf_counter()
    write: Callable[[], None] = prediction.PredictHandler().run(run)
    with transaction():
        write()
    seconds = time.perf_counter() - begun
    kept = import_module("results.models").Prediction.objects.filter(is_current=True)
    say(
        {
            "seconds": seconds,
            "predicted": kept.count(),
            "refused": kept.exclude(error=None).count(),
            "reports": run.reports,
            "samples": import_module("results.services.prediction_inputs").SAMPLES,
        }
    )


if __name__ == "__main__":
    main(int(sys.argv[1]))
