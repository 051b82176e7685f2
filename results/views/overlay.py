"""Any selection laid over each other: curves, stiffness, energy, a trend; and as files."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, ShapeError
from labmatrix.web.actor import actor_of
from labmatrix.web.models import Person
from results.overlay_api import NOTHING
from results.overlay_figures import (
    Overlay,
    overlay_asked,
    overlay_get,
    overlay_said,
)
from results.selectors.metric_choice import DEFAULT_METRIC
from results.selectors.overlay_choice import Choice, invented_of, overlay_offered
from results.selectors.overlay_trend import OVER, overlay_metrics
from results.views.takeaway import figure_file, units_asked, units_name

NO_FIGURE = "Nothing that was chosen has a curve for the figure {figure} yet."
TITLES = {
    "load-deflection": "Load over deflection",
    "stiffness": "Stiffness over load cycles",
    "energy": "Energy over load cycles",
    "trend": "Trend of one number",
}


class OverlayPage(View):
    """What was ticked, drawn over each other; without a choice, what there is to tick."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The page; a choice that makes no sense is said above the choice of specimens."""
        actor = actor_of(request)
        problem, overlay, choice = "", None, Choice()
        try:
            choice, more = overlay_asked(request.GET)
            if not choice.is_empty:
                overlay = self._drawn(actor, choice, more)
        except ShapeError as error:
            problem = error.message
        context = {
            "problem": problem,
            "offered": _offered(actor, choice, overlay),
            "overlay": overlay,
            **(_context(actor, overlay) if overlay else {}),
        }
        return render(request, "results/overlay.html", context, status=400 if problem else 200)

    def _drawn(self, actor: Person, choice: Choice, more: dict[str, str]) -> Overlay:
        """The overlay; a number that the selection has in several ways is taken in the first."""
        try:
            return overlay_get(actor=actor, choice=choice, **more)
        except ShapeError as error:
            methods = error.facts.get("methods")
            if error.code != "comparison.method" or not methods:
                raise
            name = more["metric"].partition("|")[0]
            return overlay_get(
                actor=actor, choice=choice, **{**more, "metric": f"{name}|{methods[0]}"}
            )


def _offered(actor: Person, choice: Choice, overlay: Overlay | None) -> list[dict[str, Any]]:
    """Series, cells and specimens for the tick boxes, what is chosen ticked."""
    chosen = {s.code for s in overlay.selection.specimens} if overlay else set(choice.specimens)
    return [
        {
            "series": series,
            "is_open": not overlay or any(set(c.specimens) & chosen for c in cells),
            "cells": [
                {"cell": c.cell, "specimens": [(code, code in chosen) for code in c.specimens]}
                for c in cells
            ],
        }
        for series, cells in overlay_offered(actor).items()
    ]


def _context(actor: Person, overlay: Overlay) -> dict[str, Any]:
    specimens = overlay.selection.specimens
    context: dict[str, Any] = {
        "figures": [
            {"number": place, "title": TITLES[name], "drawn": figure}
            for place, (name, figure) in enumerate(overlay.figures.items(), start=1)
        ],
        "has_cycles": bool({"stiffness", "energy"} & set(overlay.figures)),
        "metrics": overlay_metrics(overlay.selection),
        "metric": overlay.metric if "|" in overlay.metric else f"{overlay.metric}|",
        "over": OVER,
        "query": overlay.query,
        "units": units_name(actor.unit_system),
        "choice": [
            *(("cell", value) for value in overlay.choice.cells),
            *(("specimen", value) for value in overlay.choice.specimens),
            *(("record", value) for value in overlay.choice.records),
        ],
        "specimens": specimens,
        "cell_count": len({s.cell_id for s in specimens}),
        "series_codes": sorted({s.cell.series.code for s in specimens}),
        "default_metric": DEFAULT_METRIC,
    }
    if invented_of(specimens):
        context["invented_data_notice"] = True
    return context


class OverlayFigure(View):
    """A figure of a selection as SVG, PNG or its data."""

    def get(self, request: HttpRequest, figure: str, kind: str) -> HttpResponse:
        """The file; ``cycles=log`` for a logarithmic axis, ``units=us`` for US customary units."""
        actor = actor_of(request)
        choice, more = overlay_asked(request.GET)
        if choice.is_empty:
            raise ShapeError("overlay.nothing", NOTHING)
        overlay = overlay_get(actor=actor, choice=choice, **more)
        drawn = overlay.figures.get(figure)
        if drawn is None:
            raise NotFound("takeaway.no-figure", NO_FIGURE.format(figure=figure[:40]))
        return figure_file(
            request,
            {"payload": drawn.payload, "caption": drawn.caption},
            overlay_said(overlay, drawn, now()),
            kind,
            "overlay",
            figure,
            system=units_asked(request),
        )
