"""Records: the list, the record's page, its files."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views import View

from labmatrix.evidence.models import TESTS, Blob, Record
from labmatrix.evidence.services.blob import blob_stream
from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, UserError
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import NOT_YOURS, Action, allowed
from results.marked_curve import curve_caption, marked_curve, marks_table, stiffness_curve
from results.models import Metric, Reduction
from results.presenters import (
    channel_rows,
    cycles_table,
    history_rows,
    in_order,
    words_of,
)
from results.record_forms import ReduceAgainForm
from results.reversed_figures import reversed_test
from results.selectors.record import current_reduction, record_get, reduction_get
from results.selectors.record_page import (
    RecordFilter,
    may_upload,
    record_list_ids,
    record_list_page,
    reduction_list_of,
    subject_is_invented,
)
from results.selectors.work import WORKING, record_list_work, record_work
from results.services.inputs import inputs_changed, specimen_of
from results.services.methods import method_for, methods_of
from results.services.record import record_reduce_again
from results.services.stale import may_ask_stale
from specimens.selectors.access import programme_roles, subject_role
from specimens.selectors.event import people_names

ROWS_ON_A_PAGE = 50


class RecordList(View):
    """What came in, newest first."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """A page of records."""
        actor = actor_of(request)
        asked = {name: request.GET.get(name, "") for name in ("subject", "test", "status")}
        ids = record_list_ids(actor=actor, wanted=RecordFilter(**asked))
        page = Paginator(ids, ROWS_ON_A_PAGE).get_page(request.GET.get("page"))
        records = record_list_page(list(page.object_list))
        working = [record.pk for record in records if record.status in WORKING]
        context = {
            "page": page,
            "records": records,
            "work": record_list_work(actor=actor, ids=working),
            "work_url": _work_url(working),
            "wanted": asked,
            "query": urlencode({name: value for name, value in asked.items() if value}),
            "tests": TESTS,
            "statuses": Record.Status.values,
            "may_upload": may_upload(actor),
            "may_ask_stale": may_ask_stale(actor),
        }
        return render(request, "results/record_list.html", context)


def _work_url(ids: Sequence[UUID]) -> str:
    """Where the page asks how far these records are."""
    query = urlencode({"id": [str(one) for one in ids]}, doseq=True)
    return f"{reverse('results:record-list-work')}?{query}"


class RecordPage(View):
    """One record: how far it is, what was met, its numbers and its curve."""

    def get(self, request: HttpRequest, record_id: str) -> HttpResponse:
        """The page."""
        record = record_get(actor=actor_of(request), record_id=record_id)
        return self._page(request, record, _reduce_form(record, request.GET.get("reduction", "")))

    def post(self, request: HttpRequest, record_id: str) -> HttpResponse:
        """Reduce again with other settings."""
        actor = actor_of(request)
        record = record_get(actor=actor, record_id=record_id, action=Action.ASK_REDUCTION)
        form = _reduce_form(record, request.POST.get("reduction", ""), request.POST)
        if not form.is_valid():
            return self._page(request, record, form, status=400)
        try:
            record_reduce_again(
                actor=actor,
                record=record,
                settings=form.settings(),
                why=form.cleaned_data["why"],
                now=now(),
            )
        except UserError as error:
            form.add_error(None, error.message)
            return self._page(request, record, form, status=error.status)
        return redirect("results:record", record_id)

    def _page(
        self, request: HttpRequest, record: Record, form: ReduceAgainForm, status: int = 200
    ) -> HttpResponse:
        actor = actor_of(request)
        reduction = current_reduction(record)
        role = subject_role(record.subject, programme_roles(actor), actor)
        history = reduction_list_of(record)
        context: dict[str, Any] = {
            "record": record,
            "specimen": specimen_of(record),
            "received_by": people_names([record.received_by]).get(record.received_by),
            "files": record.files.select_related("blob").order_by("position"),
            "channels": channel_rows(record.channel_map["entries"]),
            "reduction": reduction,
            "history": history_rows(history),
            "is_working": record.status in WORKING,
            "work": record_work(record),
            "form": form if allowed(role, Action.ASK_REDUCTION) else None,
        }
        if reduction:
            context |= _numbers(reduction)
            context["inputs_changed"] = inputs_changed(record, json.loads(reduction.inputs))
        if subject_is_invented(record.subject):
            context["invented_data_notice"] = True
        return render(request, "results/record.html", context, status=status)


def _reduce_form(record: Record, asked: str, data: Any = None) -> ReduceAgainForm:
    """The form of the reduction that is asked for, else of the one that the record has."""
    there = [method.name for method in methods_of(record.test)]
    present = method_for(record.test, record.settings).name
    name = asked if asked in there else present
    settings = record.settings if name == present else {}
    words = method_for(record.test, {"reduction": name}).settings.describe()
    return ReduceAgainForm(words, settings, data, reduction=name, usual=there)


def _numbers(reduction: Reduction) -> dict[str, Any]:
    metrics = in_order(Metric.objects.filter(reduction=reduction))
    cycled = reduction.record if reduction.name == "cyclic" else None
    return {
        "number_count": len(metrics),
        "metrics": [(m, words_of(m.name)) for m in metrics if m.at is None],
        "cycles": cycles_table(metrics, cycled),
        "payload": marked_curve(reduction),
        "table": marks_table(reduction),
        "figure_caption": curve_caption(reduction),
        "summaries": reduction.curve.get("summaries", ()),
        "stiffness": stiffness_curve(metrics, cycled),
        "reversed": reversed_test(reduction, metrics),
    }


class RecordFileDownload(View):
    """A raw file, byte for byte as it came."""

    def get(self, request: HttpRequest, record_id: str, position: int) -> FileResponse:
        """The bytes, as a download that no browser runs."""
        record = record_get(actor=actor_of(request), record_id=record_id)
        file = record.files.filter(position=position).select_related("blob").first()
        if file is None:
            raise NotFound("access.not-yours", NOT_YOURS)
        return _download(file.blob, file.name)


class RecordTable(View):
    """The table behind a record's numbers: every load cycle, or the envelope."""

    def get(self, request: HttpRequest, record_id: str) -> FileResponse:
        """The table of the current reduction, as Parquet."""
        record = record_get(actor=actor_of(request), record_id=record_id)
        reduction = reduction_get(record=record)
        if reduction.table is None:
            raise NotFound("access.not-yours", NOT_YOURS)
        name = f"{record.subject.code}-{reduction.name}-{reduction.key[:12]}.parquet"
        return _download(reduction.table, name)


def _download(blob: Blob, name: str) -> FileResponse:
    response = FileResponse(blob_stream(blob), as_attachment=True, filename=name)
    response["Content-Type"] = "application/octet-stream"
    return response
