"""A programme that the demo does not contain, through the API alone, to a CSV checked by hand."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from tests.installation import Installation, wait_for
from tests.journeys.caller import Caller
from tests.results import other_programme as other

PASSWORD = "a-long-password"


def _planned(caller: Caller) -> None:
    caller.send("programmes/", other.PROGRAMME)
    caller.send("series/", {**other.SERIES, "programme": other.PROGRAMME["code"]})
    answer = caller.upload(f"series/{other.SERIES_CODE}/matrix/", {}, {"em.csv": other.MATRIX_CSV})
    assert answer["created"] == 4
    again = caller.upload(f"series/{other.SERIES_CODE}/matrix/", {}, {"em.csv": other.MATRIX_CSV})
    assert (again["created"], again["unchanged"]) == (0, 4)
    caller.send("machines/", {"code": "TIDE-1", "name": "Tidal tank", "kind": "chamber"})
    for beam in other.BEAMS:
        caller.send("specimens/", {"series": other.SERIES_CODE, "cell": beam.cell})


def _logged(caller: Caller) -> None:
    for beam in other.BEAMS:
        events = other.events_of(beam)
        # The newest first: the order of arrival does not matter.
        answers = [a["answer"] for event in reversed(events) for a in caller.send("events/", event)]
        assert set(answers) <= {"stored", "conflict"}
        assert {a["answer"] for a in caller.send("events/", events)} == {"duplicate"}
        found = caller.get(f"specimens/{beam.code}/")
        assert (found["conflicts"], found["end"]) == (0, "broken")


def _measured(caller: Caller) -> list[str]:
    records = []
    for beam in other.BEAMS:
        fields = {
            "subject": beam.code,
            "test": "break",
            "channels": json.dumps(other.channels_of(beam)),
            "measured_at": beam.broken_at.isoformat(),
        }
        answer = caller.upload("records/", fields, {other.file_name(beam): other.file_of(beam)})
        records.append(answer["id"])
    return records


def _check_metrics(caller: Caller, records: list[str]) -> None:
    for beam, record in zip(other.BEAMS, records, strict=True):
        metrics = caller.get(f"records/{record}/")["metrics"]
        found = {(m["name"], m["method"]): (m["value"], m["unit"]) for m in metrics}
        for (name, method), (value, unit, goes_with_f) in other.METRICS.items():
            keys = [k for k in found if k[0] == name and method in (None, k[1])]
            expected = value * (beam.factor if goes_with_f else 1.0)
            assert found[keys[0]] == (pytest.approx(expected, rel=1e-6), unit), (beam.code, name)


def _check_csv(caller: Caller) -> None:
    for control in ("gain", "conditioning"):
        text = caller.text(
            f"series/{other.SERIES_CODE}/comparison.csv?metric=peak_load&control={control}"
        )
        rows = {row["cell"]: row for row in csv.DictReader(io.StringIO(text))}
        assert len(rows) == len(other.COMPARISON)
        for expected in other.COMPARISON:
            row = rows[expected.cell]
            assert int(row["n [specimens]"]) == expected.n
            assert float(row["mean peak_load [kN]"]) == pytest.approx(expected.mean_kn, rel=1e-6)
            assert _number(row["s peak_load [kN]"]) == _about(expected.s_kn)
            assert float(row["mean age of concrete [d]"]) == pytest.approx(expected.age_days)
            name, change = (
                (expected.gain_control, expected.gain)
                if control == "gain"
                else (expected.conditioning_control, expected.change)
            )
            assert row[f"{control} control"] == (name or "")
            assert _number(row["gain [1]"]) == _about(change)
            assert row["data"] == "invented"
            assert row["reductions"].startswith("break ")


def _number(text: str) -> float | None:
    return float(text) if text else None


def _about(value: float | None) -> object:
    return None if value is None else pytest.approx(value, rel=1e-6)


def _goes_through(installation: Installation) -> None:
    installation.migrate()
    done = installation.manage(
        "setup", "--name", "East Mole Laboratory", "--zone", "Europe/Lisbon", "--lead", "lead",
        STRONGFLOOR_LEAD_PASSWORD=PASSWORD,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    installation.up()
    try:
        caller = Caller(installation.port, "lead", PASSWORD)
        _planned(caller)
        _logged(caller)
        records = _measured(caller)
        wait_for(
            lambda: all(caller.get(f"records/{r}/")["status"] == "reduced" for r in records),
            "every record is reduced",
        )
        _check_metrics(caller, records)
        _check_csv(caller)
        for command in ("verify-ledger", "rebuild"):
            done = installation.manage(command)
            assert done.returncode == 0, done.stdout + done.stderr
    finally:
        installation.end()


def test_on_sqlite_and_the_embedded_broker(tmp_path: Path):
    _goes_through(Installation(tmp_path / "home"))


@pytest.mark.postgres
@pytest.mark.redis
def test_on_postgresql_and_redis(tmp_path: Path, postgres_url, redis_broker):
    settings = {**redis_broker, "STRONGFLOOR_DATABASE_URL": postgres_url}
    _goes_through(Installation(tmp_path / "home", **settings))
