"""Read what was changed in a plan, by whom and why, from the ledger."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from labmatrix.evidence.models import LedgerEntry
from labmatrix.matrix.domain.wording import value_in_words
from labmatrix.web.models import Person

LEFT = "someone whose name was erased"


@dataclass(frozen=True)
class PlanChange:
    """One entry of the ledger about planned data."""

    seq: int
    at: datetime
    by: str
    why: str
    before: dict[str, Any]
    after: dict[str, Any]

    @property
    def lines(self) -> list[tuple[str, str, str]]:
        """What changed, in words: name, before, after; of what is new the people alone."""
        if not self.before and set(self.after) != {"members"}:
            return []
        names = [*self.before, *(name for name in self.after if name not in self.before)]
        return [
            (
                name.replace("_", " "),
                value_in_words(self.before.get(name)),
                value_in_words(self.after.get(name)),
            )
            for name in names
        ]


def plan_change_list(subject: str, at_most: int = 50) -> list[PlanChange]:
    """The newest changes of a programme, series or cell, with people's names; two queries."""
    entries = list(
        LedgerEntry.objects.filter(subject=subject, kind="plan").order_by("-seq")[:at_most]
    )
    bodies = [json.loads(entry.content)["body"] for entry in entries]
    members = [member for body in bodies for member in _members(body)]
    names = _names([*(entry.actor for entry in entries), *members])
    return [
        PlanChange(
            seq=entry.seq,
            at=entry.recorded_at,
            by=names.get(entry.actor, LEFT),
            why=body["why"],
            before=_with_names(body["before"] or {}, names),
            after=_with_names(body["after"] or {}, names),
        )
        for entry, body in zip(entries, bodies, strict=True)
    ]


def _members(body: dict[str, Any]) -> list[str]:
    sides = (body["before"] or {}, body["after"] or {})
    return [person for side in sides for person in side.get("members", {})]


def _with_names(side: dict[str, Any], names: dict[str, str]) -> dict[str, Any]:
    if "members" not in side:
        return side
    return side | {"members": {names.get(p, LEFT): r for p, r in side["members"].items()}}


def _names(people: Iterable[str]) -> dict[str, str]:
    ids = {uuid.UUID(person) for person in people}
    return {str(person.id): person.shown_name for person in Person.objects.filter(id__in=ids)}
