"""Invented raw files: how they are written, and that the real door finds the truth in them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from labmatrix.kernel.errors import ShapeError
from results.domain.invented.break_file import BreakFile, broken_file, driven_path
from results.domain.invented.cyclic_file import CyclicBlock, CyclicFile, block_signals
from results.domain.invented.equipment import RIGS, rig_by_code, sensor_by_serial
from results.domain.invented.logger_text import COMMAS, SEMICOLONS, LoggerColumn, table_bytes
from results.domain.invented.parameters import LABORATORY, PARAMETERS, SALT
from results.domain.invented.story import StoryRecord, story
from results.domain.invented.truth import cell_truth
from tests.results.invented_reading import broken, channels_of, cycled, table_of, truth_of

AT = datetime(2026, 6, 11, 10, 0, tzinfo=UTC)
STORY = story()
BREAKS = [r for r in STORY.records if r.test == "break" and not r.is_broken]
CYCLICS = [r for r in STORY.records if r.test == "cyclic"]
by_file = pytest.mark.parametrize("record", BREAKS, ids=[record.file_name for record in BREAKS])
by_block = pytest.mark.parametrize("record", CYCLICS, ids=[record.file_name for record in CYCLICS])


def break_file(rig: str = "TEST-1", plies: int = 2, seed: int = 5) -> BreakFile:
    truth = cell_truth(plies=plies, exposure=LABORATORY)
    return BreakFile("QS-X-01", rig_by_code(rig), AT, truth, seed)


def record_of(file: BreakFile) -> StoryRecord:
    name = file.rig.map_name("break", has_fabric=file.has_fabric)
    return StoryRecord("QS-X-01", "break", "x.csv", name, {}, 0, file.measured_at, file)


# -- how they are written ----------------------------------------------------------------------


@pytest.mark.parametrize("record", STORY.records, ids=lambda record: record.file_name)
def test_every_file_says_that_it_is_invented(record):
    style = "cp1252" if "TEST-1" in record.channel_map and not record.is_broken else "utf-8-sig"
    head = record.content().decode(style)[:400]
    assert "INVENTED DATA — Quayside Structures Laboratory demo" in head


def test_each_rig_writes_in_its_own_way():
    written = {rig.code: break_file(rig.code).content() for rig in RIGS}
    first, second, third = (written[code] for code in ("TEST-1", "TEST-2", "RIG-1"))
    assert first.count(b"\r\n") == first.count(b"\n") > 1500
    assert b"\r" not in second + third
    assert second.startswith(b"\xef\xbb\xbf")
    rows = {code: data.splitlines()[-1] for code, data in written.items()}
    assert rows["TEST-1"].count(b";") == 6
    assert b"." not in rows["TEST-1"]
    assert rows["TEST-1"].count(b",") >= 6
    assert b"," not in rows["TEST-2"]
    assert rows["TEST-2"].count(b"\t") == 6
    assert rows["RIG-1"].count(b",") == 6


@pytest.mark.parametrize("code", [rig.code for rig in RIGS])
def test_the_reader_finds_names_and_units(code):
    table = table_of(break_file(code).content())
    assert [c.name for c in table.columns] == [
        c.column for c in rig_by_code(code).channels("break", has_fabric=True)
    ]
    assert [c.unit for c in table.columns] == [
        c.unit for c in rig_by_code(code).channels("break", has_fabric=True)
    ]
    assert {warning.code for warning in table.warnings} <= {"record.over-range"}


def test_the_same_seed_gives_the_same_bytes_and_another_one_does_not():
    assert break_file(seed=5).content() == break_file(seed=5).content()
    assert break_file(seed=5).content() != break_file(seed=6).content()


def test_a_bare_beam_has_no_fabric_gauge():
    names = [c.name for c in table_of(break_file(plies=0).content()).columns]
    assert "Strain bar" in names
    assert "Strain fabric" not in names


def test_numbers_and_words_are_written_as_the_style_has_it():
    columns = [
        LoggerColumn("Load", "kN", 2, np.array([-0.001, 1.005, np.nan])),
        LoggerColumn("Strain", "µm/m", 0, np.array([-0.4, 12.0, 3.5])),
    ]
    lines = table_bytes(SEMICOLONS, [("Rig", "R")], columns).decode("cp1252").split("\r\n")
    assert lines[1:5] == ["Rig;R", "", "Load;Strain", "kN;µm/m"]
    assert lines[5:] == ["0,00;0", "1,00;12", "OVER;4", ""]
    assert table_bytes(COMMAS, [], columns).decode().endswith("OVL,4\n")


# -- what is in them ---------------------------------------------------------------------------


def test_a_test_rests_is_preloaded_and_taken_back_once():
    truth = cell_truth(plies=2, exposure=LABORATORY)
    path, law = driven_path(truth, 2.0), PARAMETERS.procedure
    assert (path.load_kn[: int(2 * law.rest_s)] == 0.0).all()
    at_preload = np.isclose(path.load_kn, law.preload_kn, rtol=1e-3)
    assert at_preload.sum() >= 2 * law.preload_hold_s - 1
    rising = path.load_kn[: int(np.argmax(path.load_kn)) + 1]
    falls = np.flatnonzero((np.diff(rising) < -0.1) & (rising[:-1] > 2.0 * law.preload_kn))
    assert (np.diff(falls) == 1).all()
    assert rising[falls[0]] == pytest.approx(law.unload_share * truth.yield_load_kn, rel=0.02)
    assert rising[falls[-1] + 1] == pytest.approx(law.unload_to_kn, abs=0.5)
    assert 1500 < len(path.time_s) < 4000


def test_the_loop_meets_the_curve_where_it_left_it():
    truth = cell_truth(plies=0, exposure=LABORATORY)
    path = driven_path(truth, 50.0)
    assert np.abs(np.diff(path.load_kn)).max() < 1.2
    rising = path.deflection_mm >= np.maximum.accumulate(path.deflection_mm)
    on_curve = truth.load_at(path.deflection_mm[rising])
    assert path.load_kn[rising] == pytest.approx(on_curve, abs=1e-6)


def test_supports_settle_and_the_deflection_shows_it():
    record = record_of(break_file("TEST-2"))
    channels = channels_of(record)
    left, right = (c.values for c in channels.all("settlement"))
    load = channels.one("load").values
    top = int(np.argmax(load))
    halfway = 0.5 * load[top] / PARAMETERS.signal.support_kn_mm
    for settled in (left, right):
        assert halfway < settled[top] - settled[0] < halfway + 0.12
    moved = channels.one("deflection").values
    beam_alone = moved[top] - moved[0] - 0.5 * (left[top] + right[top] - left[0] - right[0])
    peak_mm = truth_of(record).peak_deflection_mm
    assert beam_alone == pytest.approx(peak_mm + PARAMETERS.signal.toe_mm, abs=1.5)
    assert moved[top] - moved[0] > beam_alone + 0.2


def test_a_lost_gauge_reads_as_missing():
    law = replace(PARAMETERS, signal=replace(PARAMETERS.signal, gauge_lost_share=1.0))
    file = replace(break_file("TEST-2"), parameters=law)
    assert b"+9.90000E+37" in file.content()
    table = table_of(file.content())
    assert "record.over-range" in {w.code for w in table.warnings}
    strain = table.array("SG bar")
    lost = int(np.argmax(np.isnan(strain)))
    assert lost > 500
    assert np.isnan(strain[lost:]).all()
    assert strain[lost - 1] == pytest.approx(PARAMETERS.signal.gauge_lost_at * 1e6, rel=0.05)


def test_the_calibration_in_force_is_the_one_that_counts():
    sensor = sensor_by_serial("QL-200-11")
    before, after = (c.factor for c in sensor.calibrations)
    assert sensor.factor_at(datetime(2025, 12, 31, tzinfo=UTC)) == 1.0
    assert sensor.factor_at(datetime(2026, 7, 3, 8, tzinfo=UTC)) == before
    assert sensor.factor_at(datetime(2026, 7, 3, 9, tzinfo=UTC)) == after
    raw = [
        table_of(replace(break_file(), measured_at=at).content()).array("Load").max()
        for at in (AT, datetime(2026, 9, 1, tzinfo=UTC))
    ]
    assert raw[0] / raw[1] == pytest.approx(after / before, rel=1e-4)


# -- the truth is found again ------------------------------------------------------------------


@by_file
def test_a_break_file_gives_its_truth_back(record):
    truth, found = truth_of(record), broken(record)
    assert found.get("peak_load").value == pytest.approx(truth.peak_load_kn, rel=0.01)
    assert found.get("peak_load").bound is None
    stiffness = found.get("cracked_stiffness").value
    assert stiffness == pytest.approx(truth.cracked_stiffness_kn_mm, rel=0.02)
    at_yield = found.get("yield_deflection", method="gauge").value
    assert at_yield == pytest.approx(truth.yield_deflection_mm, abs=0.15)
    load = found.get("yield_load", method="gauge").value
    assert load == pytest.approx(truth.yield_load_kn, rel=0.02)
    ultimate = found.get("ultimate_deflection")
    assert ultimate.bound is None
    exact = np.linspace(truth.peak_deflection_mm, truth.end_mm, 20_001)
    fallen = exact[np.argmax(truth.load_at(exact) <= 0.80 * truth.peak_load_kn)]
    assert ultimate.value == pytest.approx(fallen, abs=0.3)


@by_file
def test_first_crack_is_found_in_a_beam_that_was_not_loaded_before(record):
    truth, found = truth_of(record), broken(record)
    assert found.has("first_crack_load") is not truth.is_cracked
    if not truth.is_cracked:
        crack = found.get("first_crack_load").value
        assert crack == pytest.approx(truth.crack_load_kn, rel=0.05)
        initial = found.get("initial_stiffness").value
        assert initial == pytest.approx(truth.initial_stiffness_kn_mm, rel=0.10)


@by_block
def test_a_cyclic_file_gives_its_truth_back(record):
    truth, found = truth_of(record), cycled(record)
    source = record.source
    assert isinstance(source, CyclicFile)
    assert found.table is not None
    assert found.table["cycle"].tolist() == list(
        range(source.block.cycle_offset + 1, source.block.last + 1)
    )
    last = source.block.last
    stiffness = found.get("secant_stiffness", at=last).value
    expected = truth.first_cycle_kn_mm * float(truth.stiffness_ratio(last))
    assert stiffness == pytest.approx(expected, rel=0.005)
    residual = found.get("residual_deflection", at=last).value
    assert residual == pytest.approx(float(truth.residual_mm(last)), abs=0.02)
    law = PARAMETERS.cycling
    assert found.get("frequency", at=last).value == pytest.approx(law.frequency_hz, rel=0.03)
    assert not {"cyclic.load-off-target", "cyclic.partial-start", "cyclic.partial-end"} & set(
        found.codes()
    )


@pytest.mark.parametrize("subject", sorted({record.subject for record in CYCLICS}))
def test_stiffness_loss_over_all_blocks_is_as_stated(subject):
    blocks = [record for record in CYCLICS if record.subject == subject]
    truth = truth_of(blocks[0])
    first = cycled(blocks[0]).get("secant_stiffness", at=1).value
    for record in blocks:
        source = record.source
        assert isinstance(source, CyclicFile)
        last = source.block.last
        loss = 1.0 - cycled(record).get("secant_stiffness", at=last).value / first
        assert loss == pytest.approx(1.0 - float(truth.stiffness_ratio(last)), abs=0.01)


def test_the_loop_of_a_cycle_has_the_area_of_its_lag():
    # Closed form: an ellipse of amplitudes F and x with the lag φ has the area π F x sin φ.
    truth = cell_truth(plies=0, exposure=LABORATORY)
    _, load, deflection = block_signals(truth, CyclicBlock(0, 1))
    law = PARAMETERS.cycling
    start = round(law.edge_share * law.samples_per_cycle)
    one = slice(start, start + law.samples_per_cycle + 1)
    x, y = deflection[one], load[one]
    area = float(np.sum(0.5 * (y[1:] + y[:-1]) * np.diff(x)))
    half = 0.5 * (law.maximum_kn - law.minimum_kn) * (1.0 + law.load_error)
    swing = half / (truth.first_cycle_kn_mm * np.cos(law.lag_rad))
    assert area == pytest.approx(np.pi * half * swing * np.sin(law.lag_rad), rel=2e-3)


def test_salt_speeds_the_loss():
    losses = [
        cell_truth(plies=2, exposure=exposure).cycling_loss for exposure in (LABORATORY, SALT)
    ]
    assert losses[1] - losses[0] == pytest.approx(0.05)


def test_a_broken_export_is_refused_with_a_sentence():
    content = broken_file(specimen="QS-X-01", measured_at=AT)
    with pytest.raises(ShapeError, match=r"web page \(HTML\)") as refused:
        table_of(content)
    assert refused.value.code == "record.foreign-kind"
