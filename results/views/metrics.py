"""Where a number comes from: everything on one page."""

from __future__ import annotations

import json
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views import View

from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed
from results.budget_view import budget_said, no_budget_said
from results.marked_curve import curve_caption, cycle_curve, marked_curve, marks_table
from results.models import Metric
from results.presenters import (
    channel_rows,
    member_of_inputs,
    metric_words,
    others_rows,
    sensor_rows,
    settings_rows,
    words_of,
)
from results.selectors.record import metric_get
from results.selectors.record_page import (
    metric_list_like,
    sensor_list_serials,
    subject_is_invented,
)
from results.selectors.what_if import may_ask_what_if
from results.services.inputs import inputs_changed, specimen_of
from results.services.rebuild import printed_for
from specimens.selectors.event import people_names


class MetricInputs(View):
    """Everything that went into a number, as the bytes whose SHA-256 is its key."""

    def get(self, request: HttpRequest, metric_id: str) -> HttpResponse:
        """Canonical JSON, to be kept and hashed."""
        metric = metric_get(actor=actor_of(request), metric_id=metric_id)
        reduction = metric.reduction
        content = reduction.inputs.encode("utf-8")
        response = HttpResponse(content, content_type="application/json; charset=utf-8")
        response["Content-Disposition"] = f'attachment; filename="{reduction.key}.json"'
        return response


class MetricPage(View):
    """Record, map, sensors, settings, code and key of one number, and its marked curve."""

    def get(self, request: HttpRequest, metric_id: str) -> HttpResponse:
        """The page."""
        actor = actor_of(request)
        metric = metric_get(actor=actor, metric_id=metric_id)
        inputs: dict[str, Any] = json.loads(metric.reduction.inputs)
        context = _origin(metric, inputs) | {
            "inputs": inputs,
            "channels": channel_rows(inputs["channel_map"]["entries"]),
            "sensors": sensor_rows(inputs, sensor_list_serials()),
            "member": member_of_inputs(inputs),
            "loaded_before": inputs["specimen"].get("loaded_before", []),
            "sees_machines": allowed(actor.role, Action.SEE_MACHINES),
            "budget": budget_said(metric, actor.unit_system),
            "no_budget": no_budget_said(metric),
            "may_ask_what_if": may_ask_what_if(actor),
            "settings_rows": settings_rows(metric.reduction),
            "payload": marked_curve(metric.reduction, metric.point),
            "cycle": cycle_curve(metric),
            "table": marks_table(metric.reduction),
            "figure_caption": curve_caption(metric.reduction, words_of(metric.name)),
            "cycle_caption": f"Load cycle {metric.at} alone, every row of it. One specimen.",
            "cycle_table": marks_table(metric.reduction, f" of cycle {metric.at}"),
        }
        return render(request, "results/metric.html", context)


def _origin(metric: Metric, inputs: dict[str, Any]) -> dict[str, Any]:
    reduction = metric.reduction
    record = reduction.record
    found: dict[str, Any] = {
        "metric": metric,
        "name": words_of(metric.name),
        "words": metric_words(metric),
        "reduction": reduction,
        "record": record,
        "specimen": specimen_of(record),
        "received_by": people_names([record.received_by]).get(record.received_by),
        "files": record.files.select_related("blob").order_by("position"),
        "inputs_changed": inputs_changed(record, inputs) if reduction.is_current else [],
        "others": others_rows(metric, metric_list_like(metric), inputs),
        "printed": printed_for(metric),
        "inputs_bytes": len(reduction.inputs.encode("utf-8")),
    }
    if subject_is_invented(record.subject):
        found["invented_data_notice"] = True
    return found
