"""The standing cast: everyone with a part in the Quayside programme, a stranger, one who left."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import pytest

from labmatrix.matrix.domain.design import FactorKind, FactorPart
from labmatrix.matrix.models import Programme, Series
from labmatrix.matrix.services.factor import factor_add
from labmatrix.web.domain.roles import Role
from labmatrix.web.models import Person
from tests.matrix.factories import (
    MembershipFactory,
    PersonFactory,
    ProgrammeFactory,
    SeriesFactory,
)

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Cast:
    """People around one programme."""

    programme: Programme
    lead: Person
    manager: Person
    technician: Person
    sponsor: Person
    stranger: Person
    gone: Person

    def of(self, name: str) -> Person:
        """A person by their part."""
        return getattr(self, name)


MEMBERS = tuple(str(role) for role in Role)
EVERYONE = (*MEMBERS, "stranger", "gone")


@pytest.fixture
def cast(db) -> Cast:
    """One person of each role; the stranger leads another programme, the gone led this one."""
    programme = ProgrammeFactory(code="QUAYSIDE")
    people = {
        str(role): PersonFactory(
            username=str(role), display_name=f"The {role}", laboratory_role=str(role)
        )
        for role in Role
    }
    for name, person in people.items():
        MembershipFactory(programme=programme, person=person, role=name)
    stranger = PersonFactory(username="stranger", laboratory_role="lead")
    MembershipFactory(programme=ProgrammeFactory(code="OTHER"), person=stranger, role="lead")
    gone = PersonFactory(username="gone", laboratory_role="lead", is_active=False)
    MembershipFactory(programme=programme, person=gone, role="lead")
    return Cast(programme=programme, stranger=stranger, gone=gone, **people)


@pytest.fixture
def empty_series(cast: Cast) -> Series:
    """A beam series without factors."""
    return SeriesFactory(programme=cast.programme, code="QV-B")


@pytest.fixture
def series(cast: Cast, empty_series: Series) -> Series:
    """A beam series with plies 0 1 2 and exposure laboratory, wet–dry salt; no cells yet."""
    factor_add(
        actor=cast.lead,
        series=empty_series,
        name="plies",
        kind=FactorKind.NUMERIC,
        part=FactorPart.STRENGTHENING,
        levels=[0, 1, 2],
        control=0,
        now=NOW,
    )
    factor_add(
        actor=cast.lead,
        series=empty_series,
        name="exposure",
        kind=FactorKind.NAMED,
        part=FactorPart.CONDITIONING,
        levels=["laboratory", "wet–dry salt"],
        control="laboratory",
        now=NOW,
    )
    return empty_series
