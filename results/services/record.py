"""Take raw files in: keep the bytes, note what they are, ask for their reduction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, BinaryIO

from django.conf import settings as installation
from django.db.models import Sum

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.models import (
    TESTS,
    Blob,
    ChannelMapSaved,
    Job,
    Record,
    RecordFile,
    Subject,
)
from labmatrix.evidence.services.blob import blob_put
from labmatrix.evidence.services.job import job_submit
from labmatrix.evidence.services.ledger import ledger_append, ledger_transaction
from labmatrix.kernel.canonical import content_key
from labmatrix.kernel.errors import RangeError, ShapeError
from labmatrix.kernel.text import check_storable
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person
from results.services.inputs import specimen_of
from results.services.methods import method_for
from specimens.selectors.access import programme_roles, subject_get, subject_role
from specimens.services.projection import specimen_project

JOB_KIND = "reduce"
FILES_MAX = 32


@dataclass(frozen=True)
class Upload:
    """One file as it was sent: its name and its seekable bytes."""

    name: str
    stream: BinaryIO


def channel_map_resolve(
    channels: str | Sequence[Any] | Mapping[str, Any],
) -> tuple[ChannelMap, str]:
    """The map and the name under which it was saved; empty for a map sent with the record.

    Raises:
        ShapeError: ``channels.map-unknown`` or ``channels.malformed``.
    """
    if not isinstance(channels, str):
        return ChannelMap.from_data(channels), ""
    saved = ChannelMapSaved.objects.filter(name=channels).order_by("-version").first()
    if saved is None:
        known = ", ".join(
            ChannelMapSaved.objects.order_by("name").values_list("name", flat=True).distinct()
        )
        raise ShapeError(
            "channels.map-unknown",
            f"No channel map is saved as {channels!r}; saved are {known or 'none'}.",
            name=channels,
        )
    return ChannelMap.from_data(saved.entries), str(saved)


def channel_map_save(
    *, actor: Person, name: str, entries: object, now: datetime
) -> ChannelMapSaved:
    """Save a channel map under a name; a changed map is a new version, the same one is not.

    Raises:
        NotFound: not the person's to do.
        ShapeError: ``channels.malformed`` or ``channels.map-name``.
    """
    require(actor.role, Action.UPLOAD_RECORD)
    name = name.strip()
    check_storable(name, argument="name")
    if not name or len(name) > 80:
        raise ShapeError("channels.map-name", "A saved map needs a name of 1 to 80 characters.")
    canonical = ChannelMap.from_data(entries).canonical()["entries"]
    with ledger_transaction():
        last = ChannelMapSaved.objects.filter(name=name).order_by("-version").first()
        if last is not None and last.entries == canonical:
            return last
        version = last.version + 1 if last else 1
        ledger_append(
            actor=str(actor.id),
            kind="channel-map",
            subject=name,
            body={"version": version, "entries": canonical},
            now=now,
        )
        return ChannelMapSaved.objects.create(
            name=name, version=version, entries=canonical, saved_at=now
        )


def _check(test: str, uploads: Sequence[Upload], cycle_offset: int) -> None:
    if test not in TESTS:
        raise ShapeError(
            "record.test-unknown",
            f"The test is {test!r}; known are {', '.join(TESTS)}.",
            test=test,
        )
    if not uploads:
        raise ShapeError("record.no-file", "A record needs at least one file.")
    if len(uploads) > FILES_MAX:
        raise RangeError("The number of files", len(uploads), f"1 to {FILES_MAX}")
    names = [upload.name for upload in uploads]
    check_storable(names, argument="file name")
    if len(set(names)) < len(names):
        raise ShapeError("record.file-names", "Two files of one record have the same name.")
    if not 0 <= cycle_offset <= 10**12:
        raise RangeError("cycle_offset", cycle_offset, "0 to 1e12 load cycles")


def record_receive(
    *,
    actor: Person,
    subject_code: str,
    test: str,
    uploads: Sequence[Upload],
    channels: str | Sequence[Any] | Mapping[str, Any],
    now: datetime,
    settings: Mapping[str, Any] | None = None,
    cycle_offset: int = 0,
    measured_at: datetime | None = None,
) -> Record:
    """Keep what came and ask for its reduction; the same upload again gives the same record.

    A record is always accepted, whatever the route says; a test that the route does not have
    opens a deviation.

    Raises:
        NotFound: the subject is not there or not the person's.
        ShapeError: unknown test, map or setting, no file.
        TooLarge: a file beyond the installation's limit.
    """
    subject = subject_get(actor=actor, code=subject_code, action=Action.UPLOAD_RECORD)
    _check(test, uploads, cycle_offset)
    channel_map, map_name = channel_map_resolve(channels)
    check_storable(settings or {}, argument="settings")
    method_for(test, settings).settings.from_dict(settings)
    blobs = [blob_put(stream=upload.stream, now=now) for upload in uploads]
    sent = {
        "subject": subject.code,
        "test": test,
        "files": [
            {"name": u.name, "sha256": b.sha256} for u, b in zip(uploads, blobs, strict=True)
        ],
        "channel_map": channel_map.canonical(),
        "settings": dict(settings or {}),
        "cycle_offset": cycle_offset,
        "measured_at": measured_at,
    }
    with ledger_transaction():
        there = Record.objects.filter(fingerprint=content_key(sent)).first()
        if there is not None:
            return there
        return _create(
            actor=actor,
            subject=subject,
            blobs=blobs,
            sent=sent,
            map_name=map_name,
            measured_at=measured_at,
            now=now,
        )


def _create(
    *,
    actor: Person,
    subject: Subject,
    blobs: Sequence[Blob],
    sent: Mapping[str, Any],
    map_name: str,
    measured_at: datetime | None,
    now: datetime,
) -> Record:
    record = Record.objects.create(
        subject=subject,
        test=sent["test"],
        channel_map=sent["channel_map"],
        channel_map_name=map_name,
        settings=sent["settings"],
        cycle_offset=sent["cycle_offset"],
        measured_at=measured_at,
        received_at=now,
        received_by=str(actor.id),
        fingerprint=content_key(sent),
    )
    for position, (file, blob) in enumerate(zip(sent["files"], blobs, strict=True)):
        RecordFile.objects.create(record=record, blob=blob, position=position, name=file["name"])
    ledger_append(
        actor=str(actor.id),
        kind="record",
        subject=subject.code,
        body={"record": str(record.id), **sent},
        now=now,
    )
    _ask(record, actor=str(actor.id), why="first reduction", now=now)
    specimen = specimen_of(record)
    if specimen is not None:
        specimen_project(specimen)
    return record


def _ask(record: Record, *, actor: str, why: str, now: datetime) -> Job:
    number = Job.objects.filter(key__startswith=f"{JOB_KIND}:{record.id}:").count() + 1
    ledger_append(
        actor=actor,
        kind="reduction-request",
        subject=record.subject.code,
        body={
            "record": str(record.id),
            "settings": record.settings,
            "channel_map": record.channel_map,
            "cycle_offset": record.cycle_offset,
            "why": why,
        },
        now=now,
    )
    job = job_submit(
        kind=JOB_KIND,
        key=f"{JOB_KIND}:{record.id}:{number}",
        payload={"record": str(record.id), "why": why},
        now=now,
        queue=_queue(record),
    )
    record.job = job
    record.status, record.error = Record.Status.RECEIVED, None
    record.save(update_fields=["job", "status", "error"])
    return job


def _queue(record: Record) -> Job.Queue:
    """Long records wait among themselves: the setting ``LONG_RECORD_BYTES`` says from what size."""
    size = record.files.aggregate(total=Sum("blob__size_bytes"))["total"] or 0
    return Job.Queue.LONG if size >= installation.LONG_RECORD_BYTES else Job.Queue.SHORT


def record_reduce_again(
    *,
    actor: Person,
    record: Record,
    why: str,
    now: datetime,
    settings: Mapping[str, Any] | None = None,
    channels: str | Sequence[Any] | Mapping[str, Any] | None = None,
) -> Job:
    """Ask for another reduction, with other settings or another map; the old one stays beside it.

    Raises:
        NotFound: not the person's to do.
        ShapeError: ``record.why`` without a reason; unknown map or setting.
    """
    role = subject_role(record.subject, programme_roles(actor), actor)
    require(role, Action.ASK_REDUCTION)
    if not why.strip():
        raise ShapeError("record.why", "Say why the record is reduced again.")
    check_storable([why, settings or {}], argument="request")
    if settings is not None:
        method_for(record.test, settings).settings.from_dict(settings)
    with ledger_transaction():
        record = Record.objects.select_for_update(of=("self",)).get(pk=record.pk)
        if settings is not None:
            record.settings = dict(settings)
        if channels is not None:
            channel_map, record.channel_map_name = channel_map_resolve(channels)
            record.channel_map = channel_map.canonical()
        record.save(update_fields=["settings", "channel_map", "channel_map_name"])
        return _ask(record, actor=str(actor.id), why=why.strip()[:400], now=now)
