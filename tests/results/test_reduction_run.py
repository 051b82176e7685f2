"""Blocks, continuous files, restarts and overlaps of one cycling run."""

from __future__ import annotations

import numpy as np
import pytest

from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.cyclic import CyclicSettings, reduce_cyclic
from results.domain.reduction.cyclic_run import RunPart, join_records, reduce_run
from tests.results.cyclic_signals import fatigue_record


def _part(name: str, offset: int, cycles: int, stiffness: float, hertz: float = 4.0) -> RunPart:
    record = fatigue_record(
        cycles=cycles, samples=50, stiffness=stiffness, loss=0.0, phase=0.0, hertz=hertz
    )
    outcome = reduce_cyclic(
        load_kn=record.load,
        deflection_mm=record.deflection,
        time_s=record.time,
        cycle_offset=offset,
    )
    assert outcome.table is not None
    return RunPart(name, offset, outcome.table)


def test_blocks_are_put_in_order_and_compared_to_the_first_cycle() -> None:
    outcome = reduce_run(
        [
            _part("after 250 000", 250_000, 10, 4.8),
            _part("start", 0, 10, 6.4),
            _part("after 99 995", 99_995, 10, 5.6),
        ]
    )
    ratios = {f.at: f.value for f in outcome.metrics if f.name == "stiffness_ratio"}
    assert list(ratios) == [1, 10, 99_996, 100_000, 250_001, 250_010]
    assert ratios[100_000] == pytest.approx(5.6 / 6.4, rel=1e-3)
    assert ratios[250_010] == pytest.approx(4.8 / 6.4, rel=1e-3)
    assert outcome.settings["records"] == ["start", "after 99 995", "after 250 000"]
    assert outcome.settings["checkpoints"] == CyclicSettings().as_dict()["checkpoints"]
    assert "11 to 99995, 100006 to 250000" in outcome.warnings[0].message
    labels = [mark.label for mark in outcome.marks]
    assert "peak of cycle 100000, after 99 995" in labels


def test_of_an_overlap_the_record_that_begins_later_counts() -> None:
    joined = join_records([_part("first", 0, 100, 6.4), _part("restart", 80, 40, 6.0)])
    assert joined.table["cycle"].tolist() == list(range(1, 121))
    assert np.bincount(joined.table["part"]).tolist() == [80, 40]
    assert [note.code for note in joined.notes] == ["cyclic.overlap"]
    assert "20 cycles of first (81 to 100)" in joined.notes[0].message


def test_of_equal_offsets_the_record_given_later_counts() -> None:
    joined = join_records([_part("aborted", 0, 10, 6.4), _part("repeated", 0, 5, 6.0)])
    assert joined.names == ("aborted", "repeated")
    assert joined.table["cycle"].tolist() == [1, 2, 3, 4, 5]
    assert set(joined.table["part"].tolist()) == {1}


def test_multiples_beyond_the_last_checkpoint_stay_checkpoints() -> None:
    part = _part("all", 0, 700, 6.4)
    chosen = CyclicSettings(checkpoints=(1, 10), checkpoint_every=250)
    whole = reduce_run([part], chosen)
    assert {f.at for f in whole.metrics if f.at} == {1, 10, 250, 500, 700}
    split = reduce_run([part, _part("rest", 300, 400, 6.4)], chosen)
    assert {f.at for f in split.metrics if f.at} == {1, 10, 250, 301, 500, 700}


def test_one_record_gives_what_it_gives_alone() -> None:
    record = fatigue_record(cycles=120, noise_kn=0.1, noise_mm=0.01)
    alone = reduce_cyclic(load_kn=record.load, deflection_mm=record.deflection, time_s=record.time)
    assert alone.table is not None
    run = reduce_run([RunPart("only", 0, alone.table)])
    assert [(f.name, f.at, f.method, f.value) for f in run.metrics] == [
        (f.name, f.at, f.method, f.value) for f in alone.metrics
    ]


def test_static_blocks_between_dynamic_ones_are_not_mixed_in() -> None:
    parts = [
        _part("dynamic", 0, 30, 6.4),
        _part("static", 30, 2, 5.0, hertz=0.01),
        _part("dynamic again", 32, 30, 6.0),
    ]
    outcome = reduce_run(parts)
    assert outcome.settings["speed"] == "dynamic"
    found = {f.at: f.value for f in outcome.metrics if f.name == "secant_stiffness"}
    assert set(found) == {1, 10, 33, 62}
    assert "cyclic.checkpoint-other-speed" in outcome.codes()


def test_a_run_needs_a_record() -> None:
    with pytest.raises(ShapeError, match="at least one"):
        reduce_run([])
