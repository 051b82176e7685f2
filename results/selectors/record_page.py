"""Read what the pages of records show."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, IntegerField, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from conditioning.models import Sensor
from labmatrix.evidence.models import ChannelMapSaved, Record, Subject
from labmatrix.matrix.models import Programme
from labmatrix.web.domain.roles import Action, allowed
from labmatrix.web.models import Person
from results.models import Metric, Reduction
from results.selectors.record import record_list_visible
from specimens.selectors.access import programme_roles


@dataclass(frozen=True)
class RecordFilter:
    """What a list of records is narrowed to; empty for everything."""

    subject: str = ""
    test: str = ""
    status: str = ""


def record_list_ids(*, actor: Person, wanted: RecordFilter) -> QuerySet[Record, uuid.UUID]:
    """The visible records that fit, newest first, by id."""
    records = record_list_visible(actor=actor)
    for lookup, value in (
        ("subject__code", wanted.subject),
        ("test", wanted.test),
        ("status", wanted.status),
    ):
        if value:
            records = records.filter(**{lookup: value})
    return records.values_list("id", flat=True)


def record_list_page(ids: Sequence[uuid.UUID]) -> list[Record]:
    """Some records in the order of the ids, with ``file_count`` and ``number_count``; one query."""
    numbers = (
        Metric.objects.filter(reduction__record=OuterRef("pk"), reduction__is_current=True)
        .order_by()
        .values("reduction__record")
        .annotate(n=Count("id"))
        .values("n")
    )
    rows = Record.objects.select_related("subject").annotate(
        file_count=Count("files"),
        number_count=Coalesce(Subquery(numbers, output_field=IntegerField()), 0),
    )
    found = {row.pk: row for row in rows.filter(pk__in=list(ids))}
    return [found[key] for key in ids]


def may_upload(actor: Person) -> bool:
    """Whether there is anything for which the person may upload a record."""
    roles = [actor.role, *programme_roles(actor).values()]
    return any(allowed(role, Action.UPLOAD_RECORD) for role in roles)


def subject_is_invented(subject: Subject) -> bool:
    """Whether what is measured on the subject was made up to show the tool."""
    return Programme.objects.filter(code=subject.programme_code, is_invented=True).exists()


def reduction_list_of(record: Record) -> list[Reduction]:
    """Every reduction of a record, the last one first, with what superseded it."""
    rows = Reduction.objects.filter(record=record).select_related("superseded_by")
    return list(rows.defer("curve", "marks", "warnings").order_by("-reduced_at", "id"))


def metric_list_like(metric: Metric) -> list[Metric]:
    """The numbers of the same name, method and cycle that other reductions of the record gave."""
    rows = Metric.objects.filter(
        reduction__record=metric.reduction.record_id,
        name=metric.name,
        method=metric.method,
        at=metric.at,
    ).exclude(pk=metric.pk)
    return list(
        rows.select_related("reduction__superseded_by").order_by("-reduction__reduced_at", "id")
    )


def metric_list_at(reduction: Reduction, number: int) -> list[Metric]:
    """The numbers that a reduction gives for one load cycle; none where it is no checkpoint."""
    return list(Metric.objects.filter(reduction=reduction, at=number).order_by("name", "method"))


def channel_map_list_names() -> list[str]:
    """Names of the saved channel maps."""
    return list(ChannelMapSaved.objects.order_by("name").values_list("name", flat=True).distinct())


def channel_map_list_fitting(columns: Mapping[str, Sequence[str]]) -> list[ChannelMapSaved]:
    """Saved maps, in their newest version, whose every column is in these files; the one saved
    last comes first; one query.

    Args:
        columns: names of each file's columns, stripped, by file name.
    """
    newest: dict[str, ChannelMapSaved] = {}
    for saved in ChannelMapSaved.objects.order_by("name", "version"):
        newest[saved.name] = saved
    fitting = [saved for saved in newest.values() if _fits(saved.entries, columns)]
    return sorted(fitting, key=lambda saved: saved.saved_at, reverse=True)


def _fits(entries: Sequence[Mapping[str, Any]], columns: Mapping[str, Sequence[str]]) -> bool:
    """Whether each entry means one column of the files, and every file has one at least."""
    meant = set()
    for entry in entries:
        files = [entry["file"]] if entry.get("file") else list(columns)
        found = {
            (file, entry["column"]) for file in files if entry["column"] in columns.get(file, ())
        }
        if len(found) != 1:
            return False
        meant |= found
    return {file for file, _ in meant} == set(columns)


def sensor_list_serials() -> list[str]:
    """Serials of the laboratory's sensors, to be chosen from."""
    return list(Sensor.objects.order_by("serial").values_list("serial", flat=True))
