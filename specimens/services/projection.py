"""Write what the fold says, beside the facts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from labmatrix.evidence.models import Record
from specimens.domain.ages import concrete_began, exposure_ended
from specimens.domain.deviations import Deviation as DeviationFound
from specimens.domain.deviations import deviation_id
from specimens.domain.event import EventFact
from specimens.domain.fold import FOLD_VERSION, Folded, Judgement, fold, stage_of
from specimens.domain.next_step import next_step
from specimens.domain.plan import Plan
from specimens.models import Deviation, Specimen, SpecimenState
from specimens.selectors.event import facts_read

RECORD_NOT_ON_ROUTE = "A {test} record came in; the route has no such test."
AT_ONCE = 100  # specimens whose events are in memory together
_STATE_COLUMNS = [f.name for f in SpecimenState._meta.concrete_fields if not f.primary_key]
# Which stage of a route asks for which test; other tests belong to materials and climate.
_STAGE_OF_TEST = {"break": "break", "cyclic": "cycle", "sustained": "sustain"}


def _record_deviations(
    specimen: Specimen, plan: Plan, records: Iterable[tuple[str, str]]
) -> list[DeviationFound]:
    """Records (id, test) whose test the route does not have."""
    found = []
    for record_id, test in records:
        stage = _STAGE_OF_TEST.get(test)
        if stage is not None and not plan.has(stage):
            key = deviation_id(specimen.code, "record.not-on-route", record_id)
            words = RECORD_NOT_ON_ROUTE.format(test=test)
            found.append(DeviationFound(key, "record.not-on-route", words, record_id))
    return found


@dataclass(frozen=True)
class _Facts:
    """What folds rest on, by subject: events, the last ledger entry of them, records."""

    events: Mapping[int, Sequence[EventFact]]
    last_entry: Mapping[int, int]
    records: Mapping[int, Sequence[tuple[str, str]]]


def _facts_of(specimens: Sequence[Specimen]) -> _Facts:
    """The facts of some specimens; two queries."""
    subjects = [specimen.subject_id for specimen in specimens]
    events: dict[int, list[EventFact]] = defaultdict(list)
    last: dict[int, int] = defaultdict(int)
    for subject, entry, fact in facts_read(subjects):
        events[subject].append(fact)
        last[subject] = max(last[subject], entry)
    records: dict[int, list[tuple[str, str]]] = defaultdict(list)
    rows = Record.objects.filter(subject_id__in=subjects).order_by("received_at", "id")
    for subject, record, test in rows.values_list("subject_id", "id", "test"):
        records[subject].append((str(record), test))
    return _Facts(events, last, records)


def specimens_fold(specimens: Sequence[Specimen]) -> list[tuple[Folded, int]]:
    """The folds of some specimens, each with the last ledger entry it rests on; two queries."""
    facts = _facts_of(specimens)
    found = []
    for specimen in specimens:
        subject, plan = specimen.subject_id, Plan(specimen.planned_route)
        others = _record_deviations(specimen, plan, facts.records.get(subject, ()))
        events = facts.events.get(subject, ())
        folded = fold(specimen.code, events, plan, other_deviations=others)
        found.append((folded, facts.last_entry.get(subject, 0)))
    return found


def _place(folded: Folded) -> str:
    stays = [f"{s.machine} {s.position}".strip() for s in folded.life.open_stays]
    return ", ".join(stays) or folded.life.whereabouts


def _row(specimen: Specimen, found: DeviationFound, judged: Judgement | None) -> Deviation:
    return Deviation(
        id=found.id,
        specimen=specimen,
        rule=found.rule,
        words=found.words,
        at=found.at,
        decision=judged.decision if judged else "",
        why=judged.why if judged else "",
        judged_by=judged.actor if judged else "",
        judged_at=judged.at if judged else None,
    )


def state_values(folded: Folded, last_entry: int, plan: Plan) -> dict[str, Any]:
    """The columns of a state that says what a fold says, and what comes next by the plan."""
    life = folded.life
    coming = next_step(plan, life)
    decisions = {key: judged.decision for key, judged in folded.judgements.items()}
    return {
        "stage": stage_of(life),
        "end": life.end,
        "ended_at": life.ended_at,
        "place": _place(folded)[:200],
        "plies": life.plies,
        "load_cycles": life.cycles,
        "concrete_began_at": concrete_began(life),
        "mortar_at": life.mortar_at,
        "exposure_ended_at": exposure_ended(life),
        "last_at": life.last_at,
        "next_kind": coming.kind,
        "next_is_under_way": coming.is_under_way,
        "ready_at": coming.ready_at,
        "due_at": coming.due_at,
        "late_at": coming.late_at,
        "conflict_count": len(folded.conflicts),
        "open_deviation_count": sum(d.id not in decisions for d in folded.deviations),
        "is_excluded": "exclude" in decisions.values(),
        "folded": folded.as_dict(),
        "fold_version": FOLD_VERSION,
        "last_entry": last_entry,
    }


def deviation_rows(specimen: Specimen, folded: Folded) -> list[Deviation]:
    """The deviations of a fold, not saved yet."""
    return [_row(specimen, found, folded.judgements.get(found.id)) for found in folded.deviations]


def specimen_project(specimen: Specimen) -> SpecimenState:
    """Rewrite a specimen's state and deviations from its facts, in the running transaction."""
    return specimens_project([specimen])[0]


def specimens_project(specimens: Sequence[Specimen]) -> list[SpecimenState]:
    """Rewrite the states and deviations of many from their facts, in the running transaction.

    As many questions for each hundred of specimens as for one.

    Args:
        specimens: each once.

    Returns:
        Their states, in the same order.
    """
    states: list[SpecimenState] = []
    for first in range(0, len(specimens), AT_ONCE):
        states += _project_some(specimens[first : first + AT_ONCE])
    return states


def _project_some(specimens: Sequence[Specimen]) -> list[SpecimenState]:
    states: list[SpecimenState] = []
    deviations: list[Deviation] = []
    for specimen, (folded, entry) in zip(specimens, specimens_fold(specimens), strict=True):
        values = state_values(folded, entry, Plan(specimen.planned_route))
        states.append(SpecimenState(specimen=specimen, **values))
        deviations += deviation_rows(specimen, folded)
    SpecimenState.objects.bulk_create(
        states, update_conflicts=True, unique_fields=["specimen"], update_fields=_STATE_COLUMNS
    )
    Deviation.objects.filter(specimen__in=specimens).delete()
    Deviation.objects.bulk_create(deviations)
    return states
