"""What comes next for a specimen, from when on and by when. Facts and plan only: no today."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from labmatrix.matrix.domain.route_template import StageKind
from specimens.domain.ages import concrete_began
from specimens.domain.life import Life
from specimens.domain.plan import Plan
from specimens.domain.progress import StageSeen, route_progress

_HARDENING = (StageKind.CURE, StageKind.CURE_MORTAR)
_LONG_AGO = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True)
class NextStep:
    """The step that a specimen stands before or in.

    Attributes:
        kind: of the stage; empty where nothing is left to do.
        is_under_way: it has begun and is to be ended.
        ready_at: before this instant it would be too early; None where nothing forbids it.
        due_at: when the plan has it done, or ended; None where the plan gives no day.
        late_at: after this instant a tolerance is broken; None where none is set.
    """

    kind: str = ""
    is_under_way: bool = False
    ready_at: datetime | None = None
    due_at: datetime | None = None
    late_at: datetime | None = None


def _after(since: datetime | None, days: float | None) -> datetime | None:
    return None if since is None or days is None else since + timedelta(days=days)


def _earliest(*instants: datetime | None) -> datetime | None:
    return min((at for at in instants if at is not None), default=None)


def _latest(*instants: datetime | None) -> datetime | None:
    return max((at for at in instants if at is not None), default=None)


def _exposure_due(life: Life, plan: Plan) -> datetime | None:
    """When the stays that have ended and the one that goes on add up to what was planned."""
    days, runs = plan.days("expose"), [stay for stay in life.stays if stay.run]
    going_on = [stay.since for stay in runs if stay.until is None]
    if days is None or not going_on:
        return None
    past = sum(((s.until - s.since) for s in runs if s.until is not None), timedelta())
    return min(going_on) + max(timedelta(days=days) - past, timedelta())


def _sustained_due(life: Life, plan: Plan) -> datetime | None:
    days = plan.days("sustain")
    if days is None or life.sustained is None:
        return None
    past = sum((s.until - s.since for s in life.sustained_before if s.until), timedelta())
    return life.sustained.since + max(timedelta(days=days) - past, timedelta())


def _is_passed_over(seen: tuple[StageSeen, ...], index: int) -> bool:
    """Whether a later stage has begun. Hardening begins by itself, and the other branches of a
    parallel stage are no later.
    """
    branch = seen[index].branch
    return any(
        later.state != "planned"
        and later.kind not in _HARDENING
        and (branch == 0 or later.branch in (0, branch))
        for later in seen[index + 1 :]
    )


def _open(seen: tuple[StageSeen, ...]) -> Iterator[StageSeen]:
    """Stages that are not over and were not passed over, in order."""
    for index, stage in enumerate(seen):
        if stage.state == "done" or _is_passed_over(seen, index):
            continue
        if stage.state == "under way" or not stage.settings.get("optional", False):
            yield stage


def _break_times(life: Life, plan: Plan) -> tuple[datetime | None, datetime | None]:
    """When the test is due by the age of the concrete, and by how many days it may be off."""
    due = _after(concrete_began(life), plan.number("break", "concrete_age_days"))
    return due, _after(due, plan.tolerance("break"))


def next_step(plan: Plan, life: Life) -> NextStep:
    """The first stage of the route that is not over, hardening told as the day it allows the next.

    Args:
        plan: of the specimen.
        life: what its events add up to.
    """
    if life.end:
        return NextStep()
    seen = route_progress(plan.route, life, life.last_at or _LONG_AGO)
    test_due, test_late = _break_times(life, plan)
    ready = None
    for stage in _open(seen):
        if stage.kind in _HARDENING:
            ready = _latest(ready, _after(stage.achieved.since, plan.days(str(stage.kind))))
            continue
        return _step(stage, life, plan, ready=ready, test=(test_due, test_late))
    return NextStep()


def _step(
    stage: StageSeen,
    life: Life,
    plan: Plan,
    *,
    ready: datetime | None,
    test: tuple[datetime | None, datetime | None],
) -> NextStep:
    kind, under_way = str(stage.kind), stage.state == "under way"
    test_due, test_late = test
    due = late = None
    if stage.kind is StageKind.BREAK:
        due = test_due
        if due is not None:
            ready = _latest(ready, due - timedelta(days=plan.tolerance("break")))
    elif stage.kind is StageKind.EXPOSE and under_way:
        due = _exposure_due(life, plan)
        late = _after(due, plan.tolerance("expose"))
    elif stage.kind is StageKind.SUSTAIN and under_way:
        due = _sustained_due(life, plan)
        late = _after(due, plan.tolerance("sustain"))
    elif not under_way:
        due = ready
    return NextStep(kind, under_way, ready, due, _earliest(late, test_late))
