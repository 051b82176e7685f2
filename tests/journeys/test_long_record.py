"""A long cyclic record: dropped by a technician, watched, cut off, read by the lead, recomputed."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from labmatrix.web.management.commands.up import MANAGE, WEB, worker_command
from tests.installation import ROOT, Installation, wait_for
from tests.journeys import long_files as files
from tests.journeys.caller import Caller
from tests.journeys.long_files import LongRun

PASSWORD = "a-long-password"
QUICK = {
    "STRONGFLOOR_JOB_LEASE_SECONDS": "60",
    "STRONGFLOOR_JOB_RESEND_SECONDS": "2",
    "STRONGFLOOR_JOB_SWEEP_SECONDS": "0.5",
    "STRONGFLOOR_VISIBILITY_SECONDS": "30",
    "STRONGFLOOR_LONG_RECORD_BYTES": "1000000",
    "STRONGFLOOR_CHECKPOINT_SECONDS": "0",
    "STRONGFLOOR_LOG_LEVEL": "INFO",
}


@dataclass(frozen=True)
class Asked:
    """One journey: its files, and which load cycle the lead asks for."""

    run: LongRun
    offset: int
    cycle: int
    seconds: float
    killed: bool = False


# A block of a run, so that a small file holds a cycle that far on.
SHORT = Asked(LongRun(cycles=600), offset=1_234_200, cycle=1_234_567, seconds=120)
# Ten million rows in one file and five in the other, killed on the way.
LONG = Asked(
    LongRun(cycles=100_000, logger_hertz=100.0),
    offset=1_150_000,
    cycle=1_234_567,
    seconds=1_800,
    killed=True,
)


@pytest.fixture
def installation(tmp_path: Path) -> Iterator[Installation]:
    made = Installation(tmp_path / "home", **QUICK)
    yield made
    made.end()


def started(installation: Installation) -> tuple[list[str], subprocess.Popen[bytes]]:
    """The codes of two beams, and the worker."""
    installation.migrate()
    staged = subprocess.run(
        [sys.executable, "-m", "tests.journeys.stage", "2"],
        cwd=ROOT, env=installation.environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    installation.start(*WEB)
    installation.start(*MANAGE, "sweep")
    worker = installation.start(*worker_command("long"))
    wait_for(lambda: installation.get("/health/") == 200, "web answers")
    return staged.stdout.split(), worker


def calibrated(caller: Caller) -> None:
    for serial, quantity, unit, u in (
        ("LC-3", "load", "kN", 0.005),
        ("LVDT-2", "deflection", "mm", 0.004),
    ):
        caller.send("sensors/", {"serial": serial, "quantity": quantity, "unit": unit})
        caller.send(
            f"sensors/{serial}/calibrations/",
            {"calibrated_at": "2026-01-01T08:00:00Z", "factor": 1.0, "u_relative": u,
             "certificate": "INV-0001"},
        )  # fmt: skip
    caller.send("channel-maps/", {"name": "RIG-2", "entries": files.CHANNELS})


def settings_of(asked: Asked) -> str:
    first = {"reference": "cycle", "reference_cycle": asked.offset + 2}
    return json.dumps({"checkpoint_every": 1000, **first})


def signed_in(page: Page, installation: Installation, who: str) -> str:
    root = f"http://127.0.0.1:{installation.port}"
    page.context.clear_cookies()
    page.goto(f"{root}/sign-in/")
    page.fill("[name=username]", who)
    page.fill("[name=password]", PASSWORD)
    page.press("[name=password]", "Enter")
    page.wait_for_url(f"{root}/")
    return root


def dropped(page: Page, root: str, beam: str, asked: Asked, paths: list[Path]) -> str:
    """A technician drops both files on the page; the record's id."""
    page.goto(f"{root}/records/new/?subject={beam}&test=cyclic")
    page.set_input_files("[name=uploaded]", [str(path) for path in paths])
    page.select_option("[name=channels]", "RIG-2")
    page.fill("[name=cycle_offset]", str(asked.offset))
    page.fill("[name=measured_at]", "2026-04-01T08:00")
    page.fill("[name=settings]", settings_of(asked))
    page.locator("main button.main").click()
    page.wait_for_url("**/records/*-*/", timeout=asked.seconds * 1000)
    return page.url.rstrip("/").rpartition("/")[2]


def sent(caller: Caller, beam: str, asked: Asked, paths: list[Path]) -> str:
    """The same by a script; the record's id."""
    fields = {
        "subject": beam,
        "test": "cyclic",
        "channels": "RIG-2",
        "cycle_offset": str(asked.offset),
        "settings": settings_of(asked),
        "measured_at": "2026-04-01T08:00:00Z",
    }
    return str(caller.upload("records/", fields, {p.name: p.read_bytes() for p in paths})["id"])


def kept_parts(installation: Installation) -> list[str]:
    """Parts of the table that the last saved state counts on."""
    for state in (installation.home / "progress").glob("*/state.json"):
        parts: list[str] = json.loads(state.read_text(encoding="utf-8"))["state"]["parts"]
        return parts
    return []


def killed_and_taken_up(
    installation: Installation, worker: subprocess.Popen[bytes], caller: Caller, record: str
) -> None:
    """A kill in the middle; the next worker goes on behind the parts that the first one kept."""

    def keeps_a_part() -> bool:
        if kept_parts(installation):
            return True
        found = caller.get(f"records/{record}/")
        assert found["status"] not in ("refused", "reduced"), found
        return False

    wait_for(keeps_a_part, "the worker keeps a part", 400)
    os.killpg(worker.pid, signal.SIGKILL)
    worker.wait()
    before = written(installation)
    installation.start(*worker_command("long"))
    wait_for(
        lambda: len(kept_parts(installation)) > len(before), "the next worker keeps a part", 400
    )
    now = written(installation)
    assert {name: now[name] for name in before} == before


def written(installation: Installation) -> dict[str, tuple[int, int]]:
    """The parts that count, and by which file each stands there: inode and time of writing."""
    (folder,) = (state.parent for state in (installation.home / "progress").glob("*/state.json"))
    stats = {name: (folder / name).stat() for name in kept_parts(installation)}
    return {name: (stat.st_ino, stat.st_mtime_ns) for name, stat in stats.items()}


def watched(page: Page, asked: Asked) -> None:
    """The page says what is done, how far it is and what comes next, until the numbers stand
    there, and is not loaded anew."""
    page.evaluate(
        """window.notReloaded = true; window.said = [];
        const words = document.querySelector('[data-progress-words]');
        new MutationObserver(() => window.said.push(words.textContent))
          .observe(words, { childList: true, characterData: true, subtree: true });"""
    )

    def stands() -> bool:
        words, numbers = page.evaluate(
            """[document.querySelector('[data-progress-words]').textContent,
            document.querySelectorAll('main a[href*="/metrics/"]').length]"""
        )
        assert "refused" not in words.lower(), words
        return "Reduced" in words and numbers > 0

    wait_for(stands, "the page shows the numbers", asked.seconds)
    said = " | ".join(page.evaluate("window.said"))
    # Which words a quick machine leaves standing long enough to be seen differs.
    assert re.search(r"\w+ .*rig\.csv · \d+ % · Next: its cycles or points are found", said), said
    assert page.evaluate("window.notReloaded") is True


def reduced(caller: Caller, record: str, asked: Asked) -> dict[str, Any]:
    def done() -> bool:
        found = caller.get(f"records/{record}/")
        assert found["status"] != "refused", found["error"]
        return bool(found["status"] == "reduced")

    wait_for(done, "the record is reduced", asked.seconds)
    found: dict[str, Any] = caller.get(f"records/{record}/")
    return found


def numbers(found: dict[str, Any]) -> dict[tuple[Any, ...], tuple[Any, ...]]:
    return {
        (m["name"], m["method"], m.get("at")): (m["value"], m["unit"], m.get("u"))
        for m in found["metrics"]
    }


def read_by_the_lead(found: dict[str, Any], asked: Asked) -> dict[str, Any]:
    """Dirt and restarts are said; the loss and its uncertainty are right; the last ratio."""
    codes = [warning["code"] for warning in found["warnings"]]
    assert codes.count("join.offset") == 3
    assert codes.count("cyclic.run.restart") == 2
    assert {"record.header-repeated", "record.cut-last-line", "cyclic.dropouts"} <= set(codes)
    last = asked.offset + asked.run.cycles
    metrics = {(m["name"], m.get("at")): m for m in found["metrics"]}
    ratio = metrics["stiffness_ratio", max(at for name, at in metrics if name == "stiffness_ratio")]
    assert ratio["at"] in (last - 1, last)
    assert ratio["value"] == pytest.approx(1.0 - files.LOSS, abs=0.004)
    assert 0.0 < ratio["u"] < 0.01
    stiffness = metrics["secant_stiffness", ratio["at"]]
    # The calibration moves the stiffness by its own uncertainty, and leaves the ratio alone.
    assert stiffness["u"] / stiffness["value"] == pytest.approx(
        (0.005**2 + 0.004**2) ** 0.5, rel=0.3
    )
    assert ratio["u"] / ratio["value"] < 0.5 * stiffness["u"] / stiffness["value"]
    return ratio


def seen_by_the_lead(
    page: Page, root: str, record: str, asked: Asked, ratio: dict[str, Any]
) -> None:
    """From the record's page to the number with its uncertainty, and to one load cycle."""
    page.goto(f"{root}/records/{record}/")
    page.wait_for_selector(".plot svg.main-svg")
    page.goto(f"{root}/metrics/{ratio['id']}/")
    words = page.locator("main").inner_text()
    assert f"{ratio['value']:.2f}" in words
    assert "LC-3" in words
    page.goto(f"{root}/records/{record}/")
    page.fill("input[name=number]", str(asked.cycle))
    page.get_by_role("button", name="Look at it").click()
    page.wait_for_url(f"**/cycle/?number={asked.cycle}")
    page.wait_for_selector(".plot svg.main-svg")
    assert str(asked.cycle) in page.locator("h1").inner_text()


def recomputed(installation: Installation, ratio: dict[str, Any], asked: Asked) -> None:
    """A reviewer at the command line gets the same number to the last digit."""
    told = subprocess.run(
        [*MANAGE, "rebuild", "--metric", ratio["id"]],
        cwd=ROOT, env=installation.environment, capture_output=True, text=True, check=False,
        timeout=asked.seconds,
    )  # fmt: skip
    assert told.returncode == 0, told.stderr
    printed = re.search(r"stiffness_ratio .* = (\S+) 1", told.stdout)
    assert printed is not None
    assert printed[1] == repr(ratio["value"])
    assert "1 with the packages of the first time" in told.stdout


def journey(page: Page, installation: Installation, asked: Asked, folder: Path) -> None:
    paths = asked.run.write(folder)
    (by_page, by_api), worker = started(installation)
    caller = Caller(installation.port, "lead", PASSWORD)
    calibrated(caller)
    page.set_default_timeout(30_000)
    root = signed_in(page, installation, "technician")
    record = dropped(page, root, by_page, asked, paths)
    if asked.killed:
        killed_and_taken_up(installation, worker, caller, record)
    watched(page, asked)
    found = reduced(caller, record, asked)
    assert found["progress"]["attempts"] == 1 + asked.killed
    again = reduced(caller, sent(caller, by_api, asked, paths), asked)
    assert numbers(found) == numbers(again)
    ratio = read_by_the_lead(found, asked)
    row = caller.get(f"records/{record}/cycles/?from={asked.cycle}&to={asked.cycle}")["results"][0]
    assert row["cycle"] == asked.cycle
    assert row["peak_load_kn"] == pytest.approx(40.0, abs=0.3)
    assert row["peak_strain_bar_logger_csv"] == pytest.approx(40 * 40e-6, rel=0.06)
    seen_by_the_lead(page, signed_in(page, installation, "lead"), record, asked, ratio)
    recomputed(installation, ratio, asked)
    progress = installation.home / "progress"
    wait_for(lambda: list(progress.glob("*/*")) == [], "nothing is left behind", asked.seconds)


def test_a_technicians_record_with_restarts_and_dirt_is_followed_to_a_cycle(
    page: Page, installation: Installation, tmp_path: Path
):
    journey(page, installation, SHORT, tmp_path / "dropped")


@pytest.mark.long
def test_ten_million_rows_survive_a_kill_and_give_cycle_1234567(
    page: Page, installation: Installation, tmp_path: Path
):
    assert LONG.run.rig_rows() >= 10_000_000
    journey(page, installation, LONG, tmp_path / "dropped")
