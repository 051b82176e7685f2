"""Any load cycle of a cyclic record by its number: its numbers and every row of it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views import View

from labmatrix.evidence.models import Record
from labmatrix.kernel.errors import ShapeError
from labmatrix.web.actor import actor_of
from results.api import whole_number
from results.budget_view import cycle_stiffness_said
from results.marked_curve import table_cycle_curve
from results.models import Reduction
from results.presenters import cycle_facts, cycle_table
from results.selectors.cycles import CyclePage, cycle_last, cycle_page
from results.selectors.record import record_get
from results.selectors.record_page import metric_list_at, subject_is_invented

NOT_THERE = "Load cycle {asked} was asked for and is not in the record; {nearest}."


class RecordCycle(View):
    """One load cycle, the one before and the one after."""

    def get(self, request: HttpRequest, record_id: str) -> HttpResponse:
        """The page; a number that is not there is said above the nearest one."""
        actor = actor_of(request)
        record = record_get(actor=actor, record_id=record_id)
        problem = ""
        try:
            asked = whole_number(request.GET.get("number"), argument="number")
        except ShapeError as error:
            asked, problem = None, error.message
        page = _nearest(record, asked or 1)
        context = _context(page, actor.unit_system) | {"record": record}
        if asked is not None and context["number"] != asked:
            problem = _not_there(asked, context["number"])
        context |= {"problem": problem, "asked": context["number"] if asked is None else asked}
        if subject_is_invented(record.subject):
            context["invented_data_notice"] = True
        return render(request, "results/record_cycle.html", context, status=400 if problem else 200)


def _nearest(record: Record, asked: int) -> CyclePage:
    """The cycle that was asked for, else the next one, else the last of all.

    Raises:
        NotFound: the record has no load cycles.
    """
    page = cycle_page(record=record, first=asked, at_most=2)
    last = None if page.rows else cycle_last(page.reduction)
    return page if last is None else cycle_page(record=record, first=last, at_most=2)


def _not_there(asked: int, number: int | None) -> str:
    if number is None:
        nearest = "it has no load cycle at all"
    elif number > asked:
        nearest = f"the next one is {number}"
    else:
        nearest = f"its last one is {number}"
    return NOT_THERE.format(asked=asked, nearest=nearest)


def _context(page: CyclePage, system: str) -> dict[str, Any]:
    reduction = page.reduction
    if not page.rows:
        return {"reduction": reduction, "number": None}
    row = page.rows[0]
    return {
        "reduction": reduction,
        "number": row["cycle"],
        "before": row["cycle"] - 1 if row["cycle"] > 1 else None,
        "after": page.rows[1]["cycle"] if len(page.rows) > 1 else None,
        "last": cycle_last(reduction),
        "facts": cycle_facts(page.columns, row),
        "is_whole": row["whole"],
        "budget": cycle_stiffness_said(reduction, row, system),
        "source": _source(reduction, row),
        "numbers": metric_list_at(reduction, row["cycle"]),
        "payload": table_cycle_curve(reduction, row),
        "table": cycle_table(row),
    }


def _source(reduction: Reduction, row: Mapping[str, Any]) -> dict[str, Any] | None:
    """The file that a cycle came from, and its rows there, counted from 0 behind the head."""
    names = reduction.settings.get("file_names")
    if not names or "file" not in row:
        return None
    name = names[row["file"]]
    firsts = {one["name"]: one["first_row"] for one in reduction.settings.get("files", ())}
    start = firsts.get(name, 0)
    files = json.loads(reduction.inputs)["files"]
    return {
        "name": name,
        "position": next(k for k, file in enumerate(files) if file["name"] == name),
        "first": row["valley_index"] - start,
        "last": row["next_valley_index"] - start,
        "part": row.get("part"),
    }
