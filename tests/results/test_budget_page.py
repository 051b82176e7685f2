"""The uncertainty budget of a number, on its page, by the API and in files taken away."""

from __future__ import annotations

import csv
import io
import math
import re

import pytest
from django.test import Client
from scipy import stats

from results.budget_view import budget_said, sensitivity_shown
from results.domain.reduction.budget_data import (
    budget_as_dict,
    budget_from_dict,
    coverage_of,
    shares_of,
)
from results.domain.reduction.uncertainty import Input, combine, propagate
from results.models import Metric
from tests.reference.test_uncertainty_gum import END_GAUGE, _length
from tests.results.scene import Scene
from tests.results.test_stored_uncertainty import SENSED, calibrate, noisy, stored


@pytest.fixture
def peak(cast: Scene) -> Metric:
    calibrate(cast, load=0.005, deflection=0.002)
    cast.record(cast.specimen("P2-LAB").code, noisy(), channels=SENSED)
    return stored("peak_load")


def page_of(cast: Scene, address: str, who: str = "lead"):
    client = Client()
    client.force_login(getattr(cast, who))
    return client.get(address)


def test_a_stored_budget_is_the_budget() -> None:
    budget = propagate(_length, END_GAUGE)
    back = budget_from_dict(budget.value, budget_as_dict(budget))
    assert back == budget
    assert sum(shares_of(back)) == pytest.approx(1.0)


def test_coverage_is_that_of_the_guide() -> None:
    """JCGM 100:2008, H.1: 16 effective degrees of freedom, k 2.92 and U 93 nm for 99 %."""
    told = coverage_of(propagate(_length, END_GAUGE), 0.99)
    assert (math.floor(told["dof"]), round(told["k"], 2)) == (16, 2.92)
    assert told["U"] == pytest.approx(93.0, abs=1.0)


def test_coverage_of_few_degrees_of_freedom_and_of_infinite_ones() -> None:
    few = combine(1.0, [Input("a", 1.0, 2.0, 3.7)], [1.0])
    assert coverage_of(few)["k"] == pytest.approx(stats.t.ppf(0.975, 3))
    many = combine(1.0, [Input("a", 1.0, 2.0)], [1.0])
    assert coverage_of(many) == {
        "level": 0.95, "k": pytest.approx(1.959964, abs=1e-6), "U": pytest.approx(3.919928),
        "dof": None, "method": "first order",
    }  # fmt: skip


def test_a_sensitivity_in_other_units_gives_the_contribution_in_other_units() -> None:
    """kN/mm for each mm: 2 kN/mm² times 0.5 mm is 1 kN/mm; in kip/in and in the same."""
    shown = sensitivity_shown(2.0, "kN/mm", "mm", "US customary")
    kip_in = 25.4 / 4.4482216152605
    assert shown * (0.5 / 25.4) == pytest.approx(1.0 * kip_in, rel=1e-9)
    assert sensitivity_shown(2.0, "kN/mm", "mm", "SI") == 2.0


def test_the_page_shows_every_source_and_what_is_left_out(cast: Scene, peak: Metric):
    text = page_of(cast, f"/metrics/{peak.id}/").content.decode()
    section = text[text.index('id="uncertainty"') : text.index("<h2>Settings and rules")]
    for words in (
        "scale of load: LC-3, INV-LC-3", "scatter of the record", "First order",
        "60 draws, seed", "for 95 %", "Effective degrees of freedom", "taken as independent",
    ):  # fmt: skip
        assert words in section, words
    said = budget_said(peak, "SI")
    assert said is not None
    assert sum(row["percent"] for row in said["rows"]) == pytest.approx(100.0)
    contributions = [row["contribution"] for row in said["rows"]]
    assert math.hypot(*contributions) == pytest.approx(peak.u)
    assert said["coverage"]["U"] == pytest.approx(said["coverage"]["k"] * peak.u)


def test_the_page_follows_the_units_of_the_person(cast: Scene, peak: Metric):
    cast.lead.unit_system = "US customary"
    cast.lead.save()
    text = page_of(cast, f"/metrics/{peak.id}/").content.decode()
    section = text[text.index('id="uncertainty"') : text.index("<h2>Settings and rules")]
    assert "kip" in section
    assert not re.search(r"\bkN\b", section)


def test_without_a_certificate_the_page_says_what_is_left_out(cast: Scene):
    cast.record(cast.specimen("P2-LAB").code, noisy(), channels=SENSED)
    text = page_of(cast, f"/metrics/{stored('peak_load').id}/").content.decode()
    section = text[text.index('id="uncertainty"') : text.index("<h2>Settings and rules")]
    assert "No calibration tells how well the load is known" in section
    assert "No calibration tells how well the deflection is known" in section


def test_a_number_without_uncertainty_says_so(cast: Scene, peak: Metric):
    Metric.objects.filter(pk=peak.pk).update(u=None, budget=None)
    text = page_of(cast, f"/metrics/{peak.id}/").content.decode()
    assert "No uncertainty is worked out for peak load" in text


def test_the_api_gives_u_with_its_expansion_and_its_rows(cast: Scene, peak: Metric):
    told = page_of(cast, f"/api/metrics/{peak.id}/").json()
    assert told["u"] == peak.u == told["uncertainty"]["u"]
    assert told["uncertainty"]["U"] == pytest.approx(told["uncertainty"]["k"] * peak.u)
    rows = told["budget"]["rows"]
    assert {row["unit"] for row in rows} <= {"1", "kN", "mm"}
    assert math.hypot(*(row["contribution"] for row in rows)) == pytest.approx(peak.u)
    assert sum(row["share"] for row in rows) == pytest.approx(1.0)
    record = page_of(cast, f"/api/records/{peak.reduction.record_id}/").json()
    of_list = next(m for m in record["metrics"] if m["id"] == str(peak.id))
    assert of_list["uncertainty"] == told["uncertainty"]


def test_files_taken_away_have_u_of_each_specimen(cast: Scene, peak: Metric):
    page = page_of(cast, "/series/QS/comparison/table.csv?metric=peak_load&table=specimens")
    rows = list(csv.reader(io.StringIO(page.content.decode("utf-8-sig"))))
    heading = next(row for row in rows if row[0] == "Cell")
    values = dict(zip(heading, rows[rows.index(heading) + 1], strict=True))
    assert float(values["u of Value [kN]"]) == pytest.approx(peak.u)
    assert values["Id of the number"] == str(peak.id)
    api = page_of(cast, "/api/series/QS/comparison.csv?metric=peak_load").content.decode()
    heading, *lines = csv.reader(io.StringIO(api))
    line = next(x for x in lines if x[0] == "P2-LAB")
    told = dict(zip(heading, line, strict=True))["u of specimens [kN]"]
    assert told == f"QS-P2-LAB-01={peak.u!r}"
