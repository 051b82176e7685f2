"""What a person lays over each other: specimens and records of any cells and series they see."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import Q

from labmatrix.evidence.models import Record
from labmatrix.kernel.errors import NotFound, ShapeError
from labmatrix.kernel.text import check_storable
from labmatrix.web.domain.roles import NOT_YOURS
from labmatrix.web.models import Person
from results.models import Reduction
from specimens.models import Location, Specimen
from specimens.selectors.access import specimen_list_visible

SPECIMENS_MAX = 200
TOO_MANY = (
    "{asked} specimens were asked for at once; allowed are {allowed}. Take some of them away, or "
    "look at one cell after the other."
)
NO_RECORD = "The record {given!r} is no identifier; take it from the list of records."


@dataclass(frozen=True)
class Choice:
    """A selection as its address says it; empty parts ask for nothing."""

    cells: tuple[str, ...] = ()
    specimens: tuple[str, ...] = ()
    records: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        """Whether nothing was chosen."""
        return not (self.cells or self.specimens or self.records)

    def query(self, **more: str) -> str:
        """The same selection as the query of an address."""
        pairs = [("cell", c) for c in self.cells]
        pairs += [("specimen", s) for s in self.specimens]
        pairs += [("record", r) for r in self.records]
        return urlencode([*pairs, *((name, value) for name, value in more.items() if value)])


@dataclass(frozen=True)
class Selection:
    """Whose curves are drawn.

    Attributes:
        specimens: with cell, series and state, by series, cell and number.
        records: only these records of them; empty for all.
        owners: the specimen of each subject: itself and the locations on it.
    """

    specimens: tuple[Specimen, ...]
    records: frozenset[UUID]
    owners: dict[int, Specimen]

    def of_reduction(self, path: str = "") -> Q:
        """What a reduction must have to be drawn; ``path`` leads to it."""
        chosen = Q(**{f"{path}is_current": True}) & Q(
            **{f"{path}record__subject_id__in": list(self.owners)}
        )
        if self.records:
            chosen &= Q(**{f"{path}record_id__in": self.records})
        return chosen


@dataclass(frozen=True)
class Offered:
    """A cell with the specimens that have a curve, for the tick boxes."""

    cell: str
    specimens: tuple[str, ...]


def selection_get(*, actor: Person, choice: Choice) -> Selection:
    """The specimens of a choice; all of them, or a refusal.

    Raises:
        NotFound: one of them is not there or not theirs to see.
        ShapeError: ``overlay.too-many``, ``overlay.record`` or ``input.text``.
    """
    check_storable([*choice.cells, *choice.specimens, *choice.records], argument="the selection")
    visible = specimen_list_visible(actor=actor)
    found: set[int] = set()
    for cell in dict.fromkeys(choice.cells):
        series, _, code = cell.partition("/")
        own = visible.filter(cell__series__code=series, cell__code=code)
        found |= _some(own.values_list("pk", flat=True))
    named = dict(visible.filter(code__in=choice.specimens).values_list("code", "pk"))
    if set(choice.specimens) - set(named):
        raise NotFound("access.not-yours", NOT_YOURS)
    records = frozenset(_record_id(given) for given in choice.records)
    found |= set(named.values())
    if records:
        found |= _specimens_of(records, set(visible.values_list("pk", flat=True)))
    if len(found) > SPECIMENS_MAX:
        words = TOO_MANY.format(asked=len(found), allowed=SPECIMENS_MAX)
        raise ShapeError("overlay.too-many", words, asked=len(found), allowed=SPECIMENS_MAX)
    return _selection(found, records if not (choice.cells or choice.specimens) else frozenset())


def _some(keys: Collection[int]) -> set[int]:
    if not keys:
        raise NotFound("access.not-yours", NOT_YOURS)
    return set(keys)


def _record_id(given: str) -> UUID:
    try:
        return UUID(given)
    except ValueError as error:
        raise ShapeError("overlay.record", NO_RECORD.format(given=given[:60])) from error


def _specimens_of(records: frozenset[UUID], visible: set[int]) -> set[int]:
    """The specimens that records are of, each of which must be the person's to see."""
    subjects = dict(Record.objects.filter(pk__in=records).values_list("pk", "subject_id"))
    own = dict(
        Specimen.objects.filter(subject_id__in=subjects.values()).values_list("subject_id", "pk")
    ) | dict(
        Location.objects.filter(subject_id__in=subjects.values()).values_list(
            "subject_id", "specimen_id"
        )
    )
    owners = {own.get(subject) for subject in subjects.values()}
    if set(subjects) != set(records) or not owners <= visible:
        raise NotFound("access.not-yours", NOT_YOURS)
    return {pk for pk in owners if pk is not None}


def _selection(keys: Collection[int], records: frozenset[UUID]) -> Selection:
    rows = Specimen.objects.filter(pk__in=keys).select_related(
        "cell__series__programme", "state", "subject"
    )
    specimens = tuple(rows.order_by("cell__series__code", "cell_id", "number"))
    by_pk = {s.pk: s for s in specimens}
    owners = {s.subject_id: s for s in specimens}
    for subject, pk in Location.objects.filter(specimen__in=by_pk).values_list(
        "subject_id", "specimen_id"
    ):
        owners[subject] = by_pk[pk]
    return Selection(specimens, records, owners)


def overlay_offered(actor: Person) -> dict[str, list[Offered]]:
    """The specimens with a curve that a person sees, by series and cell; three queries."""
    visible = specimen_list_visible(actor=actor)
    measured = Reduction.objects.filter(is_current=True, name__in=("break", "cyclic"))
    subjects = measured.order_by().values("record__subject_id")
    on_places = Location.objects.filter(subject_id__in=subjects).values("specimen_id")
    rows = (
        visible.filter(Q(subject_id__in=subjects) | Q(pk__in=on_places))
        .order_by("cell__series__code", "cell_id", "number")
        .values_list("cell__series__code", "cell__code", "code")
    )
    found: dict[str, dict[str, list[str]]] = {}
    for series, cell, code in rows:
        found.setdefault(series, {}).setdefault(cell, []).append(code)
    return {
        series: [Offered(cell, tuple(codes)) for cell, codes in cells.items()]
        for series, cells in found.items()
    }


def invented_of(specimens: Sequence[Specimen]) -> bool:
    """Whether any of them belongs to an invented programme."""
    return any(s.cell.series.programme.is_invented for s in specimens)
