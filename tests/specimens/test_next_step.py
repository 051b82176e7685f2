"""What comes next for a specimen: which step, from when on, by when; plain computation."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from labmatrix.matrix.domain.route import Route
from specimens.domain.event import EventFact
from specimens.domain.fold import fold
from specimens.domain.next_step import NextStep, next_step
from specimens.domain.plan import Plan
from tests.specimens.life_events import PLAN, START, event, mode, sound_life

CONTROL = Plan(
    Route.from_dict(
        {
            "stages": [
                {"stage": "cast"},
                {"stage": "cure", "days": 28},
                {"stage": "pre-crack", "optional": True},
                {"stage": "break", "concrete_age_days": 170, "tolerance_days": 10},
            ]
        }
    )
)


def _next(events: list[EventFact], plan: Plan = PLAN) -> NextStep:
    return next_step(plan, fold("QS-1", events, plan).life)


def _until(kind: str, day: float = 9999.0) -> list[EventFact]:
    """The sound life up to the last event of a kind, not later than a day."""
    last = START + timedelta(days=day)
    life = [one for one in sound_life() if one.occurred_at <= last]
    return life[: max(k for k, one in enumerate(life) if one.kind == kind) + 1]


def _day(days: float) -> datetime:
    return START + timedelta(days=days)


def test_before_anything_is_cast_casting_comes_first():
    assert _next([]) == NextStep("cast", late_at=None)


def test_hardening_concrete_tells_the_day_of_strengthening():
    found = _next(_until("cast"))
    assert (found.kind, found.is_under_way) == ("strengthen", False)
    assert found.ready_at == found.due_at == _day(28)
    assert found.late_at == _day(180)  # the test at 170 d, 10 d more at most


def test_strengthening_that_lacks_a_layer_goes_on():
    found = _next(_until("layer", 28.02))
    assert (found.kind, found.is_under_way) == ("strengthen", True)


def test_hardening_mortar_tells_the_day_of_exposure():
    found = _next(_until("layer"))
    assert (found.kind, found.is_under_way) == ("expose", False)
    assert found.ready_at is not None
    assert _day(56) <= found.ready_at <= _day(56.04)


def test_one_branch_that_has_begun_does_not_pass_the_other_over():
    found = _next(_until("loaded"))
    assert (found.kind, found.is_under_way) == ("expose", False)


def test_an_exposure_that_goes_on_is_due_when_its_days_are_over():
    found = _next(_until("entered"))
    assert (found.kind, found.is_under_way) == ("expose", True)
    assert found.due_at == _day(57.1 + 84)
    assert found.late_at == _day(57.1 + 84 + 2)  # two days where a route sets no tolerance


def test_stays_that_were_broken_off_count():
    stay = {"machine": "SALT-1", "position": "3", "run": "WD-1"}
    again = [*_until("entered"), event("left", 100, stay), event("entered", 110, stay)]
    found = _next(again).due_at
    assert found is not None
    assert abs(found - _day(110 + 84 - (100 - 57.1))) < timedelta(seconds=1)


def test_cycling_goes_on_without_a_day_of_its_own_but_the_test_waits():
    found = _next(_until("counted", 152))
    assert (found.kind, found.is_under_way, found.due_at) == ("cycle", True, None)
    assert found.late_at == _day(180)


def test_the_member_without_fabric_waits_for_its_age_at_the_test():
    found = _next(_until("cast"), CONTROL)
    assert (found.kind, found.is_under_way) == ("break", False)
    assert (found.ready_at, found.due_at, found.late_at) == (_day(160), _day(170), _day(180))


@pytest.mark.parametrize(
    "last",
    [
        event("broken", 170, {"end": "broken", "mode": mode()}),
        event("lost", 170, {"why": "dropped"}),
    ],
    ids=["broken", "lost"],
)
def test_after_the_end_nothing_comes(last: EventFact):
    assert _next([*_until("cast"), last]) == NextStep()


@pytest.mark.parametrize("count", range(len(sound_life()) + 1))
def test_along_a_sound_life_nothing_comes_back_once_it_is_over(count: int):
    order = ["cast", "strengthen", "expose", "sustain", "cycle", "break", ""]
    kinds = [_next(sound_life()[:k]).kind for k in range(count + 1)]
    assert [order.index(kind) for kind in kinds] == sorted(order.index(kind) for kind in kinds)
