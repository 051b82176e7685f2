"""Pages that only the browser tests see: figures, a job, a form in the rig's size."""

from __future__ import annotations

from collections import Counter
from typing import Any

from django import forms
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template import engines
from django.urls import URLPattern, URLResolver, include, path

ANSWERS: Counter[str] = Counter()
PAGE = """{% extends "base.html" %}{% block title %}Beam QV-B07{% endblock %}
{% block body_class %}{{ size }}{% endblock %}
{% block margin %}Record b07.{% endblock %}
{% block content %}
{% caution "test-to-failure" %}
<div class="with-margin"><p>Peak {% quantity 117.93 "kN" u=1.31 %}, ε ≥ 3.</p>
<aside class="note-margin">Load cell LC-3.</aside></div>
{% figure number=1 caption="One beam and its control." payload=loads table=table %}
{% figure number=2 caption="Stiffness of one beam." payload=cycles table=table %}
{% data_table table %}
{% include "web/form.html" with button="Log a ply" %}
<p>{% state_mark "cycling" %}</p>
{% if not request.GET.finished %}
<div class="job" data-progress-url="/progress/" data-reload-when-done>
<p data-progress-words>Waiting</p>
<progress max="1" value="0" aria-label="Reading"></progress></div>{% endif %}
{% endblock %}
{% block scripts %}{% include "web/figure_scripts.html" %}{% endblock %}"""
LOADS: dict[str, Any] = {
    "kind": "load-deflection",
    "layout": {"title": {"text": "Beam QV-B07"}, "margin": {"t": 60}},
    "data": [
        {"x": [0, 8, 40], "y": [0, 60, 70], "name": "Control", "meta": {"control": True}},
        {"x": [0, 8, 30], "y": [0, 88, 124], "name": "2 plies", "meta": {"level": 1}},
        {"x": [8], "y": [88], "text": ["yield"], "meta": {"level": 1, "role": "mark"}},
        {"x": [0, 30, 30, 0], "y": [0, 130, 118, 0], "meta": {"level": 1, "role": "interval"}},
    ],
}
CYCLES: dict[str, Any] = {
    "kind": "cycles",
    "layout": {"yaxis": {"title": {"text": "Stiffness ratio (1)"}}},
    "data": [{"x": [1, 100, 1e6], "y": [1, 0.97, 0.9], "name": "2 plies", "meta": {"level": 1}}],
}
TABLE: dict[str, Any] = {
    "columns": [{"label": "Cell"}, {"label": "Peak load", "unit": "kN"}, {"label": "Ends"}],
    "rows": [[f"{n} plies, wet–dry salt", 70.5 + n, "run-out, then broken"] for n in range(4)],
}


class PlyForm(forms.Form):
    """A form with the usual kinds of field."""

    width_mm = forms.DecimalField(label="Width at mid-span", help_text="Mean of three readings.")
    wet = forms.BooleanField(label="Surface was saturated", required=False)


@login_not_required
def page(request: HttpRequest) -> HttpResponse:
    """Every part of the notebook on one page."""
    context = {
        "loads": LOADS,
        "cycles": CYCLES,
        "table": TABLE,
        "form": PlyForm(request.GET if "wrong" in request.GET else None),
        "size": request.GET.get("size", ""),
        "theme": request.GET.get("theme", ""),
    }
    return HttpResponse(engines["django"].from_string(PAGE).render(context, request))


@login_not_required
def progress(request: HttpRequest) -> JsonResponse:
    """A job that is done at the third question."""
    ANSWERS["asked"] += 1
    if ANSWERS["asked"] < 3:
        return JsonResponse({"status": "reading", "progress": 0.4, "words": "Reading b07.csv"})
    return JsonResponse({"status": "reduced", "progress": 1, "words": "Reduced"})


urlpatterns: list[URLPattern | URLResolver] = [
    path("notebook/", page),
    path("progress/", progress),
    path("", include("labmatrix.web.urls")),
]
