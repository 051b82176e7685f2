"""A life drawn to scale: every day is accounted for, and what was achieved is what is filled."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given, settings

from results.domain.ribbon import ribbon_of
from specimens.domain.fold import fold
from tests.specimens.life_events import PLAN, START, event, histories, sound_life

NOW = START + timedelta(days=400)


def ribbon(*events, now=NOW):
    return ribbon_of(fold("QS-B-01", events, PLAN).life, PLAN, now)


def kinds(*events, now=NOW):
    return [s.kind for s in ribbon(*events, now=now).segments]


def test_a_sound_life_in_order():
    found = ribbon(*sound_life())
    assert [s.kind for s in found.segments] == [
        "hardening", "hardening", "sustained", "exposed", "cycling",
    ]  # fmt: skip
    assert [t.kind for t in found.ticks] == ["cast", "strengthened", "broken"]
    assert (found.since, found.until) == (START, START + timedelta(days=168))


def test_exposure_is_filled_as_achieved_beside_what_was_planned():
    events = [e for e in sound_life() if e.kind != "left"]
    left = event("left", 120, {"machine": "SALT-1", "run": "WD-1"})
    exposed = next(s for s in ribbon(*events, left).segments if s.kind == "exposed")
    assert (exposed.until - exposed.since).total_seconds() / 86400 == pytest.approx(62.9)
    assert exposed.planned_until == exposed.since + timedelta(days=84)


def test_waiting_is_shown_as_waiting():
    cast = event("cast", 0, {"batch": "C"})
    late = event("layer", 60, {"kind": "mortar", "lot": "M"})
    found = ribbon(cast, late, now=START + timedelta(days=61))
    waiting = [s for s in found.segments if s.kind == "waiting"]
    assert [(s.since - START).days for s in waiting] == [28]
    assert waiting[0].words == "waiting, 32 d"


def test_what_goes_on_is_drawn_up_to_now():
    events = [e for e in sound_life() if e.occurred_at < START + timedelta(days=100)]
    now = START + timedelta(days=110)
    exposed = next(s for s in ribbon(*events, now=now).segments if s.kind == "exposed")
    assert (exposed.goes_on, exposed.until) == (True, now)


def test_leaving_the_frame_ends_the_sustained_load():
    frame = {"machine": "FRAME-1"}
    load = {"load": {"value": 18, "unit": "kN"}, "reference": "its control"}
    cast = event("cast", 0, {"batch": "C"})
    events = [
        cast,
        event("entered", 30, frame),
        event("loaded", 31, load),
        event("left", 61, frame),
    ]
    held = next(
        s for s in ribbon(*events, now=START + timedelta(days=90)).segments if s.kind == "sustained"
    )
    assert (held.until - held.since).days == 30
    assert not held.goes_on


def test_nothing_is_drawn_before_the_origin():
    assert ribbon(event("note", 0, {"text": "planned"})) is None


@settings(max_examples=200, deadline=None)
@given(histories())
def test_whatever_happened_the_ribbon_is_in_order_and_within_its_ends(history):
    found = ribbon(*history)
    if found is None:
        return
    assert all(s.since <= s.until for s in found.segments)
    assert list(found.segments) == sorted(found.segments, key=lambda s: (s.since, s.until, s.kind))
    assert list(found.ticks) == sorted(found.ticks, key=lambda t: t.at)
