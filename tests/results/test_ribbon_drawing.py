"""A life laid out on paper: to scale, nothing over anything else, the present where it goes on."""

from __future__ import annotations

from datetime import UTC, timedelta
from itertools import combinations
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from results.domain.ribbon import ribbon_of
from results.domain.ribbon_drawing import WIDTH, Drawing, Label, Mark, drawing_of
from specimens.domain.fold import fold
from tests.specimens.life_events import PLAN, START, event, histories, sound_life

LETTER = 6.8


def drawn(*events, now=START + timedelta(days=400), marks=(), zone=UTC) -> Drawing | None:
    life = fold("QS-B-01", events, PLAN).life
    found = ribbon_of(life, PLAN, now)
    return found and drawing_of(found, marks, zone, has_ended=life.ended_at is not None)


def spans(labels: list[Label]) -> list[tuple[int, float, float]]:
    """Lane, left end and right end of each label."""
    shift = {"start": 0.0, "middle": 0.5, "end": 1.0}
    return [
        (one.lane, one.x - shift[one.anchor] * LETTER * len(one.text),
         one.x + (1.0 - shift[one.anchor]) * LETTER * len(one.text))
        for one in labels
    ]  # fmt: skip


def labels_of(found: Drawing) -> tuple[list[Label], list[Label]]:
    return [t.label for t in found.ticks if t.label], [b.label for b in found.bars if b.label]


@settings(max_examples=60, deadline=None)
@given(histories())
def test_labels_stay_on_the_paper_and_off_each_other(history):
    found = drawn(*history)
    if found is None:
        return
    for labels in labels_of(found):
        for _, low, high in spans(labels):
            assert low >= -0.5
            assert high <= WIDTH + 0.5
        for (lane, a, b), (other, c, d) in combinations(spans(labels), 2):
            assert lane != other or b <= c or d <= a


@settings(max_examples=60, deadline=None)
@given(histories(), st.integers(1, 20_000))
def test_bars_are_to_scale_and_dates_rise_and_are_few(history, days):
    found = drawn(*history, now=START + timedelta(days=days))
    if found is None:
        return
    span = (found.until - found.since).total_seconds() or 1.0
    for bar in found.bars:
        share = (bar.segment.until - bar.segment.since).total_seconds() / span
        assert bar.width == pytest.approx(max(1.0, WIDTH * share), abs=0.2)
        assert -0.1 <= bar.x <= WIDTH + 0.1
    at = [x for x, _ in found.dates]
    assert at == sorted(set(at))
    assert len(at) <= 14


def test_a_sound_life_says_what_was_done_and_when():
    found = drawn(*sound_life())
    assert found is not None
    ticks, bars = labels_of(found)
    assert [one.text for one in ticks] == [
        f"{kind} {START + timedelta(days=day):%Y-%m-%d}"
        for kind, day in (("cast", 0), ("strengthened", 28), ("broken", 168))
    ]
    assert {"concrete 28 of 28 d", "exposed 85 of 84 d"} <= {one.text for one in bars}
    assert found.now is None


def test_what_goes_on_is_outlined_to_its_planned_end_beyond_the_present():
    events = [e for e in sound_life() if e.occurred_at < START + timedelta(days=100)]
    now = START + timedelta(days=110)
    found = drawn(*events, now=now)
    assert found is not None
    exposed = next(bar for bar in found.bars if bar.segment.kind == "exposed")
    assert exposed.planned is not None
    assert found.until == exposed.segment.planned_until > now
    assert exposed.x + exposed.planned == pytest.approx(WIDTH, abs=0.2)
    assert found.now == pytest.approx(exposed.x + exposed.width, abs=0.2)


def test_a_run_is_outlined_to_where_it_would_reach_the_planned_cycles():
    run = next(bar for bar in drawn(*sound_life()).bars if bar.segment.kind == "cycling").segment
    target = PLAN.number("cycle", "cycles")
    seconds = (run.planned_until - run.since).total_seconds()
    frequency = next(e for e in sound_life() if e.kind == "cycling-started").payload["frequency"]
    assert seconds == pytest.approx(target / frequency["value"])
    assert run.loads_kn[0] < run.loads_kn[1]


def test_dates_are_midnights_of_the_zone():
    zone = ZoneInfo("America/Los_Angeles")
    cast = event("cast", 0, {"batch": "C"})
    found = drawn(cast, now=START + timedelta(days=5), zone=zone)
    assert found is not None
    for x, words in found.dates:
        at = found.since + (found.until - found.since) * x / WIDTH
        local = (at + timedelta(minutes=10)).astimezone(zone)
        assert local.hour == 0
        assert words == f"{local:%d %b}"


def test_marks_lie_at_their_moments_even_before_the_origin():
    early, late = START - timedelta(days=10), START + timedelta(days=90)
    marks = [Mark("record", late, "break record"), Mark("picture", early, "picture: the form")]
    found = drawn(event("cast", 0, {"batch": "C"}), now=late, marks=marks)
    assert found is not None
    assert [(one.kind, one.x) for one in found.marks] == [("picture", 0.0), ("record", WIDTH)]
    assert found.since == early
