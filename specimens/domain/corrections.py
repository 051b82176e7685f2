"""Which events stand, once corrections have been read."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from specimens.domain.event import EventFact

UNKNOWN_TARGET = "It corrects an event that is not here."
OTHER_CORRECTION = "A later correction of the same event stands in its place."
CIRCLE = "Corrections that name each other in a circle have no effect."


@dataclass(frozen=True)
class Standing:
    """The outcome: who is struck by whom, and which corrections have no effect.

    Attributes:
        struck: id of a struck event -> id of the event that struck it.
        void: id of a correction without effect -> (rule, words).
    """

    struck: dict[str, str]
    void: dict[str, tuple[str, str]]


def standing_of(ordered: Sequence[EventFact]) -> Standing:
    """Strike what is corrected; ``ordered`` is in the order of the fold.

    A correction that is itself struck strikes nothing. Among several that stand, the last in
    order wins; the others have no effect and are a question to a person.
    """
    place = {event.id: index for index, event in enumerate(ordered)}
    naming: dict[str, list[EventFact]] = defaultdict(list)
    void: dict[str, tuple[str, str]] = {}
    for event in ordered:
        target = event.names
        if target is None:
            continue
        if target not in place:
            void[event.id] = ("correction.unknown", UNKNOWN_TARGET)
        elif _in_circle(event, ordered, place):
            void[event.id] = ("correction.circle", CIRCLE)
        else:
            naming[target].append(event)
    struck: dict[str, str] = {}
    for target in _leaves_first(naming, place):
        standing = [e for e in naming[target] if e.id not in struck]
        if not standing:
            continue
        winner = max(standing, key=lambda e: place[e.id])
        struck[target] = winner.id
        for other in standing:
            if other is not winner:
                void[other.id] = ("correction.superseded", OTHER_CORRECTION)
    return Standing(struck, void)


def _in_circle(event: EventFact, ordered: Sequence[EventFact], place: dict[str, int]) -> bool:
    seen, current = {event.id}, event.names
    while current is not None and current in place:
        if current == event.id:
            return True
        if current in seen:
            return False  # a circle further on, not through this one
        seen.add(current)
        current = ordered[place[current]].names
    return False


def _leaves_first(naming: dict[str, list[EventFact]], place: dict[str, int]) -> list[str]:
    """Targets so that each comes after the targets that its own corrections are."""
    done: list[str] = []
    seen: set[str] = set()
    for root in sorted(naming, key=lambda target: place[target]):
        stack: list[tuple[str, bool]] = [(root, False)]
        while stack:
            target, expanded = stack.pop()
            if expanded:
                done.append(target)
            elif target not in seen:
                seen.add(target)
                stack.append((target, True))
                stack.extend((e.id, False) for e in naming[target] if e.id in naming)
    return done
