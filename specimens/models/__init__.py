"""Persistent things of this room, one noun a file."""

from specimens.models.event import Event
from specimens.models.lot import Lot, TypedTest
from specimens.models.specimen import Location, Specimen
from specimens.models.state import Deviation, SpecimenState

__all__ = ["Deviation", "Event", "Location", "Lot", "Specimen", "SpecimenState", "TypedTest"]
