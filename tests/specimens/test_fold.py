"""The fold: one state for a set of events, and the rules with their sentences."""

from __future__ import annotations

import dataclasses
import json
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from specimens.domain import corrections, rules
from specimens.domain.ages import ages_at
from specimens.domain.catalogue import CATALOGUE
from specimens.domain.effects import EFFECTS
from specimens.domain.event import EventFact
from specimens.domain.fold import fold, foresee, stage_of
from specimens.domain.order import in_order
from tests.specimens.life_events import PLAN, START, event, histories, kn, mode, sound_life

CODE = "QS-B-01"


def folded(*events: EventFact):
    return fold(CODE, events, PLAN)


def conflicts_of(*events: EventFact) -> list[tuple[str, str]]:
    return [(c.event, c.rule) for c in folded(*events).conflicts]


def test_every_kind_of_the_catalogue_has_its_rules_and_its_effect():
    assert set(CATALOGUE) == set(EFFECTS) == set(rules.RULES)


@settings(max_examples=300, deadline=None)
@given(histories(), st.randoms(use_true_random=False))
def test_any_order_of_arrival_gives_the_same_state(history, random):
    shuffled = list(history)
    random.shuffle(shuffled)
    assert fold(CODE, shuffled, PLAN).as_dict() == fold(CODE, history, PLAN).as_dict()


@settings(max_examples=100, deadline=None)
@given(histories(), st.randoms(use_true_random=False))
def test_sending_any_events_twice_changes_nothing(history, random):
    doubled = [*history, *random.sample(history, k=len(history) // 2)]
    assert fold(CODE, doubled, PLAN).as_dict() == fold(CODE, history, PLAN).as_dict()


@settings(max_examples=200, deadline=None)
@given(histories())
def test_every_event_has_an_effect_or_a_stated_reason_for_none(history):
    outcome = fold(CODE, history, PLAN)
    void = {c.event for c in outcome.conflicts}
    assert set(outcome.order) == {e.id for e in history}
    assert void <= set(outcome.order)
    assert set(outcome.struck) <= set(outcome.order)
    assert json.loads(json.dumps(outcome.as_dict())) == outcome.as_dict()


@settings(max_examples=200, deadline=None)
@given(histories())
def test_within_a_device_the_sequence_decides(history):
    place = {e.id: index for index, e in enumerate(in_order(history))}
    for device in ("tablet-1", "tablet-2"):
        own = [e for e in history if e.device == device and not e.is_back_dated]
        for one in own:
            for other in own:
                if one.sequence < other.sequence:
                    assert place[one.id] < place[other.id]


def test_a_sound_life_has_no_conflict_and_no_deviation():
    outcome = folded(*sound_life())
    assert outcome.conflicts == ()
    assert outcome.deviations == ()
    life = outcome.life
    assert (life.plies, life.cycles, life.end) == (2, 2_000_000, "run-out, then broken")
    assert stage_of(life) == "run-out, then broken"
    ages = ages_at(life, life.ended_at)
    assert ages.concrete_d == 168
    assert ages.mortar_d == pytest.approx(139.96)
    assert ages.since_exposure_d == 26


def test_strengthening_before_cast_is_kept_in_conflict_and_has_no_effect():
    layer = event("layer", -1, {"kind": "fabric", "ply": 1, "lot": "F"})
    outcome = folded(layer, event("cast", 0, {"batch": "C"}))
    assert [(c.event, c.words) for c in outcome.conflicts] == [(layer.id, rules.NOT_THERE_YET)]
    assert outcome.life.plies == 0


def test_an_event_that_arrives_late_resolves_the_conflict_of_another():
    layer = event("layer", 28, {"kind": "fabric", "ply": 1, "lot": "F"})
    assert conflicts_of(layer) == [(layer.id, "event.before-origin")]
    assert conflicts_of(layer, event("cast", 0, {"batch": "C"})) == []


def test_strengthening_twice_takes_a_repair_in_between():
    cast = event("cast", 0, {"batch": "C"})
    first = event("layer", 28, {"kind": "fabric", "ply": 1, "lot": "F"})
    again = event("layer", 60, {"kind": "fabric", "ply": 1, "lot": "F"})
    assert conflicts_of(cast, first, again) == [(again.id, "event.strengthened-twice")]
    broken = event("broken", 40, {"end": "broken", "mode": mode()})
    repaired = event("repaired", 50, {"how": "section restored"})
    outcome = folded(cast, first, broken, repaired, again)
    assert outcome.conflicts == ()
    assert outcome.life.plies == 1
    assert outcome.life.end == ""


def test_the_counter_of_a_run_never_goes_back_and_runs_add_up():
    life = sound_life()
    back = event("counted", 153, {"cycles": 800_000})
    assert conflicts_of(*life, back) == [(back.id, "event.counter-back")]
    start = next(e for e in life if e.kind == "cycling-started")
    second = dataclasses.replace(start, id="x", occurred_at=START + timedelta(days=156))
    more = event("counted", 157, {"cycles": 5})
    assert folded(*life, second, more).life.cycles == 2_000_005


def test_a_correction_replaces_and_a_struck_correction_gives_back():
    cast = event("cast", 0, {"batch": "C-01"})
    right = event("cast", 0.5, {"batch": "C-02"}, corrects=cast.id)
    assert folded(cast, right).life.batch == "C-02"
    assert folded(cast, right).conflicts == ()
    struck = event("corrected", 1, {"event": right.id, "why": "it was C-01 after all"})
    assert folded(cast, right, struck).life.batch == "C-01"


def test_two_corrections_of_one_event_leave_the_later_and_ask_about_the_other():
    cast = event("cast", 0, {"batch": "C-01"})
    one = event("cast", 0.5, {"batch": "C-02"}, corrects=cast.id)
    two = event("cast", 0.6, {"batch": "C-03"}, corrects=cast.id)
    outcome = folded(two, one, cast)
    assert outcome.life.batch == "C-03"
    assert [(c.event, c.words) for c in outcome.conflicts] == [
        (one.id, corrections.OTHER_CORRECTION)
    ]


def test_corrections_in_a_circle_have_no_effect_and_nothing_hangs():
    a = event("note", 1, {"text": "a"}, id="a" * 8, corrects="b" * 8)
    b = event("note", 2, {"text": "b"}, id="b" * 8, corrects="a" * 8)
    c = event("note", 3, {"text": "c"}, id="c" * 8, corrects="a" * 8)
    outcome = folded(a, b, c)
    assert {x.rule for x in outcome.conflicts} == {"correction.circle"}
    assert outcome.struck == {"a" * 8: "c" * 8}


def test_a_wrong_tablet_clock_is_put_right_and_marked():
    cast = event("cast", 0, {"batch": "C"})
    late = START - timedelta(hours=2)
    layer = EventFact(
        id="t1", kind="demoulded", occurred_at=late, device_at=late, device="tablet-1",
        sequence=1, skew_seconds=3 * 3600.0,
    )  # fmt: skip
    outcome = folded(cast, layer)
    assert outcome.conflicts == ()
    assert outcome.skewed == ("t1",)


def test_too_few_days_of_exposure_open_a_deviation_that_a_person_judges():
    life = [e for e in sound_life() if e.kind != "left"]
    left = event("left", 120, {"machine": "SALT-1", "run": "WD-1"})
    outcome = folded(*life, left)
    assert [d.rule for d in outcome.deviations] == ["expose.short"]
    assert "lasted 62.9 days; the plan says 84" in outcome.deviations[0].words
    judged = event(
        "judged", 170,
        {"deviation": outcome.deviations[0].id, "decision": "exclude", "why": "pump failed"},
        actor="lead-id",
    )  # fmt: skip
    after = folded(*life, left, judged)
    decision = after.judgements[outcome.deviations[0].id]
    assert (decision.decision, decision.why, decision.actor) == (
        "exclude", "pump failed", "lead-id",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("replaced", "by", "rule"),
    [
        ("layer", None, "strengthen.plies"),
        ("cast", event("cast", 2.5, {"batch": "C"}), "strengthen.too-young"),
        ("entered", event("entered", 40, {"machine": "SALT-1", "run": "WD-1"}), "mortar.too-young"),
        ("broken", event("broken", 185, {"end": "broken", "mode": mode()}), "break.age"),
        (
            "broken",
            event("broken", 168, {"end": "failed in the frame", "mode": mode()}),
            None,
        ),
    ],
)
def test_each_tolerance_opens_its_deviation(replaced, by, rule):
    events = [e for e in sound_life() if e.kind != replaced]
    outcome = folded(*events, *([by] if by else []))
    assert [d.rule for d in outcome.deviations] == ([rule] if rule else [])


def test_page_and_tablet_are_warned_with_the_rule_that_the_fold_uses():
    life = sound_life()
    foreseen = foresee(CODE, life, event("loaded", 200, {"load": kn(1), "reference": "-"}), PLAN)
    assert foreseen is not None
    assert foreseen.words == rules.ALREADY_ENDED.format(end="run-out, then broken")
    assert foresee(CODE, life, event("note", 200, {"text": "kept in the yard"}), PLAN) is None
