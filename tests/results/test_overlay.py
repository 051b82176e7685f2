"""Any selection laid over each other: page, address, API, files, and who may see it."""

from __future__ import annotations

import csv
import io
import json
import re
from urllib.parse import urlencode

from results.models import Reduction
from results.overlay_figures import overlay_asked, overlay_get
from results.selectors.overlay_choice import SPECIMENS_MAX, Choice
from tests.results.broken_series import broken, whole
from tests.results.cyclic_files import MAP, columns_of, csv_of
from tests.results.cyclic_signals import fatigue_record
from tests.results.scene import Scene

PAGE = "/overlay/"


def payload_of(html: str, name: str) -> dict:
    """What a figure of the page draws."""
    found = re.search(rf'<script id="figure-{name}-data"[^>]*>(.*?)</script>', html)
    assert found is not None
    return json.loads(found[1])


def test_cells_of_a_series_lie_over_each_other_controls_dashed(cast: Scene, client):
    whole(cast)
    client.force_login(cast.technician)
    page = client.get(f"{PAGE}?cell=QS/P2-LAB&cell=QS/P0-LAB").content.decode()
    drawn = payload_of(page, "load-deflection")
    assert len(drawn["data"]) == 6
    looks = {t["name"]: t["meta"] for t in drawn["data"]}
    assert looks["P0-LAB"]["control"] == 1
    assert looks["P2-LAB"]["level"] == 0
    highest = max(max(t["y"]) for t in drawn["data"])
    assert drawn["layout"]["yaxis"]["range"][1] >= highest
    assert "controls dashed in ink" in page
    assert "Data of figure 1" in page
    assert 'href="/overlay/?cell=QS%2FP2-LAB&amp;cell=QS%2FP0-LAB"' in page


def test_every_curve_keeps_its_extremes_between_record_and_page(cast: Scene, client):
    whole(cast)
    client.force_login(cast.lead)
    codes = list(cast.specimens)
    asked = urlencode([("specimen", code) for code in codes])
    answer = client.get(f"/api/overlay/?{asked}").json()
    (load,) = [f for f in answer["figures"] if f["name"] == "load-deflection"]
    by_code = {t["meta"]["specimen"]: t for t in load["payload"]["data"]}
    assert set(by_code) == set(codes)
    for reduction in Reduction.objects.filter(is_current=True).select_related("record__subject"):
        curve = reduction.curve.get("reduced") or reduction.curve
        drawn = by_code[reduction.record.subject.code]
        for axis in ("x", "y"):
            assert max(drawn[axis]) == float(f"{max(curve[axis]):.7g}")
            assert min(drawn[axis]) == float(f"{min(curve[axis]):.7g}")


def test_a_lone_cell_names_each_specimen(cast: Scene):
    broken(cast, "P2-LAB", 90.0, 92.0)
    overlay = overlay_get(
        actor=cast.lead, choice=Choice(cells=("QS/P2-LAB",)), cycles="linear",
        metric="peak_load|", over="cell",
    )  # fmt: skip
    names = [t["name"] for t in overlay.figures["load-deflection"].payload["data"]]
    assert names == list(cast.specimens)


def test_a_trend_has_a_point_a_specimen_and_the_interval_of_each_mean(cast: Scene):
    whole(cast, P2_WDS=(77.0,))
    cells = tuple(f"QS/{code}" for code in cast.cells)
    overlay = overlay_get(
        actor=cast.lead, choice=Choice(cells=cells), cycles="linear", metric="peak_load|",
        over="cell",
    )  # fmt: skip
    trend = overlay.figures["trend"]
    bars = [t for t in trend.payload["data"] if "error_y" in t]
    assert len(bars) == 3  # the cell with one specimen has no interval
    # P2-LAB broke at 90, 92, 94: s = 2, t(0.975; 2) = 4.303 (recalled), half = 4.303 · 2 / √3.
    (strengthened,) = [t for t in bars if t["name"] == "mean of P2-LAB"]
    assert abs(strengthened["error_y"]["array"][0] - 4.303 * 2 / 3**0.5) < 0.01
    assert trend.payload["layout"]["xaxis"]["ticktext"] == list(cast.cells)
    assert trend.n == 10
    by_age = overlay_get(
        actor=cast.lead, choice=Choice(cells=cells), cycles="linear", metric="peak_load|",
        over="age",
    )  # fmt: skip
    points = [x for t in by_age.figures["trend"].payload["data"] for x in t["x"]]
    assert {round(x) for x in points} == {120}


def test_one_persons_address_shows_another_the_same_and_a_stranger_nothing(cast: Scene, client):
    whole(cast)
    asked = f"{PAGE}?cell=QS/P2-LAB&metric=peak_deflection|&over=age"
    pages = []
    for person in (cast.lead, cast.technician):
        client.force_login(person)
        pages.append(payload_of(client.get(asked).content.decode(), "trend"))
    assert pages[0] == pages[1]
    client.force_login(cast.stranger)
    assert client.get(asked).status_code == 404
    assert "P2-LAB" not in client.get(PAGE).content.decode()


def test_a_figure_is_taken_away_with_its_data_and_units(cast: Scene, client):
    whole(cast)
    client.force_login(cast.lead)
    asked = "cell=QS/P2-LAB&cell=QS/P0-LAB"
    for kind in ("svg", "png"):
        for figure in ("load-deflection", "trend"):
            assert client.get(f"/overlay/{figure}.{kind}?{asked}").status_code == 200
    content = client.get(f"/overlay/trend.csv?{asked}&units=us").content.decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(content)))
    assert rows[0] == ["curve", "specimen", "Cell", "Peak load [kip]"]
    loads = {row[1]: float(row[3]) for row in rows[1:] if len(row) == 4 and row[1]}
    assert abs(max(loads.values()) * 4.4482216152605 - 94.0) < 0.2
    assert "not a release" in content
    assert client.get(f"/overlay/stiffness.svg?{asked}").status_code == 404
    assert client.get("/overlay/trend.svg").status_code == 400


def test_what_makes_no_sense_is_said_above_what_there_is_to_tick(cast: Scene, client):
    specimen = cast.specimen("P2-LAB")
    client.force_login(cast.lead)
    empty = client.get(f"{PAGE}?specimen={specimen.code}")
    assert "Nothing that was chosen has been measured yet" in empty.content.decode()
    for wrong in ("record=7", "specimen=a%00", "cell=QS/P2-LAB&cycles=cubic"):
        assert client.get(f"{PAGE}?{wrong}").status_code == 400
    assert client.get(f"{PAGE}?cell=QS/P9").status_code == 404
    whole(cast)
    assert client.get(f"{PAGE}?cell=QS/P2-LAB&over=moon").status_code == 400
    ticks = client.get(PAGE).content.decode()
    assert 'type="checkbox" name="specimen"' in ticks


def test_plate_comparison_and_records_have_boxes_to_tick(cast: Scene, client):
    whole(cast)
    client.force_login(cast.technician)
    for page, name in (
        ("/series/QS/plate/", "cell"),
        ("/series/QS/comparison/", "specimen"),
        ("/records/", "record"),
    ):
        html = client.get(page).content.decode()
        assert f'type="checkbox" name="{name}"' in html
        assert '<form id="overlay"' in html


def test_a_record_that_is_ticked_is_drawn_alone(cast: Scene, client):
    broken(cast, "P2-LAB", 90.0, 92.0)
    client.force_login(cast.lead)
    reduction = Reduction.objects.select_related("record__subject").first()
    assert reduction is not None
    page = client.get(f"{PAGE}?record={reduction.record_id}").content.decode()
    (trace,) = payload_of(page, "load-deflection")["data"]
    assert trace["meta"]["specimen"] == reduction.record.subject.code


def test_the_selection_is_read_from_the_address_once_each(rf):
    choice, more = overlay_asked(rf.get("/overlay/?cell=QS/A&cell=QS/A&cell=&cycles=log").GET)
    assert choice == Choice(cells=("QS/A",))
    assert more["cycles"] == "log"
    assert choice.query(cycles="log") == "cell=QS%2FA&cycles=log"
    assert SPECIMENS_MAX >= 100


def test_the_page_asks_the_database_no_more_for_more_specimens(
    cast: Scene, client, django_assert_max_num_queries
):
    broken(cast, "P2-LAB", 90.0)
    client.force_login(cast.lead)
    with django_assert_max_num_queries(60) as few:
        client.get(f"{PAGE}?cell=QS/P2-LAB")
    broken(cast, "P2-LAB", 91.0, 92.0, 93.0)
    with django_assert_max_num_queries(60) as many:
        client.get(f"{PAGE}?cell=QS/P2-LAB")
    assert len(many) <= len(few)


def test_stiffness_and_energy_of_cyclic_records_have_an_interval_by_load_cycle(cast: Scene, client):
    for seed in (1, 2):
        signal = fatigue_record(cycles=40, samples=40, noise_kn=0.02, seed=seed)
        cast.record(
            cast.specimen("P2-LAB").code, csv_of(columns_of(signal)), test="cyclic", channels=MAP,
            name="rig.csv", settings={"checkpoints": [1, 10, 40]},
        )  # fmt: skip
    client.force_login(cast.lead)
    page = client.get(f"{PAGE}?cell=QS/P2-LAB&cycles=log").content.decode()
    for name in ("stiffness", "energy"):
        drawn = payload_of(page, name)
        assert drawn["layout"]["xaxis"]["type"] == "log"
        (band,) = [t for t in drawn["data"] if t["meta"].get("role") == "interval"]
        lines = [t for t in drawn["data"] if t["meta"].get("role") != "interval"]
        assert len(lines) == 2
        half = len(band["x"]) // 2
        for at, high, low in zip(
            band["x"][:half], band["y"][:half], band["y"][half:][::-1], strict=True
        ):
            values = [t["y"][t["x"].index(at)] for t in lines]
            assert low <= min(values) + 1e-6
            assert high >= max(values) - 1e-6
    assert "95 % interval of the mean where 2 specimens share" in page
    linear = client.get(f"{PAGE}?cell=QS/P2-LAB").content.decode()
    assert "type" not in payload_of(linear, "stiffness")["layout"]["xaxis"]
