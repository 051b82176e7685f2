"""What is drawn of each specimen on the plate: its life as a ribbon, its curve."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models.fields.json import KeyTransform

from labmatrix.matrix.domain.route import Route
from results.domain.ribbon import Ribbon, ribbon_of
from results.models import Reduction
from specimens.domain.life_read import life_from
from specimens.domain.plan import Plan
from specimens.models import Specimen

RIBBON_WIDTH = 280.0


@dataclass(frozen=True)
class Member:
    """A specimen as the plate takes it: where it stands and what its life was.

    Attributes:
        pk, subject_id, cell_id: rows.
        code: on its label.
        route: as it is kept.
        stage, end: as in its state.
        questions: deviations to judge and events in conflict.
        life: as ``Folded.as_dict()["life"]`` gives it.
    """

    pk: int
    subject_id: int
    cell_id: int
    code: str
    route: Mapping[str, Any]
    stage: str
    end: str
    questions: int
    life: Mapping[str, Any]


def members_of(cells: Collection[int]) -> list[Member]:
    """The specimens of some cells by their number; one query that reads what is drawn, no more."""
    rows = (
        Specimen.objects.filter(cell__in=cells)
        .order_by("number", "pk")
        .values_list(
            *("pk", "subject_id", "cell_id", "code", "route", "state__stage", "state__end"),
            *("state__open_deviation_count", "state__conflict_count"),
            KeyTransform("life", "state__folded"),
        )
    )
    return [
        Member(pk, subject, cell, code, route, stage, end, deviations + conflicts, life)
        for pk, subject, cell, code, route, stage, end, deviations, conflicts, life in rows
    ]


@dataclass(frozen=True)
class RibbonDrawn:
    """A life on the common time scale: bars (kind, x, width, words), ticks (kind, x, words)."""

    specimen: str
    stage: str
    bars: tuple[tuple[str, float, float, str], ...]
    ticks: tuple[tuple[str, float, str], ...]
    words: str


@dataclass(frozen=True)
class Lives:
    """The ribbons of specimens on one common scale of time."""

    ribbons: Mapping[int, Ribbon]
    since: datetime
    until: datetime

    def x(self, at: datetime) -> float:
        """Where an instant is drawn."""
        span = (self.until - self.since).total_seconds() or 1.0
        return round(RIBBON_WIDTH * (at - self.since).total_seconds() / span, 2)

    def drawn(self, specimen: Member) -> RibbonDrawn:
        """A specimen's life, an empty one where it was not made yet."""
        ribbon = self.ribbons.get(specimen.pk)
        if ribbon is None:
            return RibbonDrawn(specimen.code, specimen.stage, (), (), "not made yet")
        bars = tuple(
            (
                s.kind.replace(" ", "-"),
                self.x(s.since),
                max(0.6, self.x(s.until) - self.x(s.since)),
                s.words,
            )
            for s in ribbon.segments
        )
        ticks = tuple((t.kind, self.x(t.at), t.words) for t in ribbon.ticks)
        words = "; ".join(
            [
                *(t.words for t in ribbon.ticks),
                *(s.words for s in ribbon.segments if s.kind != "waiting"),
            ]
        )
        return RibbonDrawn(specimen.code, specimen.stage, bars, ticks, words)


def lives_of(specimens: Sequence[Member], now: datetime) -> Lives:
    """The lives of specimens that were made, up to now."""
    found: dict[int, Ribbon] = {}
    plans: dict[str, Plan] = {}  # the specimens of a cell mostly share one
    for specimen in specimens:
        life = life_from(specimen.life)
        route = repr(specimen.route)
        if route not in plans:
            plans[route] = Plan(Route.from_dict(specimen.route) if specimen.route else Route(()))
        plan = plans[route]
        ribbon = ribbon_of(life, plan, now)
        if ribbon is not None:
            found[specimen.pk] = ribbon
    since = min((r.since for r in found.values()), default=now)
    until = max((r.until for r in found.values()), default=now)
    return Lives(found, since, until)


def curves_of(specimens: Sequence[Member]) -> dict[int, tuple[list[float], list[float]]]:
    """Deflections in mm and loads in kN of the specimens that were broken, by their row."""
    by_subject = {s.subject_id: s.pk for s in specimens}
    rows = Reduction.objects.filter(
        record__subject_id__in=list(by_subject), is_current=True, name="break"
    ).values_list("record__subject_id", "curve")
    shown = ((subject, curve.get("reduced") or curve) for subject, curve in rows)
    return {by_subject[subject]: (curve["x"], curve["y"]) for subject, curve in shown}
