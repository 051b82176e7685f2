"""Reductions whose inputs have changed since: which they are, and all of them once more."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from labmatrix.evidence.models import Job, Record
from labmatrix.kernel.errors import NotFound
from labmatrix.matrix.models import Series
from labmatrix.web.domain.roles import NOT_YOURS, Action, allowed
from labmatrix.web.models import Person
from results.models import Reduction
from results.selectors.record import record_list_visible
from results.services.inputs import Gathered, inputs_apart
from results.services.prediction import predictions_out_of_date
from results.services.record import record_reduce_again
from specimens.selectors.access import programme_roles, subject_role

WHY = "brought up to date: {changed} changed"
UP_TO_DATE = "Every number and every prediction is up to date."
OUT_OF_DATE = "{what} {be} out of date: what went into them has changed since."
_WHY_MAX = 400
# Records looked at together: their inputs are gathered in a few queries.
_AT_ONCE = 200
_WORKING = (Record.Status.RECEIVED, Record.Status.READING, Record.Status.REDUCING)


@dataclass(frozen=True)
class Stale:
    """A record whose numbers are out of date.

    Attributes:
        record: with its subject.
        reduction: that it shows now.
        changed: what a reduction would take in otherwise now, in words.
        is_working: it is being reduced already, and will then have taken it in.
    """

    record: Record
    reduction: Reduction
    changed: tuple[str, ...]
    is_working: bool

    @property
    def why(self) -> str:
        """The reason with which a new reduction supersedes the old one."""
        return WHY.format(changed=" and ".join(self.changed))[:_WHY_MAX]


def may_ask_stale(actor: Person) -> bool:
    """Whether there is anything that the person may have reduced again."""
    roles = [actor.role, *programme_roles(actor).values()]
    return any(allowed(role, Action.ASK_REDUCTION) for role in roles)


def stale_list(*, actor: Person) -> list[Stale]:
    """The records out of date that the person may have reduced again, the oldest numbers first.

    Raises:
        NotFound: the person may have nothing reduced again.
    """
    if not may_ask_stale(actor):
        raise NotFound("access.not-yours", NOT_YOURS)
    return sorted(_stale(actor), key=lambda one: (one.reduction.reduced_at, str(one.record.pk)))


def _stale(actor: Person) -> Iterator[Stale]:
    roles = programme_roles(actor)
    visible = record_list_visible(actor=actor).filter(reductions__is_current=True)
    ids = list(visible.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(ids), _AT_ONCE):
        rows = record_list_visible(actor=actor).filter(pk__in=ids[start : start + _AT_ONCE])
        records = [
            record
            for record in rows
            if allowed(subject_role(record.subject, roles, actor), Action.ASK_REDUCTION)
        ]
        yield from _changed(records)


def _changed(records: Sequence[Record]) -> Iterator[Stale]:
    current = {
        reduction.record_id: reduction
        for reduction in Reduction.objects.filter(record__in=records, is_current=True).defer(
            "curve", "marks", "warnings", "settings"
        )
    }
    gathered = Gathered(records)
    for record in records:
        reduction = current.get(record.pk)
        if reduction is None:
            continue
        changed = inputs_apart(gathered.inputs(record), json.loads(reduction.inputs))
        if changed:
            yield Stale(record, reduction, tuple(changed), record.status in _WORKING)


def predictions_stale(*, actor: Person) -> list[tuple[Series, int]]:
    """Series that the person may have predicted, with how many predictions are out of date.

    Only those with some; as many queries for one series as for many.
    """
    codes = [c for c, r in programme_roles(actor).items() if allowed(r, Action.ASK_PREDICTION)]
    mine = Series.objects.filter(programme__code__in=sorted(codes)).select_related("programme")
    series = list(mine.order_by("code"))
    found = predictions_out_of_date(series)
    return [(one, found[one.pk]) for one in series if one.pk in found]


def stale_in_words(*, actor: Person) -> str:
    """What of a person's numbers and predictions is out of date, in a sentence.

    Raises:
        NotFound: the person may have nothing brought up to date.
    """
    records = len(stale_list(actor=actor))
    predicted = sum(count for _, count in predictions_stale(actor=actor))
    parts = [
        f"{count} {noun}{'' if count == 1 else 's'}"
        for count, noun in ((records, "record"), (predicted, "prediction"))
        if count
    ]
    if not parts:
        return UP_TO_DATE
    is_one = records + predicted == 1
    return OUT_OF_DATE.format(what=" and ".join(parts), be="is" if is_one else "are")


def stale_reduce_again(*, actor: Person, now: datetime) -> list[Job]:
    """Has everything reduced again that is out of date, each with its own reason.

    What is being reduced already is left alone. Each record is asked for in a transaction of its
    own, so that a stop half way leaves the rest to be asked for again.

    Raises:
        NotFound: not the person's to do.
    """
    return [
        record_reduce_again(actor=actor, record=one.record, why=one.why, now=now)
        for one in stale_list(actor=actor)
        if not one.is_working
    ]
