"""Columns find their own places, units and uncertainties."""

from __future__ import annotations

import math
from typing import Any

import pytest

from labmatrix.kernel.errors import ShapeError
from labmatrix.web.domain.numerals import Numeral
from labmatrix.web.domain.unit_systems import SI, US_CUSTOMARY, spread_shown, value_shown
from labmatrix.web.tables import Cell, table_cells

LOADS: dict[str, Any] = {"label": "Peak load", "unit": "kN"}


def _texts(cells: list[list[Cell]], column: int) -> list[str | None]:
    return [
        cell.content.text if isinstance(cell.content, Numeral) else cell.content
        for cell in (row[column] for row in cells)
    ]


def test_like_numbers_get_the_same_decimals() -> None:
    heads, cells = table_cells([LOADS], [[87.31], [101.2], [9.876]], SI)
    assert _texts(cells, 0) == ["87.3", "101.2", "9.9"]
    assert heads[0].places == 1


def test_each_uncertainty_sets_its_own_place_and_the_widest_is_reserved() -> None:
    rows: list[list[Any]] = [[{"value": 124.04, "u": 0.91}], [{"value": 117.93, "u": 1.31}], [None]]
    heads, cells = table_cells([LOADS], rows, SI)
    assert _texts(cells, 0) == ["124.04", "117.9", None]
    assert heads[0].places == 2
    assert {row[0].places for row in cells} == {2}


def test_counts_stay_whole_and_text_stays_text() -> None:
    heads, cells = table_cells(
        [{"label": "Cell"}, {"label": "n"}], [["2 plies", 12], ["1 ply", 3]], SI
    )
    assert [head.places for head in heads] == [None, 0]
    assert _texts(cells, 1) == ["12", "3"]
    assert [row[0].row_head for row in cells] == [True, True]


def test_a_cell_of_any_kind_leads_where_it_says() -> None:
    rows: list[list[Any]] = [
        [{"value": "QV-B07", "url": "/b07/"}, {"value": 87.3, "url": "/n/"}],
        ["QV-B08", {"value": None, "url": "/none/"}],
    ]
    _, cells = table_cells([{"label": "Specimen"}, LOADS], rows, SI)
    assert _texts(cells, 0) == ["QV-B07", "QV-B08"]
    assert [[cell.url for cell in row] for row in cells] == [["/b07/", "/n/"], ["", "/none/"]]
    assert cells[0][0].row_head


def test_a_bound_is_carried() -> None:
    _, cells = table_cells([LOADS], [[{"value": 152.0, "bound": "lower"}]], SI)
    assert cells[0][0].bound == "lower"


def test_an_empty_table_has_its_heads() -> None:
    heads, cells = table_cells([LOADS], [], SI)
    assert (heads[0].label, heads[0].unit, cells) == ("Peak load", "kN", [])


def test_us_customary_changes_unit_value_and_uncertainty() -> None:
    heads, cells = table_cells([LOADS], [[{"value": 100.0, "u": 1.0}]], US_CUSTOMARY)
    assert heads[0].unit == "kip"
    # 1 kip = 4.4482216152605 kN (NIST SP 811)
    assert _texts(cells, 0) == ["22.48"]


def test_a_temperature_moves_but_its_uncertainty_only_scales() -> None:
    assert value_shown(20.0, "°C", US_CUSTOMARY) == pytest.approx(68.0, abs=1e-9)
    assert spread_shown(0.5, "°C", US_CUSTOMARY) == pytest.approx(0.9, abs=1e-9)
    assert value_shown(5.0, "Δ°C", US_CUSTOMARY) == pytest.approx(9.0, abs=1e-9)


def test_a_strain_and_a_count_are_the_same_in_both_systems() -> None:
    assert value_shown(0.0042, "mm/mm", US_CUSTOMARY) == 0.0042
    assert value_shown(250_000, "1", US_CUSTOMARY) == 250_000


@pytest.mark.parametrize("value", [math.nan, math.inf, True])
def test_refuses_a_cell_that_is_no_number(value: object) -> None:
    with pytest.raises(ValueError, match="finite number"):
        table_cells([LOADS], [[value]], SI)


def test_refuses_a_row_of_the_wrong_length() -> None:
    with pytest.raises(ValueError, match="row 1 has 2 cells; the table has 1"):
        table_cells([LOADS], [[1.0], [1.0, 2.0]], SI)


def test_refuses_an_unknown_unit() -> None:
    with pytest.raises(ShapeError) as caught:
        table_cells([{"label": "Load", "unit": "stone"}], [[1.0]], SI)
    assert caught.value.code == "unit.unknown"
