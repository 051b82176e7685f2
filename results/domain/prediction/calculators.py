"""Calculators: plain numbers in, every intermediate number out.

Payload: ``member`` and ``options`` as mechanics takes them; ``loading`` for a beam; ``protocol``
{reference, largest_share, least_share, cycles, frequency_hz, reference_load_kn} for a level.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from labmatrix.kernel.units import quantity
from results.domain.mechanics.cycle_levels import REFERENCE_KINDS
from results.domain.mechanics.loading import Loading, Options
from results.domain.mechanics.member import Member
from results.domain.mechanics.ranges import Fields
from results.domain.mechanics.steps import Sheet
from results.domain.prediction.beam import Beam, beam_flags, beam_of, ultimate_load_n, write_beam
from results.domain.prediction.build import KNM, Built, build
from results.domain.prediction.flexure import Flexure, flexure_of, write_flexure, write_member
from results.domain.prediction.levels import Plan, level_as_dict, level_of, write_level
from results.domain.prediction.strength import FIBRES


def _member(fields: Fields) -> Built:
    member, options = fields.wanted_part("member"), fields.part("options")
    return build(
        Member.from_dict(member.source),
        Options.from_dict(None if options is None else options.source),
    )


def _answer(built: Built, sheet: Sheet, flags: list[str], **more: Any) -> dict[str, Any]:
    return {
        "member": built.member.as_dict(),
        "options": built.options.as_dict(),
        **more,
        "flags": flags,
        "steps": [step.as_dict() for step in sheet.steps],
    }


def _strength(flexure: Flexure) -> dict[str, Any]:
    capacity, gain = flexure.capacity, flexure.gain
    axis = flexure.fibre.neutral_axis_mm if flexure.by == FIBRES else capacity.neutral_axis_mm
    return {
        "mode": flexure.mode,
        "strength_by": flexure.by,
        "block": capacity.block,
        "neutral_axis": quantity(axis, "mm"),
        "nominal_moment": quantity(flexure.nominal_nmm / KNM, "kN·m"),
        "design_moment": quantity(capacity.phi * flexure.nominal_nmm / KNM, "kN·m"),
        "closed_form_moment": quantity(capacity.nominal_nmm / KNM, "kN·m"),
        "fibre_moment": quantity(flexure.fibre.nominal_nmm / KNM, "kN·m"),
        "control_moment": quantity(flexure.control_nmm / KNM, "kN·m"),
        "gain": quantity(gain.ratio, "1") if gain else None,
        "gain_within": gain.within if gain else None,
    }


def _gain_flags(flexure: Flexure) -> list[str]:
    return [flexure.gain.sentence] if flexure.gain and not flexure.gain.within else []


def calculate_flexure(payload: Mapping[str, Any]) -> dict[str, Any]:
    """Bending strength of one section.

    Args:
        payload: {member, options?}.

    Raises:
        ShapeError, RangeError: with argument, value and allowed range.
    """
    fields = Fields.of(payload, "")
    built = _member(fields)
    fields.finish()
    flexure, sheet = flexure_of(built), Sheet()
    write_member(sheet, built)
    write_flexure(sheet, built, flexure)
    return _answer(built, sheet, _gain_flags(flexure), **_strength(flexure))


def _response(built: Built, loading: Loading, sheet: Sheet) -> tuple[Flexure, Beam]:
    flexure = flexure_of(built)
    beam = beam_of(built, flexure, loading)
    write_member(sheet, built)
    write_flexure(sheet, built, flexure)
    write_beam(sheet, built, beam, loading)
    return flexure, beam


def _loads(beam: Beam) -> dict[str, Any]:
    return {
        "ultimate_load": quantity(beam.ultimate_n / 1e3, "kN"),
        "bending_load": quantity(beam.bending_n / 1e3, "kN"),
        "shear_load": quantity(beam.shear_n / 1e3, "kN"),
        "cracking_load": None if beam.cracking_n is None else quantity(beam.cracking_n / 1e3, "kN"),
        "yield_load": None if beam.yield_n is None else quantity(beam.yield_n / 1e3, "kN"),
        "curve": {
            "deflection": {"value": beam.curve.deflections_mm.tolist(), "unit": "mm"},
            "load": {"value": (beam.curve.loads_n / 1e3).tolist(), "unit": "kN"},
        },
    }


def calculate_beam(payload: Mapping[str, Any]) -> dict[str, Any]:
    """Loads, reactions and the load–deflection curve of one beam.

    Args:
        payload: {member, loading, options?}.

    Raises:
        ShapeError, RangeError: with argument, value and allowed range.
    """
    fields = Fields.of(payload, "")
    built, loading = _member(fields), Loading.from_dict(fields.wanted_part("loading").source)
    fields.finish()
    sheet = Sheet()
    flexure, beam = _response(built, loading, sheet)
    return _answer(
        built,
        sheet,
        [*beam_flags(beam), *_gain_flags(flexure)],
        loading=loading.as_dict(),
        **_strength(flexure),
        **_loads(beam),
    )


def calculate_protocol(payload: Mapping[str, Any]) -> dict[str, Any]:
    """What a cycling or sustained level does to one beam.

    Args:
        payload: {member, loading, protocol, options?}; the level is a share of the predicted
            ultimate of the member (``own``), of its unstrengthened twin (``control``), or of a
            load that is given (``measured``, ``predicted``).

    Raises:
        ShapeError, RangeError: with argument, value and allowed range.
    """
    fields = Fields.of(payload, "")
    built, loading = _member(fields), Loading.from_dict(fields.wanted_part("loading").source)
    asked = fields.wanted_part("protocol")
    fields.finish()
    sheet = Sheet()
    flexure, beam = _response(built, loading, sheet)
    control = ultimate_load_n(built.twin(), beam.setup, flexure.control_nmm)
    kind, reference = _reference(asked, {"own": beam.ultimate_n, "control": control})
    largest = asked.number("largest_share", low=0.0, high=1.5, above=True)
    least = asked.number("least_share", low=0.0, high=largest, above=True)
    plan = Plan(
        least * reference / 1e3,
        largest * reference / 1e3,
        asked.number("cycles", 0.0, low=0.0, high=1e9),
        asked.maybe_number("frequency_hz", low=0.001, high=50.0),
    )
    asked.finish()
    found = level_of(built, beam, plan, reference_n=reference, whose=kind)
    write_level(sheet, built, beam, found, of="level")
    return _answer(
        built,
        sheet,
        [*found.flags, *beam_flags(beam)],
        loading=loading.as_dict(),
        level=level_as_dict(found),
        **_loads(beam),
    )


def _reference(asked: Fields, ultimates: Mapping[str, float]) -> tuple[Any, float]:
    """Whose ultimate, and how much, N."""
    kind = asked.choice("reference", REFERENCE_KINDS)
    if kind in ultimates:
        return kind, ultimates[kind]
    load = asked.number("reference_load_kn", low=0.0, high=1e5, above=True)
    return kind, 1e3 * load
