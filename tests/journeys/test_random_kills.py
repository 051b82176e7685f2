"""A kill of any process at any moment loses nothing and doubles nothing."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time
import uuid
from pathlib import Path

import pytest

from labmatrix.web.management.commands.up import MANAGE, WEB, worker_command
from tests.installation import ROOT, Installation, wait_for
from tests.journeys.caller import Caller
from tests.results.scene import CHANNELS, curve_csv

KILLS = 14
RECORDS = 18
SEED = 20260105


class Supervised:
    """The parts of an installation, each started again when it dies, as a container engine does."""

    def __init__(self, installation: Installation) -> None:
        self.installation = installation
        self.commands = {
            "web": WEB,
            "short worker": worker_command("short"),
            "sweeper": (*MANAGE, "sweep"),
        }
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        self.killed: list[str] = []
        self._over = threading.Event()
        self._watch = threading.Thread(target=self._restart_what_died, daemon=True)

    def start(self) -> None:
        for name, command in self.commands.items():
            self.running[name] = self.installation.start(*command)
        self._watch.start()
        wait_for(lambda: self.installation.get("/health/") == 200, "web answers")

    def _restart_what_died(self) -> None:
        while not self._over.wait(0.05):
            for name, process in list(self.running.items()):
                if process.poll() is not None and not self._over.is_set():
                    self.running[name] = self.installation.start(*self.commands[name])

    def kill(self, name: str) -> None:
        """SIGKILL a part with every process of its group, at whatever it is doing."""
        process = self.running[name]
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            self.killed.append(name)

    def stop(self) -> None:
        self._over.set()
        self._watch.join()


def _post_everything(caller: Caller, beams: list[str]) -> dict[str, str]:
    """Records and events, sent again after each lost answer; {record id: beam}."""
    records = {}
    for index in range(RECORDS):
        beam = beams[index % len(beams)]
        note = {
            "id": str(uuid.UUID(int=index + 1)),
            "subject": beam,
            "kind": "note",
            "occurred_at": "2026-05-01T08:00:00Z",
            "payload": {"text": f"uploaded file {index}"},
        }
        (answer,) = caller.send("events/", note)
        assert answer["answer"] in ("stored", "duplicate"), answer
        content = curve_csv([(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (25.0, 70.0 + index)])
        fields = {"subject": beam, "test": "break", "channels": str(CHANNELS).replace("'", '"')}
        record = caller.upload("records/", fields, {f"b{index}.csv": content})
        records[record["id"]] = beam
    return records


def _check(caller: Caller, installation: Installation, records: dict[str, str]) -> None:
    peaks = []
    for record in records:
        found = caller.get(f"records/{record}/")
        peaks += [m["value"] for m in found["metrics"] if m["name"] == "peak_load"]
    assert sorted(peaks) == [70.0 + index for index in range(RECORDS)]
    assert caller.get("records/")["count"] == RECORDS
    assert caller.get("jobs/?state=done")["count"] == RECORDS
    verified = installation.manage("verify-ledger")
    assert verified.returncode == 0, verified.stdout + verified.stderr
    rebuilt = installation.manage("rebuild", "--superseded")
    assert rebuilt.returncode == 0, rebuilt.stderr
    assert f"{RECORDS} reductions" in rebuilt.stdout


def _survives(installation: Installation) -> None:
    installation.migrate()
    staged = subprocess.run(
        [sys.executable, "-m", "tests.journeys.stage", "6"],
        cwd=ROOT, env=installation.environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    beams = staged.stdout.split()
    supervised = Supervised(installation)
    supervised.start()
    chance = random.Random(SEED)
    killing_over = threading.Event()

    def kill_at_random() -> None:
        parts = sorted(supervised.commands)
        while len(supervised.killed) < KILLS:
            time.sleep(chance.uniform(0.2, 1.6))
            supervised.kill(chance.choice(parts))
        killing_over.set()

    try:
        caller = Caller(installation.port, "technician", "a-long-password")
        threading.Thread(target=kill_at_random, daemon=True).start()
        records = _post_everything(caller, beams)
        killing_over.wait(120)
        wait_for(
            lambda: all(caller.get(f"records/{r}/")["status"] == "reduced" for r in records),
            "every record is reduced",
            seconds=120,
        )
        assert len(supervised.killed) >= 10
        _check(caller, installation, records)
    finally:
        supervised.stop()
        installation.end()


QUICK = {
    "STRONGFLOOR_JOB_LEASE_SECONDS": "3",
    "STRONGFLOOR_JOB_RESEND_SECONDS": "2",
    "STRONGFLOOR_JOB_SWEEP_SECONDS": "0.5",
    "STRONGFLOOR_VISIBILITY_SECONDS": "30",
}


def test_sqlite_and_the_embedded_broker_survive_random_kills(tmp_path: Path):
    _survives(Installation(tmp_path / "home", **QUICK))


@pytest.mark.postgres
@pytest.mark.redis
def test_postgresql_and_redis_survive_random_kills(tmp_path: Path, postgres_url, redis_broker):
    settings = {**QUICK, **redis_broker, "STRONGFLOOR_DATABASE_URL": postgres_url}
    _survives(Installation(tmp_path / "home", **settings))
