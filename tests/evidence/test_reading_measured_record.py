"""A measured record, read as the logger wrote it.

Reversed cyclic test of growing amplitude, measured by Drexler, Dires and Tannert, "Internal
perforated-steel-plate connections for CLT shear walls", World Conference on Timber Engineering,
Santiago de Chile 2021. The file is not part of the repository: the test runs where it is at hand.
"""

from __future__ import annotations

import pytest

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.domain.channels import apply_map
from labmatrix.evidence.reading.column import Column
from labmatrix.evidence.reading.delimited import read_delimited
from labmatrix.evidence.reading.table import RawTable
from tests.measured_record import NAME, measured_path


@pytest.fixture(scope="module")
def table() -> RawTable:
    with measured_path().open("rb") as stream:
        return read_delimited(stream)


def test_keeps_the_names_as_the_logger_spelled_them(table: RawTable) -> None:
    assert table.columns == (
        Column("Lead Actuator Force ", "kN"),
        Column("Lead Actuator Displacment ", "mm"),
    )


def test_reads_every_sample_without_a_warning(table: RawTable) -> None:
    assert table.row_count == 33_028
    assert table.warnings == ()
    assert (table.lines[0], table.lines[-1]) == (3, 33_030)


def test_finds_the_extremes(table: RawTable) -> None:
    force, displacement = (
        table.array("Lead Actuator Force"),
        table.array("Lead Actuator Displacment"),
    )
    assert (force.min(), force.max()) == (-52.46, 51.41)
    assert (displacement.min(), displacement.max()) == (-84.58, 84.53)


def test_maps_without_a_time_column(table: RawTable) -> None:
    channels = apply_map(
        {NAME: table},
        ChannelMap.from_data(
            [
                {"column": "Lead Actuator Force", "quantity": "load", "unit": "kN"},
                {"column": "Lead Actuator Displacment", "quantity": "deflection", "unit": "mm"},
            ]
        ),
    )
    load = channels.one("load")
    assert channels.time_of(load) is None
    assert load.values.max() == 51.41
