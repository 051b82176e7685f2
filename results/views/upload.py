"""From files to a record in two steps: what came, then which column measures what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from datetime import datetime
from typing import Any

from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views import View

from labmatrix.evidence.models import Blob, Record
from labmatrix.evidence.services.blob import blob_open, blob_put
from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, ShapeError, UserError
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import NOT_YOURS, Action
from results.forms import settings_of
from results.record_forms import ChannelFormSet, RecordForm, channel_entries
from results.selectors.record_page import channel_map_list_fitting, may_upload
from results.services.methods import method_for
from results.services.record import Upload, channel_map_save, record_receive
from results.views.channels import (
    NOT_RIGHT,
    Look,
    belongs_to,
    columns_of,
    guessed,
    look_at,
    mapped,
    preview_page,
)
from specimens.selectors.access import subject_get

_SALT = "results.upload"
_HOURS = 12 * 3600
EXPIRED = "The upload was begun more than twelve hours ago, or it was changed on its way; choose \
the files again."


class RecordNew(View):
    """Upload: the form, the look at the files, the record."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The empty form."""
        if not may_upload(actor_of(request)):
            raise NotFound("access.not-yours", NOT_YOURS)
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


def _first_step(
    request: HttpRequest, form: RecordForm, status: int = 200, problem: str = ""
) -> HttpResponse:
    context = {"form": form, "problem": problem}
    return render(request, "results/record_new.html", context, status=status)


def _asked(form: RecordForm) -> dict[str, Any]:
    data = form.cleaned_data
    return {
        "subject_code": data["subject"].strip(),
        "test": data["test"],
        "settings": settings_of(data["settings"]) | _named(data["reduction"]),
        "cycle_offset": data["cycle_offset"] or 0,
        "measured_at": data["measured_at"],
    }


def _named(reduction: str) -> dict[str, str]:
    return {"reduction": reduction} if reduction else {}


def _look_or_receive(request: HttpRequest, form: RecordForm) -> HttpResponse:
    actor, asked = actor_of(request), _asked(form)
    subject_get(actor=actor, code=asked["subject_code"], action=Action.UPLOAD_RECORD)
    method_for(asked["test"], asked["settings"]).settings.from_dict(asked["settings"])
    files = form.cleaned_data["uploaded"]
    if form.cleaned_data["channels"]:
        uploads = [Upload(file.name, file.file) for file in files]
        record = record_receive(
            actor=actor, uploads=uploads, channels=form.cleaned_data["channels"], now=now(), **asked
        )
        return redirect("results:record", record.id)
    blobs = [(file.name, blob_put(stream=file.file, now=now()).sha256) for file in files]
    looks = look_at(blobs)
    measured = asked["measured_at"]
    kept = {
        **asked,
        "measured_at": measured.isoformat() if measured else None,
        "files": blobs,
        "actor": str(actor.id),
    }
    return _proposed(request, kept, looks)


def _proposed(request: HttpRequest, kept: dict[str, Any], looks: Sequence[Look]) -> HttpResponse:
    """The columns with the map that was saved for such files, else with what each probably is."""
    fitting = channel_map_list_fitting(columns_of(looks))
    if not fitting:
        return _preview(request, kept, looks, ChannelFormSet(prefix="c", initial=guessed(looks)))
    chosen, *others = fitting
    formset = ChannelFormSet(prefix="c", initial=mapped(looks, chosen.entries))
    offered = {
        "filled_from": chosen,
        "fitting_too": [saved.name for saved in others],
        "map_name": chosen.name,
    }
    return _preview(request, kept, looks, formset, offered=offered)


def _preview(
    request: HttpRequest,
    kept: dict[str, Any],
    looks: Sequence[Look],
    formset: Any,
    problem: str = "",
    *,
    offered: Mapping[str, Any] | None = None,
) -> HttpResponse:
    measured = kept["measured_at"]
    more = {
        "kept": signing.dumps(kept, salt=_SALT, compress=True),
        "asked": kept | {"measured_at": datetime.fromisoformat(measured) if measured else None},
        **(offered or {}),
    }
    return preview_page(request, looks, formset, more, problem=problem)


def _unsealed(request: HttpRequest) -> dict[str, Any]:
    """What the first step kept, if this person kept it today.

    Raises:
        NotFound: someone else kept it.
        ShapeError: ``record.upload-expired``.
    """
    try:
        kept: dict[str, Any] = signing.loads(request.POST["kept"], salt=_SALT, max_age=_HOURS)
    except signing.BadSignature as error:
        raise ShapeError("record.upload-expired", EXPIRED) from error
    if kept["actor"] != str(actor_of(request).id):
        raise NotFound("access.not-yours", NOT_YOURS)
    return kept


def _second_step(request: HttpRequest) -> HttpResponse:
    try:
        kept = _unsealed(request)
    except ShapeError as error:
        return _first_step(request, RecordForm(), status=error.status, problem=error.message)
    formset = ChannelFormSet(request.POST, prefix="c")
    if not formset.is_valid():
        return _problem(request, kept, formset, NOT_RIGHT)
    try:
        record = _received(request, kept, channel_entries(formset))
    except UserError as error:
        return _problem(request, kept, formset, error.message)
    return redirect("results:record", record.id)


def _problem(
    request: HttpRequest, kept: dict[str, Any], formset: Any, problem: str
) -> HttpResponse:
    """The same page again with its fields as they were, and what was wrong; 400."""
    looks = look_at(kept["files"])
    if not belongs_to(formset, looks):
        formset, problem = ChannelFormSet(prefix="c", initial=guessed(looks)), EXPIRED
    return _preview(request, kept, looks, formset, problem)


def _received(request: HttpRequest, kept: dict[str, Any], entries: list[dict[str, Any]]) -> Record:
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
        return record_receive(
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
