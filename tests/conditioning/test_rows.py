"""A rig's points and a regime's settings in fields with units; an error at its place."""

from __future__ import annotations

import html
import re

import pytest

from conditioning.models import Machine, Regime

MACHINE = {"code": "RIG-2", "name": "Rig", "kind": "rig", "positions": "1"}
REGIME = {"code": "WDS", "title": "Wet and dry", "kind": "cyclic"}


def error_of(answer, field: str) -> str:
    """What is said at a field."""
    found = re.search(
        rf'<ul[^>]*id="id_{field}_error"[^>]*>(.*?)</ul>', answer.content.decode(), re.DOTALL
    )
    return html.unescape(re.sub(r"<[^>]+>", "", found[1])).strip() if found else ""


def value_of(answer, field: str) -> str:
    """What stands in a field."""
    found = re.search(rf'<input[^>]*name="{field}"[^>]*>', answer.content.decode())
    told = re.search(r'value="([^"]*)"', found[0]) if found else None
    return html.unescape(told[1]) if told else ""


def test_measured_points_are_typed_with_their_units(cast, as_person):
    sent = MACHINE | {
        "amplitude_mm_0": "0.2 in", "frequency_hz_0": "4", "load_kn_0": "",
        "amplitude_mm_2": "2,5", "frequency_hz_2": "8", "load_kn_2": "60",
    }  # fmt: skip
    assert as_person().post("/machines/new/", sent).status_code == 302
    assert Machine.objects.get().dynamic_performance == [
        {"amplitude_mm": pytest.approx(5.08), "frequency_hz": 4.0},
        {"amplitude_mm": 2.5, "frequency_hz": 8.0, "load_kn": 60.0},
    ]
    page = as_person().get("/machines/RIG-2/change/")
    assert value_of(page, "amplitude_mm_0") == "5.08"
    assert value_of(page, "load_kn_1") == "60"
    assert b"json" not in page.content.lower()
    assert b"{&quot;" not in page.content


def test_a_point_that_cannot_be_is_said_at_its_field_and_stays_typed(cast, as_person):
    sent = MACHINE | {"amplitude_mm_0": "five", "frequency_hz_0": "4 kN", "load_kn_1": "60"}
    answer = as_person().post("/machines/new/", sent)
    assert answer.status_code == 400
    assert "'five' is no number" in error_of(answer, "amplitude_mm_0")
    assert "kN measures force and cannot become Hz" in error_of(answer, "frequency_hz_0")
    assert "needs its amplitude" in error_of(answer, "amplitude_mm_1")
    assert value_of(answer, "amplitude_mm_0") == "five"
    assert value_of(answer, "name") == "Rig"
    assert not Machine.objects.exists()


def test_a_rig_without_points_has_none(cast, as_person):
    as_person().post("/machines/new/", MACHINE | {"amplitude_mm_0": ""})
    assert Machine.objects.get().dynamic_performance is None


def test_settings_are_typed_by_row(cast, as_person):
    kind = Regime.Kind.values[0]
    sent = REGIME | {
        "kind": kind,
        "setting_0": "wet", "value_0": "72", "unit_0": "h",
        "setting_1": "low", "value_1": "-18", "unit_1": "degc",
        "setting_2": "is drained", "value_2": "yes", "unit_2": "",
        "setting_3": "", "value_3": "95", "unit_3": "percent_rh",
        "setting_4": "water", "value_4": "from the tap", "unit_4": "",
    }  # fmt: skip
    assert as_person().post("/regimes/new/", sent).status_code == 302
    stored = {
        "wet_h": 72, "low_degc": -18, "is_drained": True, "percent_rh": 95,
        "water": "from the tap",
    }  # fmt: skip
    assert Regime.objects.get().settings == stored
    page = as_person().get("/regimes/WDS/change/")
    told = {value_of(page, f"setting_{n}"): value_of(page, f"value_{n}") for n in range(5)}
    assert told == {"wet": "72", "low": "-18", "is drained": "yes", "": "95",
                    "water": "from the tap"}  # fmt: skip
    again = {
        name: value_of(page, name) for n in range(5) for name in (f"setting_{n}", f"value_{n}")
    }
    units = {value_of(page, f"setting_{n}"): n for n in range(5)}
    again |= {f"unit_{n}": {"wet": "h", "low": "degc", "": "percent_rh"}.get(w, "")
              for w, n in units.items()}  # fmt: skip
    changed = {"title": "Wet, dry", "kind": kind, "why": "the title was wrong", **again}
    assert as_person().post("/regimes/WDS/change/", changed).status_code == 302
    assert Regime.objects.get().settings == stored


@pytest.mark.parametrize(
    ("row", "field", "words"),
    [
        ({"value_0": "72"}, "setting_0", "Say what it is"),
        ({"setting_0": "wet"}, "value_0", "Say its value"),
        ({"setting_0": "wet", "value_0": "long", "unit_0": "h"}, "value_0", "allowed is a number"),
        ({"setting_0": "3rd day", "value_0": "1"}, "setting_0", "beginning with a letter"),
        (
            {"setting_0": "wet", "value_0": "1", "setting_1": "Wet", "value_1": "2"},
            "setting_1",
            "said in a row above",
        ),
    ],
)
def test_a_row_that_cannot_be_is_said_at_its_field(row, field, words, cast, as_person):
    sent = REGIME | {"kind": Regime.Kind.values[0], **row}
    answer = as_person().post("/regimes/new/", sent)
    assert answer.status_code == 400
    assert words in error_of(answer, field)
    for name, text in row.items():
        if not name.startswith("unit"):
            assert value_of(answer, name) == text
    assert not Regime.objects.exists()
