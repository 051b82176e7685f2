"""The demo from nothing, and a back-up of it, taken while it runs, that rebuilds identically."""

from __future__ import annotations

import threading

import pytest

from labmatrix.web.domain.demo import DEMO_PASSWORD
from tests.installation import Installation
from tests.journeys.caller import Caller

DEMO_SECONDS = 240.0


def succeed(done):
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def served_early(installation, over):
    """Whether the server answered before the demo was loaded."""
    while not over.wait(0.2):
        if installation.get("/health/") and "have come to their end" not in installation.said():
            return True
    return False


@pytest.fixture
def demo(tmp_path):
    made = Installation(tmp_path / "home")
    made.migrate()
    yield made
    made.end()


@pytest.mark.postgres
def test_the_demo_is_served_when_reduced_and_its_copy_rebuilds_identically(
    demo, tmp_path, postgres_url
):
    over, early = threading.Event(), []
    watch = threading.Thread(target=lambda: early.append(served_early(demo, over)))
    watch.start()
    first = demo.up("--before-web", "demo", seconds=DEMO_SECONDS)
    over.set()
    watch.join()
    assert early == [False]
    assert "Sign in as lead, manager, sponsor, technician" in demo.said()
    caller = Caller(demo.port, "lead", DEMO_PASSWORD)
    jobs = caller.get("jobs/")["count"]
    assert jobs == caller.get("jobs/?state=done")["count"] + 1  # one broken file is refused
    records = caller.get("records/")["count"]

    path = tmp_path / "backup.tar"
    succeed(demo.manage("backup", str(path)))
    first.terminate()
    assert first.wait(timeout=60) == 0
    demo.up("--before-web", "demo").terminate()
    assert "The demo is loaded already." in demo.said()

    copy = Installation(tmp_path / "copy", STRONGFLOOR_DATABASE_URL=postgres_url)
    succeed(copy.manage("restore", str(path)))
    succeed(copy.manage("verify-ledger"))
    rebuilt = succeed(copy.manage("rebuild"))
    assert f"{records - 1} reductions" in rebuilt
    assert f"{records - 1} with the packages of the first time" in rebuilt
    copy.up()
    try:
        assert Caller(copy.port, "lead", DEMO_PASSWORD).get("records/")["count"] == records
    finally:
        copy.end()
