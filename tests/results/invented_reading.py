"""Invented files through the real door: read, mapped, calibrated, reduced."""

from __future__ import annotations

import dataclasses
import io

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.domain.channels import Channels, apply_map
from labmatrix.evidence.reading.delimited import read_delimited
from labmatrix.evidence.reading.table import RawTable
from results.domain.invented.break_file import BreakFile
from results.domain.invented.cyclic_file import CyclicFile
from results.domain.invented.equipment import channel_maps, sensor_by_serial
from results.domain.invented.parameters import PARAMETERS
from results.domain.invented.story import StoryRecord
from results.domain.invented.truth import BeamTruth
from results.domain.reduction.break_settings import BreakSettings
from results.domain.reduction.break_test import reduce_break
from results.domain.reduction.cyclic import reduce_cyclic
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.outcome import Outcome


def table_of(content: bytes) -> RawTable:
    """The file as the reader takes it, its dialect found from the file alone."""
    return read_delimited(io.BytesIO(content))


def channels_of(record: StoryRecord) -> Channels:
    """Channels in base units, each times the factor of its sensor's calibration in force."""
    tables = {record.file_name: table_of(record.content())}
    mapped = apply_map(tables, ChannelMap.from_data(channel_maps()[record.channel_map]))
    return Channels(
        tuple(
            dataclasses.replace(
                channel,
                values=channel.values
                * (
                    sensor_by_serial(channel.sensor).factor_at(record.measured_at)
                    if channel.sensor
                    else 1.0
                ),
            )
            for channel in mapped.channels
        )
    )


def truth_of(record: StoryRecord) -> BeamTruth:
    """What the record was made from."""
    assert isinstance(record.source, BreakFile | CyclicFile)
    return record.source.truth


def broken(record: StoryRecord) -> Outcome:
    """A break record reduced."""
    channels = channels_of(record)
    return reduce_break(
        load_kn=channels.one("load").values,
        deflection_mm=channels.one("deflection").values,
        settlement_mm=[c.values for c in channels.all("settlement")],
        time_s=channels.one("time").values,
        settings=BreakSettings.from_dict(record.settings),
        already_cracked=truth_of(record).is_cracked,
        self_weight_kn=PARAMETERS.member.self_weight_kn,
        spreader_kn=PARAMETERS.member.spreader_kn,
        bar_strain=channels.one("strain", "bar").values,
    )


def cycled(record: StoryRecord) -> Outcome:
    """A cyclic record reduced."""
    channels = channels_of(record)
    return reduce_cyclic(
        load_kn=channels.one("load").values,
        deflection_mm=channels.one("deflection").values,
        time_s=channels.one("time").values,
        cycle_offset=record.cycle_offset,
        settings=CyclicSettings.from_dict(record.settings),
    )
