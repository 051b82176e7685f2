"""Files as technicians drop them: looked at, mapped, the map kept for the rig, or refused."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from playwright.sync_api import Page

from labmatrix.evidence.models import ChannelMapSaved, Job, Record
from labmatrix.evidence.services.job import job_perform
from tests.results.scene import Scene, scene

ROWS = 300


def lines(*, strain: str = "µε", mark: str = ".") -> list[str]:
    """A break test that the logger writes with load and deflection counted downward."""
    x = np.linspace(0.0, 30.0, ROWS)
    load = 72.0 * np.sin(np.clip(x / 30.0 * 1.9, 0.0, 2.2))
    rows = [
        f"{k / 10:.1f};{-p:.3f};{-d:.3f};{41.5 * p:.1f}"
        for k, (p, d) in enumerate(zip(load, x, strict=True))
    ]
    head = ["Rig 2, ordinary logger", "Time;Load;Deflection;Strain bar", f"s;kN;mm;{strain}"]
    return [*head, *(row.replace(".", mark) for row in rows)]


def dirty() -> bytes:
    found = lines()
    found[120:120] = found[1:3]  # the header again
    found[200] = found[200].rpartition(";")[0] + ";OVER"
    return ("\n".join(found)[:-5]).encode()  # the last line is cut


def parquet() -> bytes:
    x = np.linspace(0.0, 30.0, ROWS)
    table = pa.table({"Time [s]": x, "Load [kN]": 2.0 * x, "Deflection [mm]": x})
    sink = io.BytesIO()
    pq.write_table(table, sink)
    return sink.getvalue()


def workbook() -> bytes:
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/workbook.xml", "<workbook/>")
    return sink.getvalue()


@pytest.fixture
def cast(live_server: Any) -> Scene:
    return scene()


@pytest.fixture
def upload(page: Page, live_server: Any, cast: Scene) -> Page:
    """The technician at the upload page of a beam."""
    page.set_default_timeout(20_000)
    page.goto(f"{live_server.url}/sign-in/")
    page.fill("[name=username]", "technician")
    page.fill("[name=password]", "a-long-password")
    page.press("[name=password]", "Enter")
    page.wait_for_url(f"{live_server.url}/")
    begin(page, live_server, cast)
    return page


def begin(page: Page, live_server: Any, cast: Scene) -> None:
    code = next(iter(cast.specimens), None) or cast.specimen("P2-LAB").code
    page.goto(f"{live_server.url}/records/new/?subject={code}&test=break")


def drop(page: Page, folder: Path, files: dict[str, bytes]) -> None:
    """Files from the desktop onto the field, as the browser itself takes a drop."""
    folder.mkdir(exist_ok=True)
    paths = []
    for name, content in files.items():
        path = folder / name
        path.write_bytes(content)
        paths.append(str(path))
    page.locator("[name=uploaded]").scroll_into_view_if_needed()
    box = page.locator("[name=uploaded]").bounding_box()
    assert box is not None
    data = {"items": [], "files": paths, "dragOperationsMask": 1}
    session = page.context.new_cdp_session(page)
    for kind in ("dragEnter", "dragOver", "drop"):
        session.send(
            "Input.dispatchDragEvent",
            {"type": kind, "x": box["x"] + 40, "y": box["y"] + 20, "data": data},
        )
    page.wait_for_function(
        "n => document.querySelector('[name=uploaded]').files.length === n", arg=len(paths)
    )
    page.locator("main button.main").click()


def quantities(page: Page) -> list[str]:
    page.wait_for_selector("[name=kept]", state="attached")
    found: list[str] = page.evaluate(
        "[...document.querySelectorAll('select[name$=quantity]')].map((field) => field.value)"
    )
    return found


def test_a_dirty_file_is_shown_before_it_counts_and_its_map_is_offered_again(
    upload: Page, live_server: Any, cast: Scene, tmp_path: Path
):
    page = upload
    drop(page, tmp_path, {"beam.csv": dirty()})
    assert quantities(page) == ["time", "load", "deflection", "strain"]
    words = page.locator("main").inner_text()
    assert "Rig 2, ordinary logger" in words
    assert "units in line 3" in words.lower()
    signs = page.evaluate(
        "[...document.querySelectorAll('select[name$=sign]')].map((field) => field.value)"
    )
    assert signs == ["1", "-1", "-1", "1"]
    units = page.evaluate(
        "[...document.querySelectorAll('input[name$=unit]')].map((field) => field.value)"
    )
    assert units == ["s", "kN", "mm", "µm/m"]
    drawn = page.locator(".channel-drawn svg path")
    assert drawn.count() == 4
    assert all(path.get_attribute("d") for path in drawn.all())
    met = page.locator(".notice.warning").inner_text()
    assert "120" in met or "121" in met
    assert "over range" in met
    assert "201" in met
    for width in (1280, 820):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert (Record.objects.count(), Job.objects.count()) == (0, 0)
    page.fill("[name=map_name]", "RIG-2")
    page.locator("[name$=place]").nth(3).fill("bar")
    page.locator("main button.main").click()
    page.wait_for_url("**/records/*-*/")
    record = Record.objects.get()
    assert record.job_id is not None
    assert job_perform(job_id=record.job_id)
    page.locator("main table.numbers a", has_text="peak load").first.wait_for()
    assert page.locator(".warnings li").count() >= 3
    assert ChannelMapSaved.objects.get().name == "RIG-2"
    begin(page, live_server, cast)
    assert "saved map RIG-2" in page.locator("[name=channels]").inner_text()
    again = "\n".join(lines()).encode()
    drop(page, tmp_path, {"next.csv": again})
    assert "saved map RIG-2, version 1" in page.locator(".notice", has_text="Known").inner_text()
    assert page.input_value("[name=map_name]") == "RIG-2"
    assert page.locator("[name$=place]").nth(3).input_value() == "bar"
    page.locator("main button.main").click()
    page.wait_for_url("**/records/*-*/")
    assert ChannelMapSaved.objects.count() == 1
    assert {r.channel_map_name for r in Record.objects.all()} == {"RIG-2, version 1"}


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("utf16.txt", "\r\n".join(lines(mark=",")).encode("utf-16"), "utf-16"),
        ("western.asc", "\r\n".join(lines(strain="µm/m")).encode("cp1252"), "cp1252"),
    ],
)
def test_other_encodings_are_read_and_named(upload: Page, tmp_path: Path, name, content, told):
    drop(upload, tmp_path, {name: content})
    assert quantities(upload) == ["time", "load", "deflection", "strain"]
    assert told in upload.locator(".note-margin", has_text="delimiter").inner_text().lower()
    assert upload.locator("input[name$=unit]").nth(3).input_value() == "µm/m"
    assert "\ufffd" not in upload.locator(".first-lines").inner_text()


def test_several_files_at_once_each_with_its_columns(upload: Page, tmp_path: Path):
    drop(upload, tmp_path, {"rig.csv": "\n".join(lines()).encode(), "logger.parquet": parquet()})
    assert quantities(upload) == [
        "time",
        "load",
        "deflection",
        "strain",
        "time",
        "load",
        "deflection",
    ]
    assert upload.locator("h2", has_text="logger.parquet").count() == 1
    assert upload.get_by_text("Parquet.").count() == 1


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("page.csv", b"<html><body>502 Bad Gateway</body></html>", "web page (HTML)"),
        ("numbers.xlsx", workbook(), "Export the table as text and send that."),
        ("cut.csv", bytes(600), "NUL"),
        ("empty.csv", b"", "empty"),
    ],
)
def test_what_is_no_record_is_refused_in_a_sentence_and_leaves_nothing(
    upload: Page, tmp_path: Path, name, content, told
):
    drop(upload, tmp_path, {name: content})
    words = upload.locator(".notice.error").inner_text()
    assert told in words
    assert words.strip().endswith(".")
    assert (Record.objects.count(), Job.objects.count()) == (0, 0)
    assert upload.input_value("[name=subject]") != ""
