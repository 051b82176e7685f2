"""Predict one member of a series from its stored inputs alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from labmatrix.kernel.units import quantity
from results.domain.mechanics.loading import Loading, Options
from results.domain.mechanics.member import Member
from results.domain.mechanics.member_parts import HistoryInput
from results.domain.mechanics.steps import Sheet
from results.domain.planned_member import Known, loading_payload, member_payload
from results.domain.planned_protocol import Protocol, protocol_of
from results.domain.prediction.beam import (
    Beam,
    beam_flags,
    beam_of,
    ultimate_load_n,
    write_beam,
)
from results.domain.prediction.build import KNM, Built, build, setup_of
from results.domain.prediction.flexure import Flexure, flexure_of, write_flexure, write_member
from results.domain.prediction.levels import (
    LevelFound,
    Plan,
    level_as_dict,
    level_of,
    rig_flags,
    write_level,
)
from results.domain.prediction.spread import spread_of

MECHANICS, VERSION = "mechanics", "3"
SHEAR_MODE = "shear"
SHEAR_WORDS = "The concrete between load and support fails in shear: the end is sudden."


@dataclass(frozen=True)
class Predicted:
    """What a prediction gives, JSON-ready.

    Attributes:
        outcome: loads, mode, flags, life and spread, numbers as {value, unit}.
        curve: {x: deflections in mm, y: loads in kN}.
        sheet: {steps: […]}.
        used: every value with its origin.
    """

    outcome: Mapping[str, Any] = field(default_factory=dict)
    curve: Mapping[str, Any] = field(default_factory=dict)
    sheet: Mapping[str, Any] = field(default_factory=dict)
    used: Mapping[str, Any] = field(default_factory=dict)


def predict(inputs: Mapping[str, Any]) -> Predicted:
    """A prediction from its inputs; the same inputs give the same numbers.

    Args:
        inputs: subject, member {specified, measured}, stages, options, spread, rigs, as stored.

    Raises:
        ShapeError, RangeError: what is missing or out of range, in a sentence.
    """
    known = Known(
        inputs["member"]["specified"],
        inputs["member"]["measured"],
        {entry["name"]: entry for entry in inputs.get("materials", ())},
    )
    protocol = _protocol(inputs)
    options = Options.from_dict(inputs["options"])
    loading = Loading.from_dict(loading_payload(known))
    payload = member_payload(known, name=inputs["subject"], plies=protocol.plies)
    built = _with_history(Member.from_dict(payload), options, loading, protocol)
    flexure = flexure_of(built)
    beam = beam_of(built, flexure, loading)
    control = ultimate_load_n(built.twin(), beam.setup, flexure.control_nmm)
    ultimates = {"own": beam.ultimate_n / 1e3, "control": control / 1e3}
    cycling, sustained = _levels(built, beam, protocol, ultimates)
    flags = _flags(flexure, beam, cycling, sustained, inputs.get("rigs", ()))
    sheet = Sheet()
    write_member(sheet, built)
    write_flexure(sheet, built, flexure)
    write_beam(sheet, built, beam, loading)
    for found, of in ((cycling, "load cycles"), (sustained, "sustained load")):
        if found is not None:
            write_level(sheet, built, beam, found, of=of)
    spread = inputs["spread"]
    outcome = {
        **_loads(beam),
        **_mode(flexure, beam),
        **_found_by(flexure),
        "control_load": quantity(control / 1e3, "kN"),
        "flags": flags,
        "cycling": level_as_dict(cycling) if cycling else None,
        "sustained": level_as_dict(sustained) if sustained else None,
        "spread": spread_of(built, beam, flexure, samples=spread["samples"], seed=spread["seed"]),
    }
    return Predicted(
        outcome=outcome,
        curve={
            "x": [float(x) for x in beam.curve.deflections_mm],
            "y": [float(y) / 1e3 for y in beam.curve.loads_n],
        },
        sheet={"steps": [step.as_dict() for step in sheet.steps]},
        used=known.used(),
    )


def _protocol(inputs: Mapping[str, Any]) -> Protocol:
    """What the route says; a series whose route never strengthens has its plies as a factor."""
    protocol = protocol_of(inputs["stages"])
    plies = inputs["levels"].get("plies")
    told = any(stage["stage"] == "strengthen" for stage in inputs["stages"])
    if told or isinstance(plies, str) or not plies:
        return protocol
    return protocol_of([*inputs["stages"], {"stage": "strengthen", "plies": plies}])


def _with_history(member: Member, options: Options, loading: Loading, protocol: Protocol) -> Built:
    """The member with what its route does before the break.

    A load that comes after the fabric was bonded cracks the member but moves no ε_bi; it counts
    among the earlier moments where the fabric was bonded without load, which is the usual case.
    """
    bare = build(member, options)
    setup = setup_of(bare, loading)
    flexure = flexure_of(bare)
    control = ultimate_load_n(bare.twin(), setup, flexure.control_nmm)
    own = ultimate_load_n(bare, setup, flexure.nominal_nmm)
    ultimates = {"own": own / 1e3, "control": control / 1e3}

    def moment(knm: float | None, kn: float | None) -> float:
        if knm is not None:
            return knm
        return 0.0 if kn is None else setup.moment_nmm(1e3 * kn) / KNM

    installed = moment(protocol.installed_knm, protocol.installed_kn)
    earlier = [moment(protocol.pre_crack_knm, protocol.pre_crack_kn)]
    later = [protocol.sustained, protocol.cycling.largest if protocol.cycling else None]
    if installed == 0.0:
        earlier += [moment(None, level.kn(ultimates)) for level in later if level is not None]
    history = HistoryInput(
        moment_at_installation_knm=installed,
        largest_earlier_moment_knm=max(earlier),
        repeated=any(level is not None for level in later),
    )
    return build(replace(member, history=history), options)


def _levels(
    built: Built, beam: Beam, protocol: Protocol, ultimates: Mapping[str, float]
) -> tuple[LevelFound | None, LevelFound | None]:
    cycling = sustained = None
    if protocol.cycling is not None:
        plan, whose = protocol.cycling, protocol.cycling.largest.whose
        cycling = level_of(
            built,
            beam,
            Plan(
                plan.least.kn(ultimates),
                plan.largest.kn(ultimates),
                plan.cycles,
                plan.frequency_hz,
            ),
            reference_n=1e3 * ultimates[whose],
            whose=whose,
        )
    if protocol.sustained is not None:
        load, whose = protocol.sustained.kn(ultimates), protocol.sustained.whose
        reference = 1e3 * ultimates[whose]
        sustained = level_of(built, beam, Plan(load, load), reference_n=reference, whose=whose)
    return cycling, sustained


def _flags(
    flexure: Flexure,
    beam: Beam,
    cycling: LevelFound | None,
    sustained: LevelFound | None,
    rigs: Sequence[Mapping[str, Any]],
) -> list[str]:
    flags: list[str] = []
    if cycling is not None:
        flags += [*cycling.flags, *rig_flags(cycling, rigs)]
    if sustained is not None:
        flags += sustained.flags
    flags += beam_flags(beam)
    if flexure.gain is not None and not flexure.gain.within:
        flags.append(flexure.gain.sentence)
    # The most telling first: bars that fail in cycling end the test before anything else.
    return sorted(flags, key=lambda flag: "fail first" not in flag)


def _mode(flexure: Flexure, beam: Beam) -> dict[str, Any]:
    if beam.shear_governs:
        return {"mode": SHEAR_MODE, "mode_words": SHEAR_WORDS, "gain_words": None}
    return {
        "mode": flexure.mode,
        "mode_words": flexure.mode_words,
        "gain_words": flexure.gain.sentence if flexure.gain else None,
    }


def _found_by(flexure: Flexure) -> dict[str, Any]:
    """By which way the strength was found, and what the other way gives."""
    return {
        "strength_by": flexure.by,
        "closed_form_moment": quantity(flexure.capacity.nominal_nmm / KNM, "kN·m"),
        "fibre_moment": quantity(flexure.fibre.nominal_nmm / KNM, "kN·m"),
        "fibre_over_closed_percent": 100.0 * flexure.difference,
    }


def _loads(beam: Beam) -> dict[str, Any]:
    setup, ultimate = beam.setup, beam.ultimate_n
    last = float(beam.curve.loads_n[-1])

    def load(value: float | None) -> dict[str, Any] | None:
        return None if value is None else quantity(value / 1e3, "kN")

    def deflection(value: float | None) -> dict[str, Any] | None:
        return None if value is None else quantity(beam.deflection_mm(value), "mm")

    return {
        "cracking_load": load(beam.cracking_n),
        "cracking_deflection": deflection(beam.cracking_n),
        "yield_load": load(beam.yield_n),
        "yield_deflection": deflection(beam.yield_n),
        "ultimate_load": load(ultimate),
        "ultimate_deflection": deflection(last),
        "stroke": quantity(beam.curve.stroke(last), "mm"),
        "bending_load": load(beam.bending_n),
        "shear_load": load(beam.shear_n),
        "reaction": quantity(setup.reaction_n(ultimate) / 1e3, "kN"),
        "ultimate_moment": quantity(setup.moment_nmm(ultimate) / KNM, "kN·m"),
        "dead_moment": quantity(setup.dead_moment_nmm / KNM, "kN·m"),
        "span": quantity(setup.span_mm, "mm"),
        "shear_span": quantity(setup.shear_span_mm, "mm"),
    }
