"""A route as planned, stage by stage, with what was achieved."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Any

from labmatrix.matrix.domain.route import Parallel, Route, Stage
from labmatrix.matrix.domain.route_template import StageKind
from specimens.domain.ages import concrete_began
from specimens.domain.life import Life


@dataclass(frozen=True)
class Amount:
    """How much of something, beside how much was planned; None where nothing was."""

    what: str
    value: float
    unit: str
    planned: float | None = None


@dataclass(frozen=True)
class Achieved:
    """What happened of a stage: nothing, or from when to when, how much, and in words."""

    since: datetime | None = None
    until: datetime | None = None
    amounts: tuple[Amount, ...] = ()
    words: str = ""
    is_over: bool = False


@dataclass(frozen=True)
class StageSeen:
    """One stage of the route.

    Attributes:
        kind: the stage.
        settings: what the plan says of it.
        branch: 0 outside parallel stages, else the number of its branch.
        achieved: what happened.
    """

    kind: StageKind
    settings: Mapping[str, Any]
    branch: int
    achieved: Achieved = field(default_factory=Achieved)

    @property
    def state(self) -> str:
        """``planned``, ``under way`` or ``done``."""
        if self.achieved.since is None:
            return "planned"
        return "done" if self.achieved.is_over else "under way"


def _days(since: datetime, until: datetime) -> float:
    return (until - since).total_seconds() / 86400.0


def _number(stage: Stage, name: str) -> float | None:
    value = stage.settings.get(name)
    return value if isinstance(value, int | float) and not isinstance(value, bool) else None


def _cast(life: Life, stage: Stage, at: datetime) -> Achieved:
    began = concrete_began(life) or life.origin_at
    words = f"batch {life.batch}" if life.batch else life.origin_how
    return Achieved(began, began, words=words, is_over=began is not None)


def _cure(life: Life, stage: Stage, at: datetime) -> Achieved:
    began = concrete_began(life)
    if began is None:
        return Achieved()
    firsts = [t for t in (life.strengthening_began_at, life.ended_at, *_loads(life)) if t]
    until = min(firsts, default=None)
    age = Amount("age of the concrete", _days(began, until or at), "d", _number(stage, "days"))
    return Achieved(began, until, (age,), is_over=until is not None)


def _loads(life: Life) -> Iterator[datetime]:
    yield from (stay.since for stay in life.stays if stay.run)
    yield from (run.since for run in life.runs)
    yield from (seen.at for seen in life.breaks)


def _pre_crack(life: Life, stage: Stage, at: datetime) -> Achieved:
    amounts = []
    if life.pre_cracked_moment_knm is not None:
        amounts.append(Amount("moment", life.pre_cracked_moment_knm, "kN·m"))
    if life.pre_cracked_load_kn is not None:
        amounts.append(Amount("load", life.pre_cracked_load_kn, "kN"))
    done = life.pre_cracked_at
    return Achieved(done, done, tuple(amounts), is_over=done is not None)


def _strengthen(life: Life, stage: Stage, at: datetime) -> Achieved:
    if life.strengthening_began_at is None:
        return Achieved()
    planned = _number(stage, "plies")
    plies = Amount("plies", life.plies, "1", planned)
    done = planned is not None and life.plies >= planned and life.mortar_at is not None
    lots = sorted({layer.lot for layer in life.layers})
    return Achieved(
        life.strengthening_began_at,
        life.layers[-1].at if life.layers else None,
        (plies,),
        words=f"lots {', '.join(lots)}" if lots else "",
        is_over=done,
    )


def _anchor(life: Life, stage: Stage, at: datetime) -> Achieved:
    if not life.anchors:
        return Achieved()
    began = life.strengthening_began_at or life.last_at
    return Achieved(began, None, words="; ".join(life.anchors), is_over=True)


def _cure_mortar(life: Life, stage: Stage, at: datetime) -> Achieved:
    began = life.mortar_at
    if began is None:
        return Achieved()
    until = min((t for t in _loads(life) if t > began), default=life.ended_at)
    age = Amount("age of the mortar", _days(began, until or at), "d", _number(stage, "days"))
    return Achieved(began, until, (age,), is_over=until is not None)


def _expose(life: Life, stage: Stage, at: datetime) -> Achieved:
    stays = [stay for stay in life.stays if stay.run]
    if not stays:
        return Achieved()
    total = sum(_days(stay.since, stay.until or max(at, stay.since)) for stay in stays)
    is_over = all(stay.until is not None for stay in stays)
    until = max((stay.until for stay in stays if stay.until), default=None) if is_over else None
    places = ", ".join(f"run {stay.run} in {stay.machine}" for stay in stays)
    exposed = Amount("exposure", total, "d", _number(stage, "days"))
    return Achieved(stays[0].since, until, (exposed,), places, is_over)


def _sustain(life: Life, stage: Stage, at: datetime) -> Achieved:
    spells = [*life.sustained_before, *([life.sustained] if life.sustained else [])]
    if not spells:
        return Achieved()
    last = spells[-1]
    held = sum(_days(spell.since, spell.until or max(at, spell.since)) for spell in spells)
    return Achieved(
        spells[0].since,
        last.until,
        (Amount("load", last.load_kn, "kN"), Amount("held", held, "d", _number(stage, "days"))),
        f"a share of {last.reference}",
        life.sustained is None,
    )


def _cycle(life: Life, stage: Stage, at: datetime) -> Achieved:
    if not life.runs:
        return Achieved()
    last = life.runs[-1]
    cycles = Amount("load cycles", life.cycles, "1", _number(stage, "cycles"))
    words = f"{last.minimum_kn:g} to {last.maximum_kn:g} kN at {last.frequency_hz:g} Hz"
    return Achieved(life.runs[0].since, last.until, (cycles,), words, last.until is not None)


def _break(life: Life, stage: Stage, at: datetime) -> Achieved:
    if not life.breaks:
        return Achieved()
    first, last = life.breaks[0], life.breaks[-1]
    began = concrete_began(life)
    planned = _number(stage, "concrete_age_days")
    age = (Amount("age of the concrete", _days(began, last.at), "d", planned),) if began else ()
    return Achieved(first.at, last.at, age, f"{last.end}: {last.words}", bool(life.end))


def _repair(life: Life, stage: Stage, at: datetime) -> Achieved:
    if not life.repaired_at:
        return Achieved()
    return Achieved(life.repaired_at[0], life.repaired_at[-1], is_over=True)


_SEEN: Mapping[StageKind, Callable[[Life, Stage, datetime], Achieved]] = MappingProxyType(
    {
        StageKind.CAST: _cast,
        StageKind.CURE: _cure,
        StageKind.PRE_CRACK: _pre_crack,
        StageKind.STRENGTHEN: _strengthen,
        StageKind.ANCHOR: _anchor,
        StageKind.CURE_MORTAR: _cure_mortar,
        StageKind.EXPOSE: _expose,
        StageKind.SUSTAIN: _sustain,
        StageKind.CYCLE: _cycle,
        StageKind.BREAK: _break,
        StageKind.REPAIR: _repair,
    }
)


def _with_branches(route: Route) -> Iterator[tuple[Stage, int]]:
    for step in route.steps:
        if isinstance(step, Parallel):
            for number, branch in enumerate(step.branches, start=1):
                yield from ((stage, number) for stage in branch)
        else:
            yield step, 0


def route_progress(route: Route, life: Life, at: datetime) -> tuple[StageSeen, ...]:
    """Every stage of a route in order, with what was achieved of it.

    Args:
        route: as planned for the specimen.
        life: what its events add up to.
        at: the instant up to which what goes on is counted.
    """
    return tuple(
        StageSeen(stage.kind, stage.settings, branch, _SEEN[stage.kind](life, stage, at))
        for stage, branch in _with_branches(route)
    )
