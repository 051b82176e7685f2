"""The parts that a story is made of, and the records of its materials."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from results.domain.invented.break_file import BreakFile, BrokenFile
from results.domain.invented.cyclic_file import CyclicFile
from results.domain.invented.equipment import material_map_name
from results.domain.invented.materials import (
    BAR_HEAT,
    FABRIC_LOT,
    MaterialFile,
    bar_files,
    coupon_files,
)
from results.domain.invented.parameters import Parameters


@dataclass(frozen=True)
class StorySpecimen:
    """One beam of the plan.

    Attributes:
        code: as the series' template gives it.
        cell: code of its cell.
        number: within the cell; beams of a cell are created in this order.
        measured: what was measured on it, the unit in each name; empty before it is cast.
    """

    code: str
    cell: str
    number: int
    measured: Mapping[str, float]


@dataclass(frozen=True)
class StoryEvent:
    """One event: who logs it, and the body that the event door takes."""

    role: str
    body: Mapping[str, Any]


@dataclass(frozen=True)
class StoryRecord:
    """One upload.

    Attributes:
        subject: code of the beam, or of the lot of material.
        test: ``break``, ``cyclic``, ``coupon`` or ``bar``.
        file_name: of its one file, different for each record.
        channel_map: name of a saved channel map.
        settings: of the reduction.
        cycle_offset: load cycles that the beam had before the record.
        measured_at: when the record began.
        source: what the file is made from, with the beam's truth where there is one.
        is_broken: the file is no table and will be refused.
    """

    subject: str
    test: str
    file_name: str
    channel_map: str
    settings: Mapping[str, Any]
    cycle_offset: int
    measured_at: datetime
    source: BreakFile | CyclicFile | BrokenFile | MaterialFile

    @property
    def is_broken(self) -> bool:
        """Whether the reader has to refuse it."""
        return isinstance(self.source, BrokenFile)

    def content(self) -> bytes:
        """The file's bytes, the same in every call."""
        return self.source.content()


def material_records(seed: int, parameters: Parameters) -> tuple[StoryRecord, ...]:
    """Raw files of bars and coupons, in order of time."""
    made = [
        *((BAR_HEAT, *one) for one in bar_files(seed)),
        *((FABRIC_LOT, *one) for one in coupon_files(seed, parameters=parameters)),
    ]
    return tuple(
        StoryRecord(
            subject=lot,
            test=file.test,
            file_name=f"{file.mark}.csv",
            channel_map=material_map_name(file.test),
            settings=settings,
            cycle_offset=0,
            measured_at=file.measured_at,
            source=file,
        )
        for lot, file, settings in made
    )
