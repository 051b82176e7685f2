"""Moment–curvature of a section by fibre integration, all curvatures in one pass."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from results.domain.mechanics.arrays import FloatArray
from results.domain.mechanics.block_case import fabric_limits
from results.domain.mechanics.fibres import FibreModel
from results.domain.mechanics.pivot import StrainLimit, pivot_curvature
from results.domain.mechanics.ranges import number
from results.domain.mechanics.roots import IndexArray, increasing_roots

_CHUNK = 256
Path = Callable[[FloatArray, IndexArray | None], tuple[FloatArray, FloatArray]]


@dataclass(frozen=True)
class FibreStates:
    """States in equilibrium without axial force, arrays of shape (n,).

    Attributes:
        curvature: 1/mm.
        neutral_axis: mm.
        moment: N·mm.
        imbalance: what axial equilibrium leaves over, N.
    """

    curvature: FloatArray
    neutral_axis: FloatArray
    moment: FloatArray
    imbalance: FloatArray

    def strain(self, depth_mm: float) -> FloatArray:
        """Strain of the section at a depth, tension positive."""
        return self.curvature * (depth_mm - self.neutral_axis)


def _solve(model: FibreModel, path: Path, count: int) -> FibreStates:
    deepest = max(model.section.deepest_mm, model.section.shape.height_mm)
    high = np.full(count, deepest)

    def compression(c: FloatArray, index: IndexArray | None) -> tuple[FloatArray, FloatArray]:
        curvature, rate = path(c, index)
        sums = model.sums(c, curvature)
        turn = rate * (sums.first - c * sums.stiffness) - curvature * sums.stiffness
        return -sums.force, -turn

    c = increasing_roots(compression, 1e-6 * high, high, 0.25 * high)
    curvature = path(c, None)[0]
    sums = model.sums(c, curvature)
    return FibreStates(curvature, c, sums.moment, sums.force)


def states_at(model: FibreModel, curvatures: FloatArray) -> FibreStates:
    """Equilibrium at given curvatures, 1/mm, shape (n,).

    Raises:
        RangeError: a curvature that is not above zero.
    """
    wanted = np.atleast_1d(np.asarray(curvatures, dtype=np.float64))
    number("curvatures", float(wanted.min()), low=0.0, above=True, unit="1/mm")
    pieces = []
    for first in range(0, len(wanted), _CHUNK):
        chunk = wanted[first : first + _CHUNK]

        def fixed(
            c: FloatArray, index: IndexArray | None, chunk: FloatArray = chunk
        ) -> tuple[FloatArray, FloatArray]:
            return (chunk if index is None else chunk[index]), np.zeros_like(c)

        pieces.append(_solve(model, fixed, len(chunk)))
    return FibreStates(
        wanted,
        np.concatenate([piece.neutral_axis for piece in pieces]),
        np.concatenate([piece.moment for piece in pieces]),
        np.concatenate([piece.imbalance for piece in pieces]),
    )


@dataclass(frozen=True)
class Point:
    """One named state of a section: curvature 1/mm, moment N·mm, neutral axis mm."""

    name: str
    curvature_per_mm: float
    moment_nmm: float
    neutral_axis_mm: float

    @property
    def top_strain(self) -> float:
        """Strain of the top face, negative in compression."""
        return -self.curvature_per_mm * self.neutral_axis_mm

    def strain(self, depth_mm: float) -> float:
        """Strain of the section at a depth, tension positive."""
        return self.curvature_per_mm * (depth_mm - self.neutral_axis_mm)


def _limits(model: FibreModel) -> tuple[tuple[StrainLimit, ...], tuple[str, ...]]:
    limits = list(fabric_limits(model.section))
    names = [fabric.name for fabric in model.section.fabrics]
    for bar in model.section.bars:
        if np.isfinite(bar.steel.rupture_strain):
            limits.append(StrainLimit(bar.depth_mm, bar.steel.rupture_strain))
            names.append(bar.name)
    return tuple(limits), tuple(names)


def ultimate_point(model: FibreModel) -> Point:
    """The first of: top face crushed, a fabric layer spent, a bar broken; named after it."""
    limits, names = _limits(model)
    crushing = model.concrete.ultimate_strain

    def path(c: FloatArray, index: IndexArray | None) -> tuple[FloatArray, FloatArray]:
        return pivot_curvature(c, crushing, limits)

    state = _solve(model, path, 1)
    c, curvature = float(state.neutral_axis[0]), float(state.curvature[0])
    name = "concrete"
    for limit, part in zip(limits, names, strict=True):
        if curvature * (float(limit.depth) - c) >= float(limit.strain) * (1.0 - 1e-9):
            name = part
    return Point(name, curvature, float(state.moment[0]), c)


def yield_point(model: FibreModel) -> Point | None:
    """The state at which the deepest bars begin to yield; None where the end comes first."""
    bar = model.section.tension_bar
    limit = (StrainLimit(bar.depth_mm, bar.steel.yield_strain),)

    def path(c: FloatArray, index: IndexArray | None) -> tuple[FloatArray, FloatArray]:
        # A crushing strain far beyond any concrete leaves the bar as the only pivot.
        return pivot_curvature(c, 1e6, limit)

    state = _solve(model, path, 1)
    curvature = float(state.curvature[0])
    if curvature >= ultimate_point(model).curvature_per_mm:
        return None
    return Point("yield", curvature, float(state.moment[0]), float(state.neutral_axis[0]))


@dataclass(frozen=True)
class Diagram:
    """A moment–curvature diagram from zero to the ultimate state.

    Attributes:
        states: with curvature rising, the first at a thousandth of the ultimate curvature.
        yielding: see :func:`yield_point`.
        ultimate: see :func:`ultimate_point`.
    """

    states: FibreStates
    yielding: Point | None
    ultimate: Point

    @property
    def peak_moment_nmm(self) -> float:
        """The largest moment on the way, N·mm."""
        return float(self.states.moment.max())


def diagram(model: FibreModel, points: int = 60) -> Diagram:
    """The whole diagram, denser before yield, with yield and ultimate among its points.

    Args:
        model: the fibre model.
        points: at least 10.

    Raises:
        RangeError: points outside 10 to 100 000.
    """
    number("points", points, low=10, high=100_000)
    ultimate, yielding = ultimate_point(model), yield_point(model)
    last = ultimate.curvature_per_mm
    grid = np.geomspace(1e-3 * last, last, points)
    if yielding is not None:
        middle = yielding.curvature_per_mm
        half = points // 2
        grid = np.concatenate(
            [np.linspace(middle / half, middle, half), np.linspace(middle, last, points - half + 1)]
        )
    return Diagram(states_at(model, np.unique(grid)), yielding, ultimate)
