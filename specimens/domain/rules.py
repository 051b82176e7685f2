"""Which events cannot be true beside the others. Each rule is one function with its sentence.

An event that breaks a rule is kept, in conflict and without effect, as a question to a person.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from specimens.domain.event import EventFact
from specimens.domain.life import Life

NOT_THERE_YET = "It is logged before the specimen came to be: origin or cast has to come first."
TWO_ORIGINS = "The specimen has an origin already."
CAST_TWICE = "The specimen was cast already."
NOT_CAST_HERE = "A specimen that was {how} is not cast here."
ALREADY_ENDED = "The specimen had already ended ({end}); only a repair opens it again."
STRENGTHENED_TWICE = "Ply {ply} is there already; strengthening twice takes a repair in between."
STRENGTHENED_IN_CYCLING = "A layer cannot be placed while load cycles run."
ALREADY_IN = "The specimen is in {machine} already."
NOT_IN = "The specimen is not in {machine}."
NOT_HELD = "The hold point {point!r} is not held."
ALREADY_HELD = "The hold point {point!r} is held already."
NOT_LOADED = "No sustained load is on the specimen."
ALREADY_CYCLING = "A cycling run goes on already, in {machine}."
NOT_CYCLING = "No cycling run goes on."
COUNTER_BACK = "The counter stood at {before} and cannot read {cycles} later in the same run."
LOCATION_TWICE = "The location {location!r} was tested already; a location is tested once."
NOT_ENDED = "Only a specimen whose test has ended is opened up or repaired."


@dataclass(frozen=True)
class Conflict:
    """An event without effect: which, which rule, and the sentence."""

    event: str
    rule: str
    words: str


Rule = Callable[[Life, EventFact], tuple[str, str] | None]


def must_exist(life: Life, event: EventFact) -> tuple[str, str] | None:
    """Nothing happens to a specimen before its origin."""
    return None if life.exists else ("event.before-origin", NOT_THERE_YET)


def must_not_have_ended(life: Life, event: EventFact) -> tuple[str, str] | None:
    """After the end only opening up, repair, words and pictures."""
    if life.ended_at is None:
        return None
    return "event.after-end", ALREADY_ENDED.format(end=life.end)


def one_origin(life: Life, event: EventFact) -> tuple[str, str] | None:
    """A specimen comes to be once, and what was cast here was not cored or salvaged."""
    if life.origin_is_logged:
        return "event.two-origins", TWO_ORIGINS
    if life.cast_at is not None and event.payload["how"] != "cast":
        return "event.not-cast-here", NOT_CAST_HERE.format(how=event.payload["how"])
    return None


def cast_once(life: Life, event: EventFact) -> tuple[str, str] | None:
    """Concrete is placed once, and only where the specimen is cast here."""
    if life.cast_at is not None:
        return "event.cast-twice", CAST_TWICE
    if life.origin_how not in ("", "cast"):
        return "event.not-cast-here", NOT_CAST_HERE.format(how=life.origin_how)
    return None


def ply_once(life: Life, event: EventFact) -> tuple[str, str] | None:
    """A ply is placed once between repairs, and not on a cycling specimen."""
    if life.open_run is not None:
        return "event.strengthened-in-cycling", STRENGTHENED_IN_CYCLING
    ply = event.payload.get("ply")
    if event.payload["kind"] == "fabric" and any(
        layer.kind == "fabric" and layer.ply == ply for layer in life.layers
    ):
        return "event.strengthened-twice", STRENGTHENED_TWICE.format(ply=ply)
    return None


def not_in_yet(life: Life, event: EventFact) -> tuple[str, str] | None:
    """One does not enter where one is."""
    machine = event.payload["machine"]
    if any(stay.machine == machine for stay in life.open_stays):
        return "event.already-in", ALREADY_IN.format(machine=machine)
    return None


def is_in(life: Life, event: EventFact) -> tuple[str, str] | None:
    """One leaves only where one is."""
    machine = event.payload["machine"]
    if any(stay.machine == machine for stay in life.open_stays):
        return None
    return "event.not-in", NOT_IN.format(machine=machine)


def not_held(life: Life, event: EventFact) -> tuple[str, str] | None:
    """A point is held once."""
    point = event.payload["point"]
    return ("event.already-held", ALREADY_HELD.format(point=point)) if point in life.held else None


def is_held(life: Life, event: EventFact) -> tuple[str, str] | None:
    """Only a held point is released."""
    point = event.payload["point"]
    return None if point in life.held else ("event.not-held", NOT_HELD.format(point=point))


def is_loaded(life: Life, event: EventFact) -> tuple[str, str] | None:
    """Only a load that is on can be brought back."""
    return None if life.sustained is not None else ("event.not-loaded", NOT_LOADED)


def not_cycling(life: Life, event: EventFact) -> tuple[str, str] | None:
    """One run at a time."""
    if (run := life.open_run) is None:
        return None
    return "event.already-cycling", ALREADY_CYCLING.format(machine=run.machine)


def is_cycling(life: Life, event: EventFact) -> tuple[str, str] | None:
    """Counting and stopping take a run."""
    return None if life.open_run is not None else ("event.not-cycling", NOT_CYCLING)


def counter_rises(life: Life, event: EventFact) -> tuple[str, str] | None:
    """The counter of a run never goes back."""
    run = life.open_run
    if run is None or event.payload["cycles"] >= run.cycles:
        return None
    return (
        "event.counter-back",
        COUNTER_BACK.format(before=run.cycles, cycles=event.payload["cycles"]),
    )


def location_once(life: Life, event: EventFact) -> tuple[str, str] | None:
    """A location is tested once."""
    location = event.payload.get("location", "")
    if location and location in life.broken_locations:
        return "event.location-twice", LOCATION_TWICE.format(location=location)
    return None


def must_have_ended(life: Life, event: EventFact) -> tuple[str, str] | None:
    """Opening up and repair come after the end of a test."""
    if life.lost_at is not None:
        return "event.after-end", ALREADY_ENDED.format(end="lost")
    if life.ended_at is None and not life.breaks:
        return "event.not-ended", NOT_ENDED
    return None


_ALIVE: tuple[Rule, ...] = (must_exist, must_not_have_ended)
RULES: Mapping[str, tuple[Rule, ...]] = MappingProxyType(
    {
        "origin": (one_origin,),
        "cast": (cast_once,),
        "demoulded": _ALIVE,
        "moved": (must_exist,),
        "pre-cracked": _ALIVE,
        "prepared": _ALIVE,
        "layer": (*_ALIVE, ply_once),
        "anchored": _ALIVE,
        "held": (*_ALIVE, not_held),
        "released": (*_ALIVE, is_held),
        "cured": _ALIVE,
        "entered": (*_ALIVE, not_in_yet),
        "left": (must_exist, is_in),
        "loaded": _ALIVE,
        "read": (must_exist,),
        "re-tensioned": (*_ALIVE, is_loaded),
        "cycling-started": (*_ALIVE, not_cycling),
        "counted": (*_ALIVE, is_cycling, counter_rises),
        "cycling-stopped": (*_ALIVE, is_cycling),
        "broken": (*_ALIVE, location_once),
        "opened-up": (must_exist, must_have_ended),
        "repaired": (must_exist, must_have_ended),
        "lost": _ALIVE,
        "photo": (),
        "note": (),
        "incident": (),
        "checklist": (),
        "corrected": (),
        "judged": (),
    }
)


def conflict_of(life: Life, event: EventFact) -> Conflict | None:
    """The first rule that an event breaks, given all that came before it."""
    for rule in RULES[event.kind]:
        broken = rule(life, event)
        if broken is not None:
            return Conflict(event.id, *broken)
    return None
