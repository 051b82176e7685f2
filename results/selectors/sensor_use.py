"""Which current numbers were measured with which sensors, and when."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Q

from results.models import Reduction
from specimens.models import Location, Specimen


@dataclass(frozen=True)
class Use:
    """A record whose current reduction names one of the sensors.

    Attributes:
        reduction: the current one, without curve and marks, with record and subject.
        inputs: of the reduction.
        specimen: behind the record, with cell and series.
        tested_on: the day of the test in the laboratory's zone; of receipt where none was said.
    """

    reduction: Reduction
    inputs: Mapping[str, Any]
    specimen: Specimen
    tested_on: date

    @property
    def key(self) -> str:
        """Of the reduction."""
        return self.reduction.key

    def entries_of(self, sensors: Collection[str]) -> list[Mapping[str, Any]]:
        """The entries of the channel map that name one of the sensors."""
        entries = self.inputs["channel_map"]["entries"]
        return [entry for entry in entries if entry.get("sensor") in sensors]


def use_list(*, sensors: Collection[str], programmes: Collection[str], zone: ZoneInfo) -> list[Use]:
    """Every use of the sensors in records of specimens that have numbers, by day of test.

    What a machine recorded of itself has no numbers, and is not looked at.

    Args:
        sensors: serials.
        programmes: codes of the programmes that are looked at.
        zone: in which a test has its day.
    """
    named = Q()
    for serial in sensors:
        # As canonical JSON writes it. Databases differ in upper and lower case: read again below.
        named |= Q(inputs__contains=f'"sensor":{json.dumps(serial, ensure_ascii=False)}')
    reductions = (
        Reduction.objects.filter(
            named, is_current=True, record__subject__programme_code__in=list(programmes)
        )
        .select_related("record__subject")
        .defer("curve", "marks", "warnings", "settings")
    )
    rows = list(reductions) if sensors else []
    owners = _owners({row.record.subject_id for row in rows})
    found = [
        use
        for row in rows
        if (owner := owners.get(row.record.subject_id)) is not None
        and (use := _use(row, owner, zone)).entries_of(sensors)
    ]
    return sorted(found, key=lambda use: (use.tested_on, use.specimen.code, use.key))


def within(uses: Iterable[Use], since: date, until: date | None) -> list[Use]:
    """Those whose test lies in the period; both days count, None is an open end."""
    return [u for u in uses if since <= u.tested_on and (until is None or u.tested_on <= until)]


def _use(reduction: Reduction, owner: Specimen, zone: ZoneInfo) -> Use:
    at = reduction.record.measured_at or reduction.record.received_at
    return Use(reduction, json.loads(reduction.inputs), owner, at.astimezone(zone).date())


def _owners(subjects: Collection[int]) -> dict[int, Specimen]:
    """The specimen behind each subject: itself, or the one that its location is on."""
    related = Specimen.objects.select_related("cell__series__programme")
    found = {s.subject_id: s for s in related.filter(subject_id__in=subjects)}
    places = dict(
        Location.objects.filter(subject_id__in=subjects).values_list("subject_id", "specimen_id")
    )
    behind = {s.pk: s for s in related.filter(pk__in=places.values())}
    return found | {subject: behind[pk] for subject, pk in places.items()}


def keys_beside(series: Sequence[int], keys: Collection[str]) -> list[str]:
    """Keys of the other current reductions in the same series, which conclusions rest on, too."""
    specimens = Specimen.objects.filter(cell__series__in=series)
    own = Q(record__subject__in=specimens.values("subject")) | Q(
        record__subject__in=Location.objects.filter(specimen__in=specimens).values("subject")
    )
    found = Reduction.objects.filter(own, is_current=True).exclude(key__in=keys)
    return sorted(found.values_list("key", flat=True))
