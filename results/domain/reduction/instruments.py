"""Uncertainty of every metric of a reduction, from calibration, zero, resolution and scatter.

The reduction itself is the measurement function: it is run again with each input moved. What the
noise and the resolution do to a metric is found by drawing them anew over the record.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from labmatrix.kernel.errors import RangeError, UserError
from results.domain.reduction.noise import noise_of
from results.domain.reduction.outcome import Floats, Found, Note, Outcome
from results.domain.reduction.uncertainty import (
    LINEAR_SHARE,
    Budget,
    BudgetRow,
    Input,
    effective_dof,
    from_resolution,
)

Reduce = Callable[[Floats, Floats], Outcome]
Key = tuple[str, str | None, int | None]
Told = Callable[[float], None]
DEFLECTION = ("deflection", "mm")
SCATTER = "scatter of the record (noise and resolution)"


@dataclass(frozen=True, slots=True)
class Instrument:
    """What is known of one channel of measurement.

    Attributes:
        source: sensor and certificate, in words.
        scale_u: relative standard uncertainty of its scale (0.005 for 0.5 %).
        scale_dof: degrees of freedom of it.
        zero_u: standard uncertainty of its zero, in the unit of the channel.
        resolution: step of its readings, in the unit of the channel.
    """

    source: str
    scale_u: float = 0.0
    scale_dof: float = math.inf
    zero_u: float = 0.0
    resolution: float = 0.0

    def __post_init__(self) -> None:
        for name in ("scale_u", "zero_u", "resolution"):
            if not getattr(self, name) >= 0.0:
                raise RangeError(f"{name} of {self.source}", getattr(self, name), "0 or more")


@dataclass(frozen=True)
class Judged:
    """An outcome whose metrics carry their uncertainty.

    Attributes:
        outcome: the outcome, ``u`` filled in where it could be found.
        budgets: for each (name, method, at).
    """

    outcome: Outcome
    budgets: dict[Key, Budget]


def key_of(found: Found) -> Key:
    """What tells a metric from the others of its outcome."""
    return (found.name, found.method, found.at)


def _values(outcome: Outcome) -> dict[Key, float]:
    return {key_of(found): found.value for found in outcome.metrics}


def untold(share: float) -> None:
    """Tells nobody how far the work is."""


def without_refusals(reduce: Reduce) -> Reduce:
    """A record that is only refused with its noise drawn anew gives no number then."""

    def tried(load_kn: Floats, deflection_mm: Floats) -> Outcome:
        try:
            return reduce(load_kn, deflection_mm)
        except UserError:
            return Outcome(metrics=())

    return tried


class _Inputs:
    """The four inputs of a load–deflection record that may be moved, and its scatter."""

    def __init__(
        self,
        load: Floats,
        deflection: Floats,
        instruments: tuple[Instrument, Instrument],
        second: tuple[str, str] = DEFLECTION,
    ) -> None:
        self.load, self.deflection = load, deflection
        p, d = instruments
        self.moved = [
            Input(f"scale of load: {p.source}", 1.0, p.scale_u, p.scale_dof),
            Input(f"scale of {second[0]}: {d.source}", 1.0, d.scale_u, d.scale_dof),
            Input(f"zero of load: {p.source}", 0.0, p.zero_u, unit="kN"),
            Input(f"zero of {second[0]}: {d.source}", 0.0, d.zero_u, unit=second[1]),
        ]
        self.sigma = [
            math.hypot(noise_of(a[np.isfinite(a)]).sigma, from_resolution(i.resolution))
            for a, i in ((load, p), (deflection, d))
        ]

    def record(self, shifts: Sequence[float]) -> tuple[Floats, Floats]:
        """The channels with scales and zeros moved by so much."""
        p_scale, d_scale, p_zero, d_zero = shifts
        return (
            self.load * (1.0 + p_scale) + p_zero,
            self.deflection * (1.0 + d_scale) + d_zero,
        )

    def redrawn(self, rng: np.random.Generator, shifts: Sequence[float]) -> tuple[Floats, Floats]:
        """The same with noise and resolution drawn once more on top."""
        p, d = self.record(shifts)
        size = len(p)
        return (p + rng.normal(0.0, self.sigma[0], size), d + rng.normal(0.0, self.sigma[1], size))


def _spread(runs: Sequence[dict[Key, float]], keys: Sequence[Key]) -> dict[Key, float]:
    """Standard deviation of each metric over the draws that all gave it."""
    spread = {}
    for key in keys:
        drawn = [run[key] for run in runs if key in run]
        if len(drawn) == len(runs):
            spread[key] = float(np.std(drawn, ddof=1))
    return spread


def judge(
    reduce: Reduce,
    *,
    load_kn: Floats,
    deflection_mm: Floats,
    load: Instrument,
    deflection: Instrument,
    seed: int,
    draws: int = 60,
    told: Told = untold,
    second: tuple[str, str] = DEFLECTION,
) -> Judged:
    """Runs a reduction, and again with its inputs moved, for the uncertainty of each metric.

    First order: central differences over ± the standard uncertainty of scale and zero of both
    channels, and the standard deviation over ``draws`` records with the noise drawn once more.
    Where a metric bends by more than ``LINEAR_SHARE`` of its slope, its combined uncertainty is
    that of draws of all inputs together (Monte Carlo), and the rows are kept for reading.

    Args:
        reduce: from load and deflection, shape (n,), to an outcome.
        load_kn, deflection_mm: the channels, shape (n,).
        load, deflection: the instruments.
        seed: of the draws.
        draws: at least 20.
        told: told the share of the runs that is done, 0 to 1.
        second: what the second channel measures and its base unit, in the rows of the budget.

    Returns:
        The outcome with ``u``, and the budgets. A metric that some of the runs did not give has
        no ``u`` and is named in a note.

    Raises:
        RangeError: too few draws.
    """
    if draws < 20:
        raise RangeError("draws", draws, "20 or more")
    outcome = reduce(load_kn, deflection_mm)
    inputs = _Inputs(load_kn, deflection_mm, (load, deflection), second)
    runs = _Runs(reduce, inputs, seed=seed, draws=draws, told=told)
    runs.run([key_of(found) for found in outcome.metrics])
    budgets: dict[Key, Budget] = {}
    bent: list[Key] = []
    for found in outcome.metrics:
        key = key_of(found)
        if runs.gave(key):
            budgets[key], linear = runs.first_order(key, found)
            bent += [] if linear else [key]
    for key, u in (runs.all_moved(bent) if bent else {}).items():
        budgets[key] = replace(budgets[key], u=u, dof=draws - 1.0, method="Monte Carlo")
    return Judged(_with_u(outcome, budgets, seed, draws), budgets)


class _Runs:
    """The reduction run again and again with its inputs moved."""

    def __init__(
        self,
        reduce: Reduce,
        inputs: _Inputs,
        *,
        seed: int,
        draws: int,
        told: Told,
    ) -> None:
        self.reduce, self.inputs, self.draws = reduce, inputs, draws
        # At most: the scatter, both sides of each input, and all inputs together.
        self.told, self.done, self.runs = told, 0, 2 * draws + 2 * len(inputs.moved)
        self.rng = np.random.default_rng(seed)
        self.scatter: dict[Key, float] = {}
        self.sides: list[tuple[dict[Key, float], dict[Key, float]]] = []

    def run(self, keys: Sequence[Key]) -> None:
        """Draws the scatter, and moves each input to both sides."""
        moved = self.inputs.moved
        still = (0.0,) * len(moved)
        drawn = [self._redrawn(still) for _ in range(self.draws)]
        self.scatter = _spread(drawn, keys)
        self.sides = [self._both_sides(k) for k in range(len(moved))]

    def _reduced(self, record: tuple[Floats, Floats]) -> dict[Key, float]:
        self.done += 1
        self.told(self.done / self.runs)
        return _values(self.reduce(*record))

    def _redrawn(self, shifts: Sequence[float]) -> dict[Key, float]:
        return self._reduced(self.inputs.redrawn(self.rng, shifts))

    def _both_sides(self, k: int) -> tuple[dict[Key, float], dict[Key, float]]:
        u = self.inputs.moved[k].u
        shifts = [0.0] * len(self.inputs.moved)
        answers = []
        for shift in (u, -u):
            shifts[k] = shift
            answers.append(self._reduced(self.inputs.record(shifts)))
        return answers[0], answers[1]

    def gave(self, key: Key) -> bool:
        """Whether every run gave the metric."""
        return key in self.scatter and all(key in side for pair in self.sides for side in pair)

    def first_order(self, key: Key, found: Found) -> tuple[Budget, bool]:
        """Budget of a metric, and whether it is linear enough for it."""
        value = found.value
        rows, linear, scatter = [], True, self.scatter[key]
        for entry, (up, down) in zip(self.inputs.moved, self.sides, strict=True):
            if entry.u == 0.0:
                continue
            slope = 0.5 * (up[key] - down[key])
            bend = abs(0.5 * (up[key] + down[key]) - value)
            linear &= bend <= max(LINEAR_SHARE * abs(slope), 0.1 * scatter, 1e-9 * abs(value))
            change = slope / entry.u
            rows.append(
                BudgetRow(
                    entry.source, entry.value, entry.u, change, abs(slope), entry.dof, entry.unit
                )
            )
        rows.append(BudgetRow(SCATTER, 0.0, scatter, 1.0, scatter, self.draws - 1.0, found.unit))
        u = math.sqrt(math.fsum(row.contribution**2 for row in rows))
        dof = effective_dof(u, [r.contribution for r in rows], [r.dof for r in rows])
        return Budget(value, u, dof, tuple(rows)), linear

    def all_moved(self, keys: Sequence[Key]) -> dict[Key, float]:
        """Spread of metrics with all inputs drawn together."""
        moved = self.inputs.moved
        drawn = [
            self._redrawn([float(i.draw(self.rng, 1)[0]) - i.value for i in moved])
            for _ in range(self.draws)
        ]
        return _spread(drawn, keys)


def _with_u(outcome: Outcome, budgets: dict[Key, Budget], seed: int, draws: int) -> Outcome:
    metrics = tuple(
        replace(found, u=budgets[key_of(found)].u) if key_of(found) in budgets else found
        for found in outcome.metrics
    )
    missing = sorted({found.name for found in metrics if found.u is None})
    notes = outcome.warnings
    if missing:
        notes = (
            *notes,
            Note(
                "uncertainty.not-found",
                f"No uncertainty is given for {', '.join(missing)}: with the inputs moved within "
                "their uncertainty, some runs did not find them.",
            ),
        )
    settings = dict(outcome.settings) | {"uncertainty_seed": seed, "uncertainty_draws": draws}
    return replace(outcome, metrics=metrics, warnings=notes, settings=settings)
