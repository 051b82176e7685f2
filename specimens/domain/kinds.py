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
# The event that begins a stage of the route, and the one that carries it on; empty where several
# would do, and a person chooses.
EVENT_OF_STAGE: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "cast": ("cast", "cast"),
        "pre-crack": ("pre-cracked", "pre-cracked"),
        "strengthen": ("prepared", "layer"),
        "anchor": ("anchored", "anchored"),
        "expose": ("entered", "left"),
        "sustain": ("loaded", ""),
        "cycle": ("cycling-started", "counted"),
        "break": ("broken", "broken"),
        "repair": ("repaired", "repaired"),
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
        "cycling-started": "load cycles started",
        "counted": "load cycles counted",
        "cycling-stopped": "load cycles stopped",
        "opened-up": "opened up",
        "corrected": "struck an event",
        "judged": "judged a deviation",
    }
)
_ABOUT: Mapping[str, str] = MappingProxyType(
    {
        "demoulded": "Taken out of its mould.",
        "layer": "One layer of the strengthening: base mortar, a ply of fabric, mortar.",
        "anchored": "An anchor set, its type and where.",
        "held": "Work stops at a hold point until someone releases it.",
        "released": "Work goes on after a hold point.",
        "cured": "How it was kept to harden.",
        "entered": "Put into a machine's position; with a run it is exposed there.",
        "left": "Taken out of a machine.",
        "re-tensioned": "From which load to which.",
        "cycling-started": "Which rig, between which loads, how fast.",
        "counted": "What the counter of the run reads.",
        "cycling-stopped": "Why the run was stopped.",
        "broken": "The end of a test, of the whole specimen or of one location, and how it failed.",
        "repaired": "Made whole again after its end; it can be strengthened anew.",
        "lost": "It will not be tested, why.",
        "note": "Anything worth keeping, in words.",
        "photo": "A picture of it.",
        "checklist": "A checklist with its answers, signed by logging it.",
    }
)
STAGE_MARKS: Mapping[str, str] = MappingProxyType(
    {
        "under exposure": "exposed",
        "under exposure and sustained load": "exposed",
        "under sustained load": "sustained",
        "cycled": "cycling",
    }
)


def kind_words(kind: str) -> str:
    """A kind in words."""
    return _WORDS.get(kind, kind)


def kind_about(kind: str) -> str:
    """What a kind says, in a sentence."""
    return _ABOUT.get(kind) or (CATALOGUE[kind].__doc__ or "").strip().split("\n")[0]
