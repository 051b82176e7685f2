"""Every reduction is reached from an uploaded record, by its settings form, and shown."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from django.test import Client

from labmatrix.evidence.models import Job, Record
from labmatrix.evidence.services.job import job_perform
from labmatrix.kernel.errors import ShapeError
from results.models import Metric, Reduction
from results.services.methods import method_for, methods_of
from results.services.rebuild import rebuild_all
from results.services.record import record_reduce_again
from results.services.stale import stale_list
from tests.results.cyclic_files import MAP, columns_of, csv_of
from tests.results.cyclic_signals import fatigue_record
from tests.results.scene import CHANNELS, NOW, Scene
from tests.results.test_reduction_envelope import _reversed

LOAD = [
    {"column": "time", "quantity": "time", "unit": "s"},
    {"column": "load", "quantity": "load", "unit": "kN"},
]
# ASTM E1049-85, the history of its example.
HISTORY = [-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]


def value(name: str, **more: object) -> float:
    return Metric.objects.get(name=name, reduction__is_current=True, **more).value


def history(values: list[float]) -> bytes:
    rows = [f"{k},{v:.2f}" for k, v in enumerate(values)]
    return "\n".join(["time,load", "s,kN", *rows, ""]).encode()


def page_of(cast: Scene, record: Record, query: str = ""):
    client = Client()
    client.force_login(cast.lead)
    return client.get(f"/records/{record.pk}/{query}")


def counted(cast: Scene, values: list[float], **settings: object) -> Record:
    record = cast.record(
        cast.specimen("P0-LAB").code, history(values), test="cyclic", channels=LOAD,
        settings={"reduction": "counting", "band_kn": 0.0, **settings},
    )  # fmt: skip
    assert record.status == "reduced", record.error
    return record


def test_a_history_of_variable_amplitude_is_counted(cast: Scene):
    """ASTM E1049-85: ranges 3 (0.5), 4 (1.5), 6 (0.5), 8 (1.0), 9 (0.5)."""
    record = counted(cast, HISTORY, exponent=3, range_classes=9)
    assert value("counted_cycles") == 4.0
    assert value("largest_range") == 9.0
    halves = 0.5 * (27 + 64 + 216 + 729) + 512.0
    assert value("half_cycle_share") == pytest.approx(halves / (halves + 64.0))
    page = page_of(cast, record)
    ranges, levels = page.context["summaries"]
    assert {row[1]: row[2] for row in ranges["rows"]} == {3: 0.5, 4: 1.5, 6: 0.5, 8: 1.0, 9: 0.5}
    assert sum(row[4] for row in ranges["rows"]) == pytest.approx(100.0)
    for words in ("Rainflow", "neither closed on itself", "Level crossings", "half cycle share"):
        assert words in page.text, words
    assert "damage" not in {m.name for m in Metric.objects.all()}
    assert len(levels["rows"]) == 16
    assert [rebuilt.differences for rebuilt in rebuild_all()] == [()]


def test_level_crossings_of_a_known_history(cast: Scene):
    record = counted(cast, [0.0, 10.0] * 100 + [0.0], level_count=4)
    _, levels = page_of(cast, record).context["summaries"]
    assert levels["rows"] == [[2.0, 100.0], [4.0, 100.0], [6.0, 100.0], [8.0, 100.0]]


def test_damage_only_by_a_line_that_is_named(cast: Scene):
    """Linear sum by hand: 100 ranges of 10 kN on N = 10⁶ (R/20)⁻³."""
    line = {"exponent": 3, "line_range_kn": 20.0, "line_cycles": 1e6, "line_source": "invented"}
    record = counted(cast, [0.0, 10.0] * 100 + [0.0], **line)
    found = Metric.objects.get(name="damage")
    assert found.value == pytest.approx(100 * 0.5**3 / 1e6)
    assert found.method == "m = 3, invented"
    assert "invented" in page_of(cast, record).text


def test_both_envelopes_of_reversed_cycles(cast: Scene):
    """The corner of equal energy on a known curve, by hand (form of ASTM E2126)."""
    load, deflection = _reversed()
    content = csv_of({"deflection": deflection, "load": load})
    record = cast.record(
        cast.specimen("P0-LAB").code, content, test="cyclic", channels=CHANNELS,
        settings={"reduction": "envelope"},
    )  # fmt: skip
    assert record.status == "reduced", record.error
    for side in ("positive", "negative"):
        assert value("envelope_peak_load", method=side) == pytest.approx(72.0)
        assert value("envelope_yield_load", method=side) == pytest.approx(66.492, abs=2e-3)
        assert value("envelope_ductility", method=side) == pytest.approx(6.1893, abs=5e-4)
    page = page_of(cast, record)
    drawn = {trace["name"]: trace for trace in page.context["payload"]["data"]}
    assert drawn["envelope of each side"]["x"].count(None) == 2
    assert "Both envelopes" in page.text
    client = Client()
    client.force_login(cast.lead)
    finer = client.get(page.context["payload"]["finer"]["url"]).json()
    assert set(finer["lines"]) == {"raw"}


def block(cast: Scene, stiffness: float, offset: int, day: int, **settings: object) -> Record:
    signal = fatigue_record(cycles=10, samples=50, stiffness=stiffness, loss=0.0, phase=0.0)
    return cast.record(
        cast.specimens["QS-P0-LAB-01"].code, csv_of(columns_of(signal)), test="cyclic",
        channels=MAP, cycle_offset=offset, settings=settings, name=f"{offset}.csv",
        measured_at=NOW - timedelta(days=30 - day),
    )  # fmt: skip


def test_the_records_of_a_run_are_one_sequence(cast: Scene):
    cast.specimen("P0-LAB")
    first = block(cast, 6.4, 0, 1)
    block(cast, 5.6, 99_995, 2)
    last = block(cast, 4.8, 250_000, 3, reduction="run")
    assert last.status == "reduced", last.error
    ratios = dict(
        Metric.objects.filter(name="stiffness_ratio", reduction__record=last).values_list(
            "at", "value"
        )
    )
    assert ratios[1] == pytest.approx(1.0)
    assert ratios[100_000] == pytest.approx(5.6 / 6.4, rel=1e-3)
    assert ratios[250_010] == pytest.approx(4.8 / 6.4, rel=1e-3)
    text = page_of(cast, last).text
    assert "no record holds: 11 to 99995, 100006 to 250000" in text
    assert "carry no uncertainty of their own" in text
    assert [rebuilt.differences for rebuilt in rebuild_all()] == [(), (), ()]
    assert stale_list(actor=cast.lead) == []
    job = record_reduce_again(
        actor=cast.lead, record=first, why="other extremes", now=NOW,
        settings={"extremes": "sampled"},
    )  # fmt: skip
    job_perform(job_id=job.pk)
    (stale,) = stale_list(actor=cast.lead)
    assert (stale.record.pk, stale.changed) == (last.pk, ("the other records of the run",))


def test_every_reduction_of_a_test_has_its_form_and_can_be_chosen(cast: Scene):
    record = cast.record(
        cast.specimen("P0-LAB").code, csv_of(columns_of(fatigue_record(cycles=12))),
        test="cyclic", channels=MAP,
    )  # fmt: skip
    for name, field in (
        ("cyclic", "settle loss per decade"), ("run", "settle loss per decade"),
        ("envelope", "band mm"), ("counting", "line source"),
    ):  # fmt: skip
        text = page_of(cast, record, f"?reduction={name}").text
        assert f'name="reduction" value="{name}"' in text
        assert field in text
    client = Client()
    client.force_login(cast.lead)
    body = {"reduction": "counting", "exponent": "4", "why": "amplitudes differ"}
    assert client.post(f"/records/{record.pk}/", body).status_code == 302
    for job in Job.objects.filter(state=Job.State.WAITING):
        job_perform(job_id=job.pk)
    current = Reduction.objects.get(record=record, is_current=True)
    assert (current.name, current.settings["exponent"]) == ("counting", 4.0)
    assert value("counted_cycles") == pytest.approx(12.0, abs=1.0)


def test_a_reduction_that_a_test_does_not_have_is_refused(cast: Scene):
    assert [m.name for m in methods_of("cyclic")] == ["cyclic", "run", "envelope", "counting"]
    with pytest.raises(ShapeError) as refused:
        method_for("break", {"reduction": "counting"})
    assert refused.value.code == "reduction.unknown"
    assert "break or envelope" in refused.value.message
    with pytest.raises(ShapeError, match="does not know"):
        cast.received(
            cast.specimen("P0-LAB").code, history(HISTORY), test="cyclic", channels=LOAD,
            settings={"reduction": "counting", "extremes": "sampled"},
        )  # fmt: skip


def test_where_the_loss_settles_is_told_with_its_rule(cast: Scene):
    signal = fatigue_record(cycles=400, samples=40, loss=0.0)
    record = cast.record(
        cast.specimen("P0-LAB").code, csv_of(columns_of(signal)), test="cyclic", channels=MAP,
        settings={"checkpoints": [1, 10, 100], "checkpoint_every": 100},
    )  # fmt: skip
    assert value("settles_at") == 1.0
    metric = Metric.objects.get(name="settles_at")
    client = Client()
    client.force_login(cast.lead)
    assert "for each tenfold number of cycles" in client.get(f"/metrics/{metric.pk}/").text
    assert "settles at" in page_of(cast, record).text
    assert np.isfinite(metric.value)
