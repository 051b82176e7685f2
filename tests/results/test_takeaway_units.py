"""Files to take away follow the units of the page that they stand on, the unit in each heading."""

from __future__ import annotations

import csv
import io
import re

import openpyxl
import pytest

from results.takeaway.tables import CONVERTED
from tests.results.broken_series import whole
from tests.results.released import released
from tests.results.scene import Scene

KN_PER_KIP, MM_PER_IN = 4.4482216152605, 25.4
AMERICAN = CONVERTED.format(system="US customary")


@pytest.fixture
def american(cast: Scene, client):
    """A lead who looks at everything in US customary units, all cells broken."""
    whole(cast)
    cast.lead.unit_system = "US customary"
    cast.lead.save()
    client.force_login(cast.lead)
    return client


def links_of(client, path: str) -> list[str]:
    """The files that a page offers."""
    page = client.get(path).content.decode().partition("<main")[2].replace("&amp;", "&")
    return re.findall(r'href="([^"]+\.(?:csv|xlsx|tex|svg|png)(?:\?[^"]*)?)"', page)


def in_si(link: str) -> str:
    return link.replace("units=us", "units=si")


def sheets(content: bytes):
    book = openpyxl.load_workbook(io.BytesIO(content))
    return {sheet.title: list(sheet.iter_rows(values_only=True)) for sheet in book}


def test_every_file_that_a_page_offers_asks_for_the_persons_units(cast, american):
    release = released(cast)
    pages = ("/series/QS/comparison/", f"/releases/{release.pk}/", "/series/QS/plate/")
    for path in pages:
        links = links_of(american, path)
        assert len(links) >= 3
        for link in links:
            assert "units=us" in link, link
            assert american.get(link).status_code == 200, link


@pytest.mark.parametrize("page", ["/series/QS/comparison/", "/series/QS/plate/", "release"])
def test_a_workbook_has_the_same_numbers_in_both_units(page, cast, american):
    path = f"/releases/{released(cast).pk}/" if page == "release" else page
    [link] = [link for link in links_of(american, path) if ".xlsx" in link]
    there, here = (sheets(american.get(one).content) for one in (link, in_si(link)))
    assert there.keys() == here.keys()
    converted = 0
    for name, rows in here.items():
        heads = dict(zip(range(99), rows[1], strict=False))
        for row, other in zip(rows[2:], there[name][2:], strict=False):
            for place, value in enumerate(row):
                told = str(heads.get(place) or "")
                if not isinstance(value, int | float) or not told:
                    continue
                factor = KN_PER_KIP if "[kN]" in told else 1.0
                assert other[place] * factor == pytest.approx(value), (name, told)
                converted += factor != 1.0
        assert not any("[kN]" in str(head) for head in there[name][1])
    assert converted > 4


def test_the_numbers_of_a_file_are_those_of_the_page(cast, american):
    page = american.get("/series/QS/comparison/").content.decode()
    shown = re.sub(r"<[^>]+>", "", page)
    [link] = [link for link in links_of(american, "/series/QS/comparison/") if ".tex" in link]
    tex = american.get(link).content.decode()
    lines = [line.removesuffix(r" \\").split(" & ") for line in tex.splitlines() if " & " in line]
    head = next(line for line in lines if line[0] == "Cell")
    row = next(line for line in lines if line[0] == "P2-LAB")
    mean = row[head.index("Mean (kip)")]
    assert mean == f"{92 / KN_PER_KIP:.2f}"
    assert mean in shown
    assert AMERICAN in tex


def test_the_foot_says_n_version_and_units(cast, american):
    for path in ("/series/QS/comparison/", "/series/QS/plate/"):
        [link] = [one for one in links_of(american, path) if "table.csv" in one]
        said = american.get(link).content.decode("utf-8-sig")
        for words in ("n = 12 specimens", "Strongfloor", "not a release", AMERICAN):
            assert words in said
        assert AMERICAN not in american.get(in_si(link)).content.decode("utf-8-sig")


def test_one_cells_workbook_is_in_the_units_of_whoever_takes_it(cast, american):
    rows = sheets(american.get("/series/QS/cells/P2-LAB/table.xlsx").content)["specimens"]
    assert "Value [kip]" in rows[1]
    si = sheets(american.get("/series/QS/cells/P2-LAB/table.xlsx?units=si").content)["specimens"]
    at = rows[1].index("Value [kip]")
    assert rows[2][at] * KN_PER_KIP == pytest.approx(si[2][at])


def test_a_released_figure_is_drawn_in_the_units_asked_for(cast, american):
    release = released(cast)
    (head, _, second, *_), (si_head, _, si_second, *_) = (
        list(
            csv.reader(
                io.StringIO(
                    american.get(
                        f"/releases/{release.pk}/load-deflection.csv?units={units}"
                    ).content.decode("utf-8-sig")
                )
            )
        )
        for units in ("us", "si")
    )
    assert head[2:] == ["Deflection [in]", "Load [kip]"]
    assert si_head[2:] == ["Deflection [mm]", "Load [kN]"]
    assert float(second[2]) * MM_PER_IN == pytest.approx(float(si_second[2]), abs=1e-6)
    assert float(second[3]) * KN_PER_KIP == pytest.approx(float(si_second[3]), abs=1e-6)


def test_units_that_there_are_not_are_refused(cast, american):
    for path in ("/series/QS/plate/table.csv", "/series/QS/comparison/table.csv"):
        assert american.get(f"{path}?units=furlongs").status_code == 400
