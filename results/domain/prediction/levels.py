"""What cycling and sustained levels do to a member, as numbers for pages and steps for sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from labmatrix.kernel.units import quantity
from results.domain.mechanics.bar_fatigue import THRESHOLD_SOURCES
from results.domain.mechanics.cycle_levels import LoadLevel, ReferenceKind, ReferenceLoad
from results.domain.mechanics.elastic import cracked_section
from results.domain.mechanics.machine import Actuator, machine_hours
from results.domain.mechanics.protocol import ProtocolCheck, about, check_protocol
from results.domain.mechanics.steps import Sheet
from results.domain.prediction.beam import Beam
from results.domain.prediction.build import KNM, Built

_ANY_STROKE_MM = 3000.0
_ELASTIC = "elastic cracked section, ACI 440.2R, Eq. (10-14)"


@dataclass(frozen=True)
class Plan:
    """A level asked for: two loads in kN (equal ones are sustained), cycles and frequency."""

    least_kn: float
    largest_kn: float
    cycles: float = 0.0
    frequency_hz: float | None = None


@dataclass(frozen=True)
class LevelFound:
    """A level with what it does.

    Attributes:
        plan: what was asked for.
        check: stresses, limits and life.
        deflection_mm: at the largest load; that at the end of the curve where it goes beyond.
        travel_mm: of the actuator between the two loads.
        hours: machine-on time, None for a sustained level or an unknown frequency.
        flags: sentences.
    """

    plan: Plan
    check: ProtocolCheck
    deflection_mm: float
    travel_mm: float
    hours: float | None
    flags: tuple[str, ...]


def level_of(
    built: Built, beam: Beam, plan: Plan, *, reference_n: float, whose: ReferenceKind = "control"
) -> LevelFound:
    """Check one level.

    Args:
        built, beam: the member in its test.
        plan: the loads.
        reference_n: ultimate load that the level is told as a share of.
        whose: whose ultimate load that is.

    Raises:
        RangeError: loads out of range, see the protocol's own checks.
    """
    level = LoadLevel(
        ReferenceLoad(whose, reference_n),
        1e3 * plan.largest_kn / reference_n,
        1e3 * plan.least_kn / reference_n,
    )
    fabric = built.member.fabric
    check = check_protocol(
        section=built.section,
        setup=beam.setup,
        level=level,
        strength_mpa=built.strength_mpa,
        modulus_mpa=built.modulus_mpa,
        limits=built.options.limits,
        fibre=fabric.fibre if fabric else "",
        cycles=plan.cycles,
        edition=built.options.threshold_edition,
        sn_line=built.options.sn_line,
    )
    flags = list(check.flags)
    if 1e3 * plan.largest_kn >= beam.ultimate_n:
        flags.insert(
            0,
            f"The largest load, {plan.largest_kn:.1f} kN, is not below the predicted ultimate load "
            f"of this member, {beam.ultimate_n / 1e3:.1f} kN.",
        )
    hours = None
    if plan.cycles and plan.frequency_hz and not level.sustained:
        hours = machine_hours(plan.cycles, plan.frequency_hz)
    return LevelFound(
        plan=plan,
        check=check,
        deflection_mm=beam.deflection_mm(1e3 * plan.largest_kn),
        travel_mm=beam.curve.stroke(1e3 * plan.largest_kn) - beam.curve.stroke(1e3 * plan.least_kn),
        hours=hours,
        flags=tuple(flags),
    )


def rig_flags(found: LevelFound, rigs: Sequence[Mapping[str, Any]]) -> list[str]:
    """Whether any rig of the laboratory can follow the level.

    Args:
        found: a cycling level.
        rigs: {code, performance: [{amplitude_mm, frequency_hz, load_kn}, …]} each; rigs whose
            performance was not measured say nothing.

    Returns:
        One sentence where every measured rig falls short, else none.
    """
    frequency = found.plan.frequency_hz
    told = [rig for rig in rigs if rig["performance"]]
    if frequency is None or not told:
        return []
    short: list[str] = []
    for rig in told:
        points = sorted(rig["performance"], key=lambda point: float(point["frequency_hz"]))
        rated = max(float(point["load_kn"]) for point in points)
        largest = _actuator(points, rated).largest_range_mm(frequency) or 0.0
        if rated >= found.plan.largest_kn and largest >= found.travel_mm:
            return []
        short.append(f"{rig['code']} does {largest:.2f} mm at {rated:g} kN")
    return [
        f"No rig follows {found.travel_mm:.2f} mm of travel at {frequency:g} Hz and "
        f"{found.plan.largest_kn:.1f} kN: {'; '.join(short)}."
    ]


def _actuator(points: Sequence[Mapping[str, Any]], rated_kn: float) -> Actuator:
    """An actuator from measured points; an amplitude is half a range."""
    ranges: dict[float, float] = {}
    for point in points:
        frequency = float(point["frequency_hz"])
        ranges[frequency] = max(ranges.get(frequency, 0.0), 2.0 * float(point["amplitude_mm"]))
    performance = tuple(sorted(ranges.items()))
    # What was measured bounds the travel; the full stroke of the actuator is not told.
    return Actuator(1e3 * rated_kn, _ANY_STROKE_MM, performance=performance)


def level_as_dict(found: LevelFound) -> dict[str, Any]:
    """A level as JSON, numbers as {value, unit}."""
    check, plan = found.check, found.plan
    life = check.life
    shown: dict[str, Any] = {
        "words": check.level.sentence,
        "least_load": quantity(plan.least_kn, "kN"),
        "largest_load": quantity(plan.largest_kn, "kN"),
        "largest_deflection": quantity(found.deflection_mm, "mm"),
        "travel": quantity(found.travel_mm, "mm"),
        "bar_low": quantity(check.bar_least_mpa, "MPa"),
        "bar_high": quantity(check.bar_least_mpa + check.bar_range_mpa, "MPa"),
        "bar_range": quantity(check.bar_range_mpa, "MPa"),
        "concrete": quantity(check.high.concrete_mpa, "MPa"),
        "fabric": quantity(check.high.fabric_mpa, "MPa") if check.high.fabrics_mpa else None,
        "cycles": int(plan.cycles),
        "frequency": quantity(plan.frequency_hz, "Hz") if plan.frequency_hz else None,
        "machine_time": quantity(found.hours, "h") if found.hours is not None else None,
        "thresholds": [
            {"edition": name, "source": THRESHOLD_SOURCES[name], "stress": quantity(value, "MPa")}
            for name, value in (check.thresholds.items() if check.cycles else ())
        ],
        "verdicts": [verdict.sentence for verdict in check.verdicts],
        "life": None,
        "bars_fail_first": check.bars_fail_first,
        "flags": list(found.flags),
    }
    if life is not None:
        shown["life"] = {
            "median": life.median,
            "low": life.low,
            "high": life.high,
            "median_words": f"about {about(life.median)}",
            "low_words": about(life.low),
            "high_words": about(life.high),
            "source": f"{life.line.words}; {life.line.origin}.",
        }
    return shown


def write_level(sheet: Sheet, built: Built, beam: Beam, found: LevelFound, *, of: str) -> None:
    """Stresses at both loads, thresholds, life and time, step by step."""
    check, plan = found.check, found.plan
    elastic = cracked_section(built.section, built.modulus_mpa)
    sheet.begin(of)
    sheet.found("Pref", f"reference: {check.level.reference.words}", "see above",
                check.level.reference.load_n / 1e3, "kN")  # fmt: skip
    sheet.found("Pmax", "largest load", check.level.sentence, plan.largest_kn, "kN", "protocol")
    sheet.found("Pmin", "least load", check.level.sentence, plan.least_kn, "kN", "protocol")
    sheet.found("Mmax", "moment", "Mg + Pmax a/2/10³", check.high.moment_nmm / KNM, "kN·m")
    sheet.found("Mmin", "moment", "Mg + Pmin a/2/10³", check.low.moment_nmm / KNM, "kN·m")
    sheet.found("kd", "neutral axis, cracked", "Σ n A (kd − y) + b kd²/2 = 0",
                elastic.neutral_axis_mm, "mm", _ELASTIC)  # fmt: skip
    sheet.found("Icr", "second moment, cracked", "b kd³/3 + Σ n A (y − kd)²",
                elastic.inertia_mm4, "mm⁴", _ELASTIC)  # fmt: skip
    sheet.found("fmin", "bar stress at Pmin", "Es Mmin (d − kd)/(Ec Icr), with the couple of εbi",
                check.bar_least_mpa, "MPa", _ELASTIC)  # fmt: skip
    sheet.found("Δf", "bar stress range", "Es (Mmax − Mmin)(d − kd)/(Ec Icr)",
                check.bar_range_mpa, "MPa", _ELASTIC)  # fmt: skip
    sheet.found("fc", "concrete stress at Pmax", "Mmax kd/Icr, with the couple of εbi",
                check.high.concrete_mpa, "MPa", _ELASTIC)  # fmt: skip
    if check.high.fabrics_mpa:
        sheet.found("ff", "fabric stress at Pmax", "Ef (Mmax (df − kd)/(Ec Icr) − εbi)",
                    check.high.fabric_mpa, "MPa", _ELASTIC)  # fmt: skip
    if check.cycles:
        for name, value in check.thresholds.items():
            sheet.found("Δfth", f"threshold, {name}", "by the source", value, "MPa",
                        THRESHOLD_SOURCES[name])  # fmt: skip
    if check.life is not None:
        for symbol, words, value in (
            ("N50", "half of such bars have broken", check.life.median),
            ("N5", "5 % of such bars have broken", check.life.low),
            ("N95", "95 % of such bars have broken", check.life.high),
        ):
            sheet.found(symbol, words, check.life.line.words, value, "1", check.life.line.origin)
    if found.hours is not None:
        sheet.found("t", "machine-on time", "N/(3600 f)", found.hours, "h", "arithmetic")
