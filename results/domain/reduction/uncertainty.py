"""Uncertainty of a number from those of its inputs: GUM first order, and Monte Carlo.

JCGM 100:2008 (GUM): combined standard uncertainty from sensitivities, effective degrees of
freedom by Welch and Satterthwaite, expanded uncertainty by Student's t. JCGM 101:2008: propagation
of distributions by Monte Carlo.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.reduction.outcome import Floats

Correlations = Mapping[tuple[str, str], float]
# Below this share of its own slope the second difference leaves a function linear enough.
LINEAR_SHARE = 0.1


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value that lies anywhere within ± ``half_width``: a/√3.

    Raises:
        RangeError: a negative half width.
    """
    if not half_width >= 0.0:
        raise RangeError("half_width", half_width, "0 or more")
    return half_width / math.sqrt(3.0)


def from_resolution(step: float) -> float:
    """Standard uncertainty of a reading in steps: rectangular over half a step on both sides."""
    return rectangular(0.5 * step)


def from_certificate(expanded: float, coverage_factor: float) -> float:
    """Standard uncertainty from an expanded one, as certificates state it.

    Raises:
        RangeError: a negative uncertainty or a coverage factor not above 0.
    """
    if not expanded >= 0.0:
        raise RangeError("expanded", expanded, "0 or more")
    if not coverage_factor > 0.0:
        raise RangeError("coverage_factor", coverage_factor, "above 0")
    return expanded / coverage_factor


@dataclass(frozen=True, slots=True)
class Input:
    """One input of a measurement.

    Attributes:
        source: what it is, in words.
        value: best estimate.
        u: standard uncertainty, in the unit of the value.
        dof: degrees of freedom of ``u``; infinite where it is taken as exact.
        shape: distribution to draw from: normal, or rectangular of that standard uncertainty.
        unit: of value and ``u``.
    """

    source: str
    value: float
    u: float
    dof: float = math.inf
    shape: Literal["normal", "rectangular"] = "normal"
    unit: str = "1"

    def __post_init__(self) -> None:
        if not self.u >= 0.0:
            raise RangeError(f"u of {self.source}", self.u, "0 or more")
        if not self.dof > 0.0:
            raise RangeError(f"dof of {self.source}", self.dof, "above 0")

    def draw(self, rng: np.random.Generator, size: int) -> Floats:
        """Values from its distribution, shape (size,)."""
        if self.shape == "rectangular":
            half = self.u * math.sqrt(3.0)
            return rng.uniform(self.value - half, self.value + half, size)
        return rng.normal(self.value, self.u, size)


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One line of an uncertainty budget.

    Attributes:
        source, value, u, dof, unit: of the input.
        sensitivity: change of the result for each unit of the input.
        contribution: |sensitivity| · u, in the unit of the result.
    """

    source: str
    value: float
    u: float
    sensitivity: float
    contribution: float
    dof: float = math.inf
    unit: str = "1"


@dataclass(frozen=True, slots=True)
class Budget:
    """A result with its combined uncertainty and where it comes from.

    Attributes:
        value: the result.
        u: combined standard uncertainty, in its unit.
        dof: effective degrees of freedom (Welch–Satterthwaite); infinite where all are.
        rows: one for each input.
        method: how ``u`` was combined.
    """

    value: float
    u: float
    dof: float
    rows: tuple[BudgetRow, ...]
    method: Literal["first order", "Monte Carlo"] = "first order"

    def coverage_factor(self, level: float) -> float:
        """Student's t for a two-sided level, degrees of freedom cut to an integer (GUM G.4).

        Raises:
            RangeError: ``level`` not between 0 and 1.
        """
        if not 0.0 < level < 1.0:
            raise RangeError("level", level, "between 0 and 1")
        from scipy import stats  # heavy: only where a coverage factor is asked for

        upper = 0.5 * (1.0 + level)
        if math.isinf(self.dof):
            return float(stats.norm.ppf(upper))
        return float(stats.t.ppf(upper, max(1, math.floor(self.dof))))

    def expanded(self, level: float = 0.95) -> float:
        """Expanded uncertainty for a two-sided level, in the unit of the result."""
        return self.coverage_factor(level) * self.u


def effective_dof(u: float, contributions: Sequence[float], dofs: Sequence[float]) -> float:
    """Effective degrees of freedom, Welch–Satterthwaite (GUM G.4).

    Args:
        u: combined standard uncertainty.
        contributions: of the inputs, in the unit of ``u``.
        dofs: of the inputs.
    """
    bottom = sum(c**4 / dof for c, dof in zip(contributions, dofs, strict=True))
    return u**4 / bottom if bottom > 0.0 else math.inf


def _checked_correlations(
    inputs: Sequence[Input], correlations: Correlations | None
) -> list[tuple[int, int, float]]:
    names = [i.source for i in inputs]
    if len(set(names)) != len(names):
        raise ShapeError(
            "uncertainty.source-twice",
            f"Two inputs have the same source among {', '.join(names)}; each needs its own.",
        )
    pairs = []
    for (a, b), r in (correlations or {}).items():
        if a not in names or b not in names or a == b:
            raise ShapeError(
                "uncertainty.correlation-unknown",
                f"A correlation of {a} with {b} was given; inputs are {', '.join(names)}.",
            )
        if not -1.0 <= r <= 1.0:
            raise RangeError(f"correlation of {a} with {b}", r, "from −1 to 1")
        pairs.append((names.index(a), names.index(b), r))
    return pairs


def combine(
    value: float,
    inputs: Sequence[Input],
    sensitivities: Sequence[float],
    correlations: Correlations | None = None,
) -> Budget:
    """First-order budget of a result from known sensitivities (GUM 5.1 and 5.2).

    Args:
        value: the result.
        inputs: its inputs, each with a source of its own.
        sensitivities: change of the result for each unit of each input.
        correlations: coefficients for pairs of sources; none where left out.

    Returns:
        The budget. Correlated inputs leave the effective degrees of freedom as without them.

    Raises:
        ShapeError: lengths that differ, or sources that are not known or given twice.
        RangeError: a coefficient beyond ±1.
    """
    if len(inputs) != len(sensitivities):
        raise ShapeError(
            "uncertainty.lengths",
            f"{len(sensitivities)} sensitivities were given for {len(inputs)} inputs; allowed "
            "is one for each.",
        )
    pairs = _checked_correlations(inputs, correlations)
    signed = [c * i.u for c, i in zip(sensitivities, inputs, strict=True)]
    variance = math.fsum(s * s for s in signed)
    variance += math.fsum(2.0 * r * signed[a] * signed[b] for a, b, r in pairs)
    alone = math.sqrt(math.fsum(s * s for s in signed))
    return Budget(
        value=value,
        u=math.sqrt(max(variance, 0.0)),
        dof=effective_dof(alone, signed, [i.dof for i in inputs]),
        rows=tuple(
            BudgetRow(i.source, i.value, i.u, float(c), abs(s), i.dof, i.unit)
            for i, c, s in zip(inputs, sensitivities, signed, strict=True)
        ),
    )


def propagate(
    function: Callable[..., float],
    inputs: Sequence[Input],
    correlations: Correlations | None = None,
) -> Budget:
    """First-order budget of a function of its inputs.

    Sensitivities are central differences over ± the standard uncertainty of each input, so that
    they stand for the range that matters.

    Args:
        function: takes the values of the inputs in order.
        inputs: see ``combine``.
        correlations: see ``combine``.
    """
    values = [i.value for i in inputs]

    def at(k: int, shift: float) -> float:
        moved = list(values)
        moved[k] += shift
        return float(function(*moved))

    sensitivities = []
    for k, entry in enumerate(inputs):
        step = entry.u if entry.u > 0.0 else 1e-6 * max(abs(entry.value), 1.0)
        sensitivities.append((at(k, step) - at(k, -step)) / (2.0 * step))
    return combine(float(function(*values)), inputs, sensitivities, correlations)


@dataclass(frozen=True, slots=True)
class Drawn:
    """A result by Monte Carlo.

    Attributes:
        value: mean of the draws.
        u: their standard deviation.
        low, high: their probabilistically symmetric interval.
        level: of that interval.
        draws, seed: how they were drawn.
    """

    value: float
    u: float
    low: float
    high: float
    level: float
    draws: int
    seed: int


def propagate_drawn(
    function: Callable[..., Floats],
    inputs: Sequence[Input],
    *,
    seed: int,
    draws: int = 100_000,
    level: float = 0.95,
) -> Drawn:
    """Propagates the distributions of independent inputs by Monte Carlo (JCGM 101).

    Args:
        function: takes arrays of shape (draws,), one for each input in order; gives the same.
        inputs: drawn from their shapes; degrees of freedom are not drawn for.
        seed: stored with the result.
        draws: at least 100.
        level: of the interval, between 0 and 1.

    Raises:
        RangeError: too few draws, or a level out of range.
    """
    if draws < 100:
        raise RangeError("draws", draws, "100 or more")
    if not 0.0 < level < 1.0:
        raise RangeError("level", level, "between 0 and 1")
    rng = np.random.default_rng(seed)
    values = np.asarray(function(*(entry.draw(rng, draws) for entry in inputs)), dtype=np.float64)
    tail = 50.0 * (1.0 - level)
    low, high = np.percentile(values, (tail, 100.0 - tail))
    return Drawn(
        value=float(values.mean()),
        u=float(values.std(ddof=1)),
        low=float(low),
        high=float(high),
        level=level,
        draws=draws,
        seed=seed,
    )
