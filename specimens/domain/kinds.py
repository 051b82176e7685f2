"""Kinds of events as pages offer them: grouped by the work, each with its caution."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from specimens.domain.catalogue import CATALOGUE

GROUPS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "Coming to be": ("origin", "cast", "demoulded", "moved"),
        "Strengthening": (
            "pre-cracked",
            "prepared",
            "layer",
            "anchored",
            "held",
            "released",
            "cured",
        ),
        "Conditioning": ("entered", "left", "loaded", "re-tensioned", "read"),
        "Load cycles": ("cycling-started", "counted", "cycling-stopped"),
        "The end and after": ("broken", "opened-up", "repaired", "lost"),
        "At any time": ("note", "photo", "checklist", "incident"),
    }
)
# What is harmful about the work that an event tells of; kinds of labmatrix.web.domain.cautions.
CAUTION_OF: Mapping[str, str] = MappingProxyType(
    {
        "cast": "wet-cement",
        "demoulded": "lifting",
        "moved": "lifting",
        "pre-cracked": "test-to-failure",
        "prepared": "dust",
        "layer": "wet-cement",
        "anchored": "dust",
        "entered": "lifting",
        "left": "lifting",
        "loaded": "sustained",
        "re-tensioned": "sustained",
        "cycling-started": "cycling",
        "counted": "cycling",
        "cycling-stopped": "cycling",
        "broken": "test-to-failure",
        "opened-up": "dust",
    }
)
INCIDENT_WORDS = "This does not stop the machine: that is the red button on the rig."
_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "read": "reading by hand",
        "held": "hold point",
        "released": "hold point released",
        "entered": "entered a machine",
        "left": "left a machine",
        "loaded": "sustained load applied",
        "re-tensioned": "sustained load brought back",
        "counted": "load cycles counted",
        "corrected": "struck an event",
        "judged": "judged a deviation",
        "incident": "incident",
    }
)


def kind_words(kind: str) -> str:
    """A kind in words."""
    return _WORDS.get(kind, kind.replace("-", " "))


def kind_about(kind: str) -> str:
    """What a kind says, in a sentence."""
    return (CATALOGUE[kind].__doc__ or "").strip().split("\n")[0]
