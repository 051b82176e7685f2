"""Uncertainty of the metrics of load cycles: calibration, zero, resolution and fit, first order.

A cycle's extremes are read off parabolas through a few samples, so what the noise does to them has
a closed form; a long record need not be reduced again for it. Scale and zero of a sensor are the
same in every cycle: they cancel in ratios of stiffness and in ranges.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from results.domain.reduction.cyclic_metrics import STIFFNESS_COLUMN, Keeper, Row
from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.instruments import Instrument, Judged, Key, key_of
from results.domain.reduction.outcome import Found, Outcome
from results.domain.reduction.uncertainty import Budget, Input, combine, from_resolution

FIT_RULE = (
    "The noise of an extreme is that of the value of a least-squares parabola at the middle of the "
    "window of samples that was used for it; without a fit it is that of one sample."
)


@dataclass(frozen=True)
class _Channel:
    """Uncertainty of one channel: scale (relative), zero, resolution and noise in its unit."""

    instrument: Instrument
    resolution: float
    noise: float
    unit: str

    @classmethod
    def of(cls, instrument: Instrument, sigma: float, step: float, unit: str) -> _Channel:
        resolution = from_resolution(max(step, instrument.resolution))
        noise = math.sqrt(max(sigma**2 - resolution**2, 0.0))
        return cls(instrument, resolution, noise, unit)


def parabola_noise(samples: int) -> float:
    """Standard deviation of an extreme over that of one sample, for a window of so many samples."""
    n = float(samples)
    if samples <= 3:
        return 1.0
    return math.sqrt(3.0 * (3.0 * n * n - 7.0) / (4.0 * n * (n * n - 4.0)))


Term = tuple[Input, float]


class _Judge:
    """Budgets of the metrics of one record."""

    def __init__(
        self, settings: CyclicSettings, load: _Channel, deflection: _Channel, reference: _Reference
    ) -> None:
        self.settings, self.load, self.deflection = settings, load, deflection
        self.reference = reference

    def budget(self, found: Found, row: Row) -> Budget | None:
        """The budget of one metric of a cycle; None where nothing is known of it."""
        terms = self._of(found.name)
        if terms is None:
            return None
        inputs = [(entry, c) for entry, c in terms(found, row) if entry.u > 0.0]
        return combine(found.value, [entry for entry, _ in inputs], [c for _, c in inputs])

    def _of(self, name: str) -> Callable[[Found, Row], list[Term]] | None:
        return {
            "cycle_peak_load": self._load,
            "cycle_valley_load": self._load,
            "load_error": self._load_error,
            "residual_deflection": self._deflection,
            "residual_drift": self._drift,
            "secant_stiffness": self._stiffness,
            "stiffness_ratio": self._ratio,
            "stiffness_loss": self._loss,
            "loop_energy": self._energy,
        }.get(name)

    # -- one reading -----------------------------------------------------------------------

    def _scale(self, channel: _Channel, words: str, sensitivity: float) -> Term:
        told = channel.instrument
        entry = Input(f"scale of {words}: {told.source}", 1.0, told.scale_u, told.scale_dof)
        return entry, sensitivity

    def _zero(self, channel: _Channel, words: str, sensitivity: float) -> Term:
        told = channel.instrument
        source = f"zero of {words}: {told.source}"
        return Input(source, 0.0, told.zero_u, unit=channel.unit), sensitivity

    def _scatter(
        self, channel: _Channel, words: str, spreads: Sequence[float], sensitivity: float
    ) -> list[Term]:
        """Resolution and fit of independent extremes, each with its ``parabola_noise``."""
        fit = channel.noise * math.sqrt(math.fsum(spread**2 for spread in spreads))
        resolution = channel.resolution * math.sqrt(len(spreads))
        return [
            (Input(f"resolution of {words}", 0.0, resolution, unit=channel.unit), sensitivity),
            (Input(f"fit of {words}", 0.0, fit, unit=channel.unit), sensitivity),
        ]

    def _load(self, found: Found, row: Row) -> list[Term]:
        at_valley = found.name == "cycle_valley_load" or found.method == "minimum"
        end = "valley" if at_valley else "peak"
        return [
            self._scale(self.load, "load", found.value),
            self._zero(self.load, "load", 1.0),
            *self._scatter(self.load, "load", [_spread(row, end)], 1.0),
        ]

    def _load_error(self, found: Found, row: Row) -> list[Term]:
        low, high = self.settings.target_minimum_kn, self.settings.target_maximum_kn
        largest = max(abs(target) for target in (low, high) if target is not None)
        measured = row["peak_load_kn" if found.method == "maximum" else "valley_load_kn"]
        terms = self._load(replace(found, value=measured), row)
        return [(entry, c / largest) for entry, c in terms]

    def _deflection(self, found: Found, row: Row) -> list[Term]:
        return [
            self._scale(self.deflection, "deflection", found.value),
            self._zero(self.deflection, "deflection", 1.0),
            *self._scatter(self.deflection, "deflection", [_spread(row, "valley")], 1.0),
        ]

    def _drift(self, found: Found, row: Row) -> list[Term]:
        share = self.reference.own_share(row)
        own = self._scatter(
            self.deflection, "deflection", [_spread(row, "valley")], math.sqrt(share)
        )
        terms = [self._scale(self.deflection, "deflection", found.value), *own]
        if share == 1.0:
            count = max(len(self.reference.rows), 1)
            spreads = [_spread(other, "valley") for other in self.reference.rows]
            words = "deflection of the reference"
            terms += self._scatter(self.deflection, words, spreads, -1.0 / count)
        return terms

    # -- stiffness -------------------------------------------------------------------------

    def _stiffness(self, found: Found, row: Row) -> list[Term]:
        return [
            self._scale(self.load, "load", found.value),
            self._scale(self.deflection, "deflection", -found.value),
            *self._stiffness_scatter(row, found.value),
        ]

    def _stiffness_scatter(self, row: Row, stiffness: float) -> list[Term]:
        """What noise and resolution of one cycle do to its stiffness."""
        deflections = (row["peak_load_kn"] - row["valley_load_kn"]) / stiffness
        if self.settings.stiffness == "regression":
            # A least-squares line through a sine: Σ(x − x̄)² = n·range²/8.
            width = abs(deflections) * math.sqrt(row["samples"] / 8.0)
            return [
                (_noise(self.load, "load"), 1.0 / width),
                (_noise(self.deflection, "deflection"), -stiffness / width),
            ]
        both = [_spread(row, "valley"), _spread(row, "peak")]
        return [
            *self._scatter(self.load, "load", both, 1.0 / deflections),
            *self._scatter(self.deflection, "deflection", both, -stiffness / deflections),
        ]

    def _ratio(self, found: Found, row: Row) -> list[Term]:
        given = self.settings.reference == "stiffness"
        own, share = self._relative(row), self.reference.own_share(row)
        terms: list[Term] = []
        if given:
            terms = [
                self._scale(self.load, "load", found.value),
                self._scale(self.deflection, "deflection", -found.value),
            ]
        terms.append((Input("scatter of the cycle", 0.0, own * math.sqrt(share)), found.value))
        if not given and share == 1.0:
            others = [self._relative(other) for other in self.reference.rows]
            mean = math.sqrt(math.fsum(u * u for u in others)) / max(len(others), 1)
            terms.append((Input("scatter of the reference", 0.0, mean), -found.value))
        return terms

    def _loss(self, found: Found, row: Row) -> list[Term]:
        return [(e, -c) for e, c in self._ratio(replace(found, value=1.0 - found.value), row)]

    def _relative(self, row: Row) -> float:
        """Relative standard uncertainty of a cycle's stiffness from its own scatter."""
        stiffness = row[STIFFNESS_COLUMN[self.settings.stiffness]]
        if not stiffness:
            return 0.0
        terms = self._stiffness_scatter(row, stiffness)
        variance = math.fsum((entry.u * c) ** 2 for entry, c in terms)
        return float(math.sqrt(variance) / abs(stiffness))

    # -- energy ----------------------------------------------------------------------------

    def _energy(self, found: Found, row: Row) -> list[Term]:
        # The trapezoid sum over n samples of a sine weighs their noise by its mean square slope.
        spread = math.pi * math.sqrt(2.0 / row["samples"])
        loads = 0.5 * (row["peak_load_kn"] - row["valley_load_kn"])
        deflections = 0.5 * abs(row["peak_deflection_mm"] - row["valley_deflection_mm"])
        return [
            self._scale(self.load, "load", found.value),
            self._scale(self.deflection, "deflection", found.value),
            (_noise(self.load, "load"), spread * deflections),
            (_noise(self.deflection, "deflection"), spread * loads),
        ]


def _spread(row: Row, end: str) -> float:
    """``parabola_noise`` of one end of a cycle."""
    return parabola_noise(row[f"{end}_fit_samples"])


def _noise(channel: _Channel, words: str) -> Input:
    """Noise of single samples, their resolution in it."""
    u = math.hypot(channel.noise, channel.resolution)
    return Input(f"noise of {words}", 0.0, u, unit=channel.unit)


@dataclass(frozen=True)
class _Reference:
    """The cycles that ratios and drift are taken to."""

    rows: Sequence[Row]

    def _is_one(self, row: Row) -> bool:
        return any(other["cycle"] == row["cycle"] for other in self.rows)

    def own_share(self, row: Row) -> float:
        """Share of the variance of a cycle that stays in its ratio to the reference: none where it
        is the reference, 1 − 1/m of one of m cycles with their mean, all of any other."""
        return 1.0 - 1.0 / len(self.rows) if self._is_one(row) else 1.0


def _channels(
    resolved: Mapping[str, Any], load: Instrument, deflection: Instrument
) -> tuple[_Channel, _Channel]:
    noise = (resolved["noise_load_kn"], resolved["noise_deflection_mm"])
    steps = (resolved["resolution_load_kn"], resolved["resolution_deflection_mm"])
    return (
        _Channel.of(load, noise[0], steps[0], "kN"),
        _Channel.of(deflection, noise[1], steps[1], "mm"),
    )


def _told(instrument: Instrument) -> dict[str, Any]:
    """What is known of an instrument, JSON-ready; degrees of freedom None where infinite."""
    dof = instrument.scale_dof
    return asdict(instrument) | {"scale_dof": None if math.isinf(dof) else dof}


def _instrument(told: Mapping[str, Any]) -> Instrument:
    dof = told["scale_dof"]
    return Instrument(**{**told, "scale_dof": math.inf if dof is None else dof})


def stiffness_budget(resolved: Mapping[str, Any], row: Row) -> Budget | None:
    """The stiffness of any load cycle of a record with its uncertainty, kN/mm.

    Args:
        resolved: settings of the outcome of ``judge_cycles``.
        row: the cycle, a row of the table of all cycles.

    Returns:
        The budget, by the stiffness rule of the settings; None for a cycle without stiffness.
    """
    asked = {name: resolved[name] for name in CyclicSettings.model_fields if name in resolved}
    settings = CyclicSettings.from_dict(asked)
    value = row[STIFFNESS_COLUMN[settings.stiffness]]
    if value is None or not math.isfinite(value) or value == 0.0:
        return None
    both = (_instrument(resolved["instruments"][name]) for name in ("load", "deflection"))
    judge = _Judge(settings, *_channels(resolved, *both), _Reference(()))
    return judge.budget(Found("secant_stiffness", value, "kN/mm"), row)


def judge_cycles(
    outcome: Outcome,
    keeper: Keeper,
    resolved: Mapping[str, Any],
    *,
    load: Instrument,
    deflection: Instrument,
) -> Judged:
    """The metrics of a cyclic record with their uncertainty.

    Args:
        outcome: of the record.
        keeper: that gave the outcome.
        resolved: what was chosen from the record; noise and resolution are read from it.
        load, deflection: what is known of the two channels.

    Returns:
        The outcome with ``u`` where it is known, and a budget for each of these metrics. Frequency
        and the settling point have none.
    """
    reference = _Reference(keeper.reference_rows(resolved))
    judge = _Judge(keeper.settings, *_channels(resolved, load, deflection), reference)
    budgets: dict[Key, Budget] = {}
    metrics = []
    for found in outcome.metrics:
        row = None if found.at is None else keeper.row(found.at)
        budget = None if row is None else judge.budget(found, row)
        if budget is not None:
            budgets[key_of(found)] = budget
        metrics.append(found if budget is None else replace(found, u=budget.u))
    told = {"load": _told(load), "deflection": _told(deflection)}
    settings = {**outcome.settings, "uncertainty_fit": FIT_RULE, "instruments": told}
    return Judged(replace(outcome, metrics=tuple(metrics), settings=settings), budgets)
