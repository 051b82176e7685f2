"""A comparison with and without deviations, side by side; how little a small n says."""

from __future__ import annotations

import pytest

from results.domain.comparison.small_n import NONE, ONE, scatter_uncertainty, small_n_in_words
from results.selectors.comparison_both import both_table, comparison_both, small_n_said
from specimens.models import Deviation
from tests.results.broken_series import whole
from tests.results.scene import Scene

# JCGM 100:2008, table E.1, recalled: relative uncertainty of s of n observations, per cent.
TABLE_E1 = {2: 76, 3: 52, 4: 42, 5: 36, 10: 24, 20: 16, 30: 13, 50: 10}


@pytest.mark.parametrize(("n", "percent"), TABLE_E1.items())
def test_the_scatter_of_a_few_is_as_uncertain_as_the_guide_says(n, percent):
    assert round(100 * scatter_uncertainty(n)) == percent


def test_small_n_is_said_in_words():
    assert small_n_in_words(0) == NONE
    assert small_n_in_words(1) == ONE
    assert small_n_in_words(2) == "Two specimens: s itself is uncertain by about 76 %."
    assert small_n_in_words(5) == ""
    with pytest.raises(ValueError, match="at least 2"):
        scatter_uncertainty(1)


def deviates(cast: Scene, code: str, decision: str = "", why: str = "") -> None:
    """A deviation of a specimen as the fold would have opened and a person judged it."""
    Deviation.objects.create(
        specimen=cast.specimens[code],
        rule="age",
        words="Tested 9 d after the planned age.",
        at=f"here {decision}",
        decision=decision,
        why=why,
    )


@pytest.fixture
def judged(cast: Scene) -> Scene:
    """P2-LAB broke at 90, 92, 94 kN and P2-WDS at 74, 77, 80; one of each has a deviation."""
    whole(cast)
    Deviation.objects.all().delete()
    codes = [c for c in cast.specimens if "P2-LAB" in c]
    exposed = [c for c in cast.specimens if "P2-WDS" in c]
    deviates(cast, codes[2], "accept", "within the spread of ages")
    deviates(cast, exposed[0])
    return cast


def test_both_sides_stand_beside_each_other(judged: Scene):
    both = comparison_both(series=judged.series, metric="peak_load")
    rows = {row[0]: row for row in both_table(both, "peak load", "gain control")["rows"]}
    heads = [c["label"] for c in both_table(both, "peak load", "gain control")["columns"]]
    strengthened = dict(zip(heads, rows["P2-LAB"], strict=True))
    assert (strengthened["n"], strengthened["n without"]) == (3, 2)
    assert strengthened["Mean"]["value"] == pytest.approx(92.0)
    assert strengthened["Mean without"]["value"] == pytest.approx(91.0)
    assert strengthened["s"] == pytest.approx(2.0)
    assert strengthened["s without"] == pytest.approx(2**0.5)
    # The control P0-LAB broke at 60, 62, 64 kN and has no deviation: 92/62 and 91/62.
    assert strengthened["Gain"]["value"] == pytest.approx(100 * (92 / 62 - 1))
    assert strengthened["Gain without"]["value"] == pytest.approx(100 * (91 / 62 - 1))
    said = {one["words"]: one for one in small_n_said(both)}
    assert said[small_n_in_words(2)]["without"] == ["P2-LAB", "P2-WDS"]
    assert said[small_n_in_words(2)]["every"] == []
    assert said[small_n_in_words(3)]["every"] == ["P0-LAB", "P0-WDS", "P2-LAB", "P2-WDS"]
    exposed = dict(zip(heads, rows["P2-WDS"], strict=True))
    assert exposed["Member retention"]["value"] == pytest.approx(77 / 92)
    assert exposed["Member retention without"]["value"] == pytest.approx(78.5 / 91)
    # What the fabric adds: 77 − 56 over 92 − 62, and 78.5 − 56 over 91 − 62.
    assert exposed["Contribution retention"]["value"] == pytest.approx(21 / 30)
    assert exposed["Contribution retention without"]["value"] == pytest.approx(22.5 / 29)


def test_those_left_out_are_named_with_the_reason_and_what_was_decided(judged: Scene, client):
    client.force_login(judged.technician)
    html = client.get("/series/QS/comparison/").content.decode()
    section = html[html.index('id="deviations"') : html.index('id="retention"')]
    assert "leaves out 2 specimens" in section
    assert "Tested 9 d after the planned age." in section
    assert "Accepted: within the spread of ages." in section
    assert "Open." in section
    told = client.get("/api/series/QS/comparison/deviations/?metric=peak_load").json()
    assert [one["cell"] for one in told["left_out"]] == ["P2-LAB", "P2-WDS"]
    assert told["without"]["include"].startswith("without every specimen that has a deviation")
    assert len(told["with"]["left_out"]) == 0


def test_without_any_deviation_there_is_nothing_to_leave_out(cast: Scene, client):
    whole(cast)
    Deviation.objects.all().delete()
    client.force_login(cast.lead)
    assert "nothing to leave out" in client.get("/series/QS/comparison/").content.decode()
