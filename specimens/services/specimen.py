"""Create specimens and note what was measured on them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db.models import Max

from labmatrix.evidence.models import Subject
from labmatrix.evidence.services.ledger import ledger_transaction, plan_change_append
from labmatrix.kernel.errors import RangeError, RuleBroken, ShapeError
from labmatrix.kernel.text import check_storable
from labmatrix.matrix.domain.code import SPECIMEN_CODE_MAX, check_code, specimen_code
from labmatrix.matrix.models import Cell
from labmatrix.matrix.selectors.cell import cell_get_route
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person
from specimens.models import Location, Specimen
from specimens.selectors.access import programme_roles
from specimens.services.projection import specimen_project

ENOUGH = (
    "The cell {cell} is planned with {planned} specimens and has {have}; change the plan first."
)
CODE_TAKEN = "The code {code} is on another label; change the series' template or the location."
LOCATION_SHAPE = "A location is {name!r}; allowed are A-Z, 0-9 and hyphens, 1 to 30 characters."
MEASURED_WHY = "Say why the measured values change."
MEASURED_SHAPE = (
    "measured holds {name!r} as {value}; allowed are names in small letters with underscores, "
    "ending in their unit, with a number or a text."
)
MEASURED_ALIKE = "Measured values belong to one specimen; create {count} without them."
COUNT_MAX = 200
_LOCATION = re.compile(r"^[A-Z0-9-]{1,30}\Z")
_MEASURED_NAME = re.compile(r"^[a-z][a-z0-9_]{0,59}\Z")


def check_measured(measured: Mapping[str, Any]) -> dict[str, Any]:
    """Measured values as they may be kept.

    Raises:
        ShapeError: ``input.text``, or ``specimen.measured`` for a name or a value that is none.
    """
    check_storable(measured, argument="measured")
    for name, value in measured.items():
        number = isinstance(value, int | float) and not isinstance(value, bool)
        fits = abs(value) <= 1e12 if number else isinstance(value, str) and len(value) <= 400
        if not _MEASURED_NAME.match(name) or not fits:
            words = MEASURED_SHAPE.format(name=name[:60], value=repr(value)[:80])
            raise ShapeError("specimen.measured", words, name=name[:60])
    return dict(measured)


def check_locations(names: Sequence[str]) -> None:
    """Refuse names of locations that no code can end in.

    Raises:
        ShapeError: ``specimen.location``.
    """
    for name in names:
        if not isinstance(name, str) or not _LOCATION.match(name):
            raise ShapeError("specimen.location", LOCATION_SHAPE.format(name=name))


def _subject(code: str, kind: str, programme_code: str) -> Subject:
    if Subject.objects.filter(code=code).exists():
        raise RuleBroken("specimen.code-taken", CODE_TAKEN.format(code=code), label=code)
    return Subject.objects.create(code=code, kind=kind, programme_code=programme_code)


def specimen_create(
    *,
    actor: Person,
    cell: Cell,
    now: datetime,
    measured: Mapping[str, Any] | None = None,
    locations: Sequence[str] = (),
) -> Specimen:
    """The next specimen of a cell, with its code frozen and its route resolved.

    Raises:
        NotFound: not the person's to do.
        RuleBroken: ``specimen.cell-full`` or ``specimen.code-taken``.
        ShapeError: ``specimen.measured``, ``specimen.location``, or from the series' route or
            code template.
    """
    programme = cell.series.programme
    require(programme_roles(actor).get(programme.code), Action.CREATE_SPECIMEN)
    kept = check_measured(measured or {})
    check_locations(locations)
    with ledger_transaction():
        number = _next_number(cell)
        code = specimen_code(
            cell.series.code_template, series=cell.series.code, cell=cell.code, number=number
        )
        route = cell_get_route(cell) if cell.series.route else None
        specimen = Specimen.objects.create(
            subject=_subject(code, Subject.Kind.SPECIMEN, programme.code),
            code=code,
            cell=cell,
            number=number,
            route=route.as_dict() if route else {},
            member=cell.series.member,
            measured=kept,
            created_at=now,
        )
        _locate(specimen, locations, programme.code)
        plan_change_append(
            actor=str(actor.id),
            subject=code,
            before=None,
            after=created_body(specimen, locations),
            why="created",
            now=now,
        )
        specimen_project(specimen)
    return specimen


def _next_number(cell: Cell) -> int:
    """The next number in a cell that is not full."""
    own = Specimen.objects.filter(cell=cell)
    have = own.count()
    if have >= cell.replicates:
        raise RuleBroken(
            "specimen.cell-full",
            ENOUGH.format(cell=cell.code, planned=cell.replicates, have=have),
            planned=cell.replicates,
            have=have,
        )
    return (own.aggregate(last=Max("number"))["last"] or 0) + 1


def _locate(specimen: Specimen, names: Sequence[str], programme_code: str) -> None:
    for name in names:
        code = check_code(
            f"{specimen.code}-{name}", argument="The location's code", at_most=SPECIMEN_CODE_MAX
        )
        subject = _subject(code, Subject.Kind.LOCATION, programme_code)
        Location.objects.create(subject=subject, specimen=specimen, name=name)


def created_body(specimen: Specimen, locations: Sequence[str]) -> dict[str, Any]:
    """What the ledger holds of a new specimen."""
    return {
        "cell": specimen.cell.code,
        "series": specimen.cell.series.code,
        "route": specimen.route,
        "member": specimen.member,
        "measured": specimen.measured,
        "locations": list(locations),
    }


def specimens_create(
    *,
    actor: Person,
    cell: Cell,
    count: int,
    now: datetime,
    measured: Mapping[str, Any] | None = None,
    locations: Sequence[str] = (),
) -> list[Specimen]:
    """The next ``count`` specimens of a cell, all or none.

    Raises:
        NotFound, RuleBroken, ShapeError: as ``specimen_create``.
        RangeError: ``count`` outside 1 to 200.
    """
    if not 1 <= count <= COUNT_MAX:
        raise RangeError("count", count, f"1 to {COUNT_MAX}")
    if measured and count > 1:
        raise ShapeError("specimen.measured", MEASURED_ALIKE.format(count=count))
    with ledger_transaction():
        return [
            specimen_create(actor=actor, cell=cell, now=now, measured=measured, locations=locations)
            for _ in range(count)
        ]


def specimens_create_planned(*, actor: Person, cells: Sequence[Cell], now: datetime) -> int:
    """All specimens that the cells plan and do not have yet; returns how many."""
    made = 0
    with ledger_transaction():
        for cell in cells:
            for _ in range(cell.replicates - Specimen.objects.filter(cell=cell).count()):
                specimen_create(actor=actor, cell=cell, now=now)
                made += 1
    return made


def specimen_measured_set(
    *, actor: Person, specimen: Specimen, measured: Mapping[str, Any], why: str, now: datetime
) -> Specimen:
    """Put measured geometry and material values in the place of the specified ones.

    Raises:
        NotFound: not the person's to do.
        ShapeError: ``specimen.measured-why`` without a reason, else as ``check_measured``.
    """
    require(programme_roles(actor).get(specimen.subject.programme_code), Action.CREATE_SPECIMEN)
    check_storable(why, argument="why")
    if not why.strip():
        raise ShapeError("specimen.measured-why", MEASURED_WHY)
    kept = check_measured(measured)
    with ledger_transaction():
        specimen.refresh_from_db(fields=["measured"])
        before = dict(specimen.measured)
        specimen.measured = {**before, **kept}
        specimen.save(update_fields=["measured"])
        plan_change_append(
            actor=str(actor.id),
            subject=specimen.code,
            before={"measured": before},
            after={"measured": specimen.measured},
            why=why,
            now=now,
        )
    return specimen
