"""A specimen's life drawn to scale in time: what happened, what was only waiting."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from labmatrix.kernel.text import grouped
from specimens.domain.ages import concrete_began
from specimens.domain.life import Life
from specimens.domain.plan import Plan

HARDENING, WAITING, EXPOSED, SUSTAINED, CYCLING, STANDING = (
    "hardening",
    "waiting",
    "exposed",
    "sustained",
    "cycling",
    "in a machine",
)


@dataclass(frozen=True)
class Segment:
    """A stretch of a life.

    Attributes:
        kind: hardening, waiting, exposed, sustained, cycling or in a machine.
        since, until: its ends; ``until`` is the present where it goes on.
        planned_until: where the plan would end it; None where nothing was planned.
        goes_on: it has not ended.
        words: what a reader is told.
        short: the same for a place with little room.
        loads_kn: the load held, or the least and the greatest of the cycles, kN.
    """

    kind: str
    since: datetime
    until: datetime
    planned_until: datetime | None
    goes_on: bool
    words: str
    short: str = ""
    loads_kn: tuple[float, ...] = ()


@dataclass(frozen=True)
class Tick:
    """An instant of a life, with its words."""

    at: datetime
    kind: str
    words: str


@dataclass(frozen=True)
class Ribbon:
    """Segments in order of time, ticks in order of time, and the ends of the whole."""

    segments: tuple[Segment, ...]
    ticks: tuple[Tick, ...]
    since: datetime
    until: datetime


def _days(since: datetime, until: datetime) -> float:
    return (until - since).total_seconds() / 86400


def _segment(
    kind: str,
    words: tuple[str, str],
    *,
    since: datetime,
    until: datetime | None,
    now: datetime,
    planned_until: datetime | None = None,
    loads_kn: tuple[float, ...] = (),
) -> Segment:
    end = max(since, until if until is not None else now)
    return Segment(kind, since, end, planned_until, until is None, *words, loads_kn)


def _hardening(
    what: str, since: datetime | None, days: float | None, *, next_at: datetime, now: datetime
) -> Iterable[Segment]:
    if since is None or days is None or since >= next_at:
        return
    until = min(since + timedelta(days=days), next_at)
    goes_on = until > now
    end, done = min(until, now), f"{_days(since, min(until, now)):.0f} of {days:g} d"
    words, short = f"{what} hardening, {done}", f"{what} {done}"
    yield Segment(HARDENING, since, end, since + timedelta(days=days), goes_on, words, short)


def _stays(life: Life, plan: Plan, now: datetime) -> Iterable[Segment]:
    days = plan.days("expose")
    for stay in life.stays:
        end, planned = stay.until or now, None
        where = f"{stay.machine} {stay.position}".strip()
        words = f"in {where}, {_days(stay.since, end):.1f} d", stay.machine
        if stay.run:
            done = f"{_days(stay.since, end):.0f} d"
            if days:
                planned, done = stay.since + timedelta(days=days), f"{done[:-2]} of {days:g} d"
            words = f"exposed in {where}, run {stay.run}, {done}", f"exposed {done}"
        kind = EXPOSED if stay.run else STANDING
        yield _segment(
            kind, words, since=stay.since, until=stay.until, now=now, planned_until=planned
        )


def _loads(life: Life, now: datetime) -> Iterable[Segment]:
    loads = [*life.sustained_before, *([life.sustained] if life.sustained else [])]
    for load in loads:
        days = f"{_days(load.since, load.until or now):.0f} d"
        words = f"under sustained load (of {load.reference}), {days}", f"sustained {days}"
        yield _segment(
            SUSTAINED, words, since=load.since, until=load.until, now=now, loads_kn=(load.load_kn,)
        )


def _runs(life: Life, plan: Plan, now: datetime) -> Iterable[Segment]:
    """Runs of load cycles; the last is planned to end where it would reach the planned number."""
    target, before = plan.number("cycle", "cycles"), 0
    for run in life.runs:
        left = (target or 0.0) - before
        planned = run.since + timedelta(seconds=left / run.frequency_hz) if left > 0 else None
        done = grouped(run.cycles)
        of = f"{done} of {grouped(left)}" if left > 0 else done
        words = f"{of} load cycles in {run.machine} at {run.frequency_hz:g} Hz", f"{done} cycles"
        yield _segment(
            CYCLING, words, since=run.since, until=run.until, now=now, planned_until=planned,
            loads_kn=(run.minimum_kn, run.maximum_kn),
        )  # fmt: skip
        before += run.cycles


def _waits(
    busy: Sequence[Segment], since: datetime, until: datetime, shortest_days: float
) -> Iterable[Segment]:
    """The stretches between which nothing was going on."""
    at = since
    for segment in sorted(busy, key=lambda s: s.since):
        if _days(at, segment.since) >= shortest_days:
            yield _wait(at, segment.since)
        at = max(at, segment.until)
    if _days(at, until) >= shortest_days:
        yield _wait(at, until)


def _wait(since: datetime, until: datetime) -> Segment:
    days = f"{_days(since, until):.0f} d"
    return Segment(WAITING, since, until, None, False, f"waiting, {days}", f"waiting {days}")


def _ticks(life: Life) -> Iterable[Tick]:
    began = concrete_began(life)
    if began is not None:
        yield Tick(began, "cast", "cast" if life.cast_at else f"{life.origin_how}, as dated")
    elif life.origin_at is not None:
        yield Tick(life.origin_at, "cast", life.origin_how)
    if life.pre_cracked_at is not None:
        yield Tick(life.pre_cracked_at, "prepared", "pre-cracked")
    if life.strengthening_began_at is not None:
        yield Tick(life.strengthening_began_at, "strengthened", f"{life.plies} plies placed")
    for seen in life.breaks:
        where = f" at {seen.location}" if seen.location else ""
        yield Tick(seen.at, "broken", f"{seen.end}{where}: {seen.words}")
    for at in life.repaired_at:
        yield Tick(at, "repaired", "repaired")
    if life.lost_at is not None:
        yield Tick(life.lost_at, "lost", "lost")


def ribbon_of(
    life: Life, plan: Plan, now: datetime, *, shortest_wait_days: float = 1.0
) -> Ribbon | None:
    """The ribbon of a life; None before its origin.

    Args:
        life: the state that the events add up to.
        plan: what was planned, for how long things were to last.
        now: the present; what goes on is drawn up to it.
        shortest_wait_days: gaps below this are no waiting.
    """
    ticks = sorted(_ticks(life), key=lambda t: t.at)
    began = concrete_began(life) or life.origin_at
    if began is None or not ticks:
        return None
    until = life.ended_at or now
    starts = [stay.since for stay in life.stays]
    starts += [run.since for run in life.runs] + [seen.at for seen in life.breaks]
    strengthened = life.strengthening_began_at or min(starts, default=until)
    mortar = life.mortar_at
    after_mortar = min((at for at in starts if mortar and at > mortar), default=until)
    main = [
        *_hardening(
            "concrete", concrete_began(life), plan.days("cure"), next_at=strengthened, now=until
        ),
        *_hardening("mortar", mortar, plan.days("cure-mortar"), next_at=after_mortar, now=until),
        *_stays(life, plan, until),
        *_runs(life, plan, until),
    ]
    loads = list(_loads(life, until))
    waits = list(_waits([*main, *loads], began, until, shortest_wait_days))
    segments = sorted([*main, *loads, *waits], key=lambda s: (s.since, s.until, s.kind))
    return Ribbon(tuple(segments), tuple(ticks), began, max(until, began))
