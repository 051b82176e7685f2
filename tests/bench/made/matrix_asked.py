"""What a large matrix is asked: the product's own selectors and pages, and SQL beside them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labmatrix.matrix.models import Cell
from labmatrix.web.models import Person
from results.selectors.plate_lives import Member, members_of
from specimens.domain.plan import Plan
from specimens.models import Event, Specimen, SpecimenState
from specimens.selectors.specimen import SpecimenFilter, specimen_list_ids, specimen_list_page
from specimens.services.projection import specimens_fold, state_values
from tests.bench.made.many_lives import STAGES

ON_A_PAGE = 100
SAMPLE = 100
PAGES = {
    "the first page": "/",
    "the list of specimens": "/specimens/",
    "its last page": "/specimens/?page={last}",
    "the plate of the largest series": "/series/Q00/plate/",
    "its comparison": "/series/Q00/comparison/",
    "the plate of another series": "/series/Q01/plate/",
    "a machine": "/machines/CHAMBER-A/",
}


def raw_dates() -> list[tuple[Any, ...]]:
    """(specimen, last date of each stage) of every specimen, by one SQL statement."""
    columns = ", ".join(f"MAX(CASE WHEN e.kind = '{k}' THEN e.occurred_at END)" for k in STAGES)
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT s.id, {columns} FROM specimens_specimen s LEFT JOIN specimens_event e "
            "ON e.subject_id = s.subject_id GROUP BY s.id"
        )
        return list(cursor.fetchall())


def whole_matrix() -> list[Member]:
    """Every specimen as the plate takes it: stage, end, questions and its whole life."""
    return members_of(list(Cell.objects.values_list("pk", flat=True)))


def first_page() -> list[Specimen]:
    """The first page of the list of specimens, ids first, with its states."""
    lead = Person.objects.get(username="lead")
    ids = specimen_list_ids(actor=lead, wanted=SpecimenFilter())
    return specimen_list_page(list(ids[:ON_A_PAGE]))


def questions(job: Callable[[], Any]) -> int:
    """How many questions a job asks the database."""
    with CaptureQueriesContext(connection) as seen:
        job()
    return len(seen.captured_queries)


def _moment(value: Any) -> datetime | None:
    if value is None:
        return None
    moment = datetime.fromisoformat(value) if isinstance(value, str) else value
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def same_dates(raw: list[tuple[Any, ...]], members: list[Member]) -> bool:
    """Whether the lives of the plate say the dates of casting and of the end as the events do."""
    cast, end = STAGES.index("cast") + 1, STAGES.index("broken") + 1
    told = {row[0]: (_moment(row[cast]), _moment(row[end])) for row in raw}
    return len(told) == len(members) and all(
        told[m.pk] == (_moment(m.life["cast_at"]), _moment(m.life["ended_at"])) for m in members
    )


def states_right() -> bool:
    """Whether a sample of states is what a fold of their events gives."""
    step = max(1, Specimen.objects.count() // SAMPLE)
    keys = list(Specimen.objects.order_by("pk").values_list("pk", flat=True))[::step]
    specimens = list(Specimen.objects.filter(pk__in=keys).order_by("pk"))
    kept = SpecimenState.objects.in_bulk(keys)
    return all(
        getattr(kept[specimen.pk], name) == value
        for specimen, (folded, entry) in zip(specimens, specimens_fold(specimens), strict=True)
        for name, value in state_values(folded, entry, Plan(specimen.planned_route)).items()
    )


def client() -> Client:
    """Signed in as the research lead."""
    found = Client(headers={"host": "127.0.0.1"})
    found.force_login(Person.objects.get(username="lead"))
    return found


def pages_asked(number_of: int) -> dict[str, Callable[[], int]]:
    """Jobs that ask for each page; each gives its status."""
    signed_in = client()
    last = -(-number_of // ON_A_PAGE)

    def asking(path: str) -> Callable[[], int]:
        return lambda: signed_in.get(path.format(last=last)).status_code

    return {name: asking(path) for name, path in PAGES.items()}


def events_kept() -> int:
    """How many events there are."""
    return Event.objects.count()
