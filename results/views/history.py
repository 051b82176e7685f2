"""Pages on which years of finished specimens are taken in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, UserError
from labmatrix.matrix.selectors.programme import programme_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from results.domain.history.places import rows_said
from results.history_template import template_workbook
from results.models import HistoryImport
from results.selectors.history import WORKING, history_as_dict, history_get, history_list
from results.services.history import history_receive, history_take
from results.services.history_beside import DIFFERS, NEW, THERE

_PARTS = (
    (DIFFERS, "Not the same as what is there", ""),
    (NEW, "New, row by row", ""),
    (THERE, "There already, row by row", "These rows change nothing."),
)
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class HistoryForm(forms.Form):
    """The file."""

    file = forms.FileField(
        label="Workbook",
        help_text="XLSX, or one of its sheets as CSV; at most 20 MiB.",
        error_messages={"required": "Choose the file.", "empty": "The file is empty."},
    )


class HistoryPage(View):
    """Send a workbook for a programme, and see those that were sent."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The form and the list."""
        return self._page(request, code, HistoryForm())

    def post(self, request: HttpRequest, code: str) -> HttpResponse:
        """Keep the file and have it looked at."""
        actor = actor_of(request)
        programme = programme_get(actor, code, Action.TAKE_HISTORY)
        form = HistoryForm(request.POST, request.FILES)
        if not form.is_valid():
            return self._page(request, code, form, status=400)
        sent = form.cleaned_data["file"]
        try:
            source = history_receive(
                actor=actor, programme=programme, filename=sent.name, stream=sent.file, now=now()
            )
        except NotFound:
            raise
        except UserError as error:
            form.add_error("file", error.message)
            return self._page(request, code, form, status=error.status)
        return redirect("results:history-import", source.pk)

    def _page(
        self, request: HttpRequest, code: str, form: HistoryForm, status: int = 200
    ) -> HttpResponse:
        programme = programme_get(actor_of(request), code, Action.TAKE_HISTORY)
        context = {"programme": programme, "form": form, "imports": history_list(programme)[:50]}
        return render(request, "results/history.html", context, status=status)


class HistoryTemplate(View):
    """The workbook to fill in."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """As a file."""
        programme_get(actor_of(request), code, Action.TAKE_HISTORY)
        answer = HttpResponse(template_workbook(), content_type=XLSX)
        answer["Content-Disposition"] = 'attachment; filename="finished-specimens.xlsx"'
        return answer


class HistoryImportPage(View):
    """One workbook: what it would add, or what is wrong in it, row by row."""

    def get(self, request: HttpRequest, import_id: UUID) -> HttpResponse:
        """The page."""
        return self._page(request, import_id)

    def post(self, request: HttpRequest, import_id: UUID) -> HttpResponse:
        """Take it in."""
        actor = actor_of(request)
        source = history_get(actor=actor, import_id=import_id)
        try:
            history_take(actor=actor, source=source, now=now())
        except NotFound:
            raise
        except UserError as error:
            return self._page(request, import_id, problem=error.message, status=error.status)
        return redirect("results:history-import", import_id)

    def _page(
        self, request: HttpRequest, import_id: UUID, problem: str = "", status: int = 200
    ) -> HttpResponse:
        source = history_get(actor=actor_of(request), import_id=import_id)
        error = source.error or {}
        problems = error.get("facts", {}).get("rows", ())
        context = {
            "source": source,
            "programme": source.programme,
            "is_working": source.status in WORKING,
            "may_take": source.status == HistoryImport.Status.CHECKED,
            "adds": any(source.summary.get("new", {}).values()),
            "told": history_as_dict(source),
            "parts": _parts(source),
            "problems": problems,
            "grouped": _grouped(problems),
            "problem": problem,
            "error": error,
        }
        return render(request, "results/history_import.html", context, status=status)


def _grouped(problems: Sequence[Mapping[str, Any]]) -> list[dict[str, str]]:
    """What is wrong, each thing once with all of its rows, in the order of the workbook."""
    rows: dict[tuple[str, str, str], list[int]] = {}
    for one in problems:
        rows.setdefault((one["sheet"], one["column"], one["words"]), []).append(one["row"])
    return [
        {"sheet": sheet, "rows": rows_said(numbers), "column": column, "words": _sentence(words)}
        for (sheet, column, words), numbers in rows.items()
    ]


def _sentence(words: str) -> str:
    """With a capital, unless it begins with a unit or a name."""
    first = words.partition(" ")[0]
    return words[:1].upper() + words[1:] if first in ("it", "the", "a", "column") else words


def _parts(source: HistoryImport) -> list[dict[str, Any]]:
    """The rows by what they are: those that differ from what is there come first."""
    rows, counts = source.summary.get("rows", ()), source.summary.get("row_counts", {})
    found = []
    for what, title, about in _PARTS:
        own = [row for row in rows if row["what"] == what]
        if own:
            found.append({"title": title, "about": about, "rows": own, "count": counts[what]})
    return found


class HistoryState(View):
    """How far it is, for the page."""

    def get(self, request: HttpRequest, import_id: UUID) -> JsonResponse:
        """The same as the API."""
        return JsonResponse(
            history_as_dict(history_get(actor=actor_of(request), import_id=import_id))
        )
