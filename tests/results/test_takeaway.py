"""Files to take away: the same numbers come back, and hostile names do no harm."""

from __future__ import annotations

import csv
import io
from xml.etree import ElementTree

import openpyxl
import pytest

from labmatrix.kernel.errors import ShapeError
from results.takeaway.figures import data_rows, figure_as
from results.takeaway.latex import latex_text
from results.takeaway.tables import table_as
from results.takeaway.wording import file_name, plain_text

FORMULA = '=HYPERLINK("http://elsewhere.example","sum")'
SCRIPT = "</text><script>alert(1)</script>"
TURNED = "P2\u202e-BAL"
LATEX = r"\input{/etc/passwd} 5 % & $x_1$ # ~ ^ {}"
TABLE = {
    "caption": "Peak load by cell.",
    "columns": [
        {"label": "Cell", "kind": "text"},
        {"label": "n", "digits": 6},
        {"label": "Mean", "unit": "kN"},
        {"label": "Gain", "unit": "%"},
    ],
    "rows": [
        [FORMULA, 3, {"value": 92.12345678901234, "bound": "lower"}, -12.5],
        [SCRIPT, 2, {"value": 77.0, "bound": ""}, None],
        [TURNED, 1, 1e-9, 0.1],
    ],
}
FOOTER = ["n = 6 specimens.", "Version 2, released 2026-06-01.", "Invented data."]


def csv_rows(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"))))


def sheet_of(content: bytes, name: str = "comparison"):
    return openpyxl.load_workbook(io.BytesIO(content))[name]


def test_xlsx_gives_the_same_numbers_back_with_units_and_footer():
    sheet = sheet_of(table_as("xlsx", {"comparison": TABLE}, FOOTER))
    rows = [list(row) for row in sheet.iter_rows(values_only=True)]
    assert rows[1] == ["Cell", "n [1]", "Mean [kN]", "Mean is a bound", "Gain [%]"]
    assert rows[2][1:] == [3, 92.12345678901234, "lower", -12.5]
    assert rows[3][1:3] == [2, 77.0]
    assert rows[3][4] in (None, "")
    assert rows[4][1:3] == [1, 1e-9]
    assert [row[0] for row in rows[-3:]] == FOOTER


def test_csv_gives_the_same_numbers_back():
    rows = csv_rows(table_as("csv", {"comparison": TABLE}, FOOTER))
    assert rows[0] == ["Peak load by cell."]
    assert float(rows[2][2]) == 92.12345678901234
    assert float(rows[4][2]) == 1e-9
    assert [row[0] for row in rows[-3:]] == FOOTER


def test_no_cell_is_a_formula_anywhere():
    sheet = sheet_of(table_as("xlsx", {"comparison": TABLE}, [FORMULA]))
    cells = [cell for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert not [c for c in cells if c.data_type == "f" or str(c.value).startswith(("=", "@", "+"))]
    for row in csv_rows(table_as("csv", {"comparison": TABLE}, [FORMULA])):
        assert not [cell for cell in row if cell.startswith(("=", "@", "+"))]


@pytest.mark.parametrize("kind", ["csv", "xlsx", "tex"])
def test_nothing_turns_the_reading_direction(kind):
    content = table_as(kind, {"comparison": TABLE}, [TURNED])
    if kind == "xlsx":
        text = str([c.value for row in sheet_of(content).iter_rows() for c in row])
    else:
        text = content.decode()
    assert "\u202e" not in text
    assert "P2-BAL" in text


def test_latex_is_escaped_and_prints_as_the_page_does():
    hostile = {**TABLE, "rows": [[LATEX, 3, {"value": 92.1, "bound": "lower"}, -12.5]]}
    text = table_as("tex", {"comparison": hostile}, FOOTER).decode()
    assert r"\input{" not in text
    assert r"\textbackslash{}input\{/etc/passwd\} 5 \% \& \$x\_1\$ \#" in text
    assert r"$\geq$\,92.10" in text
    assert "$-$12.50" in text
    assert "Mean (kN)" in text
    assert r"Version 2, released 2026-06-01." in text
    assert text.count(r"\begin{tabular}") == text.count(r"\end{tabular}") == 1


def test_latex_comments_cannot_be_left_by_a_line_feed():
    text = table_as("tex", {"comparison": TABLE}, ["first\n\\input{x}"]).decode()
    assert all(r"\input{" not in line or line.startswith("%") for line in text.splitlines())
    assert latex_text("10⁻⁷ kN·m") == "10$^{-}$$^{7}$ kN$\\cdot$m"


def payload(name: str = "P2-LAB", **meta) -> dict:
    return {
        "data": [
            {"x": [0.0, 10.0, 20.0], "y": [0.0, 92.0, None], "name": name, "meta": meta},
            {"x": [0.0, 9.0], "y": [0.0, 62.0], "name": "P0-LAB", "meta": {"control": True}},
        ],
        "layout": {
            "xaxis": {"title": {"text": "Deflection (mm)"}, "range": [0, 21]},
            "yaxis": {"title": {"text": "Load (kN)"}, "range": [0, 100]},
        },
        "kind": "load-deflection",
    }


def test_png_and_svg_are_drawings():
    png = figure_as("png", payload(level=0), caption="Load.", footer=FOOTER)
    assert png.startswith(b"\x89PNG\r\n\x1a\n")
    svg = figure_as("svg", payload(level=0), caption="Load.", footer=FOOTER)
    root = ElementTree.fromstring(svg)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    # Both curves: the level in its colour, the control in ink.
    assert b"#0072b2" in svg
    assert b"#1c1b19" in svg


@pytest.mark.parametrize("name", [FORMULA, SCRIPT, TURNED, r"$\frac{1}{0", "_hidden"])
def test_hostile_names_do_no_harm_in_a_figure(name):
    svg = figure_as("svg", payload(name, level=1), caption=name, footer=[name])
    root = ElementTree.fromstring(svg)
    assert not [e for e in root.iter() if e.tag.endswith(("script", "foreignObject", "}a"))]
    rows = csv_rows(figure_as("csv", payload(name, level=1), caption=name, footer=[name]))
    assert not [cell for row in rows for cell in row if cell.startswith(("=", "@", "+"))]
    assert "\u202e" not in str(rows)


def test_the_data_of_a_figure_are_every_point_with_units():
    rows = list(data_rows(payload(level=0, specimen="QS-P2-LAB-01")))
    assert rows[0] == ["curve", "specimen", "Deflection [mm]", "Load [kN]"]
    assert rows[2] == ["P2-LAB", "QS-P2-LAB-01", 10.0, 92.0]
    assert rows[3][3] == ""
    assert len(rows) == 6


def test_a_logarithmic_axis_is_drawn_where_all_cycles_lie_above_zero():
    cycles = payload(level=0) | {"kind": "cycles"}
    cycles["data"][0]["x"], cycles["data"][1]["x"] = [1, 1000, 2_000_000], [1, 1000]
    linear = figure_as("svg", cycles, caption="", footer=[])
    log = figure_as("svg", cycles, caption="", footer=[], logarithmic=True)
    assert linear != log
    ElementTree.fromstring(log)


def test_unknown_formats_are_refused_in_words():
    with pytest.raises(ShapeError, match="csv, xlsx, tex"):
        table_as("docx", {"comparison": TABLE}, [])
    with pytest.raises(ShapeError, match="svg, png, csv"):
        figure_as("bmp", payload(), caption="", footer=[])


def test_file_names_hold_nothing_that_a_header_or_a_path_could_take_amiss():
    assert file_name("QS", 'a"/../b\r\n', "comparison", ending="csv") == "QS-a-..-b-comparison.csv"
    assert plain_text("a\x00b\nc") == "ab c"
