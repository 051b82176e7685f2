"""A preview shows a file as it stands and proposes a channel map that a person can accept."""

from __future__ import annotations

import io
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.domain.channels import apply_map
from labmatrix.evidence.reading.column import Column
from labmatrix.evidence.reading.guess import guess_quantity
from labmatrix.evidence.reading.open_table import read_table
from labmatrix.evidence.reading.parquet import write_parquet
from labmatrix.evidence.reading.preview import extremes, guess_channels, preview
from labmatrix.kernel.errors import ShapeError
from tests.evidence.reading_samples import QUAYSIDE, codes, read, stream


def test_shows_the_first_lines_as_they_stand() -> None:
    look = preview(stream(QUAYSIDE), rows=2)
    assert look.first_lines == tuple(enumerate(QUAYSIDE.splitlines()[:6], start=1))
    assert look.dialect is not None
    assert (look.row_count, look.complete) == (3, True)
    assert look.columns[1].first == (0.02, 1.5)
    assert (look.columns[2].minimum, look.columns[2].maximum) == (-0.25, 0.125)


def test_leaves_the_stream_where_it_was() -> None:
    source = stream(QUAYSIDE)
    preview(source)
    assert source.tell() == 0


def test_proposes_a_map_that_can_be_accepted_as_it_is() -> None:
    table = read(QUAYSIDE)
    entries = [guess.as_entry() for guess in preview(stream(QUAYSIDE)).guesses]
    channels = apply_map({"frame.csv": table}, ChannelMap.from_data(entries))
    assert channels.one("load").values.tolist() == [0.02, 1.5, 3.0]
    assert channels.time_of(channels.one("deflection")) is not None


@pytest.mark.parametrize(
    ("name", "unit", "quantity"),
    [
        ("Time", "s", "time"),
        ("Zeit", None, "time"),
        ("t", "ms", "time"),
        ("Lead Actuator Force", "kN", "load"),
        ("Kraft [kN]", "kN", "load"),
        ("Lead Actuator Displacment", "mm", "deflection"),
        ("LVDT 3", "mm", "deflection"),
        ("Support left", "mm", "settlement"),
        ("Crack 2", "mm", "crack-width"),
        ("Slip free end", "µm", "slip"),
        ("SG12", "µm/m", "strain"),
        ("Gauge", "µε", "strain"),
        ("T_air", "°C", "temperature"),
        ("RH", "% RH", "humidity"),
        ("Cycles", None, "count"),
        ("anything", "kip", "load"),
        ("anything", None, None),
        ("Output", "V", None),
    ],
)
def test_guesses_a_quantity_from_name_and_unit(
    name: str, unit: str | None, quantity: str | None
) -> None:
    assert guess_quantity(Column(name, unit)) == quantity


def test_turns_the_sign_of_a_load_that_runs_below_zero() -> None:
    guesses = guess_channels(read("Load [kN];Defl [mm]\n0.1;0\n-20;5\n-40;9\n"))
    assert [guess.sign for guess in guesses] == [-1, 1]
    assert "below zero" in guesses[0].why


def test_reversed_cycles_keep_their_sign() -> None:
    assert guess_channels(read("Load [kN];Defl [mm]\n40;8\n-41;-9\n"))[0].sign == 1


def test_several_columns_of_a_quantity_get_places() -> None:
    text = "t [s];Clock;LVDT 1 [mm];LVDT 2 [mm]\n0;10:00:00;1;2\n1;10:00:01;2;3\n"
    guesses = guess_channels(read(text))
    assert [guess.quantity for guess in guesses] == ["time", None, "deflection", "deflection"]
    assert [guess.place for guess in guesses[2:]] == ["LVDT 1", "LVDT 2"]
    ChannelMap.from_data([entry for guess in guesses if (entry := guess.as_entry())])


def test_leaves_open_what_it_cannot_know() -> None:
    guesses = guess_channels(read("Out 1 [V];Load;Spare\n1;2;\n2;3;\n"))
    assert [guess.as_entry() for guess in guesses] == [None, None, None]
    assert "not known" in guesses[1].why
    assert guesses[2].why == "the column holds no numbers"


def test_stops_after_enough_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("labmatrix.evidence.reading.preview.PREVIEW_ROWS", 50_000)
    look = preview(stream("t;P\n" + "".join(f"{i};{i % 97}.5\n" for i in range(400_000))))
    assert not look.complete
    assert 50_000 < look.row_count < 400_000
    assert len(look.columns[1].plot_rows) <= 400
    assert look.columns[1].plot_values.max() == 96.5


def test_says_what_the_first_rows_brought_up() -> None:
    look = preview(stream(QUAYSIDE + "0,3;OVER;1\n"))
    assert [warning.code for warning in look.warnings] == ["record.over-range"]
    assert look.columns[1].missing == 1
    assert look.columns[1].first[-1] is None


def test_refuses_what_the_reading_would_refuse() -> None:
    with pytest.raises(ShapeError, match="PNG"):
        preview(io.BytesIO(b"\x89PNG\r\n\x1a\n"))


def test_takes_parquet_through_the_same_door() -> None:
    data = write_parquet(read(QUAYSIDE))
    look = preview(io.BytesIO(data), rows=1)
    assert look.dialect is None
    assert look.first_lines == ((0, "Time; Load; Deflection"), (1, "0; 0.02; 0"))
    told: list[float] = []
    table = read_table(io.BytesIO(data), progress=told.append)
    assert table.array("Load").tolist() == [0.02, 1.5, 3.0]
    assert told == [1.0]
    assert codes(read_table(stream(QUAYSIDE + "end\n"))) == {"text-line"}


@given(
    hnp.arrays(np.float64, st.integers(0, 300), elements=st.floats(-10, 10) | st.just(np.nan)),
    st.integers(4, 50),
)
def test_extremes_keep_the_smallest_and_the_largest(
    values: NDArray[np.float64], points: int
) -> None:
    rows = extremes(values, points)
    assert (np.diff(rows) > 0).all()
    assert len(rows) <= points
    if np.isfinite(values).any():
        assert np.nanmin(values) == values[rows].min()
        assert np.nanmax(values) == values[rows].max()


def test_a_header_of_thousands_of_columns_is_looked_at_in_seconds() -> None:
    names = ",".join(f"strain {n} [um/m]" for n in range(3000))
    rows = "\n".join(",".join(["1"] * 3000) for _ in range(5))
    began = time.perf_counter()
    assert len(preview(stream(f"{names}\n{rows}\n")).columns) == 3000
    assert time.perf_counter() - began < 20.0  # by the square of the columns it took minutes
