"""Many specimens and events at once: as many questions as for few, nothing less checked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from labmatrix.evidence.models import LedgerEntry, Subject
from labmatrix.evidence.services.ledger import ledger_verify
from labmatrix.evidence.services.rows import rows_insert
from labmatrix.kernel.errors import RuleBroken
from labmatrix.matrix.models import Cell
from specimens.domain.plan import Plan
from specimens.models import Event, Specimen, SpecimenState
from specimens.services.event import events_receive
from specimens.services.projection import specimens_fold, state_values
from specimens.services.rebuild import states_rebuild
from specimens.services.specimen import specimens_create_planned
from tests.bench.made.many_lives import life_of
from tests.specimens.scene import NOW, Scene

FEW, MANY = 2, 40


def asked(job: Callable[[], Any]) -> int:
    """How many questions a job asks the database."""
    with CaptureQueriesContext(connection) as seen:
        job()
    return len(seen.captured_queries)


def planned(scene: Scene, replicates: int) -> list[Cell]:
    """All cells of the series, each with so many specimens planned."""
    Cell.objects.filter(series=scene.series).update(replicates=replicates)
    return list(Cell.objects.filter(series=scene.series).order_by("pk"))


def made(scene: Scene, replicates: int) -> list[str]:
    """The codes of the specimens that are made for such a plan."""
    before = set(Specimen.objects.values_list("code", flat=True))
    specimens_create_planned(actor=scene.lead, cells=planned(scene, replicates), now=NOW)
    after = Specimen.objects.order_by("pk").values_list("code", flat=True)
    return [code for code in after if code not in before]


def test_many_specimens_are_made_with_as_many_questions_as_few(cast: Scene) -> None:
    few = asked(lambda: made(cast, FEW))
    many = asked(lambda: made(cast, MANY))
    assert many <= few + 2  # SQLite takes only so many values in one statement
    for cell in Cell.objects.filter(series=cast.series):
        numbers = list(cell.specimens.order_by("number").values_list("number", flat=True))
        assert numbers == list(range(1, MANY + 1))
    assert LedgerEntry.objects.filter(kind="plan", content__contains='"why":"created"').count() == (
        Specimen.objects.count()
    )
    assert SpecimenState.objects.filter(stage="planned").count() == Specimen.objects.count()
    assert list(ledger_verify()) == []


def test_a_code_that_another_label_has_makes_none_of_them(cast: Scene) -> None:
    had = made(cast, 1)
    Subject.objects.create(code=f"{had[-1][:-2]}02", kind=Subject.Kind.LOT)
    with pytest.raises(RuleBroken) as refused:
        specimens_create_planned(actor=cast.lead, cells=planned(cast, FEW), now=NOW)
    assert refused.value.code == "specimen.code-taken"
    assert Specimen.objects.count() == len(had)


def test_events_of_many_specimens_come_in_with_as_many_questions_as_of_few(cast: Scene) -> None:
    codes = made(cast, MANY)
    lives = [life_of(code, number, 0.5, 40) for number, code in enumerate(codes)]

    def logged(some: list[list[dict[str, Any]]]) -> None:
        raws = [raw for life in some for raw in life]
        answers = events_receive(actor=cast.technician, raws=raws, now=NOW)
        assert {answer.answer for answer in answers} == {"stored"}

    few, many = lives[:FEW], lives[FEW : FEW + 20]
    assert asked(lambda: logged(many)) <= asked(lambda: logged(few)) + 4
    specimens = list(Specimen.objects.filter(code__in=codes[: FEW + 20]).order_by("pk"))
    kept = SpecimenState.objects.in_bulk([specimen.pk for specimen in specimens])
    for specimen, (folded, entry) in zip(specimens, specimens_fold(specimens), strict=True):
        facts = [event.as_fact() for event in Event.objects.filter(subject=specimen.subject_id)]
        assert set(folded.order) == {fact.id for fact in facts}
        for name, value in state_values(folded, entry, Plan(specimen.planned_route)).items():
            assert getattr(kept[specimen.pk], name) == value, name
    assert states_rebuild().differing == ()
    assert list(ledger_verify()) == []


def test_rows_go_in_together_or_not_at_all_and_the_guards_look_at_each(cast: Scene) -> None:
    made(cast, FEW)
    last = LedgerEntry.objects.order_by("-seq")[0]
    rows = [
        LedgerEntry(
            seq=last.seq + 1 + place, recorded_at=NOW, actor="x", kind="plan", subject="x",
            content="{}", previous_hash=last.entry_hash, entry_hash="0" * 64,
        )
        for place in range(60)
    ]  # fmt: skip
    with pytest.raises(DatabaseError), transaction.atomic():
        rows_insert(rows)  # none but the first continues the chain
    assert LedgerEntry.objects.order_by("-seq")[0].seq == last.seq
