"""Names that would do harm in a page, a sheet, LaTeX, a drawing or a letter come to nothing."""

from __future__ import annotations

import csv
import io
import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from openpyxl import load_workbook

from results.takeaway.latex import latex_document
from results.takeaway.wording import safe_cell
from tests.results.scene import CAST_AT, CHANNELS, curve_csv, scene

pytestmark = pytest.mark.django_db
FORMULA = "=cmd|' /C calc'!A0"
SCRIPT = "<script>alert(1)</script><img src=x onerror=alert(1)>"
TURNED = "gnp.\u202etxt"
NASTY = f'{FORMULA} {SCRIPT} "quoted" \\input{{/etc/passwd}} $x$ & 100 %'
CURVE = [(0, 0), (1, 15), (6, 60), (25, 72), (40, 50)]


@pytest.fixture
def told():
    """A world in which every text that people may write is nasty; (cast, lead's client, code)."""
    cast = scene()
    lead = Client()
    lead.force_login(cast.lead)
    cast.programme.title, cast.programme.sponsor_question = NASTY[:160], NASTY
    cast.programme.save()
    cast.series.title = NASTY[:100]
    cast.series.save()
    specimen = cast.specimen("P2-LAB")
    cast.log(specimen, "note", CAST_AT, {"text": NASTY + TURNED})
    cast.broke(specimen)
    cast.record(specimen.code, curve_csv(CURVE), name=f"{FORMULA}{SCRIPT}{TURNED}.csv"[:200])
    return cast, lead, specimen.code


def test_titles_with_characters_that_turn_the_line_are_refused_at_the_door():
    cast = scene()
    lead = Client()
    lead.force_login(cast.lead)
    for code, title in (("NEW", TURNED), ("NEW", "a\x00b"), (FORMULA, "plain"), (SCRIPT, "plain")):
        body = {"code": code, "title": title}
        assert (
            lead.post("/api/programmes/", body, content_type="application/json").status_code == 400
        )
    answer = lead.post("/programmes/new/", {"code": SCRIPT, "title": "plain"})
    assert SCRIPT not in answer.content.decode()


def test_pages_show_the_words_and_run_nothing(told):
    _, lead, code = told
    pages = (
        "/",
        "/programmes/QUAYSIDE/",
        "/series/QS/",
        "/series/QS/plate/",
        "/series/QS/comparison/",
        f"/specimens/{code}",
        f"/specimens/{code}/life/",
        "/records/",
        f"/records/?subject={code}",
    )
    for path in pages:
        page = lead.get(path, follow=True).content.decode()
        assert "<script>alert" not in page, path
        assert "<img src=x" not in page, path
    note = lead.get(f"/specimens/{code}", follow=True).content.decode()
    assert "&lt;script&gt;alert(1)" in note
    # What turns the line ends with its own words.
    assert all("\u202e" not in part for part in _outside_bdi(note))


def _outside_bdi(page: str) -> list[str]:
    return [part.rpartition("</bdi>")[2] for part in page.split("<bdi>")]


def test_a_sheet_gets_text_where_a_formula_was_written(told):
    _, lead, _ = told
    for path in ("/api/series/QS/comparison.csv", "/series/QS/comparison/table.csv"):
        rows = csv.reader(io.StringIO(lead.get(path).content.decode("utf-8-sig")))
        cells = [cell for row in rows for cell in row]
        assert not [cell for cell in cells if cell.lstrip()[:1] in ("=", "@", "+")]
    content = lead.get("/series/QS/comparison/table.xlsx").content
    for sheet in load_workbook(io.BytesIO(content)).worksheets:
        for row in sheet.iter_rows():
            assert not [cell for cell in row if cell.data_type == "f"]


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "\r="])
def test_any_text_that_a_sheet_would_reckon_is_made_text(start):
    made = str(safe_cell(f"{start}cmd|' /C calc'!A0"))
    assert made[:1] not in ("=", "+", "-", "@", "\t", "\r")


def test_latex_gets_the_words_and_no_command():
    table = {
        "caption": NASTY,
        "columns": [{"label": NASTY, "kind": "text"}],
        "rows": [[NASTY], ["\\write18{rm -rf /}"]],
    }
    made = latex_document({"one": table}, [NASTY, f"one line\n{NASTY}"]).decode()
    made = "\n".join(line for line in made.splitlines() if not line.startswith("%"))
    assert "\\input{/etc" not in made
    assert "\\write18" not in made
    assert "\\textbackslash" in made


def test_a_drawing_holds_the_words_as_words(told):
    _, lead, _ = told
    answer = lead.get("/series/QS/comparison/load-deflection.svg")
    assert answer.status_code == 200
    drawn = answer.content.decode()
    assert "<script" not in drawn
    assert "onerror=" not in drawn


def test_a_file_comes_back_as_a_download_whatever_its_name(told):
    _, lead, _ = told
    rows = lead.get("/api/records/").json()["results"]
    answer = lead.get(f"/records/{rows[0]['id']}/files/0/")
    assert answer.status_code == 200
    header = answer.headers["Content-Disposition"]
    assert header.startswith("attachment")
    assert "\n" not in header
    assert "html" not in answer.headers["Content-Type"]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_an_upload_with_a_nasty_name_by_the_real_door(told):
    _, lead, code = told
    file = SimpleUploadedFile(f"{FORMULA}<b>.csv", curve_csv([*CURVE, (41, 49)]))
    sent = {"subject": code, "test": "break", "channels": json.dumps(CHANNELS), "file": file}
    answer = lead.post("/api/records/", sent)
    assert answer.status_code in (201, 202), answer.content
    page = lead.get(f"/records/{answer.json()['id']}/").content.decode()
    assert "<b>.csv" not in page
