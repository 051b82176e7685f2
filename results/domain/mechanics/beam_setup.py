"""A simply supported beam under one or two loads of one actuator, with what it carries before.

P is the total load of the actuator beyond the dead load: self-weight and spreader act before the
actuator does, and count in moments, shears and reactions.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from labmatrix.kernel.errors import RangeError
from results.domain.mechanics.arrays import FloatArray
from results.domain.mechanics.ranges import choice, number

SetupKind = Literal["three-point", "four-point"]
SETUP_KINDS: tuple[SetupKind, ...] = ("three-point", "four-point")


@dataclass(frozen=True)
class BeamSetup:
    """Span, loads and dead load; symmetric about mid-span.

    Args:
        kind: one load at mid-span, or two equal ones through a spreader.
        span_mm: L between supports.
        shear_span_mm: a from support to load; L/2 in three-point bending.
        self_weight_n_per_mm: of the member.
        spreader_n: weight of spreader beam and bearings that hang on the load points.
        overhang_mm: of the member beyond each support.
    """

    kind: SetupKind
    span_mm: float
    shear_span_mm: float
    self_weight_n_per_mm: float = 0.0
    spreader_n: float = 0.0
    overhang_mm: float = 0.0

    def __post_init__(self) -> None:
        choice("kind", self.kind, SETUP_KINDS)
        number("span_mm", self.span_mm, low=100.0, high=50_000.0, unit="mm")
        number("shear_span_mm", self.shear_span_mm, low=10.0, high=self.span_mm / 2.0, unit="mm")
        number("self_weight_n_per_mm", self.self_weight_n_per_mm, low=0.0, high=500.0)
        number("spreader_n", self.spreader_n, low=0.0, high=1e6, unit="N")
        number("overhang_mm", self.overhang_mm, low=0.0, high=self.span_mm / 2.0, unit="mm")
        if self.kind == "three-point" and self.shear_span_mm != self.span_mm / 2.0:
            raise RangeError(
                "shear_span_mm",
                self.shear_span_mm,
                f"half the span, {self.span_mm / 2.0:g} mm, in three-point bending",
            )

    def moment_at(self, x_mm: FloatArray, load_n: float) -> FloatArray:
        """Moment from dead load and actuator at distances from the left support, N·mm.

        Args:
            x_mm: within the left half, shape (n,).
            load_n: P.
        """
        w, span, over = self.self_weight_n_per_mm, self.span_mm, self.overhang_mm
        dead = 0.5 * w * x_mm * (span - x_mm) - 0.5 * w * over**2
        applied = 0.5 * (load_n + self.spreader_n) * np.minimum(x_mm, self.shear_span_mm)
        return np.asarray(dead + applied)

    @property
    def dead_moment_nmm(self) -> float:
        """Mid-span moment of self-weight and spreader, N·mm."""
        return self.moment_nmm(0.0)

    def moment_nmm(self, load_n: float) -> float:
        """Mid-span moment under P with the dead load, N·mm: M = P·a/2 and the dead part."""
        return float(self.moment_at(np.array([self.span_mm / 2.0]), load_n)[0])

    def load_n(self, moment_nmm: float) -> float:
        """P at which the mid-span moment is reached, N; negative where the dead load exceeds it."""
        return 2.0 * (moment_nmm - self.dead_moment_nmm) / self.shear_span_mm

    def reaction_n(self, load_n: float) -> float:
        """At one support, N."""
        length = self.span_mm + 2.0 * self.overhang_mm
        return 0.5 * (load_n + self.spreader_n + self.self_weight_n_per_mm * length)

    def shear_n(self, load_n: float, x_mm: float) -> float:
        """Shear at a distance from the support within the shear span, N."""
        own = self.self_weight_n_per_mm * (self.span_mm / 2.0 - x_mm)
        return 0.5 * (load_n + self.spreader_n) + own

    def load_for_shear_n(self, shear_n: float, x_mm: float) -> float:
        """P at which the shear at that distance is reached, N."""
        return 2.0 * (shear_n - self.shear_n(0.0, x_mm))

    def elastic_deflection_mm(self, load_n: float, stiffness_nmm2: float) -> float:
        """Mid-span deflection under P alone, mm: P a (3L² − 4a²)/(48 E I).

        Raises:
            RangeError: a stiffness that is not above zero.
        """
        number("stiffness_nmm2", stiffness_nmm2, low=0.0, above=True, unit="N·mm²")
        a, span = self.shear_span_mm, self.span_mm
        return load_n * a * (3.0 * span**2 - 4.0 * a**2) / (48.0 * stiffness_nmm2)


def four_point(span_mm: float, shear_span_mm: float, **dead: float) -> BeamSetup:
    """Two equal loads; ``dead`` as the later fields of :class:`BeamSetup`."""
    return BeamSetup("four-point", span_mm, shear_span_mm, **dead)


def three_point(span_mm: float, **dead: float) -> BeamSetup:
    """One load at mid-span; ``dead`` as the later fields of :class:`BeamSetup`."""
    return BeamSetup("three-point", span_mm, span_mm / 2.0, **dead)


def self_weight_n_per_mm(area_mm2: float, unit_weight_kn_per_m3: float = 24.0) -> float:
    """Weight of a member per length, N/mm; 24 kN/m³ is common practice."""
    number("unit_weight_kn_per_m3", unit_weight_kn_per_m3, low=10.0, high=40.0, unit="kN/m³")
    return area_mm2 * unit_weight_kn_per_m3 * 1e-6
