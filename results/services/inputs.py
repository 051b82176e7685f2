"""Everything that goes into a reduction, gathered once and hashed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from typing import Any
from uuid import UUID

from conditioning.selectors.calibration import calibration_list_by_serial
from labmatrix.evidence.models import Record, RecordFile
from results.services.methods import RunMethod, method_for
from results.services.run_parts import run_parts
from specimens.models import Location, Lot, Specimen


def _specimens(subjects: Collection[int]) -> dict[int, Specimen]:
    """The specimen behind each subject: itself, or the one that its location is on."""
    places = Location.objects.filter(subject_id__in=subjects).select_related("specimen__state")
    found = {place.subject_id: place.specimen for place in places}
    own = Specimen.objects.filter(subject_id__in=subjects).select_related("state")
    return found | {specimen.subject_id: specimen for specimen in own}


def specimen_of(record: Record) -> Specimen | None:
    """The specimen behind a record's subject: itself, or the one that its location is on."""
    return _specimens([record.subject_id]).get(record.subject_id)


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


def _lot_input(lot: Lot | None) -> dict[str, Any]:
    """Of a lot of material its kind and what is specified of it, such as the fibre area."""
    return {"lot": {"kind": lot.kind, "specified": lot.specified}} if lot else {}


def _specimen_input(record: Record, specimen: Specimen | None, lot: Lot | None) -> dict[str, Any]:
    if specimen is None:
        return {"subject": record.subject.code, **_lot_input(lot)}
    return {
        "subject": record.subject.code,
        "member": specimen.member_as_known,
        "loaded_before": _loaded_before(specimen),
    }


def _serials(record: Record) -> list[str]:
    entries = record.channel_map["entries"]
    return sorted({entry["sensor"] for entry in entries if entry.get("sensor")})


class Gathered:
    """What the inputs of several records are made of, read in few queries.

    Args:
        records: with their subjects.
    """

    def __init__(self, records: Sequence[Record]) -> None:
        subjects = {record.subject_id for record in records}
        self.specimens = _specimens(subjects)
        lots = Lot.objects.filter(subject_id__in=subjects)
        self.lots = {lot.subject_id: lot for lot in lots}
        self.calibrations = calibration_list_by_serial(
            {serial for record in records for serial in _serials(record)}
        )
        self.files: dict[UUID, list[RecordFile]] = defaultdict(list)
        for file in RecordFile.objects.filter(record__in=records).order_by("position"):
            self.files[file.record_id].append(file)

    def inputs(self, record: Record) -> dict[str, Any]:
        """What the key of a record's reduction covers, as JSON-ready data."""
        method = method_for(record.test, record.settings)
        more = {"parts": run_parts(record)} if method.name == RunMethod.name else {}
        return {
            "files": [{"name": f.name, "sha256": f.blob_id} for f in self.files[record.pk]],
            "channel_map": record.channel_map,
            "specimen": self._specimen(record),
            "cycle_offset": record.cycle_offset,
            "calibrations": self._calibrations(record),
            "settings": record.settings,
            "reduction": {"name": method.name, "version": method.version},
            **more,
        }

    def _specimen(self, record: Record) -> dict[str, Any]:
        key = record.subject_id
        return _specimen_input(record, self.specimens.get(key), self.lots.get(key))

    def _calibrations(self, record: Record) -> list[dict[str, Any]]:
        at = record.measured_at or record.received_at
        found = []
        for serial in _serials(record):
            there = self.calibrations.get(serial, ())
            calibration = next((c for c in there if c.calibrated_at <= at), None)
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
    return Gathered([record]).inputs(record)


_WORDS = {
    "files": "its files",
    "channel_map": "the channel map",
    "specimen": "the specimen as measured, or what was done to it before",
    "cycle_offset": "the load cycles before it",
    "calibrations": "the calibrations in force",
    "settings": "the settings",
    "reduction": "the version of the reduction",
    "parts": "the other records of the run",
}


def inputs_apart(one: Mapping[str, Any], other: Mapping[str, Any]) -> list[str]:
    """In what the inputs of two reductions differ, in words; empty for nothing."""
    return [words for name, words in _WORDS.items() if one.get(name) != other.get(name)]


def inputs_changed(record: Record, stored: Mapping[str, Any]) -> list[str]:
    """What a reduction of the record would take in otherwise now, in words; empty for nothing."""
    return inputs_apart(reduction_inputs(record), stored)
