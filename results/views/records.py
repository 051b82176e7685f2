"""Records: the list, the upload with its preview, the record's page, its files."""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import ExitStack
from datetime import datetime
from math import isfinite
from typing import Any

from django.core import signing
from django.core.paginator import Paginator
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views import View

from labmatrix.evidence.models import Blob
from labmatrix.evidence.reading.preview import Preview, preview
from labmatrix.evidence.services.blob import blob_open, blob_put, blob_storage
from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, ShapeError, UserError
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import NOT_YOURS, Action, allowed
from results.figures import marked_curve, marks_table
from results.forms import settings_of
from results.models import Metric, Reduction
from results.record_forms import ChannelFormSet, RecordForm, ReduceAgainForm
from results.selectors.record import current_reduction, record_get, record_list_visible
from results.services.methods import method_for
from results.services.record import Upload, channel_map_save, record_receive, record_reduce_again
from specimens.selectors.access import programme_roles, subject_get, subject_role

_SALT = "results.upload"
_HOURS = 12 * 3600


class RecordList(View):
    """What came in, newest first."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """A page of records."""
        records = record_list_visible(actor=actor_of(request))
        subject = request.GET.get("subject", "")
        if subject:
            records = records.filter(subject__code=subject)
        page = Paginator(records, 50).get_page(request.GET.get("page"))
        return render(request, "results/record_list.html", {"page": page, "subject": subject})


class RecordNew(View):
    """Upload in two steps: what came, then which column measures what."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The empty form."""
        actor_of(request)
        initial = {"subject": request.GET.get("subject", ""), "test": request.GET.get("test", "")}
        return _first_step(request, RecordForm(initial=initial))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Keep the files and show them, or with a map take the record in."""
        if "kept" in request.POST:
            return _second_step(request)
        form = RecordForm(request.POST, request.FILES)
        if not form.is_valid():
            return _first_step(request, form, status=400)
        try:
            return _look_or_receive(request, form)
        except UserError as error:
            form.add_error(None, error.message)
            return _first_step(request, form, status=error.status)


def _first_step(request: HttpRequest, form: RecordForm, status: int = 200) -> HttpResponse:
    return render(request, "results/record_new.html", {"form": form}, status=status)


def _asked(form: RecordForm) -> dict[str, Any]:
    data = form.cleaned_data
    measured = data["measured_at"]
    return {
        "subject_code": data["subject"].strip(),
        "test": data["test"],
        "settings": settings_of(data["settings"]),
        "cycle_offset": data["cycle_offset"] or 0,
        "measured_at": measured,
    }


def _look_or_receive(request: HttpRequest, form: RecordForm) -> HttpResponse:
    actor, asked = actor_of(request), _asked(form)
    subject_get(actor=actor, code=asked["subject_code"], action=Action.UPLOAD_RECORD)
    method_for(asked["test"]).settings.from_dict(asked["settings"])
    files = form.cleaned_data["uploaded"]
    if form.cleaned_data["channels"]:
        uploads = [Upload(file.name, file.file) for file in files]
        record = record_receive(
            actor=actor, uploads=uploads, channels=form.cleaned_data["channels"], now=now(), **asked
        )
        return redirect("results:record", record.id)
    blobs = [(file.name, blob_put(stream=file.file, now=now()).sha256) for file in files]
    looks = [(name, _look(sha256)) for name, sha256 in blobs]
    measured = asked["measured_at"]
    kept = {
        **asked,
        "measured_at": measured.isoformat() if measured else None,
        "files": blobs,
        "actor": str(actor.id),
    }
    formset = ChannelFormSet(prefix="c", initial=_guessed(looks))
    return _preview_page(request, signing.dumps(kept, salt=_SALT), looks, formset)


def _look(sha256: str) -> Preview:
    with blob_open(Blob(sha256=sha256)) as stream:
        return preview(stream)


def _guessed(looks: Sequence[tuple[str, Preview]]) -> list[dict[str, Any]]:
    return [
        {
            "file": name,
            "column": guess.column,
            "quantity": guess.quantity or "",
            "unit": guess.unit or "",
            "sign": guess.sign,
            "scale": 1.0,
            "zero": "0",
            "place": guess.place or "",
        }
        for name, look in looks
        for guess in look.guesses
    ]


def _preview_page(
    request: HttpRequest,
    kept: str,
    looks: Sequence[tuple[str, Preview]],
    formset: Any,
    problem: str = "",
) -> HttpResponse:
    columns = [column for _, look in looks for column in look.columns]
    guesses = [guess for _, look in looks for guess in look.guesses]
    context = {
        "kept": kept,
        "looks": [{"name": name, "look": look} for name, look in looks],
        "formset": formset,
        "lines": list(zip(formset, columns, guesses, strict=True)),
        "plots": [_plot(name, look, place) for place, (name, look) in enumerate(looks, start=1)],
        "problem": problem,
        "map_name": request.POST.get("map_name", ""),
    }
    status = 400 if problem else 200
    return render(request, "results/record_preview.html", context, status=status)


def _plot(name: str, look: Preview, number: int) -> dict[str, Any]:
    """Each column over the rows, scaled to its own range so that all can be seen at once."""
    traces: list[dict[str, Any]] = []
    for column in look.columns:
        low, high = column.minimum, column.maximum
        if low is None or high is None:
            continue
        span = (high - low) or 1.0
        y = [round((float(v) - low) / span, 5) if isfinite(v) else None for v in column.plot_values]
        label = f"{column.name.strip()} ({low:.4g} to {high:.4g} {column.unit or ''})".strip()
        traces.append(
            {
                "x": [int(row) for row in column.plot_rows],
                "y": y,
                "name": label,
                "meta": {"level": len(traces) % 7},
            }
        )
    layout = {
        "xaxis": {"title": {"text": "Row"}},
        "yaxis": {"title": {"text": "Share of each column's range (1)"}},
    }
    table = {
        "caption": f"Columns of {name}.",
        "columns": [
            {"label": "Column", "kind": "text"},
            {"label": "Unit", "kind": "text"},
            {"label": "Smallest"},
            {"label": "Largest"},
            {"label": "Missing rows", "digits": 12},
        ],
        "rows": [
            [c.name.strip(), c.unit or "", c.minimum, c.maximum, c.missing] for c in look.columns
        ],
    }
    return {
        "number": number,
        "name": name,
        "payload": {"data": traces, "layout": layout},
        "table": table,
    }


def _unsealed(request: HttpRequest) -> dict[str, Any]:
    """What the first step kept, if this person kept it today.

    Raises:
        ShapeError: ``record.upload-expired``.
    """
    try:
        kept: dict[str, Any] = signing.loads(request.POST["kept"], salt=_SALT, max_age=_HOURS)
    except signing.BadSignature as error:
        raise ShapeError(
            "record.upload-expired", "The upload was begun too long ago; choose the files again."
        ) from error
    if kept["actor"] != str(actor_of(request).id):
        raise NotFound("access.not-yours", NOT_YOURS)
    return kept


def _second_step(request: HttpRequest) -> HttpResponse:
    kept = _unsealed(request)
    formset = ChannelFormSet(request.POST, prefix="c")
    looks = [(name, _look(sha256)) for name, sha256 in kept["files"]]
    if not formset.is_valid():
        return _preview_page(request, request.POST["kept"], looks, formset, "A field is not right.")
    several = len(kept["files"]) > 1
    entries = [e for form in formset if (e := form.entry(several_files=several)) is not None]
    try:
        record_id = _received(request, kept, entries)
    except UserError as error:
        return _preview_page(request, request.POST["kept"], looks, formset, error.message)
    return redirect("results:record", record_id)


def _received(request: HttpRequest, kept: dict[str, Any], entries: list[dict[str, Any]]) -> Any:
    actor, at = actor_of(request), now()
    channels: Any = entries
    if map_name := request.POST.get("map_name", "").strip():
        channels = channel_map_save(actor=actor, name=map_name, entries=entries, now=at).name
    measured = kept["measured_at"]
    with ExitStack() as stack:
        uploads = [
            Upload(name, stack.enter_context(blob_open(Blob(sha256=sha256))))
            for name, sha256 in kept["files"]
        ]
        record = record_receive(
            actor=actor,
            subject_code=kept["subject_code"],
            test=kept["test"],
            uploads=uploads,
            channels=channels,
            settings=kept["settings"],
            cycle_offset=kept["cycle_offset"],
            measured_at=datetime.fromisoformat(measured) if measured else None,
            now=at,
        )
    return record.id


class RecordPage(View):
    """One record: how far it is, what was met, its numbers and its curve."""

    def get(self, request: HttpRequest, record_id: str) -> HttpResponse:
        """The page."""
        return _record_page(request, record_id, None)

    def post(self, request: HttpRequest, record_id: str) -> HttpResponse:
        """Reduce again with other settings."""
        actor = actor_of(request)
        record = record_get(actor=actor, record_id=record_id)
        form = ReduceAgainForm(request.POST)
        if not form.is_valid():
            return _record_page(request, record_id, form, status=400)
        try:
            record_reduce_again(
                actor=actor,
                record=record,
                settings=settings_of(form.cleaned_data["settings"]),
                why=form.cleaned_data["why"],
                now=now(),
            )
        except UserError as error:
            form.add_error(None, error.message)
            return _record_page(request, record_id, form, status=error.status)
        return redirect("results:record", record_id)


def _record_page(
    request: HttpRequest, record_id: str, form: ReduceAgainForm | None, status: int = 200
) -> HttpResponse:

    actor = actor_of(request)
    record = record_get(actor=actor, record_id=record_id)
    reduction = current_reduction(record)
    role = subject_role(record.subject, programme_roles(actor), actor)
    if form is None and allowed(role, Action.ASK_REDUCTION):
        text = json.dumps(record.settings, indent=1) if record.settings else ""
        form = ReduceAgainForm(initial={"settings": text})
    context: dict[str, Any] = {
        "record": record,
        "files": record.files.select_related("blob").order_by("position"),
        "reduction": reduction,
        "metrics": Metric.objects.filter(reduction=reduction) if reduction else [],
        "history": Reduction.objects.filter(record=record).order_by("-reduced_at"),
        "is_working": record.status in ("received", "reading", "reducing"),
        "form": form if allowed(role, Action.ASK_REDUCTION) else None,
    }
    if reduction:
        context["payload"] = marked_curve(reduction)
        context["table"] = marks_table(reduction)
    return render(request, "results/record.html", context, status=status)


class RecordFileDownload(View):
    """A raw file, byte for byte as it came."""

    def get(self, request: HttpRequest, record_id: str, position: int) -> FileResponse:
        """The bytes, as a download that no browser runs."""
        record = record_get(actor=actor_of(request), record_id=record_id)
        file = record.files.filter(position=position).select_related("blob").first()
        if file is None:
            raise NotFound("access.not-yours", NOT_YOURS)
        stored = blob_storage().open(file.blob.path, "rb")
        response = FileResponse(stored, as_attachment=True, filename=file.name)
        response["Content-Type"] = "application/octet-stream"
        return response
