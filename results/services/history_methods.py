"""Reductions of a whole load history: envelopes of reversed cycles, and counted ranges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from labmatrix.evidence.domain.channels import Channel, Channels
from labmatrix.kernel.canonical import content_key
from results.domain.reduction import cycle_envelope, variable_amplitude
from results.domain.reduction.cycle_envelope import EnvelopeSettings, reduce_envelope
from results.domain.reduction.instruments import (
    Instrument,
    Judged,
    Reduce,
    Told,
    judge,
    untold,
    without_refusals,
)
from results.domain.reduction.outcome import Floats, Note, Outcome
from results.domain.reduction.settings import ReductionSettings
from results.domain.reduction.variable_amplitude import CountingSettings, reduce_counting
from results.services.instruments_of import instrument_notes, instrument_of
from results.services.main_channels import main_channel

Steps = Mapping[tuple[str, str], float]
# Each number is found again more than a hundred times: longer histories are counted without.
JUDGED_ROWS_MAX = 3_000_000
TOO_LONG = (
    "The record has {rows} rows, more than {most}: the uncertainty of its numbers is not worked "
    "out, because for that each is found again more than a hundred times."
)


def _instrument(channel: Channel, inputs: Mapping[str, Any], steps: Steps) -> Instrument:
    step = steps.get((channel.joined_from or channel.file, channel.column), 0.0)
    return instrument_of(channel, inputs["calibrations"], step)


def _judged(
    reduce: Reduce,
    inputs: Mapping[str, Any],
    load: tuple[Floats, Instrument],
    second: tuple[Floats, Instrument] | None,
    told: Told,
) -> Judged:
    """An outcome with its uncertainty: every input moved, the scatter drawn anew."""
    notes = instrument_notes(load[1], second[1] if second else None)
    rows = len(load[0])
    still = second or (np.zeros(rows), Instrument("none"))
    if rows > JUDGED_ROWS_MAX:
        outcome = reduce(load[0], still[0])
        words = TOO_LONG.format(rows=rows, most=JUDGED_ROWS_MAX)
        notes = [Note("uncertainty.no-time", words)]
        return Judged(replace(outcome, warnings=(*outcome.warnings, *notes)), {})
    first = reduce(load[0], still[0])  # a refusal of the record itself is said
    judged = judge(
        without_refusals(reduce),
        load_kn=load[0],
        deflection_mm=still[0],
        load=load[1],
        deflection=still[1],
        seed=int(content_key(inputs)[:8], 16),
        told=told,
    )
    outcome = replace(
        judged.outcome, warnings=(*judged.outcome.warnings, *notes), table=first.table
    )
    return Judged(outcome, judged.budgets)


class EnvelopeMethod:
    """Cycles to both sides, of growing amplitude: the envelope of each (form of ASTM E2126)."""

    name = cycle_envelope.REDUCTION
    version = cycle_envelope.VERSION
    settings: type[ReductionSettings] = EnvelopeSettings

    def reduce(
        self, channels: Channels, inputs: Mapping[str, Any], steps: Steps, told: Told = untold
    ) -> Judged:
        """Peak, ultimate, equal-energy yield and ductility of each side."""
        load, deflection = main_channel(channels, "load"), main_channel(channels, "deflection")
        settings = EnvelopeSettings.from_dict(inputs["settings"])

        def reduce(load_kn: Floats, deflection_mm: Floats) -> Outcome:
            return reduce_envelope(load_kn=load_kn, deflection_mm=deflection_mm, settings=settings)

        first, second = (_instrument(c, inputs, steps) for c in (load, deflection))
        return _judged(reduce, inputs, (load.values, first), (deflection.values, second), told)


class CountingMethod:
    """A load history of variable amplitude: rainflow, level crossings, damage by a stated line."""

    name = variable_amplitude.REDUCTION
    version = variable_amplitude.VERSION
    settings: type[ReductionSettings] = CountingSettings

    def reduce(
        self, channels: Channels, inputs: Mapping[str, Any], steps: Steps, told: Told = untold
    ) -> Judged:
        """Counted cycles, largest range, share of the half cycles and, of a line, damage."""
        load = main_channel(channels, "load")
        settings = CountingSettings.from_dict(inputs["settings"])

        def reduce(load_kn: Floats, _: Floats) -> Outcome:
            return reduce_counting(load_kn=load_kn, settings=settings)

        return _judged(reduce, inputs, (load.values, _instrument(load, inputs, steps)), None, told)
