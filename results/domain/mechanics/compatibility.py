"""Closed-form strain compatibility: one equation in the neutral-axis depth, for many sections.

Plane sections; steel elastic–perfectly plastic and never assumed to yield; fabric linear to its
usable strain on its own area; concrete in tension carries nothing. The section stands where
either the top face reaches the crushing strain or a fabric its usable strain, whichever comes
first. Procedure of ACI 549.4R (recalled, not re-read), the same form as ACI 440.2R.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from results.domain.mechanics.arrays import BoolArray, FloatArray, Numeric
from results.domain.mechanics.block_case import BlockCase, deepest
from results.domain.mechanics.pivot import pivot_curvature
from results.domain.mechanics.roots import IndexArray, increasing_roots

_CHUNK = 16_384


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


def _parabola(
    case: BlockCase, c: FloatArray, k: FloatArray, dk: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Compression of a parabola and its derivative: ∫σ is a cubic in strain, taken at edges."""
    peak = 1.7 * np.asarray(case.strength) / case.modulus
    force = np.zeros_like(c)
    slope = np.zeros_like(c)
    for index, strip in enumerate(case.strips):
        edges = (strip.top,) if len(case.strips) == 1 else (strip.top, strip.bottom)
        for sign, edge in zip((1.0, -1.0), edges, strict=False):
            height = c - edge if index == 0 and sign > 0 else np.maximum(c - edge, 0.0)
            ratio = np.minimum(k * height / peak, 2.0)
            factor = sign * strip.width
            force += factor * (ratio * ratio * (1.0 - ratio / 3.0))
            slope += factor * (ratio * (2.0 - ratio)) * (dk * height + k) * (height > 0.0)
    strength = np.asarray(case.strength)
    area = strength * peak / k * force
    return area, strength / k * slope - area * dk / k


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


def _neutral_axis(case: BlockCase, samples: int) -> FloatArray:
    high = np.broadcast_to(np.asarray(deepest(case), dtype=np.float64), samples).copy()

    def imbalance(c: FloatArray, index: IndexArray | None) -> tuple[FloatArray, FloatArray]:
        return _imbalance(case if index is None else case.take(index), c)

    return increasing_roots(imbalance, 1e-6 * high, high, _start(case, samples, high))


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
    for strip in case.strips:
        for sign, edge in ((1.0, strip.top), (-1.0, strip.bottom)):
            ratio = np.minimum(k * np.maximum(c - edge, 0.0) / peak, 2.0)
            square = sign * strip.width * ratio * ratio
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


def solve(case: BlockCase) -> BlockState:
    """The ultimate state of every section of the case."""
    samples = case.samples()
    if samples <= _CHUNK:
        return _state(case, _neutral_axis(case, samples))
    c = np.empty(samples)
    for first in range(0, samples, _CHUNK):
        part = slice(first, min(first + _CHUNK, samples))
        c[part] = _neutral_axis(case.take(part), part.stop - part.start)
    return _state(case, c)


def nominal_moments(case: BlockCase, fabric_factor: Numeric = 1.0) -> FloatArray:
    """Mn of every section alone, N·mm, shape (n,), in blocks that stay in the processor's cache.

    Args:
        case: the sections.
        fabric_factor: ψf on the fabric's part.
    """
    samples = case.samples()
    moments = np.empty(samples)
    for first in range(0, samples, _CHUNK):
        part = slice(first, min(first + _CHUNK, samples))
        chunk = case.take(part)
        state = _state(chunk, _neutral_axis(chunk, part.stop - part.start))
        moments[part] = state.bar_moment + fabric_factor * state.fabric_moment
    return moments
