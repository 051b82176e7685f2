"""The load cycles of a record, one by one, by number; and what its files told of their order."""

from __future__ import annotations

import numpy as np
import pytest
from django.test import Client

from labmatrix.evidence.models import Job
from labmatrix.kernel.errors import NotFound, RangeError
from results.models import Metric, Reduction
from results.selectors.cycles import cycle_page
from results.services import cycle_table
from results.services.rebuild import rebuild_all
from tests.results.cyclic_files import MAP, columns_of, csv_of
from tests.results.cyclic_signals import fatigue_record
from tests.results.scene import Scene

COUNTED = [*MAP, {"column": "count", "quantity": "count", "unit": "1"}]


def restarted(*starts: int, cycles: int = 40) -> bytes:
    """One file that starts again; its counter begins each part as given. Invented numbers."""
    parts = []
    for k, start in enumerate(starts):
        record = fatigue_record(cycles=cycles, samples=40, noise_kn=0.02, seed=k + 1)
        count = start + np.arange(len(record.load)) // 40
        parts.append(csv_of(columns_of(record, count=count + 0.0), head=k == 0))
    return b"".join(parts)


def cyclic(cast: Scene, content: bytes, **more):
    more = {"test": "cyclic", "channels": COUNTED, "name": "rig.csv", **more}
    record = cast.record(cast.specimen("P0-LAB").code, content, **more)
    assert record.status == "reduced", record.error
    return record


def codes(record) -> list[str]:
    return [warning["code"] for warning in record.warnings]


def test_two_restarts_become_one_run_and_it_is_said(cast: Scene):
    record = cyclic(cast, restarted(0, 30, 75), settings={"checkpoints": [1, 10, 100]})
    reduction = Reduction.objects.get()
    assert [(b["first_cycle"], b["last_cycle"]) for b in reduction.settings["blocks"]] == [
        (1, 40), (41, 80), (86, 125)
    ]  # fmt: skip
    assert {"cyclic.run.restart", "cyclic.run.gap", "cyclic.time-backward"} <= set(codes(record))
    stiffness = Metric.objects.filter(name="secant_stiffness").order_by("at")
    at = list(stiffness.values_list("at", flat=True))
    assert at == [1, 10, 41, 86, 100, 125]
    assert [rebuilt.differences for rebuilt in rebuild_all()] == [()]


def test_any_cycle_is_found_by_its_number(cast: Scene, monkeypatch):
    monkeypatch.setattr(cycle_table, "GROUP_ROWS", 16)
    record = cyclic(cast, restarted(0, 30, 75), cycle_offset=1_234_500)
    page = cycle_page(record=record, first=1_234_567, last=1_234_567)
    assert (page.count, page.next_from) == (1, None)
    (row,) = page.rows
    assert (row["cycle"], row["file"], row["static"]) == (1_234_567, 0, False)
    assert row["peak_load_kn"] == pytest.approx(40.0, abs=0.1)
    assert row["peak_count"] == pytest.approx(56.0, abs=1.0)
    units = {column["name"]: column["unit"] for column in page.columns}
    assert (units["loop_energy_kn_mm"], units["valley_count"]) == ("kN·mm", "1")


def test_pages_follow_each_other_and_pass_over_what_was_not_recorded(cast: Scene, monkeypatch):
    monkeypatch.setattr(cycle_table, "GROUP_ROWS", 16)
    record = cyclic(cast, restarted(0, 30, 75))
    pages = [cycle_page(record=record, at_most=50)]
    while (following := pages[-1].next_from) is not None:
        pages.append(cycle_page(record=record, first=following, at_most=50))
    numbers = [row["cycle"] for page in pages for row in page.rows]
    assert (numbers, len(pages)) == ([*range(1, 81), *range(86, 126)], 3)
    assert cycle_page(record=record, first=81, last=85).rows == []


def test_a_missing_number_is_none(cast: Scene):
    content = csv_of({k: v for k, v in columns_of(fatigue_record(cycles=5)).items() if k != "time"})
    record = cyclic(cast, content, channels=MAP[1:])
    assert cycle_page(record=record).rows[0]["frequency_hz"] is None


def test_what_has_no_cycles_is_told_so(cast: Scene):
    flat = csv_of(columns_of(fatigue_record(cycles=5, amplitude_kn=0.0)))
    assert cycle_page(record=cyclic(cast, flat, channels=MAP)).rows == []
    broken = cast.record(cast.specimen("P0-LAB").code, csv_of(columns_of(fatigue_record(cycles=1))),
                         channels=MAP)  # fmt: skip
    with pytest.raises(NotFound) as refused:
        cycle_page(record=broken)
    assert refused.value.code in ("record.no-cycles", "record.no-reduction")


def test_a_page_is_bounded(cast: Scene):
    record = cyclic(cast, restarted(0))
    for size in (1001, 0):
        with pytest.raises(RangeError):
            cycle_page(record=record, at_most=size)
    with pytest.raises(RangeError):
        cycle_page(record=record, first=9, last=8)


def test_the_api_gives_pages_with_links_and_only_to_those_who_may_see(cast: Scene):
    record = cyclic(cast, restarted(0, 30))
    address = f"/api/records/{record.id}/cycles/"
    seen = {}
    for name in ("lead", "technician", "sponsor", "stranger"):
        client = Client()
        client.force_login(getattr(cast, name))
        seen[name] = client.get(f"{address}?from=11&to=40&page_size=20")
    assert {name: answer.status_code for name, answer in seen.items()} == {
        "lead": 200, "technician": 200, "sponsor": 404, "stranger": 404
    }  # fmt: skip
    page = seen["lead"].json()
    assert (page["count"], len(page["results"])) == (30, 20)
    assert page["next"].endswith("?from=31&to=40&page_size=20")
    assert "from=1&" in page["previous"]
    client = Client()
    client.force_login(cast.lead)
    rest = client.get(page["next"]).json()
    assert ([row["cycle"] for row in rest["results"]], rest["next"]) == ([*range(31, 41)], None)
    assert client.get(f"{address}?from=-3").status_code == 400
    assert client.get(f"{address}?key=none").status_code == 404


def test_a_long_record_waits_among_the_long(cast: Scene, settings):
    settings.LONG_RECORD_BYTES = 20_000
    cyclic(cast, restarted(0, cycles=2))
    cyclic(cast, restarted(0, cycles=40))
    assert [job.queue for job in Job.objects.order_by("created_at", "key")] != ["short", "short"]
    assert sorted(Job.objects.values_list("queue", flat=True)) == ["long", "short"]
