"""Where a number comes from: everything on one page."""

from __future__ import annotations

import json
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views import View

from labmatrix.kernel.canonical import content_key
from labmatrix.web.actor import actor_of
from results.figures import marked_curve, marks_table
from results.models import Metric, Reduction
from results.selectors.record import metric_get
from results.services.inputs import reduction_inputs
from results.services.methods import method_named


def _settings_rows(reduction: Reduction) -> list[dict[str, Any]]:
    """Each setting with the value used, its unit and its rule in words."""
    words = {w.name: w for w in method_named(reduction.name).settings.describe()}
    rows = []
    for name, value in sorted(reduction.settings.items()):
        known = words.get(name)
        rows.append(
            {
                "name": name.replace("_", " "),
                "value": value,
                "unit": known.unit if known else "",
                "rule": known.rule if known else "found in the record",
                "is_default": bool(known) and known.default == value if known else False,
            }
        )
    return rows


class MetricPage(View):
    """Record, map, sensors, settings, code and key of one number, and its marked curve."""

    def get(self, request: HttpRequest, metric_id: str) -> HttpResponse:
        """The page."""
        metric = metric_get(actor=actor_of(request), metric_id=metric_id)
        reduction = metric.reduction
        record = reduction.record
        context = {
            "metric": metric,
            "words": metric.name.replace("_", " "),
            "reduction": reduction,
            "record": record,
            "files": record.files.select_related("blob").order_by("position"),
            "inputs": json.loads(reduction.inputs),
            "settings_rows": _settings_rows(reduction),
            "inputs_changed": reduction.is_current
            and content_key(reduction_inputs(record)) != reduction.key,
            "earlier": Metric.objects.filter(
                reduction__record=record, name=metric.name, method=metric.method, at=metric.at
            )
            .exclude(pk=metric.pk)
            .select_related("reduction")
            .order_by("-reduction__reduced_at"),
            "payload": marked_curve(reduction, metric.point),
            "table": marks_table(reduction),
        }
        return render(request, "results/metric.html", context)
