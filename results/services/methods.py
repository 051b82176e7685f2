"""Which reduction belongs to which test, and how channels reach it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from labmatrix.evidence.domain.channels import Channels
from labmatrix.kernel.canonical import content_key
from labmatrix.kernel.errors import ShapeError
from results.domain.reduction import break_test, cyclic, cyclic_run
from results.domain.reduction.break_settings import BreakSettings
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.instruments import Judged, Told, judge, untold, without_refusals
from results.domain.reduction.outcome import Outcome
from results.domain.reduction.settings import ReductionSettings
from results.services.history_methods import CountingMethod, EnvelopeMethod
from results.services.instruments_of import instrument_notes, instrument_of
from results.services.main_channels import main_channel
from results.services.material_methods import MATERIAL_METHODS

Floats = npt.NDArray[np.float64]
Steps = Mapping[tuple[str, str], float]


class TableMethod(Protocol):
    """A reduction of whole channels, as the pipeline sees it."""

    name: str
    version: str
    settings: type[ReductionSettings]

    def reduce(
        self, channels: Channels, inputs: Mapping[str, Any], steps: Steps, told: Told = untold
    ) -> Judged:
        """Numbers with their uncertainty from channels in base units.

        Args:
            channels: of the record.
            inputs: of the reduction.
            steps: smallest step of each channel by file and column, in its base unit.
            told: told the share done, 0 to 1, now and then.

        Raises:
            UserError: why the record cannot give them.
        """
        ...


class BreakMethod:
    """A monotonic test to failure."""

    name = break_test.REDUCTION
    version = break_test.VERSION
    settings: type[ReductionSettings] = BreakSettings

    def reduce(
        self, channels: Channels, inputs: Mapping[str, Any], steps: Steps, told: Told = untold
    ) -> Judged:
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
            without_refusals(reduce),
            load_kn=load.values,
            deflection_mm=deflection.values,
            load=first,
            deflection=second,
            seed=int(content_key(inputs)[:8], 16),
            told=told,
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


class CyclicMethod:
    """A record of load cycles, which goes by in pieces (``cyclic_record``)."""

    name = cyclic.REDUCTION
    version = cyclic.VERSION
    settings: type[ReductionSettings] = CyclicSettings


class RunMethod:
    """A record of load cycles with the other records of its run (``run_record``)."""

    name = cyclic_run.REDUCTION
    version = cyclic_run.VERSION
    settings: type[ReductionSettings] = cyclic_run.RunSettings


Method = TableMethod | CyclicMethod | RunMethod


class NoSettings(ReductionSettings):
    """A test whose channels are read and kept, without numbers of their own yet."""

    REDUCTION = "reading"


class ReadingMethod:
    """Any other test: the channels are read, checked and kept."""

    name = "reading"
    version = "1"
    settings: type[ReductionSettings] = NoSettings

    def reduce(
        self, channels: Channels, inputs: Mapping[str, Any], steps: Steps, told: Told = untold
    ) -> Judged:
        """No metrics; the mapped channels can be drawn."""
        settings = NoSettings.from_dict(inputs["settings"]).as_dict()
        return Judged(Outcome(metrics=(), settings=settings), {})


_BREAK, _CYCLIC, _RUN = BreakMethod(), CyclicMethod(), RunMethod()
_ENVELOPE, _COUNTING, _READING = EnvelopeMethod(), CountingMethod(), ReadingMethod()
# The reductions that a test may have, the usual one first.
_METHODS: Mapping[str, tuple[Method, ...]] = {
    "break": (_BREAK, _ENVELOPE),
    "cyclic": (_CYCLIC, _RUN, _ENVELOPE, _COUNTING),
    **{test: (method,) for test, method in MATERIAL_METHODS.items()},
}
_BY_NAME: Mapping[str, Method] = {m.name: m for there in _METHODS.values() for m in there}


def methods_of(test: str) -> tuple[Method, ...]:
    """The reductions that a test may have, the usual one first."""
    return _METHODS.get(test, (_READING,))


def method_for(test: str, asked: Mapping[str, Any] | None = None) -> Method:
    """The reduction of a test: the usual one, or the one that the settings name as ``reduction``.

    Args:
        test: of the record.
        asked: settings as asked.

    Raises:
        ShapeError: ``reduction.unknown``.
    """
    there = methods_of(test)
    name = (asked or {}).get("reduction", there[0].name)
    found = next((method for method in there if method.name == name), None)
    if found is None:
        known = " or ".join(method.name for method in there)
        raise ShapeError(
            "reduction.unknown",
            f"The reduction {name!r} was asked for; a {test} record can be reduced as {known}.",
            reduction=str(name),
        )
    return found


def method_named(name: str) -> Method:
    """The reduction of a name, as it stands in a key's inputs."""
    return _BY_NAME.get(name, _READING)
