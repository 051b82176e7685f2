"""A cyclic record goes by in pieces, may be left anywhere, and always gives the same numbers."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pyarrow import parquet

from results.domain.reduction.cycles import COLUMNS
from results.domain.reduction.cyclic import reduce_cyclic
from results.domain.reduction.cyclic_stream import CyclicStream
from results.services import cycle_table, cyclic_pass
from results.services.compute import Computed, compute
from tests.results.cyclic_files import MAP, columns_of, csv_of, inputs_of
from tests.results.cyclic_signals import Record, fatigue_record

pytestmark = pytest.mark.django_db


class Folder:
    """A folder that outlives its worker, which may be cut off after any state it keeps."""

    keeps = True

    def __init__(self, path: Path, lives: int | None = None) -> None:
        self.path, self.lives = path, lives
        self.kept: list[str] = []

    def saved(self) -> dict[str, Any] | None:
        return json.loads(self.kept[-1]) if self.kept else None

    def save(self, state: Any) -> None:
        self.kept.append(json.dumps(state))
        if self.lives is not None and len(self.kept) >= self.lives:
            raise CutOff


class CutOff(Exception):
    """The worker died."""


def computed(inputs: dict[str, Any], path: Path) -> Computed:
    path.mkdir(exist_ok=True)
    return compute(inputs, lambda share, words: None, Folder(path))


def table_of(found: Computed) -> dict[str, np.ndarray[Any, Any]]:
    assert found.table is not None
    arrow = parquet.read_table(found.table)
    return {name: arrow.column(name).to_numpy() for name in arrow.column_names}


def assert_same(one: Computed, other: Computed) -> None:
    assert one.outcome == other.outcome
    assert (one.warnings, one.curve, one.key) == (other.warnings, other.curve, other.key)
    assert one.table_sha256() == other.table_sha256()


def dirty(seed: int, cycles: int = 60) -> Record:
    """Noise, drop-outs, missing samples and a gap, as a file writes them."""
    rng = np.random.default_rng(seed)
    record = fatigue_record(
        cycles=cycles, samples=50, noise_kn=0.05, noise_mm=0.005, start=0.4, stop=0.3, seed=seed
    )
    size = len(record.load)
    record.load[rng.integers(0, size, 5)] = np.nan
    record.deflection[size // 3 : size // 3 + 4] = 0.0
    record.time[size // 2 :] += 3.0
    for channel in (record.load, record.deflection, record.time):
        np.round(channel, 6, out=channel)
    return record


@pytest.fixture
def in_small_pieces(monkeypatch, settings):
    """Blocks, heads and row groups so small that a short record has many of each."""
    monkeypatch.setattr(cyclic_pass, "BLOCK_BYTES", 4000)
    monkeypatch.setattr(CyclicStream, "HEAD", 300)
    monkeypatch.setattr(cycle_table, "GROUP_ROWS", 16)
    settings.CHECKPOINT_SECONDS = 0.0


def test_gives_what_the_reduction_gives_on_whole_arrays(tmp_path, in_small_pieces):
    record = dirty(1)
    found = computed(inputs_of({"a.csv": csv_of(columns_of(record))}, cycle_offset=90), tmp_path)
    expected = reduce_cyclic(
        load_kn=record.load, deflection_mm=record.deflection, time_s=record.time, cycle_offset=90
    )
    assert tuple(replace(m, u=None) for m in found.outcome.metrics) == expected.metrics
    told = [note for note in found.outcome.warnings if not note.code.startswith("uncertainty")]
    assert tuple(told) == expected.warnings
    extra = set(found.outcome.settings) - set(expected.settings)
    assert (extra, {**found.outcome.settings, **expected.settings}) == (
        {"carried", "file_names", "instruments", "uncertainty_fit"}, found.outcome.settings
    )  # fmt: skip
    table = table_of(found)
    assert expected.table is not None
    for name in COLUMNS:
        np.testing.assert_array_equal(table[name], expected.table[name], err_msg=name)
    assert table["cycle"].tolist() == list(range(91, 91 + len(table["cycle"])))


@pytest.mark.parametrize("kind", ["one file", "restarts", "two files", "zeroed", "semicolons"])
def test_cut_off_after_any_piece_and_taken_up_again_it_is_the_same_to_the_last_bit(
    tmp_path, in_small_pieces, kind
):
    files, channels = {"a.csv": csv_of(columns_of(dirty(2)))}, MAP
    if kind == "restarts":
        count = np.arange(len(dirty(3).load)) // 50
        again = csv_of(columns_of(dirty(3), count=count + 40.0), head=False)
        first = csv_of(columns_of(dirty(2), count=count[: len(dirty(2).load)] + 0.0))
        files = {"a.csv": first + again}
        channels = [*MAP, {"column": "count", "quantity": "count", "unit": "1"}]
    if kind == "two files":
        stamps = [f"2026-03-0{day} 10:00:00" for day in (1, 2)]
        files = {
            f"{day}.csv": csv_of(columns_of(dirty(day))).replace(b"time,", b"stamp,")
            for day in (1, 2)
        }
        files = {
            name: _dated(content, stamp)
            for (name, content), stamp in zip(files.items(), stamps, strict=True)
        }
        channels = [
            {"column": c, "quantity": q, "unit": u, "file": f}
            for f in files
            for c, q, u in (("stamp", "time", "s"), ("load", "load", "kN"),
                            ("deflection", "deflection", "mm"))
        ]  # fmt: skip
    if kind == "zeroed":
        channels = [*MAP[:2], dict(MAP[2], zero={"first": 700}, sign=-1, scale=-1 * -1.5)]
    if kind == "semicolons":
        files = {"a.csv": files["a.csv"].replace(b",", b";").replace(b".", b",")}
    inputs = inputs_of(files, channels)
    whole = computed(inputs, tmp_path / "whole")
    cuts, lives = 0, 1
    folder_path = tmp_path / "cut"
    folder_path.mkdir()
    folder = Folder(folder_path, lives)
    while True:
        try:
            found = compute(inputs, lambda share, words: None, folder)
            break
        except CutOff:
            cuts += 1
            folder.lives = len(folder.kept) + 1
    assert cuts > 20
    assert_same(found, whole)


def _dated(content: bytes, stamp: str) -> bytes:
    lines = content.decode().splitlines()
    dated = [lines[0]]
    for line in lines[1:]:
        seconds, rest = line.split(",", 1)
        whole = float(seconds)
        dated.append(f"{stamp[:11]}10:{int(whole // 60):02d}:{whole % 60:09.6f},{rest}")
    return "\n".join([*dated, ""]).encode()
