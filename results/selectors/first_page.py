"""What a person's first page answers: what waits, what is due, what stands where, how far it is.

Every function asks the same number of queries however much there is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, F, Q, QuerySet

from labmatrix.evidence.models import Record
from labmatrix.web.domain.roles import Action, Role, allowed
from labmatrix.web.models import Person
from results.selectors.record import record_list_visible
from specimens.domain.fold import FOLD_VERSION
from specimens.models import Deviation, SpecimenState

SHOWN = 8
# The words of what is to be done, by stage: before it has begun, and while it goes on.
TO_DO = {
    "cast": ("Cast", "Cast"),
    "pre-crack": ("Pre-crack", "Pre-crack"),
    "strengthen": ("Strengthen", "Go on strengthening"),
    "anchor": ("Anchor", "Go on anchoring"),
    "expose": ("Put under exposure", "Take out of exposure"),
    "sustain": ("Put under sustained load", "Take off sustained load"),
    "cycle": ("Start cycling", "Count load cycles"),
    "break": ("Break", "Go on breaking"),
    "repair": ("Repair", "Go on repairing"),
}
_CAUTIONS = {"break": "test-to-failure", "cycle": "cycling", "sustain": "sustained"}


@dataclass(frozen=True)
class Some:
    """The first rows of something, and how many there are."""

    rows: Sequence[object]
    count: int

    @property
    def more(self) -> int:
        """How many are not shown."""
        return self.count - len(self.rows)


@dataclass(frozen=True)
class Step:
    """One thing to do with a specimen: what, and in which words it is due."""

    state: SpecimenState
    what: str
    when: str
    at: datetime | None

    @property
    def is_late(self) -> bool:
        """Whether a tolerance is broken if it is not done."""
        return self.when == "overdue since"


@dataclass(frozen=True)
class ToDo:
    """What is to be done with specimens now and soon, with cautions, and how many to cast."""

    now: Some
    late: int
    soon: Sequence[Step]
    cautions: tuple[str, ...]
    to_cast: int = 0


@dataclass(frozen=True)
class Waiting:
    """What waits for a person: questions to judge, conflicts, refused records."""

    questions: Some
    conflicts: Some
    refused: Some
    may_judge: bool

    @property
    def count(self) -> int:
        """All of them."""
        return self.questions.count + self.conflicts.count + self.refused.count


def _some(found: QuerySet, count: int | None = None) -> Some:  # type: ignore[type-arg]
    rows = list(found[:SHOWN])
    return Some(rows, found.count() if count is None else count)


def codes_with(roles: dict[str, Role], action: Action) -> list[str]:
    """Codes of the programmes in which a person may do something."""
    return sorted(code for code, role in roles.items() if allowed(role, action))


def _states(codes: Sequence[str]) -> QuerySet[SpecimenState]:
    return (
        SpecimenState.objects.filter(specimen__subject__programme_code__in=codes)
        .select_related("specimen__subject")
        .defer("folded", "specimen__route", "specimen__member", "specimen__measured")
    )


def waiting_get(*, actor: Person, roles: dict[str, Role]) -> Waiting:
    """Open deviations, specimens with events in conflict, records that were refused; six queries.

    Args:
        actor: who looks.
        roles: the person's part by programme.
    """
    work, judged = codes_with(roles, Action.SEE_WORK), codes_with(roles, Action.JUDGE)
    questions = (
        Deviation.objects.filter(decision="", specimen__subject__programme_code__in=work)
        .select_related("specimen")
        .defer("specimen__route", "specimen__member", "specimen__measured")
        .order_by("specimen__code", "rule", "id")
    )
    conflicts = _states(work).filter(conflict_count__gt=0).order_by("specimen__code")
    refused = (
        record_list_visible(actor=actor)
        .filter(status=Record.Status.REFUSED)
        .order_by("-received_at", "id")
    )
    return Waiting(_some(questions), _some(conflicts), _some(refused), bool(judged))


def to_do_get(*, roles: dict[str, Role], now: datetime, days: int = 7) -> ToDo:
    """What is to be done with specimens at an instant, the most urgent first; four queries.

    What has a label and is still to be cast is only counted: nothing there can be late.

    Args:
        roles: the person's part by programme.
        now: the present.
        days: how far to look ahead.
    """
    there = (
        _states(codes_with(roles, Action.LOG_EVENT))
        .exclude(next_kind__in=("", "cast"))
        .filter(concrete_began_at__isnull=False)
    )
    labelled = _states(codes_with(roles, Action.LOG_EVENT)).filter(next_kind="cast")
    to_cast = labelled.filter(concrete_began_at__isnull=True, end="").count()
    may_begin = Q(ready_at__lte=now) | Q(ready_at__isnull=True)
    goes_on = Q(next_is_under_way=True, due_at__isnull=True)
    is_late = Q(late_at__lt=now)
    is_now = Q(next_is_under_way=False) & may_begin | Q(due_at__lte=now) | goes_on | is_late
    counted = there.aggregate(n=Count("pk", filter=is_now), late=Count("pk", filter=is_late))
    first = there.filter(is_now).order_by(
        F("late_at").asc(nulls_last=True), F("due_at").asc(nulls_last=True), "specimen__code"
    )[:SHOWN]
    until = now + timedelta(days=days)
    coming = there.exclude(is_now).filter(Q(due_at__lte=until) | Q(ready_at__lte=until))
    steps = [_step(state, now) for state in first]
    soon = [_step(state, now) for state in coming.order_by("due_at", "specimen__code")[:SHOWN]]
    cautions = dict.fromkeys(
        _CAUTIONS[s.state.next_kind] for s in steps if s.state.next_kind in _CAUTIONS
    )
    return ToDo(Some(steps, counted["n"]), counted["late"], soon, tuple(cautions), to_cast)


def _step(state: SpecimenState, now: datetime) -> Step:
    what = TO_DO[state.next_kind][state.next_is_under_way]
    if state.late_at is not None and state.late_at < now:
        return Step(state, what, "overdue since", state.late_at)
    if state.due_at is not None and state.due_at > now:
        return Step(state, what, "due", state.due_at)
    if state.due_at is not None:
        return Step(state, what, "ready since", state.due_at)
    if state.ready_at is not None:
        when = "ready since" if state.ready_at <= now else "not before"
        return Step(state, what, when, state.ready_at)
    return Step(state, what, "goes on" if state.next_is_under_way else "any time", None)


def states_stale(*, roles: dict[str, Role]) -> int:
    """How many specimens are told by an older fold, until ``rebuild-states`` has run; one query."""
    return (
        SpecimenState.objects.filter(
            specimen__subject__programme_code__in=codes_with(roles, Action.SEE_WORK)
        )
        .exclude(fold_version=FOLD_VERSION)
        .count()
    )
