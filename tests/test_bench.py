"""Every bench at a small scale: what it claims holds. Its times are nobody's business here."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.architecture.source import ROOT
from tests.bench.harness import RESULTS, Bench, Goal, interleaved
from tests.bench.made.results_page import results_page

BENCHES = sorted(
    path.stem
    for path in (ROOT / "tests" / "bench").glob("*.py")
    if path.stem not in ("__init__", "harness")
)


@pytest.mark.parametrize("bench", BENCHES)
def test_what_a_bench_claims_holds(bench, tmp_path):
    kept = tmp_path / "results.jsonl"
    small = {"STRONGFLOOR_BENCH_SCALE": "0.01", "STRONGFLOOR_BENCH_RESULTS": str(kept)}
    done = subprocess.run(
        [sys.executable, "-m", f"tests.bench.{bench}"],
        cwd=ROOT, env=os.environ | small, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    rows = [json.loads(line) for line in kept.read_text(encoding="utf-8").splitlines()]
    claims = [held for row in rows for held in row["claims"].values()]
    assert claims
    assert all(claims)
    assert len({row["row"] for row in rows}) == len(rows)


def rows_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, held: bool, figure: float) -> Path:
    kept = tmp_path / "kept.jsonl"
    monkeypatch.setenv("STRONGFLOOR_BENCH_RESULTS", str(kept))
    bench = Bench("made")
    runs = interleaved({"ours": lambda: 1, "peer": lambda: 2}, repeats=2)
    bench.row(
        "made-row", "A made row", figure=figure, goal=Goal("Z1", 0.5), runs=runs,
        claims={"true": held}, remark="the profile",
    )  # fmt: skip
    bench.end()
    return kept


def test_a_claim_that_does_not_hold_ends_a_bench_with_an_error(tmp_path, monkeypatch):
    with pytest.raises(SystemExit, match="made: does not hold: true"):
        rows_of(tmp_path, monkeypatch, held=False, figure=0.4)


@pytest.mark.parametrize(("figure", "word"), [(0.4, "reached"), (0.6, "**missed**")])
def test_a_missed_goal_is_shown_with_its_profile(tmp_path, monkeypatch, figure, word):
    kept = rows_of(tmp_path, monkeypatch, held=True, figure=figure)
    page = results_page([json.loads(kept.read_text(encoding="utf-8"))])
    assert f"| A made row | {figure} × | Z1: ≤ 0.5 | {word} |" in page
    assert ("the profile" in page) == (word == "**missed**")


def test_the_page_shows_the_last_run_of_each_row(tmp_path, monkeypatch):
    row = json.loads(
        rows_of(tmp_path, monkeypatch, held=True, figure=0.4).read_text(encoding="utf-8")
    )
    older, newer = row | {"at": "2026-01-01", "figure": 9}, row | {"at": "2026-02-01", "figure": 3}
    assert "| 3 × |" in results_page([newer, older])
    assert "| 9 × |" not in results_page([newer, older])


def test_the_page_is_that_of_the_results():
    rows = [json.loads(line) for line in RESULTS.read_text(encoding="utf-8").splitlines()]
    assert RESULTS.with_name("RESULTS.md").read_text(encoding="utf-8") == results_page(rows)
