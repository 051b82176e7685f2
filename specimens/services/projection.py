"""Write what the fold says, beside the facts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from labmatrix.evidence.models import Record
from specimens.domain.ages import concrete_began, exposure_ended
from specimens.domain.deviations import Deviation as DeviationFound
from specimens.domain.deviations import deviation_id
from specimens.domain.fold import FOLD_VERSION, Folded, Judgement, fold, stage_of
from specimens.domain.next_step import next_step
from specimens.domain.plan import Plan
from specimens.models import Deviation, Event, Specimen, SpecimenState

RECORD_NOT_ON_ROUTE = "A {test} record came in; the route has no such test."
# Which stage of a route asks for which test; other tests belong to materials and climate.
_STAGE_OF_TEST = {"break": "break", "cyclic": "cycle", "sustained": "sustain"}


def record_deviations(specimen: Specimen, plan: Plan) -> list[DeviationFound]:
    """Records whose test the route does not have."""
    found = []
    for record_id, test in (
        Record.objects.filter(subject_id=specimen.subject_id)
        .order_by("received_at", "id")
        .values_list("id", "test")
    ):
        stage = _STAGE_OF_TEST.get(test)
        if stage is not None and not plan.has(stage):
            key = deviation_id(specimen.code, "record.not-on-route", str(record_id))
            words = RECORD_NOT_ON_ROUTE.format(test=test)
            found.append(DeviationFound(key, "record.not-on-route", words, str(record_id)))
    return found


def specimen_fold(specimen: Specimen) -> tuple[Folded, int]:
    """The fold of a specimen's events and records, and the last ledger entry it rests on."""
    plan = Plan(specimen.planned_route)
    events = list(Event.objects.filter(subject_id=specimen.subject_id))
    folded = fold(
        specimen.code,
        [event.as_fact() for event in events],
        plan,
        other_deviations=record_deviations(specimen, plan),
    )
    return folded, max((event.entry_id for event in events), default=0)


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
    folded, last_entry = specimen_fold(specimen)
    plan = Plan(specimen.planned_route)
    state, _ = SpecimenState.objects.update_or_create(
        specimen=specimen, defaults=state_values(folded, last_entry, plan)
    )
    Deviation.objects.filter(specimen=specimen).delete()
    Deviation.objects.bulk_create(deviation_rows(specimen, folded))
    return state


def specimens_project(specimens: Iterable[Specimen]) -> int:
    """Rewrite many; returns how many."""
    count = 0
    for specimen in specimens:
        specimen_project(specimen)
        count += 1
    return count
