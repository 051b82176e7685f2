"""Matrix files through the service: all or nothing, and once."""

from __future__ import annotations

import hashlib
import json
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection
from hypothesis import HealthCheck, given, settings

from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.services.ledger import ledger_verify
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.document_json import state_as_json
from labmatrix.matrix.domain.problems import MatrixRefused
from labmatrix.matrix.models import Cell, CellLevel, Factor, Level, Series
from labmatrix.matrix.selectors.series import series_get_state
from labmatrix.matrix.services.matrix_import import MatrixImported, matrix_import
from tests.matrix.conftest import NOW, Cast
from tests.matrix.factories import SeriesFactory
from tests.matrix.files import ROWS, csv_file, json_file, xlsx_file
from tests.matrix.test_matrix_plan import JSON, states

pytestmark = pytest.mark.django_db


def take(cast: Cast, series: Series, filename: str, content: bytes) -> MatrixImported:
    """Import a file as the lead."""
    return matrix_import(
        actor=cast.lead, series=series, filename=filename, content=content, now=NOW
    )


def counts() -> tuple[int, ...]:
    """How many rows there are of everything that an import could write."""
    return tuple(model.objects.count() for model in (Factor, Level, Cell, CellLevel, LedgerEntry))


@pytest.mark.parametrize(
    ("filename", "content"),
    [
        ("m.csv", csv_file()),
        ("m.csv", csv_file(delimiter=";", encoding="cp1252")),
        ("m.xlsx", xlsx_file()),
    ],
)
def test_every_kind_of_file_gives_the_same_cells(filename, content, cast, series):
    taken = take(cast, series, filename, content)
    assert taken.created == ("U-LAB", "P0-WDS", "P2-LAB", "P2-WDS")
    state = series_get_state(series)
    assert {
        c.code: (c.replicates, c.gain_control, c.conditioning_control) for c in state.cells
    } == {
        "U-LAB": (3, None, None),
        "P0-WDS": (2, None, "U-LAB"),
        "P2-LAB": (3, "U-LAB", None),
        "P2-WDS": (3, "P0-WDS", "P2-LAB"),
    }


@pytest.mark.parametrize(
    ("filename", "content"),
    [("m.csv", csv_file()), ("m.xlsx", xlsx_file()), ("m.json", json_file(JSON))],
)
def test_the_same_file_twice_changes_nothing(filename, content, cast, empty_series):
    first = take(cast, empty_series, filename, content)
    before = counts()
    again = take(cast, empty_series, filename, content)
    assert (again.created, again.unchanged) == ((), first.created)
    assert counts() == before


def test_one_wrong_row_keeps_all_rows_out(cast, empty_series):
    before = counts()
    with pytest.raises(MatrixRefused) as refused:
        take(cast, empty_series, "m.csv", csv_file([*ROWS, ("2", "laboratory", "3")]))
    (row,) = refused.value.facts["rows"]
    assert (row["row"], row["code"]) == (6, "matrix.row-twice")
    assert counts() == before


def test_the_ledger_names_the_file_by_its_hash(cast, series):
    take(cast, series, "the matrix.csv", csv_file())
    body = json.loads(LedgerEntry.objects.latest("seq").content)["body"]
    assert body["after"]["source"] == {
        "filename": "the matrix.csv",
        "sha256": hashlib.sha256(csv_file()).hexdigest(),
    }
    assert len(body["after"]["added"]["cells"]) == 4
    assert body["after"]["added"]["factors"] == []


def test_a_second_file_brings_what_is_new(cast, empty_series):
    take(cast, empty_series, "m.json", json_file(JSON))
    more = {"cells": [{"levels": {"plies": 2, "width": 150}, "replicates": 1}]}
    taken = take(cast, empty_series, "n.json", json_file(more))
    assert taken.created == ("P2-W150",)
    levels = Level.objects.filter(factor__name="width").order_by("position")
    assert [level.value for level in levels] == ["25.4", "100", "150"]


def test_refuses_a_name_that_cannot_be_stored(cast, series):
    with pytest.raises(ShapeError):
        take(cast, series, "a\x00.csv", csv_file())


@settings(
    deadline=None,
    max_examples=25,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(state=states())
def test_a_matrix_written_out_and_read_into_another_series_is_the_same(cast, state):
    series = SeriesFactory(programme=cast.programme)
    content = json_file(state_as_json(state))
    take(cast, series, "m.json", content)
    assert series_get_state(series) == state
    before = counts()
    assert take(cast, series, "m.json", content).created == ()
    assert counts() == before


@pytest.mark.django_db(transaction=True)
def test_two_people_who_send_the_same_file_at_once_make_its_cells_once(cast, series):
    start = threading.Barrier(2)

    def send(_: int) -> MatrixImported:
        try:
            start.wait(timeout=30)
            return take(cast, series, "m.csv", csv_file())
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        answers = sorted(pool.map(send, range(2)), key=lambda taken: len(taken.created))
    assert [len(taken.created) for taken in answers] == [0, 4]
    assert len(answers[0].unchanged) == 4
    assert Cell.objects.count() == 4
    assert list(ledger_verify()) == []
