"""The programme made by hand is what its text says: so that it can be trusted on the long way."""

from __future__ import annotations

import io

import pytest

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.domain.channels import apply_map
from labmatrix.evidence.reading.delimited import read_delimited
from labmatrix.kernel.clock import parse_instant
from labmatrix.matrix.domain.design import MatrixState, route_levels
from labmatrix.matrix.domain.document_sheet import document_of_sheet
from labmatrix.matrix.domain.matrix_plan import plan_document
from labmatrix.matrix.domain.route import resolve_route
from labmatrix.matrix.domain.sheet import read_sheet
from results.domain.comparison.groups import Group, Member, Sample, against, group_of
from results.domain.reduction.break_test import reduce_break
from results.domain.reduction.outcome import Outcome
from specimens.domain.catalogue import payload_parse, payload_plain
from specimens.domain.event import EventFact
from specimens.domain.fold import fold
from specimens.domain.plan import Plan
from tests.results import other_programme as other

by_beam = pytest.mark.parametrize("beam", other.BEAMS, ids=lambda beam: beam.code)
MATRIX = plan_document(
    MatrixState(), document_of_sheet(read_sheet("matrix.csv", other.MATRIX_CSV))
).after


def reduced(beam: other.OtherBeam) -> Outcome:
    table = read_delimited(io.BytesIO(other.file_of(beam)))
    assert [w.code for w in table.warnings if w.code != "record.time-duplicate"] == []
    channels = apply_map({"f": table}, ChannelMap.from_data(other.channels_of(beam)))
    return reduce_break(
        load_kn=channels.one("load").values,
        deflection_mm=channels.one("deflection").values,
        time_s=channels.one("time").values,
        already_cracked=False,
    )


@by_beam
def test_every_file_gives_the_numbers_worked_out_by_hand(beam):
    found = reduced(beam)
    for (name, method), (value, unit, goes_with_load) in other.METRICS.items():
        metric = found.get(name, method=method)
        expected = value * beam.factor if goes_with_load else value
        assert metric.unit == unit
        assert metric.value == pytest.approx(expected, rel=2e-4), name


@by_beam
def test_peaks_are_exact(beam):
    assert reduced(beam).get("peak_load").value == pytest.approx(72.0 * beam.factor, rel=1e-9)


def group(cell: str) -> Group:
    beams = [beam for beam in other.BEAMS if beam.cell == cell]
    samples = [Sample(b.code, reduced(b).get("peak_load").value) for b in beams]
    return group_of(cell, samples, [Member(b.code, "broken", float(b.age_days)) for b in beams])


@pytest.mark.parametrize("row", other.COMPARISON, ids=lambda row: row.cell)
def test_the_table_by_hand_is_that_of_the_files(row):
    found = group(row.cell)
    assert found.n == row.n
    assert found.mean == pytest.approx(row.mean_kn, rel=1e-9)
    assert found.age_d == row.age_days
    assert found.s == (None if row.s_kn is None else pytest.approx(row.s_kn, rel=1e-9))
    for control, expected, kind in (
        (row.gain_control, row.gain, "gain control"),
        (row.conditioning_control, row.change, "conditioning control"),
    ):
        twin = None if control is None else group(control)
        compared = against(found, twin, kind=kind, metric="peak_load")
        assert compared.gain == (None if expected is None else pytest.approx(expected, rel=1e-9))


def test_retentions_by_hand_are_those_of_the_table():
    mean = {row.cell: row.mean_kn for row in other.COMPARISON}
    assert mean["T3"] / mean["D3"] == pytest.approx(other.MEMBER_RETENTION, rel=1e-12)
    contribution = (mean["T3"] - mean["T0"]) / (mean["D3"] - mean["D0"])
    assert contribution == pytest.approx(other.CONTRIBUTION_RETENTION, rel=1e-12)


def test_the_matrix_file_holds_four_cells_with_their_controls():
    cells = {c.code: (c.gain_control, c.conditioning_control) for c in MATRIX.cells}
    assert cells == other.CONTROLS
    planned = {c.code: c.replicates for c in MATRIX.cells}
    assert planned == {row.cell: row.n for row in other.COMPARISON}


@by_beam
def test_every_history_folds_without_conflict_or_deviation(beam):
    cell = next(c for c in MATRIX.cells if c.code == beam.cell)
    route = resolve_route(other.SERIES["route"], route_levels(MATRIX.factors, cell.levels))
    facts = [
        EventFact(
            id=body["id"],
            kind=body["kind"],
            occurred_at=parse_instant(body["occurred_at"]),
            payload=payload_plain(payload_parse(body["kind"], body["payload"])),
        )
        for body in other.events_of(beam)
    ]
    found = fold(beam.code, facts, Plan(route))
    assert found.conflicts == ()
    assert found.deviations == ()
    assert found.life.end == "broken"
    assert found.life.plies == beam.plies
    assert found.life.ended_at == beam.broken_at
