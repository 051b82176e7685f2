"""Closed-form strain compatibility: one equation in the neutral-axis depth, for many sections.

Plane sections; steel elastic–perfectly plastic and never assumed to yield; fabric linear to its
usable strain on its own area; concrete in tension carries nothing. The section stands where
either the top face reaches the crushing strain or a fabric its usable strain, whichever comes
first. Procedure of ACI 549.4R (recalled, not re-read), the same form as ACI 440.2R.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from results.domain.mechanics.arrays import BoolArray, FloatArray, Numeric
from results.domain.mechanics.block_case import BlockCase, deepest
from results.domain.mechanics.pivot import pivot_curvature
from results.domain.mechanics.roots import TIGHT, IndexArray, increasing_roots

# Samples solved together, so that their arrays stay in the processor's cache.
CHUNK = 32_000


@dataclass(frozen=True)
class BlockState:
    """The sections at their ultimate state; arrays have shape (n,).

    Attributes:
        neutral_axis: c, mm.
        curvature: 1/mm.
        concrete_force: compression as a positive number, N.
        concrete_depth: depth of its resultant, mm.
        bar_stresses: MPa, one array for each bar layer, tension positive.
        bar_forces: N, less the concrete displaced by compressed bars.
        fabric_strains: effective strain above ε_bi, one for each lump.
        fabric_forces: N, one for each lump.
        fabric_governs: True where a fabric is spent before the top face crushes.
        bar_moment, fabric_moment: about the concrete resultant, N·mm.
    """

    neutral_axis: FloatArray
    curvature: FloatArray
    concrete_force: FloatArray
    concrete_depth: FloatArray
    bar_stresses: tuple[FloatArray, ...]
    bar_forces: tuple[FloatArray, ...]
    fabric_strains: tuple[FloatArray, ...]
    fabric_forces: tuple[FloatArray, ...]
    fabric_governs: BoolArray
    bar_moment: FloatArray
    fabric_moment: FloatArray

    @property
    def top_strain(self) -> FloatArray:
        """Compressive strain of the top face, positive."""
        return self.curvature * self.neutral_axis

    @property
    def imbalance(self) -> FloatArray:
        """Tension less compression, N: what equilibrium leaves over."""
        tension = sum((*self.bar_forces, *self.fabric_forces), np.zeros_like(self.neutral_axis))
        return tension - self.concrete_force

    def moment(self, fabric_factor: float = 1.0) -> FloatArray:
        """Mn, N·mm, with the fabric's part times ψf (1 in ACI 549.4R, 0.85 in ACI 440.2R)."""
        return self.bar_moment + fabric_factor * self.fabric_moment


def _edges(case: BlockCase) -> Iterator[tuple[float, Numeric, Numeric]]:
    """Sign, depth and width of the edges of strips; a single strip ends below every axis."""
    for strip in case.strips:
        yield 1.0, strip.top, strip.width
        if len(case.strips) > 1:
            yield -1.0, strip.bottom, strip.width


def _parabola(
    case: BlockCase, c: FloatArray, k: FloatArray, dk: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Compression of a parabola and its derivative: ∫σ is a cubic in strain, taken at edges."""
    peak = 1.7 * np.asarray(case.strength) / case.modulus
    force, slope = np.zeros_like(c), np.zeros_like(c)
    steep = k / peak
    for sign, edge, width in _edges(case):
        height = np.maximum(c - edge, 0.0)
        ratio = np.minimum(steep * height, 2.0)
        factor = sign * width * ratio
        force += factor * (ratio - ratio * ratio * (1.0 / 3.0))
        slope += factor * (2.0 - ratio) * (dk * height + k)
    scale = np.asarray(case.strength) / k
    area = scale * peak * force
    return area, scale * slope - area * (dk / k)


def _rectangle(case: BlockCase, c: FloatArray) -> tuple[FloatArray, FloatArray]:
    depth = case.beta1 * c
    force, slope = np.zeros_like(c), np.zeros_like(c)
    for strip in case.strips:
        covered = np.minimum(np.maximum(depth - strip.top, 0.0), strip.bottom - strip.top)
        force += strip.width * covered
        slope += strip.width * ((depth > strip.top) & (depth < strip.bottom))
    full = 0.85 * np.asarray(case.strength)
    return full * force, full * np.asarray(case.beta1) * slope


def _displaced(case: BlockCase, strain: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Concrete stress (positive) at a compressed bar and its derivative by strain.

    Beside a rectangular block it is 0.85 f'c, reached along Ec so that equilibrium has no jump.
    """
    compressed = np.maximum(-strain, 0.0)
    strength, modulus = np.asarray(case.strength), np.asarray(case.modulus)
    if case.block == "rectangular":
        elastic = modulus * compressed
        rising = (compressed > 0.0) & (elastic < 0.85 * strength)
        return np.minimum(elastic, 0.85 * strength), np.where(rising, -modulus, 0.0)
    peak = 1.7 * strength / modulus
    ratio = np.minimum(compressed / peak, 2.0)
    inside = (ratio > 0.0) & (ratio < 2.0)
    tangent = np.where(inside, -2.0 * strength / peak * (1.0 - ratio), 0.0)
    return np.asarray(strength * ratio * (2.0 - ratio)), tangent


def _imbalance(case: BlockCase, c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Compression less tension, N, and its derivative by c."""
    k, dk = pivot_curvature(c, case.crushing_strain, case.limits)
    force, slope = _rectangle(case, c) if case.block == "rectangular" else _parabola(case, c, k, dk)
    for bar in case.bars:
        arm = bar.depth - c
        strain = k * arm
        turn = dk * arm - k
        elastic = bar.modulus * strain
        force = force - bar.area * np.clip(elastic, -bar.yield_stress, bar.yield_stress)
        slope = slope - bar.area * bar.modulus * turn * (np.abs(elastic) < bar.yield_stress)
        if case.displaced and np.min(strain) < 0.0:
            stress, tangent = _displaced(case, strain)
            force = force - bar.area * stress
            slope = slope - bar.area * tangent * turn
    for fabric in case.fabrics:
        arm = fabric.depth - c
        stretch = k * arm - fabric.bond
        taut = stretch > 0.0
        stiffness = fabric.area * fabric.modulus
        force = force - stiffness * stretch * taut
        slope = slope - stiffness * (dk * arm - k) * taut
    return force, slope


def _start(case: BlockCase, samples: int, high: FloatArray) -> FloatArray:
    """A neutral axis from yielded steel and spent fabric over a block of about 0.7 f'c c."""
    tension = sum(
        (bar.area * np.asarray(bar.yield_stress) * (bar.depth > 0.5 * high) for bar in case.bars),
        np.zeros(samples),
    )
    if case.limits:
        strain = np.asarray(case.limits[0].strain)
        for fabric in case.fabrics:
            tension = tension + fabric.area * fabric.modulus * (strain - fabric.bond)
    guess = tension / (0.68 * case.strength * case.strips[0].width)
    return np.clip(guess, 0.02 * high, 0.8 * high)


def _neutral_axis(case: BlockCase, samples: int, tolerance: float) -> FloatArray:
    high = np.broadcast_to(np.asarray(deepest(case), dtype=np.float64), samples).copy()

    def imbalance(c: FloatArray, index: IndexArray | None) -> tuple[FloatArray, FloatArray]:
        return _imbalance(case if index is None else case.take(index), c)

    start = _start(case, samples, high)
    return increasing_roots(imbalance, 1e-6 * high, high, start, tolerance=tolerance)


def _resultant(case: BlockCase, c: FloatArray, k: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Compression, N, and the depth of its resultant, mm."""
    force = np.zeros_like(c)
    first = np.zeros_like(c)
    if case.block == "rectangular":
        for strip in case.strips:
            reach = np.clip(case.beta1 * c, strip.top, strip.bottom)
            area = strip.width * (reach - strip.top)
            force += area
            first += area * 0.5 * (reach + strip.top)
        return 0.85 * case.strength * force, first / force
    peak = 1.7 * np.asarray(case.strength) / case.modulus
    for sign, edge, width in _edges(case):
        ratio = np.minimum(k * np.maximum(c - edge, 0.0) / peak, 2.0)
        square = sign * width * ratio * ratio
        force += square * (1.0 - ratio / 3.0)
        first += square * ratio * (2.0 / 3.0 - 0.25 * ratio)
    return case.strength * peak / k * force, c - peak / k * first / force


def _state(case: BlockCase, c: FloatArray) -> BlockState:
    k, _ = pivot_curvature(c, case.crushing_strain, case.limits)
    concrete, depth = _resultant(case, c, k)
    stresses, forces, strains, pulls = [], [], [], []
    bar_moment, fabric_moment = np.zeros_like(c), np.zeros_like(c)
    for bar in case.bars:
        strain = k * (bar.depth - c)
        stress = np.clip(bar.modulus * strain, -bar.yield_stress, bar.yield_stress)
        force = bar.area * stress
        if case.displaced and np.min(strain) < 0.0:
            force = force + bar.area * _displaced(case, strain)[0]
        stresses.append(stress)
        forces.append(force)
        bar_moment += force * (bar.depth - depth)
    for fabric in case.fabrics:
        strain = k * (fabric.depth - c) - fabric.bond
        pull = fabric.area * fabric.modulus * np.maximum(strain, 0.0)
        strains.append(strain)
        pulls.append(pull)
        fabric_moment += pull * (fabric.depth - depth)
    governs = k * c < case.crushing_strain * (1.0 - 1e-12)
    return BlockState(
        c, k, concrete, depth, tuple(stresses), tuple(forces), tuple(strains), tuple(pulls),
        governs, bar_moment, fabric_moment,
    )  # fmt: skip


def solve(case: BlockCase, *, tolerance: float = TIGHT) -> BlockState:
    """The ultimate state of every section of the case.

    Args:
        case: one section, or samples that are solved in chunks.
        tolerance: of the neutral axis, see :func:`.roots.increasing_roots`.
    """
    samples = case.samples()
    if samples <= CHUNK:
        return _state(case, _neutral_axis(case, samples, tolerance))
    c = np.empty(samples)
    for first in range(0, samples, CHUNK):
        part = slice(first, min(first + CHUNK, samples))
        c[part] = _neutral_axis(case.take(part), part.stop - part.start, tolerance)
    return _state(case, c)
