"""Tables and figures of a comparison or a release as files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, ShapeError
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import NOT_YOURS, Action
from labmatrix.web.domain.unit_systems import SI, US_CUSTOMARY
from labmatrix.web.figure_units import payload_shown
from results.api import whole_number
from results.release_tables import imported_said, release_tables, version_said
from results.selectors.comparison import Comparison, comparison_get
from results.selectors.metric_choice import DEFAULT_METRIC
from results.selectors.release import release_as_seen, release_get
from results.selectors.snapshot import figure_list
from results.selectors.takeaway import (
    INVENTED_SAID,
    cell_comparison,
    cell_tables,
    comparison_tables,
    origin_said,
)
from results.takeaway.figures import FIGURE_TYPES, figure_as
from results.takeaway.tables import TABLE_TYPES, table_as
from results.takeaway.wording import file_name

NO_TABLE = "A table was asked for as {given!r}; allowed are {allowed}."
SCALE = "cycles is {given!r}; allowed are linear and log."
UNITS = "units is {given!r}; allowed are si and us."
SYSTEMS = {"si": SI, "us": US_CUSTOMARY}


def _comparison(request: HttpRequest, code: str) -> Comparison:
    """The comparison that the address asks for, as the page's links do.

    Raises:
        NotFound: the series is not there or not the person's.
        ShapeError: an unknown choice.
    """
    query = request.GET
    series = series_get(actor_of(request), code, Action.SEE_WORK)
    metric, _, method = query.get("metric", DEFAULT_METRIC).partition("|")
    return comparison_get(
        series=series,
        metric=metric,
        method=method or query.get("method", ""),
        control=query.get("control", "gain"),
        include=query.get("include", "judged"),
        imported=query.get("imported", "with"),
        at=whole_number(query.get("at"), argument="at"),
    )


def _chosen(
    tables: Mapping[str, Mapping[str, Any]], given: str | None
) -> Mapping[str, Mapping[str, Any]]:
    """The one table that is named, or all.

    Raises:
        ShapeError: ``takeaway.table``.
    """
    if given is None:
        return tables
    if given not in tables:
        words = NO_TABLE.format(given=given, allowed=", ".join(tables))
        raise ShapeError("takeaway.table", words, allowed=list(tables))
    return {given: tables[given]}


def file_answer(content: bytes, content_type: str, name: str) -> HttpResponse:
    """The answer that a browser saves under a name."""
    response = HttpResponse(content, content_type=content_type)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def units_name(system: str) -> str:
    """How an address says a unit system: si or us."""
    return next(name for name, known in SYSTEMS.items() if known == system)


def units_asked(request: HttpRequest, usual: str = "si") -> str:
    """The unit system that an address asks for; SI, or another usual one, where it says nothing.

    Raises:
        ShapeError: ``takeaway.units``.
    """
    given = request.GET.get("units", usual)
    if given not in SYSTEMS:
        raise ShapeError("takeaway.units", UNITS.format(given=given), allowed=list(SYSTEMS))
    return SYSTEMS[given]


def figure_file(
    request: HttpRequest,
    figure: Mapping[str, Any],
    footer: Sequence[str],
    kind: str,
    *name: str,
    system: str = SI,
) -> HttpResponse:
    """A figure as SVG, PNG or its data; ``cycles`` in the address names the scale.

    Args:
        request: the person's.
        figure: its payload in base units and its caption.
        footer: lines below it.
        kind: of the file.
        name: parts of the file's name.
        system: in whose units it is drawn.

    Raises:
        ShapeError: ``takeaway.scale`` or ``takeaway.format``.
    """
    scale = request.GET.get("cycles", "linear")
    if scale not in ("linear", "log"):
        raise ShapeError("takeaway.scale", SCALE.format(given=scale), allowed=["linear", "log"])
    content = figure_as(
        kind,
        payload_shown(figure["payload"], system),
        caption=figure["caption"],
        footer=footer,
        logarithmic=scale == "log" and figure["payload"]["kind"] == "cycles",
    )
    return file_answer(content, FIGURE_TYPES[kind], file_name(*name, ending=kind))


class ComparisonTable(View):
    """The tables of a comparison as CSV, XLSX or LaTeX."""

    def get(self, request: HttpRequest, code: str, kind: str) -> HttpResponse:
        """The file; ``table`` chooses one of its tables."""
        comparison = _comparison(request, code)
        tables = _chosen(comparison_tables(comparison), request.GET.get("table"))
        said = origin_said(comparison, now())
        content = table_as(kind, tables, said, units_asked(request))
        name = file_name(code, comparison.metric, "comparison", ending=kind)
        return file_answer(content, TABLE_TYPES[kind], name)


class CellTable(View):
    """One cell's numbers: its row of the comparison and the specimens behind it, as XLSX."""

    def get(self, request: HttpRequest, code: str, cell: str) -> HttpResponse:
        """The file; the number is chosen as in the comparison, units are the person's own."""
        comparison = cell_comparison(_comparison(request, code), cell)
        said = origin_said(comparison, now())
        system = units_asked(request, usual=units_name(actor_of(request).unit_system))
        content = table_as("xlsx", cell_tables(comparison), said, system)
        name = file_name(code, cell, comparison.metric, ending="xlsx")
        return file_answer(content, TABLE_TYPES["xlsx"], name)


class ComparisonFigure(View):
    """A figure of a comparison as SVG, PNG or its data."""

    figure = "load-deflection"

    def get(self, request: HttpRequest, code: str, kind: str) -> HttpResponse:
        """The file; ``cycles=log`` for a logarithmic axis, ``units=us`` for US customary units."""
        comparison = _comparison(request, code)
        drawn = figure_list(comparison.series, set(comparison.kept)).get(self.figure)
        if drawn is None:
            words = f"No specimen of {code} has a curve for the figure {self.figure} yet."
            raise NotFound("takeaway.no-figure", words)
        said = origin_said(comparison, now(), n=drawn["n"])
        return figure_file(
            request, drawn, said, kind, code, self.figure, system=units_asked(request)
        )


def _release_said(seen: Mapping[str, Any], n: int | None = None) -> list[str]:
    """What stands at the foot of a released file."""
    counts = [group["n"] for r in seen["results"][:1] for group in r["comparison"]["groups"]]
    lines = [
        f"n = {sum(counts) if n is None else n} specimens.",
        *imported_said(seen),
        f"{seen['series']}: {version_said(seen)} {seen['scope']}",
        f"Strongfloor {seen['software']}; SHA-256 of the release {seen['sha256']}.",
    ]
    return [*lines, *([INVENTED_SAID] if seen["is_invented"] else [])]


class ReleaseTable(View):
    """The tables of a release as CSV, XLSX or LaTeX."""

    def get(self, request: HttpRequest, release_id: str, kind: str) -> HttpResponse:
        """The file; ``table`` chooses one of its tables."""
        release, role = release_get(actor_of(request), release_id)
        seen = release_as_seen(release, role)
        tables = _chosen(release_tables(seen), request.GET.get("table"))
        content = table_as(kind, tables, _release_said(seen), units_asked(request))
        name = file_name(seen["series"], f"version-{seen['version']}", ending=kind)
        return file_answer(content, TABLE_TYPES[kind], name)


class ReleaseFigure(View):
    """A figure of a release as SVG, PNG or its data."""

    figure = "load-deflection"

    def get(self, request: HttpRequest, release_id: str, kind: str) -> HttpResponse:
        """The file; ``cycles=log`` for a logarithmic axis, ``units=us`` for US customary units."""
        release, role = release_get(actor_of(request), release_id)
        seen = release_as_seen(release, role)
        drawn = seen["figures"].get(self.figure)
        if drawn is None:
            raise NotFound("access.not-yours", NOT_YOURS)
        said = _release_said(seen, n=drawn["n"])
        name = (seen["series"], f"version-{seen['version']}", self.figure)
        return figure_file(request, drawn, said, kind, *name, system=units_asked(request))
