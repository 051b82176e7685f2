"""Forms from schemas, and lives and payloads in words: plain computation."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings

from labmatrix.matrix.domain.route import Route
from specimens.domain.catalogue import CATALOGUE, payload_parse, payload_plain
from specimens.domain.entry import (
    answers_read,
    answers_written,
    payload_built,
    payload_entries,
    payload_values,
)
from specimens.domain.fold import fold
from specimens.domain.kinds import CAUTION_OF, GROUPS, kind_about, kind_words
from specimens.domain.life_read import life_from
from specimens.domain.progress import route_progress
from specimens.domain.wording import as_given, payload_said
from tests.specimens.life_events import PLAN, START, event, histories, kn, mode, sound_life

FULL: dict[str, Any] = {
    "origin": {"how": "cored", "date": "1962-05-01"},
    "pre-cracked": {"moment": {"value": 12, "unit": "kN·m"}},
    "layer": {"kind": "fabric", "ply": 2, "lot": "F", "thickness": {"value": 4, "unit": "mm"},
              "orientation": -45},
    "re-tensioned": {"from": kn(17), "to": kn(18)},
    "broken": {"end": "broken", "mode": mode(), "location": "A"},
    "opened-up": {"fabric": "whole", "cover": {"value": 28, "unit": "mm"},
                  "bar position as found": "in place"},
    "checklist": {"name": "before a test", "answers": {"zone clear": True, "who": "the lead"}},
    "demoulded": {},
}  # fmt: skip


@pytest.mark.parametrize("kind", sorted(FULL))
def test_a_payload_goes_through_its_form_and_comes_back_the_same(kind):
    entries = payload_entries(kind)
    built = payload_built(entries, payload_values(entries, FULL[kind]))
    assert payload_plain(payload_parse(kind, built)) == payload_plain(
        payload_parse(kind, FULL[kind])
    )


@pytest.mark.parametrize("kind", sorted(CATALOGUE))
def test_every_field_of_every_schema_has_an_entry_of_its_own(kind):
    entries = payload_entries(kind)
    assert len({entry.name for entry in entries}) == len(entries)
    assert {entry.path[0] for entry in entries} == set(
        CATALOGUE[kind].model_json_schema(by_alias=True).get("properties", {})
    )
    assert all(entry.units for entry in entries if entry.kind == "quantity")
    assert kind_words(kind)
    assert kind_about(kind).endswith(".")


def test_entries_carry_limits_choices_and_units():
    found = {entry.name: entry for entry in payload_entries("layer")}
    assert found["kind"].choices == ("base mortar", "fabric", "mortar")
    assert (found["ply"].minimum, found["ply"].maximum) == (1, 20)
    assert found["thickness"].units[:2] == ("mm", "µm")
    assert [e.required for e in found.values()] == [True, False, True, False, False]
    letters = {entry.name: entry for entry in payload_entries("broken")}["mode-letter"]
    assert (letters.length, letters.may_be_empty, letters.label) == (4, True, "Mode: letter")


def test_answers_are_read_line_by_line():
    answers = answers_read("zone clear: yes\n\nwho may approach: up to 10 kN: the lead\ndry: no")
    assert answers == {
        "zone clear": True,
        "who may approach: up to 10 kN": "the lead",
        "dry": False,
    }
    assert answers_read(answers_written(answers)) == answers
    with pytest.raises(ValueError, match="Line 2"):
        answers_read("a: b\nno colon")


def test_cautions_are_for_kinds_that_exist():
    assert set(CAUTION_OF) <= set(CATALOGUE)
    assert len([k for kinds in GROUPS.values() for k in kinds]) == len(CATALOGUE) - 2


@settings(max_examples=150, deadline=None)
@given(histories())
def test_a_life_comes_back_from_its_plain_data(history):
    folded = fold("QS-B-01", history, PLAN)
    assert life_from(folded.as_dict()["life"]) == folded.life


def test_the_route_says_what_was_achieved_of_each_stage():
    life = fold("QS-B-01", sound_life(), PLAN).life
    seen = {str(s.kind): s for s in route_progress(PLAN.route, life, START + timedelta(days=400))}
    assert {s.state for s in seen.values()} == {"done"}
    amounts = {kind: s.achieved.amounts for kind, s in seen.items()}
    assert [(a.what, a.value, a.planned) for a in amounts["strengthen"]] == [("plies", 2, 2)]
    assert amounts["expose"][0].value == pytest.approx(84.9)
    assert [a.value for a in amounts["sustain"]] == [18, pytest.approx(111)]
    assert (amounts["cycle"][0].value, amounts["cycle"][0].planned) == (2_000_000, 2_000_000)
    assert amounts["break"][0].value == 168
    assert seen["cycle"].achieved.words == "8 to 40 kN at 5 Hz"


def test_a_route_that_nothing_happened_on_is_planned():
    life = fold("QS-B-01", [], PLAN).life
    assert {s.state for s in route_progress(PLAN.route, life, START)} == {"planned"}
    assert route_progress(Route(()), life, START) == ()


def test_a_second_sustained_load_ends_the_first():
    events = [
        event("cast", 0, {"batch": "C"}),
        event("loaded", 10, {"load": kn(10), "reference": "control"}),
        event("loaded", 30, {"load": kn(12), "reference": "control"}),
    ]
    life = fold("QS-B-01", events, PLAN).life
    assert [(s.load_kn, s.until) for s in life.sustained_before] == [
        (10, START + timedelta(days=30))
    ]
    assert life.sustained is not None
    assert life.sustained.load_kn == 12


@pytest.mark.parametrize(
    ("value", "shown"),
    [(4.0, (4, 15)), (32.1, (32.1, 3)), (0.0025, (0.0025, 2)), (-0.5, (-0.5, 1)), (7, (7, 15)),
     (1.25e-7, (1.25e-7, 3)), (0.1 + 0.2, (0.30000000000000004, 17))],
)  # fmt: skip
def test_numbers_keep_the_digits_that_they_were_given_with(value, shown):
    assert as_given(value) == shown


def test_a_payload_in_words_leaves_out_what_is_empty():
    said = payload_said(
        {"load": kn(4), "mode": {"letter": "", "words": "slip"}, "ok": True, "n": 3}
    )
    assert [(s.name, s.text, s.quantity, s.number) for s in said] == [
        ("load", "", kn(4), None),
        ("words", "slip", None, None),
        ("ok", "yes", None, None),
        ("n", "", None, 3),
    ]
