"""Everything that goes into a reduction, gathered once and hashed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from conditioning.selectors.calibration import calibration_for
from labmatrix.evidence.models import Record
from results.services.methods import method_for
from specimens.models import Location, Lot, Specimen


def specimen_of(record: Record) -> Specimen | None:
    """The specimen behind a record's subject: itself, or the one that its location is on."""
    specimen = Specimen.objects.filter(subject_id=record.subject_id).select_related("state").first()
    if specimen is not None:
        return specimen
    location = (
        Location.objects.filter(subject_id=record.subject_id)
        .select_related("specimen__state")
        .first()
    )
    return location.specimen if location else None


def _loaded_before(specimen: Specimen) -> list[str]:
    """Why a member is no longer in its first state, in words; empty when it is."""
    life = specimen.state.folded["life"]
    reasons = []
    if life["pre_cracked_at"]:
        reasons.append("pre-cracked")
    if any(run["cycles"] for run in life["runs"]):
        reasons.append("cycled")
    if life["sustained_ever"]:
        reasons.append("under sustained load")
    return reasons


def _lot_input(record: Record) -> dict[str, Any]:
    """Of a lot of material its kind and what is specified of it, such as the fibre area."""
    lot = Lot.objects.filter(subject_id=record.subject_id).first()
    return {"lot": {"kind": lot.kind, "specified": lot.specified}} if lot else {}


def _specimen_input(record: Record) -> dict[str, Any]:
    specimen = specimen_of(record)
    if specimen is None:
        return {"subject": record.subject.code, **_lot_input(record)}
    return {
        "subject": record.subject.code,
        "member": specimen.member_as_known,
        "loaded_before": _loaded_before(specimen),
    }


def _calibrations(record: Record) -> list[dict[str, Any]]:
    serials = sorted(
        {entry["sensor"] for entry in record.channel_map["entries"] if entry.get("sensor")}
    )
    at = record.measured_at or record.received_at
    found = []
    for serial in serials:
        calibration = calibration_for(serial, at)
        told = (
            {"unit": calibration.sensor.unit, **calibration.as_input()}
            if calibration
            else {"known": False}
        )
        found.append({"sensor": serial, **told})
    return found


def reduction_inputs(record: Record) -> dict[str, Any]:
    """What the key covers, as JSON-ready data.

    Blob hashes with the names of their files, the channel map, the specimen as measured and
    whether it was loaded before, the cycle offset, the calibrations in force, the settings as
    asked, and the reduction's name and version.
    """
    method = method_for(record.test)
    files = record.files.select_related("blob").order_by("position")
    return {
        "files": [{"name": f.name, "sha256": f.blob_id} for f in files],
        "channel_map": record.channel_map,
        "specimen": _specimen_input(record),
        "cycle_offset": record.cycle_offset,
        "calibrations": _calibrations(record),
        "settings": record.settings,
        "reduction": {"name": method.name, "version": method.version},
    }


_WORDS = {
    "files": "its files",
    "channel_map": "the channel map",
    "specimen": "the specimen as measured, or what was done to it before",
    "cycle_offset": "the load cycles before it",
    "calibrations": "the calibrations in force",
    "settings": "the settings",
    "reduction": "the version of the reduction",
}


def inputs_apart(one: Mapping[str, Any], other: Mapping[str, Any]) -> list[str]:
    """In what the inputs of two reductions differ, in words; empty for nothing."""
    return [words for name, words in _WORDS.items() if one.get(name) != other.get(name)]


def inputs_changed(record: Record, stored: Mapping[str, Any]) -> list[str]:
    """What a reduction of the record would take in otherwise now, in words; empty for nothing."""
    return inputs_apart(reduction_inputs(record), stored)
