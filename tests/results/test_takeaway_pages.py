"""Files and retentions through the pages, for those who work and for the sponsor."""

from __future__ import annotations

import csv
import io

import openpyxl
import pytest

from tests.results.broken_series import whole
from tests.results.released import released
from tests.results.scene import Scene


def csv_rows(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"))))


def test_a_comparison_is_taken_away_in_every_form(cast: Scene, client):
    whole(cast)
    client.force_login(cast.technician)
    book = client.get("/series/QS/comparison/table.xlsx?metric=peak_load|")
    assert book["Content-Disposition"] == 'attachment; filename="QS-peak_load-comparison.xlsx"'
    names = openpyxl.load_workbook(io.BytesIO(book.content)).sheetnames
    assert names == ["comparison", "specimens", "member", "contribution", "modes"]
    rows = list(
        openpyxl.load_workbook(io.BytesIO(book.content))["comparison"].iter_rows(values_only=True)
    )
    by_cell = {row[0]: dict(zip(rows[1], row, strict=True)) for row in rows[2:6]}
    assert by_cell["P2-LAB"]["Mean [kN]"] == 92
    assert by_cell["P2-LAB"]["Gain [%]"] == pytest.approx(100 * (92 / 62 - 1))
    said = " ".join(str(row[0]) for row in rows[6:])
    assert "n = 12 specimens" in said
    assert "not a release" in said
    assert "Invented data" in said
    assert client.get("/series/QS/comparison/table.tex").status_code == 200
    [*_, last] = csv_rows(client.get("/series/QS/comparison/table.csv?table=member").content)
    assert "Invented data" in last[0]
    for kind in ("svg", "png", "csv"):
        assert client.get(f"/series/QS/comparison/load-deflection.{kind}").status_code == 200
        assert client.get(f"/series/QS/comparison/stiffness.{kind}").status_code == 404
    for wrong in (
        "table.docx",
        "table.csv?table=all",
        "load-deflection.svg?cycles=cubic",
        "load-deflection.svg?units=furlongs",
    ):
        assert client.get(f"/series/QS/comparison/{wrong}").status_code == 400


def test_a_release_is_taken_away_by_its_sponsor_and_names_its_version(cast: Scene, client):
    whole(cast)
    release = released(cast)
    client.force_login(cast.sponsor)
    rows = csv_rows(client.get(f"/releases/{release.pk}/table.csv").content)
    said = " ".join(row[0] for row in rows if row)
    assert "Version 1, released 2026-06-01." in said
    assert release.scope in said
    assert release.sha256 in said
    figure = client.get(f"/releases/{release.pk}/load-deflection.csv").content
    assert "Version 1" in figure.decode()
    assert client.get(f"/releases/{release.pk}/load-deflection.svg").status_code == 200
    assert client.get(f"/releases/{release.pk}/stiffness.svg").status_code == 404
    page = client.get(f"/releases/{release.pk}/").content.decode()
    assert f"/releases/{release.pk}/table.xlsx" in page
    assert f"/releases/{release.pk}/load-deflection.png" in page


def test_the_comparison_page_shows_both_retentions_their_notes_and_the_modes(cast: Scene, client):
    whole(cast, P2_WDS=(77.0,))
    client.force_login(cast.technician)
    html = client.get("/series/QS/comparison/").content.decode()
    assert "Member retention of peak load" in html
    assert "Contribution retention of peak load" in html
    assert "no interval can be given" in html
    assert "slip in the mortar" in html
    assert "/series/QS/comparison/table.xlsx?metric=peak_load" in html


def test_the_comparison_page_without_results_says_what_comes_first(cast: Scene, client):
    client.force_login(cast.lead)
    html = client.get("/series/QS/comparison/").content.decode()
    assert "No test has ended yet" in html


def test_a_figure_is_taken_away_in_the_units_that_its_address_says(cast: Scene, client):
    whole(cast)
    cast.technician.unit_system = "US customary"
    cast.technician.save()
    client.force_login(cast.technician)
    page = client.get("/series/QS/comparison/").content.decode()
    chosen = "metric=peak_load&amp;control=gain&amp;include=judged&amp;imported=with&amp;units=us"
    assert f"load-deflection.svg?{chosen}" in page
    asked = "/series/QS/comparison/load-deflection.csv"
    (head, *american), (si_head, *base) = (
        csv_rows(client.get(asked + query).content) for query in ("?units=us", "")
    )
    assert head == ["curve", "specimen", "Deflection [in]", "Load [kip]"]
    assert si_head == ["curve", "specimen", "Deflection [mm]", "Load [kN]"]
    for there, here in zip(american[:50], base[:50], strict=True):
        assert float(there[2]) * 25.4 == pytest.approx(float(here[2]), abs=1e-6)
        assert float(there[3]) * 4.4482216152605 == pytest.approx(float(here[3]), abs=1e-6)
