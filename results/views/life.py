"""A specimen's life on one page: the ribbon, its curves, its questions, who did what when."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.timezone import get_current_timezone
from django.views import View

from labmatrix.evidence.models import Record
from labmatrix.kernel.clock import now
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed
from results.domain.ribbon import ribbon_of
from results.domain.ribbon_drawing import Drawing, Mark, drawing_of
from results.figures import stiffness_overlay
from results.marked_curve import marked_curve, marks_table
from results.models import Reduction
from results.prediction_figures import predicted_payload, predicted_table
from results.selectors.history import imported_list
from results.selectors.prediction import prediction_of_specimen
from specimens.domain.event import IMPORTED
from specimens.domain.plan import Plan
from specimens.models import Specimen
from specimens.selectors.event import STRUCK, people_names
from specimens.selectors.event_page import UNNAMED, events_seen
from specimens.selectors.sheet import SpecimenSheet, specimen_sheet

# More than a life has; the page of the specimen shows them by pages.
_EVENTS_MOST = 5000
_NAMES = {
    "hardening": "hardening",
    "waiting": "waiting",
    "exposed": "exposed",
    "sustained": "under sustained load",
    "cycling": "cycling",
    "in a machine": "in a machine",
}


def _marks(sheet: SpecimenSheet, records: Sequence[Record]) -> list[Mark]:
    """Records, pictures and open questions, each at its moment."""
    found = [
        Mark("record", record.measured_at, f"{record.test} record, {record.status}")
        for record in records
        if record.measured_at is not None
    ]
    occurred = {str(event.pk): event.occurred_at for event in sheet.events}
    struck = {key for key, standing in sheet.standings.items() if standing.status == STRUCK}
    for event in sheet.events:
        if event.kind == "photo" and str(event.pk) not in struck:
            caption = event.payload.get("caption") or "no caption"
            found.append(Mark("picture", event.occurred_at, f"picture: {caption}"))
    for conflict in sheet.conflicts:
        if conflict["event"] in occurred:
            words = f"in conflict: {conflict['words']}"
            found.append(Mark("question", occurred[conflict["event"]], words))
    return found


def _told(drawing: Drawing) -> list[dict[str, Any]]:
    """All that is drawn, as rows in order of time."""
    rows: list[dict[str, Any]] = [{"since": t.at, "words": t.words} for t in drawing.ticks]
    rows += [{"since": mark.at, "words": mark.words} for mark in drawing.marks]
    rows += [
        {
            "since": bar.segment.since,
            "until": bar.segment.until,
            "goes_on": bar.segment.goes_on,
            "words": bar.segment.words,
            "loads": bar.segment.loads_kn,
        }
        for bar in drawing.bars
    ]
    return sorted(rows, key=lambda row: row["since"])


def _legend(drawing: Drawing) -> list[tuple[str, str]]:
    """How what is drawn here looks: class of the drawing, words."""
    kinds = {bar.segment.kind for bar in drawing.bars}
    return [(kind.replace(" ", "-"), words) for kind, words in _NAMES.items() if kind in kinds]


def _records(specimen: Specimen) -> list[Record]:
    subjects = [specimen.subject_id, *specimen.locations.values_list("subject_id", flat=True)]
    found = Record.objects.filter(subject_id__in=subjects).select_related("subject")
    return list(found.order_by("measured_at", "received_at"))


def _figures(specimen: Specimen) -> list[dict[str, Any]]:
    """The curves, with the names of their figures: as broken, as cycled, as predicted."""
    broken = Reduction.objects.filter(
        record__subject_id=specimen.subject_id, is_current=True, name="break"
    ).first()
    found: list[dict[str, Any]] = []
    if broken:
        found.append(
            {"kind": "broken", "payload": marked_curve(broken), "table": marks_table(broken)}
        )
    stiffness = stiffness_overlay(specimen.cell.series, {specimen.code})
    if stiffness.n:
        found.append({"kind": "cycled", "payload": stiffness.payload, "table": stiffness.table})
    expected = prediction_of_specimen(specimen)
    if expected is not None and not expected.error:
        shown = {"expected": expected, "is_measured": broken is not None}
        payload, table = predicted_payload(expected, broken), predicted_table(expected)
        found.append({"kind": "expected", "payload": payload, "table": table, **shown})
    return [one | {"number": number} for number, one in enumerate(found, 2)]


class LifePage(View):
    """One ribbon to scale from origin to end, and all that stands behind it."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page."""
        actor, at = actor_of(request), now()
        sheet = specimen_sheet(actor=actor, code=code, now=at, most=_EVENTS_MOST)
        specimen = sheet.specimen
        records = _records(specimen)
        ribbon = ribbon_of(sheet.life, Plan(specimen.planned_route), at)
        drawing = ribbon and drawing_of(
            ribbon,
            _marks(sheet, records),
            get_current_timezone(),
            has_ended=sheet.life.ended_at is not None,
        )
        names = people_names({row.judged_by for row in sheet.deviations})
        figures = {one["kind"]: one for one in _figures(specimen)}
        context = {
            "specimen": specimen,
            "state": specimen.state,
            "sheet": sheet,
            "drawing": drawing,
            "told": _told(drawing) if drawing else [],
            "legend": _legend(drawing) if drawing else [],
            "mark_kinds": {mark.kind for mark in drawing.marks} if drawing else set(),
            "records": records,
            "deviations": [(row, names.get(row.judged_by, UNNAMED)) for row in sheet.deviations],
            "may_judge": allowed(sheet.role, Action.JUDGE),
            "events": events_seen(sheet.events, sheet.standings, newest_first=False),
            "figures": figures,
            "imported_events": sum(event.device == IMPORTED for event in sheet.events),
            "imported": imported_list(specimen),
        }
        return render(request, "results/life.html", context)
