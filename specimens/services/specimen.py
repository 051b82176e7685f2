"""Create specimens and note what was measured on them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db.models import Count, Max, prefetch_related_objects

from labmatrix.evidence.models import Subject
from labmatrix.evidence.services.ledger import (
    ledger_append_many,
    ledger_transaction,
    plan_change,
    plan_change_append,
)
from labmatrix.kernel.errors import RangeError, RuleBroken, ShapeError
from labmatrix.kernel.text import check_storable
from labmatrix.matrix.domain.code import SPECIMEN_CODE_MAX, check_code, specimen_code
from labmatrix.matrix.models import Cell
from labmatrix.matrix.selectors.cell import cell_get_route, cell_levels_read
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person
from specimens.models import Location, Specimen
from specimens.selectors.access import programme_roles
from specimens.services.projection import specimens_project

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
    return specimens_create(
        actor=actor, cell=cell, count=1, now=now, measured=measured, locations=locations
    )[0]


def _next_numbers(cells: Sequence[Cell]) -> dict[int, tuple[int, int]]:
    """How many specimens each cell has and the next number in it; one query."""
    rows = (
        Specimen.objects.filter(cell__in=cells)
        .order_by()
        .values_list("cell_id")
        .annotate(have=Count("pk"), last=Max("number"))
    )
    found = {cell: (have, last + 1) for cell, have, last in rows}
    return {cell.pk: found.get(cell.pk, (0, 1)) for cell in cells}


def _check_room(cell: Cell, have: int, count: int) -> None:
    if have + count > cell.replicates:
        raise RuleBroken(
            "specimen.cell-full",
            ENOUGH.format(cell=cell.code, planned=cell.replicates, have=have),
            planned=cell.replicates,
            have=have,
        )


def _codes(cell: Cell, first: int, count: int) -> Iterator[tuple[int, str]]:
    """The numbers and codes of the next specimens of a cell."""
    series = cell.series
    for number in range(first, first + count):
        yield (
            number,
            specimen_code(series.code_template, series=series.code, cell=cell.code, number=number),
        )


def _subjects(codes: Sequence[str], kind: str, programmes: Sequence[str]) -> list[Subject]:
    """New subjects under codes that no other label has; as many queries as for one."""
    taken = set(Subject.objects.filter(code__in=codes).values_list("code", flat=True))
    for code in codes:
        if code in taken:
            raise RuleBroken("specimen.code-taken", CODE_TAKEN.format(code=code), label=code)
        taken.add(code)
    return Subject.objects.bulk_create(
        Subject(code=code, kind=kind, programme_code=programme)
        for code, programme in zip(codes, programmes, strict=True)
    )


def _locate(specimens: Sequence[Specimen], names: Sequence[str]) -> None:
    placed = [(specimen, name) for specimen in specimens for name in names]
    if not placed:
        return
    codes = [
        check_code(f"{s.code}-{name}", argument="The location's code", at_most=SPECIMEN_CODE_MAX)
        for s, name in placed
    ]
    programmes = [specimen.subject.programme_code for specimen, _ in placed]
    subjects = _subjects(codes, Subject.Kind.LOCATION, programmes)
    Location.objects.bulk_create(
        Location(subject=subject, specimen=specimen, name=name)
        for subject, (specimen, name) in zip(subjects, placed, strict=True)
    )


def _make(
    actor: Person,
    wanted: Sequence[tuple[Cell, int]],
    now: datetime,
    measured: Mapping[str, Any],
    locations: Sequence[str],
) -> list[Specimen]:
    """The next specimens of some cells, in the running transaction; as many queries as for one.

    Args:
        actor: who may create them.
        wanted: each cell once, with how many.
        now: the present.
        measured: what was measured on each.
        locations: on each.
    """
    cells = [cell for cell, _ in wanted]
    prefetch_related_objects(cells, cell_levels_read(), "series__programme")
    numbers = _next_numbers(cells)
    rows: list[Specimen] = []
    for cell, count in wanted:
        have, first = numbers[cell.pk]
        _check_room(cell, have, count)
        route = cell_get_route(cell).as_dict() if cell.series.route else {}
        rows += [
            Specimen(
                code=code,
                cell=cell,
                number=number,
                route=route,
                member=cell.series.member,
                measured=dict(measured),
                created_at=now,
            )
            for number, code in _codes(cell, first, count)
        ]
    programmes = [row.cell.series.programme.code for row in rows]
    subjects = _subjects([row.code for row in rows], Subject.Kind.SPECIMEN, programmes)
    for row, subject in zip(rows, subjects, strict=True):
        row.subject = subject
    made = Specimen.objects.bulk_create(rows)
    _locate(made, locations)
    ledger_append_many(
        drafts=[
            plan_change(
                actor=str(actor.id),
                subject=specimen.code,
                before=None,
                after=created_body(specimen, locations),
                why="created",
            )
            for specimen in made
        ],
        now=now,
    )
    specimens_project(made)
    return made


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
    require(programme_roles(actor).get(cell.series.programme.code), Action.CREATE_SPECIMEN)
    kept = check_measured(measured or {})
    check_locations(locations)
    with ledger_transaction():
        return _make(actor, [(cell, count)], now, kept, locations)


def specimens_create_planned(*, actor: Person, cells: Sequence[Cell], now: datetime) -> int:
    """All specimens that the cells plan and do not have yet; returns how many.

    As many questions to the database for many cells as for one.

    Args:
        actor: who creates them.
        cells: each once.
        now: the present.

    Raises:
        NotFound, RuleBroken, ShapeError: as ``specimen_create``; then none is made.
    """
    roles = programme_roles(actor)
    prefetch_related_objects(cells, "series__programme")
    for code in sorted({cell.series.programme.code for cell in cells}):
        require(roles.get(code), Action.CREATE_SPECIMEN)
    with ledger_transaction():
        have = {cell: count for cell, (count, _) in _next_numbers(cells).items()}
        missing = [(cell, cell.replicates - have[cell.pk]) for cell in cells]
        wanted = [(cell, count) for cell, count in missing if count > 0]
        return len(_make(actor, wanted, now, {}, ())) if wanted else 0


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
