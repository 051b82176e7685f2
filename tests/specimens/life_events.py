"""Event histories for the tests of the fold: one sound life, and any history at all."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import strategies as st

from labmatrix.matrix.domain.route import Route
from specimens.domain.event import EventFact
from specimens.domain.plan import Plan

START = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)
PLAN = Plan(
    Route.from_dict(
        {
            "stages": [
                {"stage": "cast"},
                {"stage": "cure", "days": 28},
                {"stage": "strengthen", "plies": 2},
                {"stage": "cure-mortar", "days": 28},
                {
                    "parallel": [
                        {"stage": "expose", "regime": "wet-dry salt", "days": 84},
                        {"stage": "sustain", "level": 0.4},
                    ]
                },
                {"stage": "cycle", "cycles": 2_000_000},
                {"stage": "break", "concrete_age_days": 170, "tolerance_days": 10},
            ]
        }
    )
)


def kn(value: float) -> dict[str, Any]:
    """A force."""
    return {"value": value, "unit": "kN"}


def event(kind: str, day: float = 0.0, payload: dict[str, Any] | None = None, **more: Any):
    """An event some days after the start."""
    at = START + timedelta(days=day)
    more.setdefault("id", str(uuid.uuid5(uuid.NAMESPACE_OID, f"{kind}{day}{payload}{more}")))
    return EventFact(kind=kind, occurred_at=at, payload=payload or {}, **more)


def mode(words: str = "fabric slipped in the mortar") -> dict[str, str]:
    """A failure mode."""
    return {"scheme": "bond letters", "letter": "D", "words": words}


def sound_life() -> list[EventFact]:
    """A strengthened beam, exposed under load, cycled to run-out and broken, all on plan."""
    stay = {"machine": "SALT-1", "position": "3", "run": "WD-1"}
    return [
        event("cast", 0, {"batch": "C-01"}),
        event("demoulded", 1),
        event("prepared", 27, {"method": "grit blasting", "profile": 5, "moisture": "dry"}),
        event("layer", 28, {"kind": "base mortar", "lot": "M-1"}),
        event("layer", 28.01, {"kind": "fabric", "ply": 1, "lot": "F-1"}),
        event("layer", 28.02, {"kind": "mortar", "lot": "M-1"}),
        event("layer", 28.03, {"kind": "fabric", "ply": 2, "lot": "F-1"}),
        event("layer", 28.04, {"kind": "mortar", "lot": "M-1"}),
        event("loaded", 57, {"load": kn(18), "reference": "its control, measured"}),
        event("entered", 57.1, stay),
        event("re-tensioned", 90, {"from": kn(17.2), "to": kn(18)}),
        event("left", 142, stay),
        event(
            "cycling-started",
            150,
            {
                "machine": "RIG-1",
                "minimum": kn(8),
                "maximum": kn(40),
                "frequency": {"value": 5, "unit": "Hz"},
            },
        ),
        event("counted", 152, {"cycles": 900_000}),
        event("counted", 155, {"cycles": 2_000_000}),
        event("cycling-stopped", 155.01, {"reason": "target reached"}),
        event("broken", 168, {"end": "run-out, then broken", "mode": mode()}),
        event(
            "opened-up",
            169,
            {
                "fabric": "whole",
                "cover": {"value": 28, "unit": "mm"},
                "bar position as found": "in place",
            },
        ),
    ]


_IDS = [str(uuid.UUID(int=n)) for n in range(1, 15)]
_PAYLOADS: dict[str, st.SearchStrategy[dict[str, Any]]] = {
    "origin": st.fixed_dictionaries({"how": st.sampled_from(["cast", "cored", "salvaged"])}),
    "cast": st.just({"batch": "C-1"}),
    "demoulded": st.just({}),
    "moved": st.just({"to": "yard"}),
    "pre-cracked": st.just({"load": kn(12)}),
    "prepared": st.just({"method": "needle gun", "profile": 4, "moisture": "dry"}),
    "layer": st.fixed_dictionaries(
        {
            "kind": st.sampled_from(["base mortar", "fabric", "mortar"]),
            "ply": st.integers(1, 3),
            "lot": st.just("L"),
        }
    ),
    "anchored": st.just({"type": "spike", "position": "end A"}),
    "held": st.fixed_dictionaries({"point": st.sampled_from(["HP1", "HP2"])}),
    "released": st.fixed_dictionaries({"point": st.sampled_from(["HP1", "HP2"])}),
    "entered": st.fixed_dictionaries(
        {"machine": st.sampled_from(["A", "B"]), "run": st.sampled_from(["", "R1"])}
    ),
    "left": st.fixed_dictionaries({"machine": st.sampled_from(["A", "B"])}),
    "loaded": st.just({"load": kn(10), "reference": "control"}),
    "re-tensioned": st.just({"from": kn(9), "to": kn(10)}),
    "cycling-started": st.just(
        {
            "machine": "RIG",
            "minimum": kn(2),
            "maximum": kn(9),
            "frequency": {"value": 3, "unit": "Hz"},
        }
    ),
    "counted": st.fixed_dictionaries({"cycles": st.integers(0, 5)}),
    "cycling-stopped": st.just({"reason": "pause"}),
    "broken": st.fixed_dictionaries(
        {
            "end": st.sampled_from(["broken", "failed in cycling"]),
            "mode": st.just(mode()),
            "location": st.sampled_from(["", "A", "B"]),
        }
    ),
    "opened-up": st.just(
        {
            "fabric": "torn",
            "cover": {"value": 27, "unit": "mm"},
            "bar position as found": "in place",
        }
    ),
    "repaired": st.just({"how": "patched"}),
    "lost": st.just({"why": "dropped"}),
    "note": st.just({"text": "…"}),
    "corrected": st.fixed_dictionaries({"event": st.sampled_from(_IDS), "why": st.just("typo")}),
    "judged": st.fixed_dictionaries(
        {
            "deviation": st.sampled_from(_IDS),
            "decision": st.sampled_from(["accept", "exclude"]),
            "why": st.just("seen"),
        }
    ),
}


@st.composite
def histories(draw: st.DrawFn) -> list[EventFact]:
    """Up to 14 events of any kind, from pages and devices with clocks right and wrong."""
    events = []
    for identity in _IDS[: draw(st.integers(0, len(_IDS)))]:
        kind = draw(st.sampled_from(sorted(_PAYLOADS)))
        at = START + timedelta(minutes=draw(st.integers(0, 12)))
        device = draw(st.sampled_from(["", "tablet-1", "tablet-2"]))
        back = draw(st.booleans())
        events.append(
            EventFact(
                id=identity,
                kind=kind,
                occurred_at=at,
                payload=draw(_PAYLOADS[kind]),
                device=device,
                device_at=(at + timedelta(hours=3) if back else at) if device else None,
                sequence=draw(st.integers(1, 20)) if device else None,
                skew_seconds=draw(st.sampled_from([0.0, 30.0, -700.0, 700.0])) if device else 0.0,
                corrects=draw(st.sampled_from([None, None, None, *_IDS])),
            )
        )
    return events
