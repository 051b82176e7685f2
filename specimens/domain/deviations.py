"""Broken tolerances that a person must judge. Facts only: nothing here depends on today."""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from specimens.domain.ages import concrete_began
from specimens.domain.life import Life
from specimens.domain.plan import Plan

_NAMESPACE = uuid.UUID("5b6f1f0e-0a39-5c5e-9a53-3d1e61a5f0d7")

PLIES_DIFFER = "{found} fabric plies were placed; the plan says {planned}."
STRENGTHENED_YOUNG = (
    "The concrete was {age:.1f} days old when strengthening began; the plan says {planned:g} "
    "(tolerance {tolerance:g})."
)
LOADED_YOUNG = (
    "The mortar was {age:.1f} days old at its first {what}; the plan says {planned:g} "
    "(tolerance {tolerance:g})."
)
EXPOSED_SHORT = (
    "Run {run} in {machine} lasted {found:.1f} days; the plan says {planned:g} "
    "(tolerance {tolerance:g})."
)
NOT_PLANNED = "It {what}; its route has no such stage."
TWO_RUNS = "It was in {first} and in {second} at the same time."
CYCLES_SHORT = "It ended as a run-out after {found} load cycles; the plan says {planned:g}."
END_DISAGREES = "The end is logged as {end!r}, yet {words}."
TESTED_AT_AGE = (
    "The concrete was {age:.1f} days old at the test; the plan says {planned:g} "
    "(tolerance {tolerance:g})."
)


@dataclass(frozen=True)
class Deviation:
    """One question to a person. Its id is the same in every fold of the same facts."""

    id: str
    rule: str
    words: str
    at: str


def deviation_id(subject: str, rule: str, at: str) -> str:
    """UUIDv5 of specimen, rule and the fact that broke it."""
    return str(uuid.uuid5(_NAMESPACE, f"{subject}\n{rule}\n{at}"))


Check = Callable[[Life, Plan], Iterator[tuple[str, str, str]]]


def _plies(life: Life, plan: Plan) -> Iterator[tuple[str, str, str]]:
    planned = plan.number("strengthen", "plies") or 0
    loaded = life.breaks or life.runs
    if loaded and life.plies != planned and not life.repaired_at:
        words = PLIES_DIFFER.format(found=life.plies, planned=f"{planned:g}")
        yield "strengthen.plies", words, "plies"


def _age_at_strengthening(life: Life, plan: Plan) -> Iterator[tuple[str, str, str]]:
    began, planned = concrete_began(life), plan.days("cure")
    if began is None or planned is None or life.strengthening_began_at is None:
        return
    age = (life.strengthening_began_at - began).total_seconds() / 86400
    tolerance = plan.tolerance("cure")
    if age < planned - tolerance:
        words = STRENGTHENED_YOUNG.format(age=age, planned=planned, tolerance=tolerance)
        yield "strengthen.too-young", words, "strengthening"


def _age_of_mortar(life: Life, plan: Plan) -> Iterator[tuple[str, str, str]]:
    planned = plan.days("cure-mortar")
    if planned is None or life.mortar_at is None:
        return
    firsts = [("exposure", s.since) for s in life.stays if s.since > life.mortar_at]
    firsts += [("load cycle", r.since) for r in life.runs] + [("test", b.at) for b in life.breaks]
    if not firsts:
        return
    what, at = min(firsts, key=lambda pair: pair[1])
    age, tolerance = (at - life.mortar_at).total_seconds() / 86400, plan.tolerance("cure-mortar")
    if age < planned - tolerance:
        words = LOADED_YOUNG.format(age=age, what=what, planned=planned, tolerance=tolerance)
        yield "mortar.too-young", words, "mortar"


def _exposure(life: Life, plan: Plan) -> Iterator[tuple[str, str, str]]:
    planned, tolerance = plan.days("expose"), plan.tolerance("expose")
    exposed = [stay for stay in life.stays if stay.run]
    for stay in exposed:
        if not plan.has("expose"):
            what = f"entered run {stay.run} in {stay.machine}"
            yield "expose.not-planned", NOT_PLANNED.format(what=what), stay.event
    closed = [stay for stay in exposed if stay.until is not None]
    if planned is None or not closed or len(closed) < len(exposed):
        return
    found = sum((s.until - s.since).total_seconds() for s in closed if s.until) / 86400
    if found < planned - tolerance:
        last = closed[-1]
        words = EXPOSED_SHORT.format(
            run=last.run, machine=last.machine, found=found, planned=planned, tolerance=tolerance
        )
        yield "expose.short", words, last.event


def _two_runs(life: Life, plan: Plan) -> Iterator[tuple[str, str, str]]:
    exposed = sorted((s for s in life.stays if s.run), key=lambda s: (s.since, s.event))
    for first, second in itertools.pairwise(exposed):
        if first.until is None or second.since < first.until:
            words = TWO_RUNS.format(first=first.machine, second=second.machine)
            yield "place.overlap", words, second.event


def _not_on_route(life: Life, plan: Plan) -> Iterator[tuple[str, str, str]]:
    if life.sustained_ever and not plan.has("sustain"):
        yield "sustain.not-planned", NOT_PLANNED.format(what="was put under sustained load"), "load"
    if life.runs and not plan.has("cycle"):
        yield "cycle.not-planned", NOT_PLANNED.format(what="was cycled"), "cycling"


def _ends(life: Life, plan: Plan) -> Iterator[tuple[str, str, str]]:
    target = plan.number("cycle", "cycles")
    for seen in life.breaks:
        run_out = seen.end == "run-out, then broken"
        if run_out and target is not None and life.cycles < target:
            words = CYCLES_SHORT.format(found=life.cycles, planned=target)
            yield "cycle.short", words, seen.event
        if seen.end in ("run-out, then broken", "failed in cycling") and not life.runs:
            words = END_DISAGREES.format(end=seen.end, words="no load cycles were logged")
            yield "end.disagrees", words, seen.event
        if seen.end == "failed in the frame" and not life.sustained_ever:
            words = END_DISAGREES.format(end=seen.end, words="no sustained load was logged")
            yield "end.disagrees", words, seen.event


def _age_at_test(life: Life, plan: Plan) -> Iterator[tuple[str, str, str]]:
    began, planned = concrete_began(life), plan.number("break", "concrete_age_days")
    if began is None or planned is None:
        return
    tolerance = plan.tolerance("break")
    for seen in life.breaks:
        age = (seen.at - began).total_seconds() / 86400
        if abs(age - planned) > tolerance:
            words = TESTED_AT_AGE.format(age=age, planned=planned, tolerance=tolerance)
            yield "break.age", words, seen.event


_CHECKS: tuple[Check, ...] = (
    _plies,
    _age_at_strengthening,
    _age_of_mortar,
    _exposure,
    _two_runs,
    _not_on_route,
    _ends,
    _age_at_test,
)


def deviations_of(subject: str, life: Life, plan: Plan) -> tuple[Deviation, ...]:
    """All broken tolerances of a life against its plan, in a fixed order."""
    found: dict[str, Deviation] = {}
    for check in _CHECKS:
        for rule, words, at in check(life, plan):
            key = deviation_id(subject, rule, at)
            found[key] = Deviation(key, rule, words, at)
    return tuple(found.values())
