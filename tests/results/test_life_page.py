"""The page of a life: the ribbon in words, pictures, questions, figures numbered without a gap."""

from __future__ import annotations

import io
import re
from datetime import timedelta

from PIL import Image

from labmatrix.evidence.services.blob import blob_put
from specimens.services.specimen import specimen_create
from tests.results.scene import CAST_AT, NOW, Scene, curve_csv

FIGURES = re.compile(r'"figure-number">Figure (\d+)\.')


def page_of(client, person, code: str) -> str:
    client.force_login(person)
    return client.get(f"/specimens/{code}/life/").content.decode()


def test_what_happened_is_told_in_order_with_pictures_and_who(cast: Scene, client):
    beam = cast.specimen("P2-LAB")
    picture = io.BytesIO()
    Image.new("RGB", (32, 24), "grey").save(picture, "PNG")
    picture.seek(0)
    blob = blob_put(stream=picture, now=NOW)
    words = {"blob": blob.sha256, "caption": "Soffit <b>after</b> blasting"}
    cast.log(beam, "photo", CAST_AT + timedelta(days=27), words)
    cast.log(beam, "layer", CAST_AT + timedelta(days=28), {"kind": "fabric", "ply": 1, "lot": "F-1",
                                                           "orientation": 45})  # fmt: skip
    cast.broke(beam, 120)
    cast.record(beam.code, curve_csv([(0.0, 0.0), (10.0, 92.0), (20.0, 36.0)]),
                measured_at=CAST_AT + timedelta(days=120))  # fmt: skip
    page = page_of(client, cast.technician, beam.code)
    table = page.split('aria-label="The life in words"')[1].split("</table>")[0]
    told = [table.index(words) for words in (
        ">cast<", "concrete hardening, 28 of 28 d", "picture: Soffit", "1 plies placed",
        "broken: slip in the mortar", "break record, reduced",
    )]  # fmt: skip
    assert told[0] < told[2] < told[3] < told[4]
    address = f"/specimens/{beam.code}/photos/{blob.sha256}/"
    assert f'<img src="{address}" alt="Soffit &lt;b&gt;after&lt;/b&gt; blasting"' in page
    assert client.get(address)["Content-Type"] == "image/png"
    assert "orientation 45°" in re.sub(r"<[^>]+>", "", page)
    assert [int(n) for n in FIGURES.findall(page)] == [1, 2]
    assert "At its end the concrete was" in page
    for kind in ("record", "picture"):
        assert f"mark-{kind}" in page


def test_a_question_is_shown_with_a_link_to_its_event_and_to_judge_it(cast: Scene, client):
    beam = cast.specimen("P2-LAB")
    cast.broke(beam, 100)
    cast.log(beam, "cycling-stopped", CAST_AT + timedelta(days=101), {"reason": "operator"})
    assert beam.deviations.exists()
    page = page_of(client, cast.lead, beam.code)
    assert "Judge it" in page
    target = re.search(r'href="#(event-[0-9a-f-]+)"', page)
    assert target is not None
    assert f'id="{target[1]}"' in page
    assert "mark-question" in page
    assert "Judge it" not in page_of(client, cast.technician, beam.code)


def test_a_planned_specimen_says_what_comes_first(cast: Scene, client):
    beam = specimen_create(actor=cast.lead, cell=cast.cells["P2-LAB"], now=NOW)
    page = page_of(client, cast.lead, beam.code)
    assert "Its origin comes first" in page
    assert f'href="/specimens/{beam.code}/"' in page
    assert 'id="ribbon"' not in page


def test_the_sponsor_does_not_see_it(cast: Scene, client):
    beam = cast.specimen("P2-LAB")
    client.force_login(cast.sponsor)
    assert client.get(f"/specimens/{beam.code}/life/").status_code == 404
