"""A specimen's life on one page: the ribbon, its curves, its questions, who did what when."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views import View

from labmatrix.evidence.models import Record
from labmatrix.kernel.clock import now
from labmatrix.web.actor import actor_of
from labmatrix.web.models import Person
from results.domain.ribbon import Ribbon, ribbon_of
from results.figures import stiffness_overlay
from results.marked_curve import marked_curve, marks_table
from results.models import Reduction
from results.prediction_figures import predicted_payload, predicted_table
from results.selectors.prediction import prediction_of_specimen
from specimens.domain.ages import ages_at
from specimens.domain.life_read import life_from
from specimens.domain.plan import Plan
from specimens.domain.wording import payload_said
from specimens.models import Event, Specimen
from specimens.selectors.access import specimen_get

WIDTH = 1000.0
_LANES = {"sustained": 62.0}


def _scaled(ribbon: Ribbon) -> dict[str, Any]:
    """Bars and ticks in the units of the drawing, and the months below them."""
    span = (ribbon.until - ribbon.since).total_seconds() or 1.0

    def x(at: datetime) -> float:
        return round(WIDTH * (at - ribbon.since).total_seconds() / span, 1)

    bars = []
    for segment in ribbon.segments:
        start, end = x(segment.since), x(segment.until)
        planned = segment.planned_until
        bars.append(
            {
                "kind": segment.kind.replace(" ", "-"),
                "x": start,
                "width": max(1.0, end - start),
                "planned_width": round(x(planned) - start, 1) if planned else None,
                "y": _LANES.get(segment.kind, 30.0),
                "words": segment.words,
                "goes_on": segment.goes_on,
                "since": segment.since,
                "until": segment.until,
            }
        )
    ticks = [{"kind": t.kind, "x": x(t.at), "words": t.words, "at": t.at} for t in ribbon.ticks]
    return {"bars": bars, "ticks": ticks, "since": ribbon.since, "until": ribbon.until}


def _records(specimen: Specimen) -> list[Record]:
    subjects = [specimen.subject_id, *specimen.locations.values_list("subject_id", flat=True)]
    found = Record.objects.filter(subject_id__in=subjects).select_related("subject")
    return list(found.order_by("measured_at", "received_at"))


def _people(events: list[Event]) -> dict[str, str]:
    ids = {event.actor for event in events}
    return {str(p.pk): p.shown_name for p in Person.objects.filter(pk__in=ids)}


class LifePage(View):
    """One ribbon to scale from origin to end, and all that stands behind it."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page."""
        specimen = specimen_get(actor=actor_of(request), code=code)
        state, at = specimen.state, now()
        life = life_from(state.folded["life"])
        ribbon = ribbon_of(life, Plan(specimen.planned_route), at)
        events = list(
            Event.objects.filter(subject_id=specimen.subject_id).order_by("occurred_at", "id")
        )
        people = _people(events)
        conflicts = {c["event"]: c["words"] for c in state.folded["conflicts"]}
        struck = state.folded["struck"]
        broken = Reduction.objects.filter(
            record__subject_id=specimen.subject_id, is_current=True, name="break"
        ).first()
        expected = prediction_of_specimen(specimen)
        if expected is not None and expected.error:
            expected = None
        stiffness = stiffness_overlay(specimen.cell.series, {specimen.code})
        context = {
            "specimen": specimen,
            "state": state,
            "ages": ages_at(life, state.ended_at or at),
            "ribbon": _scaled(ribbon) if ribbon else None,
            "records": _records(specimen),
            "deviations": specimen.deviations.all(),
            "history": [
                {
                    "event": event,
                    "said": payload_said(event.payload),
                    "who": people.get(event.actor, "someone who has left"),
                    "conflict": conflicts.get(str(event.id), ""),
                    "struck": str(event.id) in struck,
                }
                for event in events
            ],
            "payload": marked_curve(broken) if broken else None,
            "table": marks_table(broken) if broken else None,
            "expected": expected,
            "expected_payload": predicted_payload(expected, broken) if expected else None,
            "expected_table": predicted_table(expected) if expected else None,
            "stiffness": stiffness.payload if stiffness.n else None,
            "stiffness_table": stiffness.table,
        }
        return render(request, "results/life.html", context)
