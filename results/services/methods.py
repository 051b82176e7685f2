"""Which reduction belongs to which test, and how channels reach it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from labmatrix.evidence.domain.channels import Channel, Channels
from labmatrix.kernel.canonical import content_key
from labmatrix.kernel.errors import UserError
from results.domain.reduction import break_test, cyclic
from results.domain.reduction.break_settings import BreakSettings
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.instruments import Judged, judge
from results.domain.reduction.outcome import Outcome
from results.domain.reduction.settings import ReductionSettings
from results.services.instruments_of import instrument_notes, instrument_of
from results.services.material_methods import MATERIAL_METHODS

Floats = npt.NDArray[np.float64]
Steps = Mapping[tuple[str, str], float]


class TableMethod(Protocol):
    """A reduction of whole channels, as the pipeline sees it."""

    name: str
    version: str
    settings: type[ReductionSettings]

    def reduce(self, channels: Channels, inputs: Mapping[str, Any], steps: Steps) -> Judged:
        """Numbers with their uncertainty from channels in base units.

        Args:
            channels: of the record.
            inputs: of the reduction.
            steps: smallest step of each channel by file and column, in its base unit.

        Raises:
            UserError: why the record cannot give them.
        """
        ...


def main_channel(channels: Channels, quantity: str) -> Channel:
    """The channel of a quantity that counts: the one at mid-span where there are several.

    Raises:
        ShapeError: ``channels.quantity-missing`` or ``channels.ambiguous``.
    """
    central = [c for c in channels.all(quantity) if c.place in (None, "mid-span", "actuator")]
    if len(central) > 1 and all(c.place for c in central):
        central = [c for c in central if c.place == "mid-span"]
    return central[0] if len(central) == 1 else channels.one(quantity)


class BreakMethod:
    """A monotonic test to failure."""

    name = break_test.REDUCTION
    version = break_test.VERSION
    settings: type[ReductionSettings] = BreakSettings

    def reduce(self, channels: Channels, inputs: Mapping[str, Any], steps: Steps) -> Judged:
        """Cracking, yield, peak, ultimate, stiffness, ductility and energy."""
        load, deflection = main_channel(channels, "load"), main_channel(channels, "deflection")
        reduce = _break_reduction(channels, inputs, channels.time_of(load))
        outcome = reduce(load.values, deflection.values)
        first, second = (
            instrument_of(
                c, inputs["calibrations"], steps.get((c.joined_from or c.file, c.column), 0.0)
            )
            for c in (load, deflection)
        )
        judged = judge(
            _without_refusals(reduce),
            load_kn=load.values,
            deflection_mm=deflection.values,
            load=first,
            deflection=second,
            seed=int(content_key(inputs)[:8], 16),
        )
        notes = (*judged.outcome.warnings, *instrument_notes(first, second))
        return Judged(replace(judged.outcome, warnings=notes, table=outcome.table), judged.budgets)


def _break_reduction(
    channels: Channels, inputs: Mapping[str, Any], time: Floats | None
) -> Callable[[Floats, Floats], Outcome]:
    """The break reduction of a record as a function of its load and deflection."""
    specimen = inputs["specimen"]
    member = specimen.get("member", {})
    strains = [c for c in channels.all("strain") if c.place and c.place.startswith("bar")]
    carried = {
        f"{c.quantity} {c.place or c.column}": c.values
        for c in channels.channels
        if c.quantity in ("strain", "crack-width", "slip")
    }
    settings = BreakSettings.from_dict(inputs["settings"])

    def reduce(load_kn: Floats, deflection_mm: Floats) -> Outcome:
        return break_test.reduce_break(
            load_kn=load_kn,
            deflection_mm=deflection_mm,
            settlement_mm=[c.values for c in channels.all("settlement")],
            time_s=time,
            settings=settings,
            already_cracked=bool(specimen.get("loaded_before")),
            self_weight_kn=float(member.get("self_weight_kn", 0.0)),
            spreader_kn=float(member.get("spreader_kn", 0.0)),
            bar_strain=strains[0].values if strains else None,
            carried=carried,
        )

    return reduce


def _without_refusals(
    reduce: Callable[[Floats, Floats], Outcome],
) -> Callable[[Floats, Floats], Outcome]:
    """A record that is only refused with its noise drawn anew gives no number then."""

    def tried(load_kn: Floats, deflection_mm: Floats) -> Outcome:
        try:
            return reduce(load_kn, deflection_mm)
        except UserError:
            return Outcome(metrics=())

    return tried


class CyclicMethod:
    """A record of load cycles, which goes by in pieces (``cyclic_record``)."""

    name = cyclic.REDUCTION
    version = cyclic.VERSION
    settings: type[ReductionSettings] = CyclicSettings


Method = TableMethod | CyclicMethod


class NoSettings(ReductionSettings):
    """A test whose channels are read and kept, without numbers of their own yet."""

    REDUCTION = "reading"


class ReadingMethod:
    """Any other test: the channels are read, checked and kept."""

    name = "reading"
    version = "1"
    settings: type[ReductionSettings] = NoSettings

    def reduce(self, channels: Channels, inputs: Mapping[str, Any], steps: Steps) -> Judged:
        """No metrics; the mapped channels can be drawn."""
        settings = NoSettings.from_dict(inputs["settings"]).as_dict()
        return Judged(Outcome(metrics=(), settings=settings), {})


_METHODS: Mapping[str, Method] = {
    "break": BreakMethod(),
    "cyclic": CyclicMethod(),
    **MATERIAL_METHODS,
}
_READING = ReadingMethod()


def method_for(test: str) -> Method:
    """The reduction of a test."""
    return _METHODS.get(test, _READING)


def method_named(name: str) -> Method:
    """The reduction of a name, as it stands in a key's inputs."""
    return next((m for m in _METHODS.values() if m.name == name), _READING)


def drawn_channels(
    channels: Channels,
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any], str, str]:
    """What a record's curve shows: (x, y, heading of x, heading of y), equal lengths.

    Load over deflection where both are in one file, else load over the mean strain, else the first
    channel over its rows.
    """
    loads, deflections = channels.all("load"), channels.all("deflection")
    strains = channels.all("strain")
    if len(loads) == 1 and strains and not deflections:
        of_file = [c.values for c in strains if c.file == loads[0].file]
        if of_file:
            return np.mean(of_file, axis=0), loads[0].values, "strain [mm/mm]", "load [kN]"
    if loads and deflections:
        y, x = main_channel(channels, "load"), main_channel(channels, "deflection")
        if y.file == x.file:
            return x.values, y.values, "deflection [mm]", "load [kN]"
    first = (
        next(c for c in channels.channels if c.quantity != "time")
        if len(channels.channels) > 1
        else channels.channels[0]
    )
    rows = np.arange(first.values.size, dtype=np.float64)
    return rows, first.values, "row", f"{first.quantity} [{first.unit}]"
