"""All events of a specimen, in any order of arrival, to the one state that they mean."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any

from labmatrix.kernel.clock import iso
from specimens.domain.corrections import standing_of
from specimens.domain.deviations import Deviation, deviations_of
from specimens.domain.effects import EFFECTS
from specimens.domain.event import EventFact
from specimens.domain.life import Life
from specimens.domain.order import in_order, is_skewed
from specimens.domain.plan import Plan
from specimens.domain.rules import Conflict, conflict_of

FOLD_VERSION = 4
UNKNOWN_DEVIATION = "It judges a deviation that is not open here."


@dataclass(frozen=True)
class Judgement:
    """A person's decision on a deviation; the last one stands."""

    deviation: str
    decision: str
    why: str
    actor: str
    at: datetime


@dataclass(frozen=True)
class Folded:
    """What the events mean.

    Attributes:
        life: the state.
        order: ids in the order of the fold.
        struck: id of a corrected event -> id of the one that corrected it.
        conflicts: events without effect, in order.
        deviations: broken tolerances.
        judgements: deviation id -> the decision that stands.
        skewed: ids whose device clock was off by more than two minutes.
    """

    life: Life
    order: tuple[str, ...]
    struck: dict[str, str]
    conflicts: tuple[Conflict, ...]
    deviations: tuple[Deviation, ...]
    judgements: dict[str, Judgement]
    skewed: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON-ready data; equal for equal states."""
        return {
            "life": _plain(self.life),
            "order": list(self.order),
            "struck": dict(sorted(self.struck.items())),
            "conflicts": [_plain(c) for c in self.conflicts],
            "deviations": [_plain(d) for d in self.deviations],
            "judgements": {key: _plain(j) for key, j in sorted(self.judgements.items())},
            "skewed": list(self.skewed),
        }


@cache
def _fields_of(kind: type) -> tuple[str, ...]:
    return tuple(f.name for f in dataclasses.fields(kind)) if dataclasses.is_dataclass(kind) else ()


def _plain(value: Any) -> Any:
    """Objects, lists and instants as JSON takes them; in one pass, as many lives are written."""
    if value is None or isinstance(value, str | int | float):
        return value
    if isinstance(value, datetime):
        return iso(value)
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    kind: type = type(value)
    names = _fields_of(kind)
    return {name: _plain(getattr(value, name)) for name in names} if names else value


def fold(
    subject: str,
    events: Iterable[EventFact],
    plan: Plan,
    *,
    other_deviations: Sequence[Deviation] = (),
) -> Folded:
    """Fold the events of one specimen.

    Args:
        subject: the specimen's code.
        events: its events, each once, in any order.
        plan: what was planned for it.
        other_deviations: deviations that other facts (records) opened, so that they can be judged.
    """
    ordered = in_order(events)
    standing = standing_of(ordered)
    life, conflicts = Life(), []
    for event in ordered:
        if event.id in standing.void:
            conflicts.append(Conflict(event.id, *standing.void[event.id]))
            continue
        if event.id in standing.struck:
            continue
        conflict = conflict_of(life, event)
        if conflict is not None:
            conflicts.append(conflict)
            continue
        EFFECTS[event.kind](life, event)
        life.last_at = event.occurred_at
    deviations = (*deviations_of(subject, life, plan), *other_deviations)
    judgements, unknown = _judged(ordered, standing.struck, {d.id for d in deviations})
    return Folded(
        life=life,
        order=tuple(e.id for e in ordered),
        struck=standing.struck,
        conflicts=(*conflicts, *unknown),
        deviations=deviations,
        judgements=judgements,
        skewed=tuple(e.id for e in ordered if is_skewed(e)),
    )


def _judged(
    ordered: Sequence[EventFact], struck: dict[str, str], known: set[str]
) -> tuple[dict[str, Judgement], list[Conflict]]:
    judgements: dict[str, Judgement] = {}
    unknown = []
    for event in ordered:
        if event.kind != "judged" or event.id in struck:
            continue
        deviation = event.payload["deviation"]
        if deviation not in known:
            unknown.append(Conflict(event.id, "event.deviation-unknown", UNKNOWN_DEVIATION))
            continue
        judgements[deviation] = Judgement(
            deviation,
            event.payload["decision"],
            event.payload["why"],
            event.actor,
            event.occurred_at,
        )
    return judgements, unknown


def foresee(
    subject: str, events: Sequence[EventFact], candidate: EventFact, plan: Plan
) -> Conflict | None:
    """The conflict that an event would have if it were logged now; None when it fits."""
    folded = fold(subject, [*events, candidate], plan)
    return next((c for c in folded.conflicts if c.event == candidate.id), None)


def stage_of(life: Life) -> str:  # noqa: C901
    """Where a specimen stands, in one word of the trade."""
    if life.end:
        return life.end
    if not life.exists:
        return "planned"
    if life.open_run is not None:
        return "cycling"
    if any(stay.run for stay in life.open_stays):
        return "under exposure and sustained load" if life.sustained else "under exposure"
    if life.sustained is not None:
        return "under sustained load"
    if life.runs:
        return "cycled"
    if any(stay.run for stay in life.stays):
        return "exposed"
    if life.strengthening_began_at is not None:
        return "strengthened"
    if life.pre_cracked_at is not None:
        return "pre-cracked"
    if life.prepared_at is not None:
        return "prepared"
    return "demoulded" if life.demoulded_at is not None else life.origin_how
