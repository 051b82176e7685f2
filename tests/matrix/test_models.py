"""What the database itself refuses."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction

from labmatrix.matrix.models import (
    CellLevel,
    Factor,
    ForbiddenCombination,
    Level,
    Membership,
    Programme,
    Series,
)
from tests.matrix.factories import (
    CellFactory,
    FactorFactory,
    LevelFactory,
    MembershipFactory,
    PersonFactory,
    ProgrammeFactory,
    SeriesFactory,
    cell_at,
)

pytestmark = pytest.mark.django_db


def refused(make, *args, **fields) -> None:
    """The database refuses a row, and the transaction around it lives on."""
    with pytest.raises(IntegrityError), transaction.atomic():
        make(*args, **fields)
    Programme.objects.count()


def test_codes_are_unique_and_in_capitals():
    ProgrammeFactory(code="QV")
    refused(ProgrammeFactory, code="QV")
    refused(ProgrammeFactory, code="qv2")
    refused(ProgrammeFactory, code="")
    SeriesFactory(code="QV-B")
    refused(SeriesFactory, code="QV-B")
    refused(SeriesFactory, code="qv-c")


def test_a_programme_ends_after_it_starts():
    refused(ProgrammeFactory, starts_on="2026-02-01", ends_on="2026-01-31")
    ProgrammeFactory(starts_on="2026-02-01", ends_on="2026-02-01")


def test_a_series_has_a_known_specimen_type():
    refused(SeriesFactory, specimen_type="bridge")


def test_a_person_has_one_known_part_in_a_programme():
    found = MembershipFactory()
    refused(Membership.objects.create, programme=found.programme, person=found.person, role="lead")
    refused(MembershipFactory, role="director")


def test_a_factor_comes_once_whatever_its_case():
    factor = FactorFactory(name="plies")
    refused(FactorFactory, series=factor.series, name="Plies")
    refused(FactorFactory, name="")
    refused(FactorFactory, kind="vector")
    refused(FactorFactory, part="decoration")
    refused(FactorFactory, kind="named", unit="mm")


def test_a_level_comes_once_and_one_means_none():
    level = LevelFactory(value="Salt", code="S", is_control=True)
    refused(LevelFactory, factor=level.factor, value="salt", code="S2")
    refused(LevelFactory, factor=level.factor, value="fog", code="S")
    refused(LevelFactory, factor=level.factor, value="fog", code="F", is_control=True)
    refused(LevelFactory, factor=level.factor, value="fog", code="F-1")
    refused(LevelFactory, factor=level.factor, value="fog", code="f")
    refused(LevelFactory, factor=level.factor, value="", code="F")
    LevelFactory(factor=level.factor, value="fog", code="F")


def test_a_cell_has_its_own_code_and_combination():
    cell = CellFactory(code="A", combination="a")
    refused(CellFactory, series=cell.series, code="A", combination="b")
    refused(CellFactory, series=cell.series, code="B", combination="a")
    refused(CellFactory, code="b")
    refused(CellFactory, replicates=1000)
    CellFactory(code="A", combination="a")


def test_no_cell_is_its_own_control():
    cell = CellFactory()
    for name in ("gain_control", "conditioning_control"):
        setattr(cell, name, cell)
        refused(cell.save)
        setattr(cell, name, None)


def test_a_cell_has_one_level_of_each_factor():
    level = LevelFactory(value="0")
    other = LevelFactory(factor=level.factor, value="2")
    cell = cell_at(level.factor.series, level)
    refused(CellLevel.objects.create, cell=cell, factor=level.factor, level=other)


def test_a_rule_has_a_reason_and_comes_once():
    series = SeriesFactory()
    rules = ForbiddenCombination.objects
    refused(rules.create, series=series, combination="a", why="")
    rules.create(series=series, combination="a", why="no room")
    refused(rules.create, series=series, combination="a", why="no time")


def test_what_others_stand_on_cannot_be_removed():
    level = LevelFactory()
    cell = cell_at(level.factor.series, level)
    for row in (cell.series.programme, cell.series, level.factor, level):
        with pytest.raises(IntegrityError):
            row.delete()
    assert (Series.objects.count(), Factor.objects.count(), Level.objects.count()) == (1, 1, 1)


def test_a_person_who_is_erased_leaves_no_membership():
    person = PersonFactory()
    MembershipFactory(person=person)
    person.delete()
    assert Membership.objects.count() == 0


def test_what_is_shown_of_rows():
    level = LevelFactory(value="0", label="no fabric")
    cell = cell_at(level.factor.series, level, code="P0")
    level.factor.unit = "mm"
    assert [str(x) for x in (level, cell, cell.series.programme)] == [
        "no fabric",
        "P0",
        cell.series.programme.code,
    ]
    assert level.factor.heading.endswith("[mm]")
    assert Level(value="fog").setting == "fog"
