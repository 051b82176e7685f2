"""Pages on which events are logged, corrected, struck, and deviations judged."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from labmatrix.evidence.models import Blob, Subject
from labmatrix.evidence.services.blob import blob_put, blob_storage
from labmatrix.kernel.clock import iso, now
from labmatrix.kernel.errors import NotFound, ShapeError, UserError
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import NOT_YOURS, Action
from labmatrix.web.models import Person
from labmatrix.web.refused import refuse, sent, status_shown
from specimens.domain.catalogue import LOCATION_KINDS, LOT_KINDS, MACHINE_KINDS
from specimens.domain.kinds import CAUTION_OF, GROUPS, INCIDENT_WORDS, kind_about, kind_words
from specimens.forms import EventForm, JudgeForm, StrikeForm, event_initial, picture_type
from specimens.models import Deviation, Event
from specimens.selectors.access import specimen_get, subject_get
from specimens.selectors.event import event_get, machine_codes, reason_id
from specimens.selectors.specimen import specimen_of_subject
from specimens.services.event import Answer, event_foresee, events_receive
from specimens.services.event_id import event_id_new
from specimens.services.event_parse import event_parse

REPLACED_NOTE = "Why the entry “{kind}” was replaced: {why}"


def kinds_for(subject: Subject) -> list[dict[str, Any]]:
    """The kinds that can be logged on a subject, in groups, each with its sentence."""
    allowed = {
        Subject.Kind.MACHINE: MACHINE_KINDS,
        Subject.Kind.LOCATION: LOCATION_KINDS,
        Subject.Kind.LOT: LOT_KINDS,
    }
    only = allowed.get(Subject.Kind(subject.kind))
    groups = []
    for title, kinds in GROUPS.items():
        offered = [
            {"kind": kind, "words": kind_words(kind), "about": kind_about(kind)}
            for kind in kinds
            if only is None or kind in only
        ]
        if offered:
            groups.append({"title": title, "kinds": offered})
    return groups


def page_of_subject(subject: Subject) -> str:
    """Address of the page about a subject."""
    if subject.kind == Subject.Kind.MACHINE:
        return reverse("conditioning:machine-detail", args=[subject.code])
    if subject.kind == Subject.Kind.LOT:
        return reverse("results:lot", args=[subject.code])
    specimen = specimen_of_subject(subject)
    if specimen is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    return reverse("specimens:specimen-detail", args=[specimen.code])


@require_GET
def event_choose(request: HttpRequest, code: str) -> HttpResponse:
    """Choose what to log."""
    subject = subject_get(actor=actor_of(request), code=code, action=Action.LOG_EVENT)
    context = {
        "subject": subject,
        "groups": kinds_for(subject),
        "back": page_of_subject(subject),
        "incident_words": INCIDENT_WORDS,
    }
    return render(request, "specimens/event_choose.html", context)


def event_log(request: HttpRequest, code: str, kind: str) -> HttpResponse:
    """Log one event of a kind."""
    actor = actor_of(request)
    subject = subject_get(actor=actor, code=code, action=Action.LOG_EVENT)
    offered = {entry["kind"] for group in kinds_for(subject) for entry in group["kinds"]}
    if kind not in offered:
        raise NotFound("access.not-yours", NOT_YOURS)
    return _event_form(request, actor, subject, kind, None)


def event_correct(request: HttpRequest, code: str, event_id: uuid.UUID) -> HttpResponse:
    """Put another entry of the same kind in the place of a wrong one."""
    actor = actor_of(request)
    event = _event_of(actor, code, event_id)
    if event.kind in ("corrected", "judged"):
        raise NotFound("access.not-yours", NOT_YOURS)
    return _event_form(request, actor, event.subject, event.kind, event)


def _event_of(actor: Person, code: str, event_id: uuid.UUID) -> Event:
    event = event_get(actor=actor, event_id=event_id, action=Action.LOG_EVENT)
    if event.kind == "judged":  # who may not judge may not take a judgement back
        subject_get(actor=actor, code=code, action=Action.JUDGE)
    if event.subject.code != code:
        raise NotFound("access.not-yours", NOT_YOURS)
    return event


def _event_form(
    request: HttpRequest, actor: Person, subject: Subject, kind: str, replaced: Event | None
) -> HttpResponse:
    instant = now()
    initial: dict[str, Any] = {"event_id": event_id_new(instant), "occurred_at": instant}
    if subject.kind == Subject.Kind.MACHINE:
        initial["machine"] = subject.code
    if replaced is not None:
        initial.update(event_initial(kind, replaced.payload), occurred_at=replaced.occurred_at)
    sent = (request.POST, request.FILES) if request.method == "POST" else (None, None)
    form = EventForm(kind, *sent, initial=initial, replaces=replaced is not None)
    warning = None
    if request.method == "POST" and form.is_valid():
        raws = _raws(form, subject, replaced, _picture_kept(form))
        try:
            warning = _foreseen(actor, subject, raws[0])
            if warning is None or warning == form.cleaned_data["seen"]:
                answer = events_receive(actor=actor, raws=raws, now=instant)[0]
                return _answered(request, subject, kind, answer)
            again = request.POST.copy()
            again["seen"] = warning
            form = EventForm(kind, again, initial=initial, replaces=replaced is not None)
        except UserError as error:
            refuse(form, error)
    context = {
        "form": form,
        "subject": subject,
        "kind": kind,
        "words": kind_words(kind),
        "about": kind_about(kind),
        "caution_kind": CAUTION_OF.get(kind),
        "warning": warning,
        "replaced": replaced,
        "machines": machine_codes() if "machine" in form.fields else [],
        "back": page_of_subject(subject),
        "incident_words": INCIDENT_WORDS if kind == "incident" else "",
    }
    status = 200 if warning else status_shown(request, form)
    return render(request, "specimens/event_log.html", context, status=status)


def _picture_kept(form: EventForm) -> str:
    picture = form.cleaned_data.get("picture")
    return blob_put(stream=picture, now=now()).sha256 if picture else ""


def _raws(
    form: EventForm, subject: Subject, replaced: Event | None, blob: str
) -> list[dict[str, Any]]:
    """The event, and for a replacement the note that says why."""
    data = form.cleaned_data
    event_id = str(data["event_id"])
    raw: dict[str, Any] = {
        "id": event_id,
        "subject": subject.code,
        "kind": form.kind,
        "occurred_at": iso(data["occurred_at"]),
        "payload": form.payload(blob),
    }
    if replaced is None:
        return [raw]
    text = REPLACED_NOTE.format(kind=kind_words(form.kind), why=data["why"])
    note = {
        "id": reason_id(event_id),
        "subject": subject.code,
        "kind": "note",
        "occurred_at": iso(data["occurred_at"]),
        "payload": {"text": text},
    }
    return [{**raw, "corrects": str(replaced.pk)}, note]


def _foreseen(actor: Person, subject: Subject, raw: Mapping[str, Any]) -> str | None:
    """The sentence of the rule that the event would break; None when it fits."""
    _, fact = event_parse(raw, actor=actor, skew_seconds=0.0)
    if subject.kind != Subject.Kind.SPECIMEN or Event.objects.filter(pk=fact.id).exists():
        return None
    specimen = specimen_of_subject(subject)
    return event_foresee(specimen=specimen, fact=fact) if specimen else None


def _answered(request: HttpRequest, subject: Subject, kind: str, answer: Answer) -> HttpResponse:
    """Back to the subject's page with what became of the event.

    Raises:
        ShapeError: it was rejected; nothing was stored.
    """
    sentence = str(answer.error["message"]) if answer.error else ""
    if answer.answer == "rejected":
        raise ShapeError(str(answer.error["code"]) if answer.error else "event", sentence)
    words = kind_words(kind)
    if answer.answer == "conflict":
        messages.warning(request, f"Kept, without effect: {words}. {sentence}")
    elif answer.answer == "duplicate":
        messages.info(request, f"It was logged before, once: {words}.")
    else:
        messages.success(request, f"Logged on {subject.code}: {words}.")
    return redirect(page_of_subject(subject))


def event_strike(request: HttpRequest, code: str, event_id: uuid.UUID) -> HttpResponse:
    """Strike an event without putting another in its place."""
    actor, instant = actor_of(request), now()
    event = _event_of(actor, code, event_id)
    form = StrikeForm(sent(request), initial={"event_id": event_id_new(instant)})
    if request.method == "POST" and form.is_valid():
        raw = {
            "id": str(form.cleaned_data["event_id"]),
            "subject": code,
            "kind": "corrected",
            "occurred_at": iso(instant),
            "payload": {"event": str(event.pk), "why": form.cleaned_data["why"]},
        }
        try:
            answer = events_receive(actor=actor, raws=[raw], now=instant)[0]
            return _answered(request, event.subject, "corrected", answer)
        except UserError as error:
            refuse(form, error)
    context = {
        "form": form,
        "subject": event.subject,
        "event": event,
        "words": kind_words(event.kind),
        "back": page_of_subject(event.subject),
    }
    status = status_shown(request, form)
    return render(request, "specimens/event_strike.html", context, status=status)


def deviation_judge(request: HttpRequest, code: str, deviation_id: uuid.UUID) -> HttpResponse:
    """Accept, exclude or repeat; for the lead."""
    actor, instant = actor_of(request), now()
    specimen = specimen_get(actor=actor, code=code, action=Action.JUDGE)
    deviation = Deviation.objects.filter(specimen=specimen, pk=deviation_id).first()
    if deviation is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    initial = {
        "event_id": event_id_new(instant),
        "decision": deviation.decision,
        "why": deviation.why,
    }
    form = JudgeForm(sent(request), initial=initial)
    if request.method == "POST" and form.is_valid():
        raw = {
            "id": str(form.cleaned_data["event_id"]),
            "subject": code,
            "kind": "judged",
            "occurred_at": iso(instant),
            "payload": {
                "deviation": str(deviation.pk),
                "decision": form.cleaned_data["decision"],
                "why": form.cleaned_data["why"],
            },
        }
        try:
            answer = events_receive(actor=actor, raws=[raw], now=instant)[0]
            return _answered(request, specimen.subject, "judged", answer)
        except UserError as error:
            refuse(form, error)
    context = {"form": form, "specimen": specimen, "deviation": deviation}
    status = status_shown(request, form)
    return render(request, "specimens/deviation_judge.html", context, status=status)


@require_GET
def photo(request: HttpRequest, code: str, sha256: str) -> FileResponse:
    """A picture that an event of the subject names."""
    subject = subject_get(actor=actor_of(request), code=code, action=Action.SEE_WORK)
    named = Event.objects.filter(subject=subject, kind="photo", payload__blob=sha256).exists()
    blob = Blob.objects.filter(pk=sha256).first() if named else None
    if blob is None or not blob_storage().exists(blob.path):
        raise NotFound("access.not-yours", NOT_YOURS)
    stream = blob_storage().open(blob.path, "rb")
    head = stream.read(16)
    stream.seek(0)
    kind = picture_type(head)
    if kind is None:
        stream.close()
        raise NotFound("access.not-yours", NOT_YOURS)
    answer = FileResponse(stream, content_type=kind)
    answer["Cache-Control"] = "private, max-age=31536000, immutable"
    return answer
