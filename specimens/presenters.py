"""Rows of this room as the API shows them: quantities with units, instants in ISO 8601 UTC."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from labmatrix.kernel.clock import iso
from labmatrix.kernel.units import quantity
from specimens.domain.ages import Ages
from specimens.domain.progress import StageSeen
from specimens.models import Deviation, Event, Specimen
from specimens.selectors.event import IN_CONFLICT, Standing
from specimens.selectors.sheet import SpecimenSheet
from specimens.selectors.specimen import specimen_ages, specimen_reference_instant


def _iso(instant: datetime | None) -> str | None:
    return iso(instant) if instant else None


def _days(value: float | None) -> dict[str, Any] | None:
    return None if value is None else quantity(value, "d")


def ages_shown(ages: Ages, at: datetime) -> dict[str, Any]:
    """Ages with their qualification."""
    return {
        "at": iso(at),
        "concrete": _days(ages.concrete_d),
        "mortar": _days(ages.mortar_d),
        "since_exposure": _days(ages.since_exposure_d),
    }


def specimen_row(specimen: Specimen, now: datetime) -> dict[str, Any]:
    """A specimen as lists show it."""
    at = specimen_reference_instant(specimen, None, now)
    return _row(specimen, specimen_ages(specimen, at), at)


def _row(specimen: Specimen, ages: Ages, at: datetime) -> dict[str, Any]:
    state, series = specimen.state, specimen.cell.series
    return {
        "code": specimen.code,
        "programme": series.programme.code,
        "series": series.code,
        "cell": specimen.cell.code,
        "number": specimen.number,
        "stage": state.stage,
        "end": state.end,
        "ended_at": _iso(state.ended_at),
        "place": state.place,
        "plies": state.plies,
        "load_cycles": state.load_cycles,
        "ages": ages_shown(ages, at),
        "conflicts": state.conflict_count,
        "open_deviations": state.open_deviation_count,
        "is_excluded": state.is_excluded,
    }


def stage_shown(stage: StageSeen) -> dict[str, Any]:
    """A stage of the route with what was achieved."""
    achieved = stage.achieved
    return {
        "stage": str(stage.kind),
        "settings": stage.settings,
        "branch": stage.branch,
        "state": stage.state,
        "since": _iso(achieved.since),
        "until": _iso(achieved.until),
        "amounts": [
            {"what": a.what, "value": a.value, "unit": a.unit, "planned": a.planned}
            for a in achieved.amounts
        ],
        "words": achieved.words,
    }


def deviation_shown(deviation: Deviation) -> dict[str, Any]:
    """A deviation with its decision."""
    return {
        "id": str(deviation.id),
        "rule": deviation.rule,
        "words": deviation.words,
        "decision": deviation.decision or "open",
        "why": deviation.why,
        "judged_by": deviation.judged_by,
        "judged_at": _iso(deviation.judged_at),
    }


def event_row(event: Event, standing: Standing) -> dict[str, Any]:
    """An event with what became of it."""
    key = str(event.pk)
    conflict = {"event": key, "rule": standing.rule, "words": standing.words}
    return {
        "id": key,
        "subject": event.subject.code,
        "kind": event.kind,
        "occurred_at": iso(event.occurred_at),
        "received_at": iso(event.received_at),
        "device_at": _iso(event.device_at),
        "device": event.device,
        "origin": "imported" if event.is_imported else "logged",
        "sequence": event.sequence,
        "skew_seconds": event.skew_seconds,
        "payload": event.payload,
        "corrects": str(event.corrects) if event.corrects else None,
        "actor": event.actor,
        "standing": standing.status,
        "struck_by": standing.by or None,
        "conflict": conflict if standing.status == IN_CONFLICT else None,
        "is_skewed": standing.is_skewed,
    }


def specimen_detail(sheet: SpecimenSheet) -> dict[str, Any]:
    """A specimen with everything that is known of it."""
    specimen, usual = sheet.specimen, Standing()
    return {
        **_row(specimen, sheet.ages, sheet.at),
        "levels": sheet.levels,
        "locations": sheet.locations,
        "member": specimen.member_as_known,
        "measured": specimen.measured,
        "route": [stage_shown(stage) for stage in sheet.progress],
        "deviations": [deviation_shown(row) for row in sheet.deviations],
        "conflicting": sheet.conflicts,
        "events": [
            event_row(event, sheet.standings.get(str(event.pk), usual)) for event in sheet.events
        ],
        "events_count": len(sheet.order),
    }
