"""Load–deflection of a beam by integrating curvature along the span."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from results.domain.mechanics.arrays import FloatArray
from results.domain.mechanics.beam_setup import BeamSetup
from results.domain.mechanics.elastic import ElasticSection
from results.domain.mechanics.moment_curvature import Diagram
from results.domain.mechanics.ranges import number

_INTERVALS = 200
STIFFENING_SOURCE = "EN 1992-1-1, 7.4.3: β 1.0 at first loading, 0.5 after many cycles or long load"


@dataclass(frozen=True)
class CurvatureLaw:
    """Mean curvature of a member against moment, both rising, from (0, 0).

    Attributes:
        moments: N·mm, shape (n,).
        curvatures: 1/mm, shape (n,).
    """

    moments: FloatArray
    curvatures: FloatArray

    @property
    def largest_nmm(self) -> float:
        """The moment at which the law ends."""
        return float(self.moments[-1])

    def at(self, moments: FloatArray) -> FloatArray:
        """Curvature at moments of either sign within the law's ends, of the same shape."""
        size = np.interp(np.abs(moments), self.moments, self.curvatures)
        return np.asarray(np.sign(moments) * size)


def mean_curvature(
    diagram: Diagram,
    *,
    uncracked: ElasticSection,
    cracking_nmm: float,
    already_cracked: bool,
    stiffening: float = 1.0,
) -> CurvatureLaw:
    """Curvature of a member with cracks here and there, from its section's diagram.

    Up to the cracking moment the uncracked section counts; beyond it the cracked diagram, drawn
    back by β (Mcr/M)² of its distance from the uncracked line. Beyond yield that distance is
    taken on the secant through the yield point, so that plastic curvature stays whole. A member
    that is already cracked follows the same from the start, with (Mcr/M)² at most 1.

    Args:
        diagram: of the section without concrete tension.
        uncracked: elastic section before cracking.
        cracking_nmm: Mcr, N·mm.
        already_cracked: whether it ever saw more than Mcr.
        stiffening: β; 0 is the bare cracked section.

    Raises:
        RangeError: β outside 0 to 1.
    """
    number("stiffening", stiffening, low=0.0, high=1.0)
    moments, curvatures = _rising(diagram)
    last = float(moments[-1])
    first = min(cracking_nmm, last)
    grid = np.unique(
        np.concatenate(
            [
                moments,
                np.linspace(0.0, first, 20),
                np.linspace(min(first * (1.0 + 1e-9), last), last, 60),
            ]
        )
    )
    bare = np.interp(grid, moments, curvatures)
    elastic = bare
    if diagram.yielding is not None:
        secant = diagram.yielding.curvature_per_mm / diagram.yielding.moment_nmm
        elastic = np.minimum(bare, grid * secant)
    share = stiffening * np.minimum(cracking_nmm / np.maximum(grid, 1e-9 * last), 1.0) ** 2
    mean = bare - share * (elastic - grid / uncracked.stiffness_nmm2)
    if not already_cracked:
        mean = np.where(grid <= cracking_nmm, grid / uncracked.stiffness_nmm2, mean)
    return CurvatureLaw(grid, np.maximum.accumulate(mean))


def _rising(diagram: Diagram) -> tuple[FloatArray, FloatArray]:
    """The part of a diagram in which the moment rises, with its origin."""
    moment, curvature = diagram.states.moment, diagram.states.curvature
    best = np.maximum.accumulate(moment)
    keep = np.concatenate([[True], moment[1:] > best[:-1]])
    return np.append(0.0, moment[keep]), np.append(0.0, curvature[keep])


@dataclass(frozen=True)
class BeamCurve:
    """Load–deflection at the actuator, zero at the dead load; arrays of shape (n,).

    Attributes:
        loads_n: P, rising from 0.
        deflections_mm: at mid-span, beyond the dead load's.
        load_point_mm: at the load points, which is what the actuator travels.
    """

    loads_n: FloatArray
    deflections_mm: FloatArray
    load_point_mm: FloatArray

    def deflection(self, load_n: float) -> float:
        """Mid-span deflection at a load within the curve, mm."""
        return float(np.interp(load_n, self.loads_n, self.deflections_mm))

    def stroke(self, load_n: float) -> float:
        """Load-point deflection at a load within the curve, mm."""
        return float(np.interp(load_n, self.loads_n, self.load_point_mm))


def _half_span(setup: BeamSetup) -> tuple[FloatArray, FloatArray]:
    """Points and Simpson weights from support to mid-span, with a joint at the load."""
    points, weights = [], []
    simpson = np.ones(_INTERVALS + 1)
    simpson[1:-1:2], simpson[2:-1:2] = 4.0, 2.0
    for start, end in ((0.0, setup.shear_span_mm), (setup.shear_span_mm, setup.span_mm / 2.0)):
        if end - start > 1e-9:
            points.append(np.linspace(start, end, _INTERVALS + 1))
            weights.append(simpson * (end - start) / (3.0 * _INTERVALS))
    return np.concatenate(points), np.concatenate(weights)


def deflections(
    setup: BeamSetup, law: CurvatureLaw, loads_n: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mid-span and load-point deflection under dead load and P, mm, each of shape (n,).

    δ(z) = ∫₀ᶻ κ x dx + z ∫ κ dx from z to mid-span, for a beam symmetric about mid-span.
    """
    x, weight = _half_span(setup)
    moments = np.stack([setup.moment_at(x, float(load)) for load in loads_n])
    curvature = law.at(moments) * weight
    return curvature @ x, curvature @ np.minimum(x, setup.shear_span_mm)


def beam_curve(
    setup: BeamSetup, law: CurvatureLaw, last_load_n: float, points: int = 80
) -> BeamCurve:
    """The curve from zero to a last load.

    Args:
        setup: span and loads.
        law: mean curvature of the member.
        last_load_n: where the curve ends, N.
        points: at least 5.

    Raises:
        RangeError: a last load that is not above zero, which means that the member does not
            carry its own weight.
    """
    number("last_load_n", last_load_n, low=0.0, high=1e9, above=True, unit="N")
    number("points", points, low=5, high=10_000)
    named = [setup.load_n(float(moment)) for moment in law.moments]
    loads = np.unique(
        np.concatenate(
            [
                np.linspace(0.0, last_load_n, points),
                [load for load in named if 0.0 < load < last_load_n],
            ]
        )
    )
    middle, point = deflections(setup, law, loads)
    return BeamCurve(loads, middle - middle[0], point - point[0])
