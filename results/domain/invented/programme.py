"""The invented programme as planned: its question, series, member, factors, cells and route."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from results.domain.invented.parameters import FROST, LABORATORY, PARAMETERS, SALT, Parameters

PROGRAMME_CODE, SERIES_CODE = "QUAYSIDE", "QS"
PLIES, EXPOSURE, SUSTAINED, LOAD_CYCLES = "plies", "exposure", "sustained", "load cycles"
EXPOSURE_DAYS, CURE_DAYS, MORTAR_DAYS, TEST_AGE_DAYS = 84, 28, 28, 150
SUSTAINED_SHARE = 0.4
_EXPOSURE_CODES = {LABORATORY: "LAB", SALT: "SALT", FROST: "FROST"}
PROGRAMME: dict[str, Any] = {
    "code": PROGRAMME_CODE,
    "title": "Girders of the harbour viaduct, strengthened with fabric in a cement matrix",
    "sponsor_question": "Can fabric in a cement-based matrix carry the missing quarter of bending "
    "strength of the old girders, and how much of it is left after years of salt, frost, traffic "
    "and dead load? Invented, as is everything measured here.",
    "starts_on": date(2026, 1, 5),
    "ends_on": date(2027, 6, 30),
    "is_invented": True,
}


@dataclass(frozen=True)
class CellSpec:
    """One combination of levels with its planned number of beams."""

    plies: int
    exposure: str
    replicates: int
    is_sustained: bool = False
    is_cycled: bool = False
    note: str = ""

    @property
    def code(self) -> str:
        """From the codes of its levels."""
        sustained = "S40" if self.is_sustained else "S0"
        cycled = "C" if self.is_cycled else "M"
        return f"P{self.plies}-{_EXPOSURE_CODES[self.exposure]}-{sustained}-{cycled}"

    def levels(self, parameters: Parameters = PARAMETERS) -> dict[str, Any]:
        """Level of every factor, by the factor's name."""
        return {
            PLIES: self.plies,
            EXPOSURE: self.exposure,
            SUSTAINED: SUSTAINED_SHARE if self.is_sustained else 0,
            LOAD_CYCLES: parameters.cycling.target_cycles if self.is_cycled else 0,
        }

    @property
    def is_conditioned(self) -> bool:
        """Exposed, held under load or cycled."""
        return self.exposure != LABORATORY or self.is_sustained or self.is_cycled


CELLS = (
    CellSpec(0, LABORATORY, 3, note="Their mean peak is what sustained loads are a share of."),
    CellSpec(1, LABORATORY, 2),
    CellSpec(2, LABORATORY, 3),
    CellSpec(4, LABORATORY, 2),
    CellSpec(0, SALT, 2),
    CellSpec(2, SALT, 2),
    CellSpec(4, SALT, 1),
    CellSpec(0, FROST, 2),
    CellSpec(2, FROST, 2),
    CellSpec(0, SALT, 1, is_sustained=True),
    CellSpec(2, SALT, 2, is_sustained=True),
    CellSpec(0, LABORATORY, 1, is_cycled=True),
    CellSpec(2, LABORATORY, 2, is_cycled=True),
    CellSpec(2, SALT, 1, is_cycled=True, note="Without an unstrengthened twin: fewer rig weeks."),
)


def cell_by_code(code: str) -> CellSpec:
    """The cell with this code.

    Raises:
        KeyError: none has it.
    """
    return {cell.code: cell for cell in CELLS}[code]


def _code_if_planned(cell: CellSpec) -> str:
    """Code of the cell itself, ``none`` where the matrix does not have it."""
    return cell.code if any(cell.code == have.code for have in CELLS) else "none"


def _cell(cell: CellSpec, parameters: Parameters) -> dict[str, Any]:
    bare = replace(cell, plies=0)
    unconditioned = replace(cell, exposure=LABORATORY, is_sustained=False, is_cycled=False)
    return {
        "levels": cell.levels(parameters),
        "code": cell.code,
        "replicates": cell.replicates,
        "gain_control": _code_if_planned(bare) if cell.plies else "none",
        "conditioning_control": _code_if_planned(unconditioned) if cell.is_conditioned else "none",
        "note": cell.note,
    }


def _level(value: str | float, code: str, label: str = "") -> dict[str, Any]:
    return {"value": value, "code": code, "label": label}


def _factor(
    name: str, kind: str, part: str, control: str, levels: list[dict[str, Any]]
) -> dict[str, Any]:
    return {
        "name": name,
        "kind": kind,
        "unit": "",
        "part": part,
        "open": False,
        "control": control,
        "levels": levels,
    }


def matrix_json(parameters: Parameters = PARAMETERS) -> dict[str, Any]:
    """The matrix in the form that a JSON import takes: factors, forbidden, cells."""
    target = parameters.cycling.target_cycles
    plies = [_level(n, f"P{n}") for n in parameters.plies]
    exposures = [_level(name, code) for name, code in _EXPOSURE_CODES.items()]
    loads = [
        _level(0, "S0", "no load"),
        _level(SUSTAINED_SHARE, "S40", "0.4 of the control's measured ultimate"),
    ]
    cycles = [_level(0, "M", "monotonic"), _level(target, "C", "2 million")]
    return {
        "factors": [
            _factor(PLIES, "numeric", "strengthening", "0", plies),
            _factor(EXPOSURE, "named", "conditioning", LABORATORY, exposures),
            _factor(SUSTAINED, "numeric", "conditioning", "0", loads),
            _factor(LOAD_CYCLES, "numeric", "conditioning", "0", cycles),
        ],
        "forbidden": [
            {
                "levels": {SUSTAINED: SUSTAINED_SHARE, LOAD_CYCLES: target},
                "why": "A frame cannot stand in the fatigue rig.",
            }
        ],
        "cells": [_cell(cell, parameters) for cell in CELLS],
    }


def route_template(parameters: Parameters = PARAMETERS) -> dict[str, Any]:
    """The series' template of routes."""
    cycling = parameters.cycling
    return {
        "stages": [
            {"stage": "cast"},
            {"stage": "cure", "days": CURE_DAYS},
            {"stage": "strengthen", "plies": {"factor": PLIES}, "unless": {PLIES: 0}},
            {"stage": "cure-mortar", "days": MORTAR_DAYS, "unless": {PLIES: 0}},
            {
                "parallel": [
                    {
                        "stage": "expose",
                        "regime": {"factor": EXPOSURE},
                        "days": EXPOSURE_DAYS,
                        "tolerance_days": 3,
                        "unless": {EXPOSURE: LABORATORY},
                    },
                    {
                        "stage": "sustain",
                        "share_of_control_ultimate": {"factor": SUSTAINED},
                        "days": EXPOSURE_DAYS,
                        "unless": {SUSTAINED: 0},
                    },
                ]
            },
            {
                "stage": "cycle",
                "cycles": {"factor": LOAD_CYCLES},
                "minimum_kn": cycling.minimum_kn,
                "maximum_kn": cycling.maximum_kn,
                "frequency_hz": cycling.frequency_hz,
                "unless": {LOAD_CYCLES: 0},
            },
            {"stage": "break", "concrete_age_days": TEST_AGE_DAYS, "tolerance_days": 10},
        ]
    }


def member_json(parameters: Parameters = PARAMETERS) -> dict[str, Any]:
    """Geometry and materials as specified, the unit in each name."""
    member = parameters.member
    return {
        "b_mm": member.b_mm,
        "h_mm": member.h_mm,
        "d_mm": member.d_mm,
        "span_mm": member.span_mm,
        "shear_span_mm": member.shear_span_mm,
        "bar_count": member.bar_count,
        "bar_diameter_mm": member.bar_diameter_mm,
        "fc_mpa": member.fc_mpa,
        "fy_mpa": member.fy_mpa,
        "es_mpa": member.es_mpa,
        "stirrup_area_mm2": 100.5,
        "stirrup_spacing_mm": 100.0,
        "stirrup_fy_mpa": 420.0,
        "fabric": "Quay P (invented)",
        "fibre": "pbo",
        "fabric_area_mm2_per_ply": member.fabric_area_mm2_per_ply,
        "ef_mpa": member.fabric_ef_mpa,
        "fabric_design_strain": member.fabric_design_strain,
        "fabric_depth_mm": member.h_mm,
        "self_weight_kn": round(member.self_weight_kn, 3),
        "spreader_kn": member.spreader_kn,
    }


def series_json(parameters: Parameters = PARAMETERS) -> dict[str, Any]:
    """What a series is created with."""
    return {
        "code": SERIES_CODE,
        "title": "Beams in four-point bending",
        "specimen_type": "beam",
        "code_template": "{series}-{cell}-{n:02d}",
        "route": route_template(parameters),
        "member": member_json(parameters),
        "responses": ["peak_load", "stiffness_loss", "ductility_deflection"],
    }
