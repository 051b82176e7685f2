"""Comparison by cell: counted by specimens, against named controls, with ages and ends."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.kernel.errors import ShapeError
from results.domain.comparison import groups
from results.domain.comparison.degradation import StiffnessAt, degradation
from results.domain.comparison.groups import Group, Member, Sample, against, group_of
from results.export import comparison_csv, neutral
from results.models import Metric
from results.selectors.comparison import comparison_get
from results.selectors.comparison_json import comparison_as_dict
from specimens.models import Deviation
from tests.results.scene import CAST_AT, NOW, Scene, curve_csv


def triangle(peak: float) -> bytes:
    """A curve with this peak load, kN, in which only the peak matters."""
    return curve_csv([(0.0, 0.0), (10.0, peak), (20.0, 0.4 * peak)])


def row(cast: Scene, cell: str, **asked):
    table = comparison_get(series=cast.series, metric="peak_load", **asked)
    return next(r for r in table.rows if r.group.cell == cell)


def test_sub_samples_are_averaged_first_and_n_counts_specimens():
    samples = [Sample("S1", 2.0), Sample("S1", 4.0), Sample("S2", 5.0)]
    group = group_of("C", samples, [Member("S1", "broken", 30.0), Member("S2", "broken", 40.0)])
    # (3 + 5)/2 = 4; s = √(((3−4)² + (5−4)²)/1) = √2, by hand.
    assert (group.n, group.sub_samples, group.mean, group.age_d) == (2, 3, 4.0, 35.0)
    assert group.s == pytest.approx(2**0.5)
    assert group.ends == {"broken": 2}


def test_one_specimen_has_no_scatter_and_says_so():
    group = group_of("C", [Sample("S1", 2.0)], [Member("S1")])
    assert group.s is None
    assert groups.FEW in group.notes


def test_a_lower_bound_among_the_values_makes_mean_and_gain_lower_bounds():
    group = group_of("C", [Sample("S1", 6.0, "lower"), Sample("S2", 4.0)], [])
    control = group_of("K", [Sample("K1", 4.0)], [])
    compared = against(group, control, kind="gain control", metric="peak_load")
    assert (group.bound, compared.bound, compared.gain) == ("lower", "lower", 0.25)


def test_a_bound_against_a_bound_gives_no_gain():
    group = group_of("C", [Sample("S1", 6.0, "lower")], [])
    control = group_of("K", [Sample("K1", 4.0, "lower")], [])
    assert against(group, control, kind="gain control", metric="m").gain is None


def test_a_missing_control_is_said_in_words():
    group = group_of("C", [Sample("S1", 6.0)], [])
    compared = against(group, None, kind="gain control", metric="m")
    assert compared.notes == (groups.NO_CONTROL.format(cell="C", kind="gain control"),)


def test_different_ages_are_flagged():
    group = group_of("C", [Sample("S1", 6.0)], [Member("S1", "", 120.0)])
    control = group_of("K", [Sample("K1", 4.0)], [Member("K1", "", 60.0)])
    compared = against(group, control, kind="gain control", metric="m")
    assert compared.gain == 0.5
    assert "120 d, its control K at 60 d" in compared.notes[0]


@given(st.lists(st.floats(1, 100), min_size=2, max_size=8), st.randoms(use_true_random=False))
def test_the_order_of_values_does_not_matter(values, random):
    samples = [Sample(f"S{i}", v) for i, v in enumerate(values)]
    shuffled = list(samples)
    random.shuffle(shuffled)
    assert group_of("C", samples, []) == group_of("C", shuffled, [])
    assert isinstance(group_of("C", samples, []), Group)


def test_stiffness_ratios_refer_to_the_first_cycle_of_the_whole_life():
    # Secant stiffness by common practice, worked by hand: 32 kN over 5.00, 5.20, 5.50, 6.00 mm.
    points = [(2_000_000, 32 / 6.0), (1, 6.4), (100_000, 32 / 5.5), (1000, 32 / 5.2)]
    found = degradation([StiffnessAt(n, k) for n, k in points])
    assert [d.cycle for d in found] == [1, 1000, 100_000, 2_000_000]
    assert [round(d.ratio, 5) for d in found] == [1.0, 0.96154, 0.90909, 0.83333]
    assert {d.reference_cycle for d in found} == {1}


def test_gain_by_cell_with_names_and_ages(cast: Scene):
    for cell, peaks in (("P0-LAB", (60.0, 62.0, 64.0)), ("P2-LAB", (90.0, 92.0, 97.0))):
        for peak in peaks:
            specimen = cast.specimen(cell)
            cast.broke(specimen)
            cast.record(specimen.code, triangle(peak))
    strengthened = row(cast, "P2-LAB")
    # mean 93, s = √((9 + 1 + 16)/2) = 3.605551; control mean 62; gain 93/62 − 1 = 0.5.
    assert strengthened.group.mean == pytest.approx(93.0)
    assert strengthened.group.s == pytest.approx(3.605551)
    assert strengthened.against.gain == pytest.approx(0.5)
    assert strengthened.against.control == "P0-LAB"
    assert strengthened.group.age_d == strengthened.against.control_age_d == 120.0
    assert strengthened.group.ends == {"broken": 3}
    assert row(cast, "P0-LAB").against.control == ""


def test_every_value_names_the_metric_it_came_from(cast: Scene):
    specimen = cast.specimen("P2-LAB")
    cast.record(specimen.code, triangle(90.0))
    answer = comparison_as_dict(comparison_get(series=cast.series, metric="peak_load"))
    group = next(g for g in answer["groups"] if g["cell"] == "P2-LAB")
    assert group["values"][0]["metric"] == str(Metric.objects.get(name="peak_load").id)
    assert group["mean"] == {"value": 90.0, "unit": "kN"}


def test_an_excluded_specimen_is_left_out_and_named_and_can_be_shown(cast: Scene):
    good, bad = cast.specimen("P2-LAB"), cast.specimen("P2-LAB")
    for specimen, peak in ((good, 90.0), (bad, 50.0)):
        cast.broke(specimen)
        cast.record(specimen.code, triangle(peak))
    deviation = Deviation.objects.filter(specimen=bad).first()
    assert deviation is not None
    decision = {"deviation": str(deviation.id), "decision": "exclude", "why": "bearing moved"}
    assert cast.log(bad, "judged", NOW, decision).answer == "stored"
    table = comparison_get(series=cast.series, metric="peak_load")
    assert table.left_out == (bad.code,)
    assert row(cast, "P2-LAB").group.n == 1
    assert row(cast, "P2-LAB", include="all").group.n == 2


def test_the_record_measured_last_counts_where_a_test_was_repeated(cast: Scene):
    specimen = cast.specimen("P2-LAB")
    cast.record(specimen.code, triangle(90.0), measured_at=CAST_AT + timedelta(days=120))
    cast.record(specimen.code, triangle(80.0), measured_at=CAST_AT + timedelta(days=119))
    assert row(cast, "P2-LAB").group.mean == pytest.approx(90.0)


def test_locations_of_one_specimen_are_sub_samples(cast: Scene):
    specimen = cast.specimen("P2-LAB", locations=("A", "B"))
    cast.record(f"{specimen.code}-A", triangle(90.0))
    cast.record(f"{specimen.code}-B", triangle(100.0))
    found = row(cast, "P2-LAB").group
    assert (found.n, found.sub_samples, found.mean) == (1, 2, pytest.approx(95.0))


@pytest.mark.parametrize(
    "asked", [{"control": "best"}, {"include": "some"}, {"metric": "yield_load"}]
)
def test_an_unclear_choice_is_refused_with_what_is_allowed(cast: Scene, asked):
    curve = [(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (25.0, 72.0), (40.0, 50.0)]
    cast.record(cast.specimen("P2-LAB").code, curve_csv(curve))
    with pytest.raises(ShapeError) as refused:
        comparison_get(series=cast.series, **{"metric": "peak_load", **asked})
    assert "allowed are" in refused.value.message or "name one" in refused.value.message


def test_the_csv_has_units_versions_and_one_line_a_cell(cast: Scene):
    cast.record(cast.specimen("P2-LAB").code, triangle(90.0))
    lines = list(comparison_csv(comparison_get(series=cast.series, metric="peak_load")))
    assert len({len(line) for line in lines}) == 1
    assert len(lines) == 1 + 4
    assert "mean peak_load [kN]" in lines[0]
    named = dict(zip(lines[0], lines[3], strict=True))
    assert named["cell"] == "P2-LAB"
    assert named["mean peak_load [kN]"] == pytest.approx(90.0)
    assert named["data"] == "invented"
    assert named["reductions"] == "break 2"


@given(st.text(max_size=20))
def test_no_text_cell_begins_like_a_formula(text):
    assert str(neutral(text))[:1] not in ("=", "+", "-", "@", "\t", "\r")
