"""A file read in pieces, left and taken up again anywhere, gives what it gives at once."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pyarrow import parquet

from labmatrix.evidence.reading import parquet_stream
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.open_table import read_table
from labmatrix.evidence.reading.parquet import write_parquet
from labmatrix.evidence.reading.streamed import Streamed, open_stream
from labmatrix.evidence.reading.table import RawTable
from labmatrix.evidence.reading.timeline import OrderTrack
from labmatrix.kernel.errors import ShapeError
from tests.evidence.reading_samples import read
from tests.evidence.test_reading_properties import Written, files

CLOCK = [
    "Quayside;invented;;",
    "Uhr;Load;Defl;note",
    "23:59:58;1,5;0,25;a",
    "23:59:59;2,5;OVER;b",
    "00:00:00;;0,75;c",
    "Uhr;Load;Defl;note",
    "00:00:01;3,5;0,80;d",
    "pause",
    "00:00:01;4,5;x;e",
    "00:00:02;;1,5;f",
    "00:10:00;7,5;1,75;g",
    "00:09:00;8,5;2,00;h",
]


def in_pieces(data: bytes, *, stop_each: bool, **more: Any) -> tuple[RawTable, int]:
    """The file in pieces; with ``stop_each`` by another reader after every piece."""
    reading = open_stream(io.BytesIO(data), **more)
    pieces: list[Any] = []
    if not stop_each:
        pieces = list(reading.pieces())
        return as_table(reading, pieces), len(pieces)
    while True:
        piece = next(reading.pieces(), None)
        if piece is None:
            return as_table(reading, pieces), len(pieces)
        pieces.append(piece)
        state = json.loads(json.dumps(reading.state()))
        reading = open_stream(io.BytesIO(data), **{**more, "state": state})


def as_table(reading: Streamed, pieces: list[Any]) -> RawTable:
    return RawTable(
        reading.head.columns,
        {
            column.name: np.concatenate([piece.values[index] for piece in pieces])
            for index, column in enumerate(reading.head.columns)
        },
        np.concatenate([piece.lines for piece in pieces]),
        reading.warnings(),
        reading.origins,
        reading.head.clocks,
    )


def assert_same(one: RawTable, other: RawTable) -> None:
    assert one.columns == other.columns
    assert one.clocks == other.clocks
    assert one.origins == other.origins
    np.testing.assert_array_equal(one.lines, other.lines)
    for name in one.values:
        np.testing.assert_array_equal(one.values[name], other.values[name])
    assert one.warnings == other.warnings


@given(files(), st.integers(3, 200), st.booleans())
@settings(max_examples=60, deadline=None)
def test_any_file_in_pieces_of_any_size(written: Written, size: int, stop_each: bool) -> None:
    try:
        whole = read_table(io.BytesIO(written.data))
    except ShapeError:
        assume(False)
    streamed, _ = in_pieces(written.data, stop_each=stop_each, block_bytes=size)
    assert_same(streamed, whole)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("size", [7, 40, 1 << 20])
def test_a_dirty_clock_over_midnight_left_after_every_piece(
    encoding: str, line_end: str, size: int
) -> None:
    data = (line_end.join(CLOCK) + line_end).encode(encoding)
    whole = read_table(io.BytesIO(data))
    met = {warning.code.removeprefix("record.") for warning in whole.warnings}
    assert met == {
        "text-column", "over-range", "missing-value", "header-repeated", "text-line", "text-cell",
        "midnight", "time-duplicate", "time-gap", "time-backward",
    }  # fmt: skip
    streamed, pieces = in_pieces(data, stop_each=True, block_bytes=size)
    assert pieces > 1 or size > 100
    if size > 100:  # which problem comes first goes by blocks; what is met does not
        assert_same(streamed, whole)
    assert set(streamed.warnings) == set(whole.warnings)
    np.testing.assert_array_equal(streamed.values["Uhr"], whole.values["Uhr"])


def test_dates_that_turn_out_to_be_the_other_way_round_ask_for_another_opening() -> None:
    one_day = [f"02/03/2026 10:{k // 60 % 60:02d}:{k % 60:02d};1,5;2,5" for k in range(10_000)]
    lines = ["stamp;P;d", *one_day, "02/04/2026 08:00:00;1,5;2,5", "02/04/2026 08:00:01;1,5;2,5"]
    data = ("\n".join(lines) + "\n").encode()
    size = 1 << 16
    with pytest.raises(ShapeError) as refused:
        in_pieces(data, stop_each=False, block_bytes=size)
    assert refused.value.code == "record.date-ambiguous"
    streamed, _ = in_pieces(data, stop_each=True, block_bytes=size, date_order="month first")
    assert_same(streamed, read_table(io.BytesIO(data)))


def test_a_column_that_stays_empty_and_a_cut_line_are_said_at_the_end() -> None:
    data = b"a;b;c\n" + b"1,25;;2,50\n" * 40 + b"1,25;;2,5"
    streamed, _ = in_pieces(data, stop_each=True, block_bytes=50)
    assert_same(streamed, read_table(io.BytesIO(data)))
    assert [w.code for w in streamed.warnings if "cut" in w.code or "empty" in w.code]


@given(st.lists(st.sampled_from([-1.0, 0.0, 1.0, 1.0, 1.0, 30.0, np.nan]), max_size=60),
       st.lists(st.integers(1, 59), max_size=4))  # fmt: skip
@settings(max_examples=100, deadline=None)
def test_the_order_of_time_does_not_depend_on_chunks(steps: list[float], cuts: list[int]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(OrderTrack, "HEAD", 20)
        time = np.cumsum([0.0, *np.nan_to_num(steps)])
        time[np.isnan([0.0, *steps])] = np.nan
        lines = np.arange(1, len(time) + 1)
        notes = []
        for edges in ([], sorted(cuts)):
            track = OrderTrack("t")
            for a, b in zip([0, *edges], [*edges, len(time)], strict=True):
                track.feed(time[a:b], lines[a:b])
                kept = json.loads(json.dumps(track.state()))
                track = OrderTrack("t")
                track.go_on(kept)
            found = Findings()
            track.close(found)
            notes.append(found.warnings())
        assert notes[0] == notes[1]


def _foreign() -> bytes:
    start = datetime(2026, 3, 31, 23, 59, 50, tzinfo=UTC)
    count = 40
    load: list[float | None] = [0.5 * k for k in range(count)]
    load[3], load[17], load[18] = None, float("inf"), None
    stamps = [None, *(start + timedelta(seconds=k) for k in range(1, count))]
    sink = io.BytesIO()
    parquet.write_table(
        pa.table(
            {
                "stamp": pa.array(stamps, pa.timestamp("ms", tz="UTC")),
                "Load [kN]": pa.array(load),
                "count": pa.array(range(count), pa.int32()),
                "hold": pa.array(["a"] * count),
                "nothing": pa.array([None] * count, pa.float64()),
                "time": pa.array([k % 30 for k in range(count)], pa.float64()),
            }
        ),
        sink,
        row_group_size=13,
    )
    return sink.getvalue()


@pytest.mark.parametrize("rows", [1, 5, 1000])
@pytest.mark.parametrize("own", [True, False])
def test_a_parquet_file_left_after_every_piece(monkeypatch, rows: int, own: bool) -> None:
    monkeypatch.setattr(parquet_stream, "PIECE_ROWS", rows)
    data = write_parquet(read("\n".join(CLOCK) + "\n")) if own else _foreign()
    streamed, pieces = in_pieces(data, stop_each=True)
    assert pieces >= streamed.row_count / rows
    assert_same(streamed, read_table(io.BytesIO(data)))
