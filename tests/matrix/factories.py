"""Rows to test with; what a test does not name is filled in plausibly."""

from __future__ import annotations

import factory
from factory.django import DjangoModelFactory

from labmatrix.matrix.domain.design import combination_key
from labmatrix.matrix.models import Cell, CellLevel, Factor, Level, Membership, Programme, Series
from labmatrix.web.models import Person


class PersonFactory(DjangoModelFactory):
    """Someone who can sign in; a technician of the laboratory unless said otherwise."""

    class Meta:
        model = Person

    username = factory.Sequence(lambda n: f"person-{n}")
    laboratory_role = "technician"


class ProgrammeFactory(DjangoModelFactory):
    """An invented programme."""

    class Meta:
        model = Programme

    code = factory.Sequence(lambda n: f"QV{n}")
    title = "Girders of the harbour viaduct"
    is_invented = True


class MembershipFactory(DjangoModelFactory):
    """A part in a programme."""

    class Meta:
        model = Membership

    programme = factory.SubFactory(ProgrammeFactory)
    person = factory.SubFactory(PersonFactory)
    role = "technician"


class SeriesFactory(DjangoModelFactory):
    """A beam series without factors."""

    class Meta:
        model = Series

    programme = factory.SubFactory(ProgrammeFactory)
    code = factory.Sequence(lambda n: f"QV-B{n}")
    title = "Beams in four-point bending"
    specimen_type = "beam"


class FactorFactory(DjangoModelFactory):
    """A numeric factor without levels."""

    class Meta:
        model = Factor

    series = factory.SubFactory(SeriesFactory)
    name = factory.Sequence(lambda n: f"factor {n}")
    kind = "numeric"
    position = factory.Sequence(lambda n: n)


class LevelFactory(DjangoModelFactory):
    """A level whose value is its position."""

    class Meta:
        model = Level

    factor = factory.SubFactory(FactorFactory)
    position = factory.Sequence(lambda n: n)
    value = factory.LazyAttribute(lambda level: str(level.position))
    number = factory.LazyAttribute(lambda level: float(level.position))
    code = factory.LazyAttribute(lambda level: f"L{level.position}")


class CellFactory(DjangoModelFactory):
    """A cell of three without levels; ``cell_at`` gives it some."""

    class Meta:
        model = Cell

    series = factory.SubFactory(SeriesFactory)
    code = factory.Sequence(lambda n: f"C{n}")
    replicates = 3
    combination = factory.LazyAttribute(lambda cell: cell.code)


def cell_at(series: Series, *levels: Level, **fields) -> Cell:
    """A cell with these levels."""
    named = {level.factor.name: level.value for level in levels}
    cell = CellFactory(series=series, combination=combination_key(named), **fields)
    for level in levels:
        CellLevel.objects.create(cell=cell, factor=level.factor, level=level)
    return cell
