"""A controller file with restarts and a logger beside it become one run on one clock."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from labmatrix.kernel.errors import ShapeError
from results.services import beside
from results.services.compute import compute
from results.services.cyclic_record import cyclic_samples
from tests.results.cyclic_files import csv_of, inputs_of
from tests.results.test_cyclic_record import (
    CutOff,
    Folder,
    assert_same,
    computed,
    in_small_pieces,
    table_of,
)

__all__ = ["in_small_pieces"]
pytestmark = pytest.mark.django_db

# Invented: cycles of 1 Hz from 8 to 40 kN on a beam of 6.4 kN/mm, 40 microstrain a kN, with two
# stops; the controller's clock begins anew after each, the logger's runs on.
STIFFNESS, STRAIN = 6.4, 40e-6
RUNS = ((3.0, 33.0), (41.0, 66.0), (80.0, 110.0))
CLOCK = 517.25
RIG = [
    {"column": "time", "quantity": "time", "unit": "s", "file": "rig.csv"},
    {"column": "load", "quantity": "load", "unit": "kN", "file": "rig.csv"},
    {"column": "deflection", "quantity": "deflection", "unit": "mm", "file": "rig.csv"},
]
LOGGER = [
    {"column": "t", "quantity": "time", "unit": "s", "file": "logger.csv"},
    {"column": "P", "quantity": "load", "unit": "kN", "file": "logger.csv"},
    {"column": "e", "quantity": "strain", "unit": "µm/m", "place": "bar", "file": "logger.csv"},
]


def load_at(time: Any) -> Any:
    load = np.full(len(time), 8.0)
    for start, stop in RUNS:
        on = (time >= start) & (time < stop)
        load[on] = 24.0 - 16.0 * np.cos(2 * np.pi * (time[on] - start))
    return load


def rig(*, deflection: bool = True) -> bytes:
    """The controller: one file, its clock at 0 again whenever the machine is started."""
    rng = np.random.default_rng(4)
    parts = []
    for k, (start, stop) in enumerate(RUNS):
        time = np.arange(start - 2.5, stop + 2.5, 0.02)
        load = load_at(time) + rng.normal(0, 0.02, len(time))
        columns = {"time": time - time[0], "load": load}
        columns |= {"deflection": load / STIFFNESS} if deflection else {}
        parts.append(csv_of(columns, head=k == 0))
    return b"".join(parts)


def logger(*, deflection: bool = False, load: Any = load_at, stamps: bool = False) -> bytes:
    """The strain logger: another rate, another clock, never stopped."""
    rng = np.random.default_rng(5)
    time = np.arange(-10.0, 125.0, 0.025)
    P = load(time) + rng.normal(0, 0.02, len(time))
    shown = np.floor(time - CLOCK) if stamps else time - CLOCK
    columns = {"t": shown, "P": P, "e": load_at(time) * STRAIN * 1e6}
    return csv_of(columns | ({"w": load_at(time) / STIFFNESS} if deflection else {}))


def joined_inputs(**more: Any) -> dict[str, Any]:
    files = {"rig.csv": rig(), "logger.csv": logger()}
    return inputs_of(files, [*RIG, *LOGGER], **more)


def test_each_part_finds_its_own_clock_offset_and_the_strain_of_every_cycle(
    tmp_path: Path, in_small_pieces
):
    found = computed(joined_inputs(cycle_offset=1000), tmp_path)
    joined = found.outcome.settings["joined"]
    assert [(entry["part"], entry["file"]) for entry in joined] == [
        (0, "logger.csv"), (1, "logger.csv"), (2, "logger.csv")
    ]  # fmt: skip
    for entry, (start, _) in zip(joined, RUNS, strict=True):
        assert entry["offset_s"] == pytest.approx(CLOCK - (start - 2.5), abs=0.003)
        assert 0.0 < entry["uncertainty_s"] < 0.01
        assert entry["correlation"] > 0.999
    assert found.outcome.codes().count("join.offset") == 3
    table = table_of(found)
    assert table["cycle"].tolist() == [*range(1001, 1001 + len(table["cycle"]))]
    assert 80 <= len(table["cycle"]) <= 85
    strain = table["peak_strain_bar_logger_csv"]
    np.testing.assert_allclose(strain, 40.0 * STRAIN, atol=3e-6)
    np.testing.assert_allclose(table["valley_strain_bar_logger_csv"], 8.0 * STRAIN, atol=3e-6)
    carried = {entry["name"]: entry for entry in found.outcome.settings["carried"]}
    assert carried["strain_bar_logger_csv"]["unit"] == "mm/mm"
    assert carried["strain_bar_logger_csv"]["file"] == "logger.csv"


def test_the_deflection_may_come_from_the_logger(tmp_path: Path, in_small_pieces):
    files = {"rig.csv": rig(deflection=False), "logger.csv": logger(deflection=True)}
    deflection = {"column": "w", "quantity": "deflection", "unit": "mm", "file": "logger.csv"}
    found = computed(inputs_of(files, [*RIG[:2], *LOGGER, deflection]), tmp_path)
    assert found.outcome.get("secant_stiffness").value == pytest.approx(STIFFNESS, rel=5e-3)


def test_the_curve_of_the_controller_is_read_without_laying_the_logger_on_it(
    tmp_path: Path, in_small_pieces, monkeypatch
):
    alone = cyclic_samples(inputs_of({"rig.csv": rig()}, RIG), Folder(tmp_path))
    monkeypatch.setattr(beside.BesideFiles, "prepare", lambda *args: pytest.fail("not needed"))
    both = cyclic_samples(joined_inputs(), Folder(tmp_path))
    for one, other in zip(alone, both, strict=True):
        np.testing.assert_array_equal(one, other)


def test_the_curve_takes_the_deflection_that_the_logger_alone_has(tmp_path: Path, in_small_pieces):
    files = {"rig.csv": rig(deflection=False), "logger.csv": logger(deflection=True)}
    deflection = {"column": "w", "quantity": "deflection", "unit": "mm", "file": "logger.csv"}
    x, y = cyclic_samples(inputs_of(files, [*RIG[:2], *LOGGER, deflection]), Folder(tmp_path))
    there = np.isfinite(x)
    assert there.mean() > 0.9
    np.testing.assert_allclose(x[there], y[there] / STIFFNESS, atol=0.15)


def test_a_logger_that_shows_whole_seconds_only_is_spread(tmp_path: Path, in_small_pieces):
    files = {"rig.csv": rig(), "logger.csv": logger(stamps=True)}
    found = computed(inputs_of(files, [*RIG, *LOGGER]), tmp_path)
    strain = table_of(found)["peak_strain_bar_logger_csv"]
    np.testing.assert_allclose(strain, 40.0 * STRAIN, atol=6e-6)


def test_cut_off_anywhere_and_taken_up_again_it_is_the_same(tmp_path: Path, in_small_pieces):
    inputs = joined_inputs()
    whole = computed(inputs, tmp_path / "whole")
    (tmp_path / "cut").mkdir()
    folder, cuts = Folder(tmp_path / "cut", 1), 0
    while True:
        try:
            found = compute(inputs, lambda share, words: None, folder)
            break
        except CutOff:
            cuts += 1
            folder.lives = len(folder.kept) + 1
    assert cuts > 20
    assert_same(found, whole)


def test_a_stated_offset_is_confirmed_by_the_load(tmp_path: Path, in_small_pieces):
    first = b"\n0.000000".join(rig().split(b"\n0.000000")[:2])
    short = {"rig.csv": first + b"\n", "logger.csv": logger()}
    inputs = inputs_of(short, [*RIG, *LOGGER], settings={"clock_offset_s": CLOCK - 0.5})
    (entry,) = computed(inputs, tmp_path).outcome.settings["joined"]
    assert entry["offset_s"] == pytest.approx(CLOCK - 0.5, abs=0.003)


@pytest.mark.parametrize(
    ("kind", "code"),
    [
        ("another load", "join.not-convincing"),
        ("no load", "join.load-missing"),
        ("no time", "join.time-missing"),
        ("its clock restarts", "join.clock-restarts"),
    ],
)
def test_refuses_what_does_not_belong_together(tmp_path: Path, in_small_pieces, kind, code):
    channels = [*RIG, *LOGGER]
    files = {"rig.csv": rig(), "logger.csv": logger()}
    if kind == "another load":
        files["logger.csv"] = logger(load=lambda t: 20 + 5 * np.sin(0.7 * t) + 0.1 * t)
    if kind == "no load":
        channels = [*RIG, LOGGER[0], LOGGER[2]]
    if kind == "no time":
        channels = [*RIG, *LOGGER[1:]]
    if kind == "its clock restarts":
        files["logger.csv"] = logger() + b"\n".join(logger().split(b"\n")[1:])
    with pytest.raises(ShapeError) as refused:
        computed(inputs_of(files, channels), tmp_path)
    assert refused.value.code == code


def test_a_part_that_the_logger_did_not_see_stays_without_strain(tmp_path: Path, in_small_pieces):
    rows = logger().split(b"\n")
    files = {"rig.csv": rig(), "logger.csv": b"\n".join(rows[:3000]) + b"\n"}
    found = computed(inputs_of(files, [*RIG, *LOGGER]), tmp_path)
    assert [entry["part"] for entry in found.outcome.settings["joined"]] == [0, 1]
    assert "join.part-alone" in found.outcome.codes()
    strain = table_of(found)["peak_strain_bar_logger_csv"]
    assert np.isnan(strain[-25:]).all()
    assert np.isfinite(strain[:40]).all()


def test_what_is_beside_is_told_from_what_goes_on(tmp_path: Path):
    from labmatrix.evidence.domain.channel_map import ChannelMap
    from labmatrix.evidence.domain.channels import bind_map
    from labmatrix.evidence.reading.column import Column
    from labmatrix.evidence.reading.table import TableHead

    heads = {
        "logger.csv": TableHead(tuple(Column(c) for c in "tPe")),
        "rig.csv": TableHead(tuple(Column(c) for c in ("time", "load", "deflection"))),
        "rig2.csv": TableHead(tuple(Column(c) for c in ("time", "load", "deflection"))),
    }
    again = [{**entry, "file": "rig2.csv"} for entry in RIG]
    bound = bind_map(heads, ChannelMap.from_data([*LOGGER, *RIG, *again]))
    assert beside.files_apart(bound, list(heads)) == (["rig.csv", "rig2.csv"], ["logger.csv"])
