"""How a member is loaded, and by which rules it is predicted; plain JSON in and out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

from results.domain.mechanics.bar_fatigue import SN_LINES, THRESHOLD_EDITIONS, ThresholdEdition
from results.domain.mechanics.beam_setup import (
    SETUP_KINDS,
    BeamSetup,
    SetupKind,
    self_weight_n_per_mm,
)
from results.domain.mechanics.blocks import BLOCKS, BlockName
from results.domain.mechanics.effective_inertia import INERTIA_FORMS, InertiaForm
from results.domain.mechanics.limits import DEFAULT_LIMITS, Limits
from results.domain.mechanics.ranges import Fields
from results.domain.mechanics.reduction_factor import PHI_EDITIONS, PhiEdition
from results.domain.mechanics.shear import SHEAR_EDITIONS, ShearEdition

CrackingSection = Literal["gross", "transformed"]
FibreLaw = Literal["parabola", "parabola-rectangle"]


@dataclass(frozen=True)
class Loading:
    """A simply supported beam test; P is the total load of the actuator.

    Args:
        kind: three-point or four-point.
        span_mm: between supports.
        shear_span_mm: from support to load; half the span in three-point bending.
        self_weight: whether the member's own weight acts.
        spreader_kn: weight of the spreader.
        overhang_mm: beyond each support.
        service_load_kn: P at which service stresses and deflection are looked at; None not.
    """

    kind: SetupKind
    span_mm: float
    shear_span_mm: float
    self_weight: bool = True
    spreader_kn: float = 0.0
    overhang_mm: float = 0.0
    service_load_kn: float | None = None

    @classmethod
    def from_dict(cls, source: Mapping[str, Any], path: str = "loading") -> Loading:
        """From JSON fields of the same names.

        Raises:
            ShapeError, RangeError: with argument, value and what would be allowed.
        """
        fields = Fields.of(source, path)
        kind: SetupKind = (
            "three-point" if fields.choice("kind", SETUP_KINDS) == "three-point" else "four-point"
        )
        span = fields.number("span_mm", low=100.0, high=50_000.0)
        half = span / 2.0
        shear_span = fields.number(
            "shear_span_mm", half if kind == "three-point" else None, low=10.0, high=half
        )
        made = cls(
            kind,
            span,
            shear_span,
            fields.flag("self_weight", True),
            fields.number("spreader_kn", 0.0, low=0.0, high=1000.0),
            fields.number("overhang_mm", 0.0, low=0.0, high=half),
            fields.maybe_number("service_load_kn", low=0.0, high=1e5),
        )
        fields.finish()
        return made

    def as_dict(self) -> dict[str, Any]:
        """The inverse of :meth:`from_dict`."""
        return {
            "kind": self.kind,
            "span_mm": self.span_mm,
            "shear_span_mm": self.shear_span_mm,
            "self_weight": self.self_weight,
            "spreader_kn": self.spreader_kn,
            "overhang_mm": self.overhang_mm,
            "service_load_kn": self.service_load_kn,
        }

    def setup(self, area_mm2: float, unit_weight_kn_per_m3: float) -> BeamSetup:
        """The beam for the computation, in N and mm."""
        weight = self_weight_n_per_mm(area_mm2, unit_weight_kn_per_m3) if self.self_weight else 0.0
        return BeamSetup(
            self.kind,
            self.span_mm,
            self.shear_span_mm,
            weight,
            1000.0 * self.spreader_kn,
            self.overhang_mm,
        )


@dataclass(frozen=True)
class Options:
    """By which rules a member is predicted; stored with every prediction.

    Args:
        block: compression block of the closed form.
        phi_edition, shear_edition, inertia_form: whose rule.
        fabric_factor: ψf.
        beta1: β1 of the rectangular block where it is not to follow from f'c in MPa.
        cracking_section: on which Mcr and the uncracked branch are found.
        fibre_law: concrete law of the fibre integration.
        stiffening: β of the mean curvature; None for 1.0, or 0.5 after repeated loading.
        threshold_edition, sn_line: of bar fatigue.
        curve_points: of the load–deflection curve.
        limits: the laboratory's.
    """

    block: BlockName = "parabolic"
    phi_edition: PhiEdition = "aci440-2r"
    shear_edition: ShearEdition = "aci318-19"
    inertia_form: InertiaForm = "aci318-19"
    fabric_factor: float = 1.0
    beta1: float | None = None
    cracking_section: CrackingSection = "gross"
    fibre_law: FibreLaw = "parabola"
    stiffening: float | None = None
    threshold_edition: ThresholdEdition = "aashto-2014"
    sn_line: str = "helgason-hanson"
    curve_points: int = 60
    limits: Limits = field(default_factory=lambda: DEFAULT_LIMITS)

    @classmethod
    def from_dict(cls, source: Mapping[str, Any] | None, path: str = "options") -> Options:
        """From JSON fields of the same names; all have defaults.

        Raises:
            ShapeError, RangeError: with argument, value and what would be allowed.
        """
        fields = Fields.of({} if source is None else source, path)
        limits = fields.part("limits")
        made = cls(
            block=_named(fields, "block", BLOCKS),
            phi_edition=_named(fields, "phi_edition", PHI_EDITIONS),
            shear_edition=_named(fields, "shear_edition", SHEAR_EDITIONS, "aci318-19"),
            inertia_form=_named(fields, "inertia_form", INERTIA_FORMS),
            fabric_factor=fields.number("fabric_factor", 1.0, low=0.0, high=1.0),
            beta1=fields.maybe_number("beta1", low=0.5, high=1.0),
            cracking_section=_named(fields, "cracking_section", get_args(CrackingSection)),
            fibre_law=_named(fields, "fibre_law", get_args(FibreLaw)),
            stiffening=fields.maybe_number("stiffening", low=0.0, high=1.0),
            threshold_edition=_named(fields, "threshold_edition", THRESHOLD_EDITIONS),
            sn_line=_named(fields, "sn_line", tuple(SN_LINES)),
            curve_points=fields.count("curve_points", 60, low=10, high=2000),
            limits=Limits.from_dict(None if limits is None else limits.source, f"{path}.limits"),
        )
        fields.finish()
        return made

    def as_dict(self) -> dict[str, Any]:
        """The inverse of :meth:`from_dict`, with every default written out."""
        return {
            "block": self.block,
            "phi_edition": self.phi_edition,
            "shear_edition": self.shear_edition,
            "inertia_form": self.inertia_form,
            "fabric_factor": self.fabric_factor,
            "beta1": self.beta1,
            "cracking_section": self.cracking_section,
            "fibre_law": self.fibre_law,
            "stiffening": self.stiffening,
            "threshold_edition": self.threshold_edition,
            "sn_line": self.sn_line,
            "curve_points": self.curve_points,
            "limits": self.limits.as_dict(),
        }


def _named(fields: Fields, name: str, allowed: tuple[Any, ...], default: str | None = None) -> Any:
    """One of the names of a Literal type; the first is the default."""
    return fields.choice(name, allowed, default or str(allowed[0]))
