"""Both retentions of a series from its records, with their controls, ages and small numbers."""

from __future__ import annotations

import math

import pytest

from results.comparison_tables import (
    ONE_SPECIMEN,
    UNBOUNDED,
    contribution_table,
    member_table,
    modes_table,
    retention_notes,
)
from results.domain.comparison.retained import contribution_bound, member_bound
from results.domain.inference.retention import NO_TWIN
from results.selectors.comparison import comparison_get
from results.selectors.failure_mode import failure_mode_list
from results.selectors.retention import ONE, RetentionRow, retention_list
from results.selectors.retention_json import retention_as_dict
from tests.results.broken_series import PEAKS, broken, whole
from tests.results.scene import Scene


def only_row(cast: Scene) -> RetentionRow:
    [row] = retention_list(comparison_get(series=cast.series, metric="peak_load"))
    return row


def as_dict(cast: Scene) -> dict:
    table = comparison_get(series=cast.series, metric="peak_load")
    modes = failure_mode_list(cast.series, table.kept)
    return retention_as_dict(table, retention_list(table), modes)


def test_both_retentions_by_hand(cast: Scene):
    whole(cast)
    row = only_row(cast)
    assert {role: g.cell for role, g in row.groups.items() if g} == {
        "strengthened_exposed": "P2-WDS",
        "unstrengthened_exposed": "P0-WDS",
        "strengthened_laboratory": "P2-LAB",
        "unstrengthened_laboratory": "P0-LAB",
    }
    # Member 77/92; contribution (77 − 56)/(92 − 62) = 0.7, s² 9, 1, 4, 4, n 3 each:
    # √((9 + 1)/3 + 0.49 (4 + 4)/3)/30 = 0.0718; member √(3 + (77/92)² 4/3)/92 = 0.0215.
    assert row.member.retention.value == pytest.approx(77 / 92)
    assert row.member.retention.standard_error == pytest.approx(
        math.sqrt(3 + (77 / 92) ** 2 * 4 / 3) / 92
    )
    assert row.contribution.retention.value == pytest.approx(0.7)
    assert row.contribution.retention.standard_error == pytest.approx(
        math.sqrt(10 / 3 + 0.49 * 8 / 3) / 30
    )
    assert row.contribution.interval is not None
    assert row.contribution.interval.low < 0.7 < row.contribution.interval.high
    assert row.member.notes == row.contribution.notes == ()


def test_a_retention_above_one_stands_as_it_is(cast: Scene):
    whole(cast, P2_WDS=(100.0, 101.0, 102.0))
    assert only_row(cast).member.retention.value == pytest.approx(101 / 92)
    assert only_row(cast).contribution.retention.value == pytest.approx(1.5)


def test_one_specimen_gives_a_ratio_and_says_that_no_interval_can_be_given(cast: Scene):
    whole(cast, P2_WDS=(77.0,))
    row = only_row(cast)
    assert row.member.retention.value == pytest.approx(77 / 92)
    assert (row.member.interval, row.member.retention.standard_error) == (None, None)
    assert row.member.notes == (ONE.format(cells="P2-WDS"),)
    cells = member_table(as_dict(cast))["rows"][0]
    assert cells[-2:] == [ONE_SPECIMEN, ONE_SPECIMEN]


def test_a_missing_exposed_twin_is_said_and_the_member_ratio_still_stands(cast: Scene):
    for cell in ("P0-LAB", "P2-LAB", "P2-WDS"):
        broken(cast, cell, *PEAKS[cell])
    exposed = cast.cells["P2-WDS"]
    exposed.gain_control = None
    exposed.save()
    row = only_row(cast)
    assert row.member.retention.value == pytest.approx(77 / 92)
    assert row.contribution.retention.value is None
    assert row.contribution.notes == (NO_TWIN,)


def test_a_twin_without_values_is_named(cast: Scene):
    for cell in ("P0-LAB", "P2-LAB", "P2-WDS"):
        broken(cast, cell, *PEAKS[cell])
    [note] = only_row(cast).contribution.notes
    assert note.startswith("P0-WDS (unstrengthened twin, exposed) has no value")


def test_a_gain_that_scatter_hides_gives_an_unbounded_interval_in_words(cast: Scene):
    whole(cast, P2_LAB=(50.0, 70.0, 90.0), P0_LAB=(40.0, 62.0, 84.0))
    data = as_dict(cast)
    contribution = data["cells"][0]["contribution_retention"]
    assert contribution["interval"]["is_unbounded"]
    assert contribution["interval"]["low"] is None
    assert contribution_table(data)["rows"][0][-2:] == [UNBOUNDED, UNBOUNDED]
    assert any("unbounded" in note["words"] for note in retention_notes(data))


def test_ages_that_differ_are_pointed_out(cast: Scene):
    for cell in ("P0-LAB", "P2-LAB", "P0-WDS"):
        broken(cast, cell, *PEAKS[cell])
    broken(cast, "P2-WDS", *PEAKS["P2-WDS"], day=200.0)
    assert "200 d, its control P2-LAB at 120 d" in only_row(cast).member.notes[0]


def test_failure_modes_are_counted_by_scheme_letter_and_words(cast: Scene):
    whole(cast)
    data = as_dict(cast)
    assert modes_table(data["failure_modes"])["rows"][0] == [
        "P0-LAB", "bond letters", "D", "slip in the mortar", "broken", 3, 3,
    ]  # fmt: skip
    assert sum(mode["tests"] for mode in data["failure_modes"]) == 12


@pytest.mark.parametrize(
    ("exposed", "laboratory", "found"),
    [("lower", "", "lower"), ("", "lower", "upper"), ("lower", "lower", "unknown"), ("", "", "")],
)
def test_bounds_of_the_member_retention(exposed, laboratory, found):
    assert member_bound(exposed, laboratory) == found


def test_bounds_of_the_contribution_follow_its_sign():
    assert contribution_bound(["lower", "", "", ""], is_loss=False) == "lower"
    assert contribution_bound(["", "lower", "", ""], is_loss=False) == "upper"
    assert contribution_bound(["", "", "lower", ""], is_loss=False) == "upper"
    assert contribution_bound(["", "", "lower", ""], is_loss=True) == "lower"
    assert contribution_bound(["lower", "lower", "", ""], is_loss=False) == "unknown"


def test_the_api_gives_both_with_their_controls(cast: Scene, client):
    whole(cast)
    client.force_login(cast.technician)
    found = client.get("/api/series/QS/retention/?metric=peak_load").json()
    [cell] = found["cells"]
    assert cell["contribution_retention"]["value"] == pytest.approx(0.7)
    assert cell["groups"]["unstrengthened_exposed"]["cell"] == "P0-WDS"
    assert cell["groups"]["strengthened_exposed"]["age_of_concrete"] == {
        "value": 120.0,
        "unit": "d",
    }


def test_the_api_answers_only_those_who_work_on_it(cast: Scene, client):
    assert client.get("/api/series/QS/retention/").status_code == 401
    for who in (cast.sponsor, cast.stranger):
        client.force_login(who)
        assert client.get("/api/series/QS/retention/").status_code == 404
    client.force_login(cast.lead)
    assert client.get("/api/series/QS/retention/?include=some").status_code == 400


def test_the_number_of_queries_does_not_grow(cast: Scene, django_assert_max_num_queries):
    whole(cast)
    table = comparison_get(series=cast.series, metric="peak_load")
    with django_assert_max_num_queries(2):
        retention_list(table)
        failure_mode_list(cast.series, table.kept)
