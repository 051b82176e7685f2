"""What a cycling or sustained level does to bars, fabric and concrete of one member."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from labmatrix.kernel.text import grouped
from results.domain.mechanics.bar_fatigue import (
    THRESHOLD_EDITIONS,
    THRESHOLD_SOURCES,
    BarLife,
    ThresholdEdition,
    bar_life,
    threshold_mpa,
)
from results.domain.mechanics.beam_setup import BeamSetup
from results.domain.mechanics.cycle_levels import LoadLevel
from results.domain.mechanics.elastic import ServiceStresses, cracked_section, service_stresses
from results.domain.mechanics.limits import Limits
from results.domain.mechanics.ranges import choice, number
from results.domain.mechanics.section import BarLayer, Section


@dataclass(frozen=True)
class Verdict:
    """One number against its limit."""

    key: str
    words: str
    value: float
    limit: float
    unit: str
    source: str

    @property
    def within(self) -> bool:
        """Whether the limit is kept."""
        return self.value <= self.limit

    @property
    def sentence(self) -> str:
        """The comparison in words."""
        relation = "within" if self.within else "above"
        return (
            (
                f"{self.words}: {self.value:.4g} {self.unit}, {relation} the limit of "
                f"{self.limit:.4g} {self.unit} ({self.source})."
            )
            .replace(" 1,", ",")
            .replace(" 1 (", " (")
        )


@dataclass(frozen=True)
class ProtocolCheck:
    """Stresses at both ends of a level and what they mean; MPa, N·mm.

    Attributes:
        level: loads and whose ultimate.
        high, low: elastic stresses of the cracked section with the dead load.
        bar_range_mpa: of the layer with the largest range.
        bar_least_mpa: stress of that layer at the least load.
        thresholds: by edition.
        life: of the bars above the thresholds, None for a sustained level or a small range.
        cycles: planned, 0 for a sustained level.
        verdicts: every limit looked at.
        flags: sentences that a person should read before casting.
    """

    level: LoadLevel
    high: ServiceStresses
    low: ServiceStresses
    bar_range_mpa: float
    bar_least_mpa: float
    thresholds: Mapping[ThresholdEdition, float]
    life: BarLife | None
    cycles: float
    verdicts: tuple[Verdict, ...]
    flags: tuple[str, ...]

    @property
    def bars_fail_first(self) -> bool:
        """Whether half of such bars break before the planned cycles are over."""
        return self.life is not None and self.life.median < self.cycles


def check_protocol(
    *,
    section: Section,
    setup: BeamSetup,
    level: LoadLevel,
    strength_mpa: float,
    modulus_mpa: float,
    limits: Limits,
    fibre: str,
    cycles: float = 0.0,
    edition: ThresholdEdition = "aashto-2014",
    sn_line: str = "helgason-hanson",
) -> ProtocolCheck:
    """Stresses of the elastic cracked section at both loads, against limits and S–N line.

    Args:
        section: with its bond plane.
        setup: beam and dead load.
        level: the two loads; equal ones are a sustained level.
        strength_mpa, modulus_mpa: f'c and Ec.
        limits: the laboratory's.
        fibre: for the limit of fabric stress.
        cycles: planned, ignored for a sustained level.
        edition: whose threshold decides; all are reported.
        sn_line: which finite-life line.

    Raises:
        RangeError: an argument outside its range.
    """
    number("cycles", cycles, low=0.0, high=1e9)
    choice("edition", edition, THRESHOLD_EDITIONS)
    elastic = cracked_section(section, modulus_mpa)
    high = service_stresses(section, elastic, setup.moment_nmm(level.largest_n))
    low = service_stresses(section, elastic, setup.moment_nmm(level.least_n))
    bar, spread, least = _worst_bar(section, high, low)
    thresholds = {
        name: threshold_mpa(name, least_mpa=least, yield_mpa=bar.steel.yield_mpa)
        for name in THRESHOLD_EDITIONS
    }
    verdicts = _stress_verdicts(section, high, strength_mpa, limits, fibre)
    life, planned = None, 0.0
    if cycles > 0.0 and not level.sustained:
        planned = cycles
        verdicts.append(_range_verdict(spread, thresholds[edition], edition))
        if max(thresholds[edition], 20.0) < spread <= 800.0:
            life = bar_life(spread, sn_line)
    check = ProtocolCheck(
        level, high, low, spread, least, thresholds, life, planned, tuple(verdicts), ()
    )
    return replace(check, flags=_flags(check, section, limits))


def _worst_bar(
    section: Section, high: ServiceStresses, low: ServiceStresses
) -> tuple[BarLayer, float, float]:
    """The layer with the largest stress range, that range, and its least stress."""
    ranges = [a - b for a, b in zip(high.bars_mpa, low.bars_mpa, strict=True)]
    worst = max(range(len(ranges)), key=lambda index: ranges[index])
    return section.bars[worst], ranges[worst], low.bars_mpa[worst]


def _range_verdict(spread: float, threshold: float, edition: ThresholdEdition) -> Verdict:
    source = THRESHOLD_SOURCES[edition]
    return Verdict("bar-range", "Bar stress range", spread, threshold, "MPa", source)


def _stress_verdicts(
    section: Section, high: ServiceStresses, strength: float, limits: Limits, fibre: str
) -> list[Verdict]:
    steel, concrete = limits["service-steel"], limits["service-concrete"]
    shares = [
        stress / bar.steel.yield_mpa
        for stress, bar in zip(high.bars_mpa, section.bars, strict=True)
    ]
    verdicts = [
        Verdict("steel", "Bar stress / fy", max(shares), steel.value, "1", steel.source),
        Verdict(
            "concrete", "Concrete stress / f'c", high.concrete_mpa / strength, concrete.value, "1",
            concrete.source,
        ),
    ]  # fmt: skip
    if section.fabrics:
        limit = limits.fabric_ratio(fibre)
        ratio = max(
            stress / (layer.law.modulus_mpa * layer.usable_strain)
            for stress, layer in zip(high.fabrics_mpa, section.fabrics, strict=True)
        )
        verdicts.append(
            Verdict("fabric", f"Stress of {fibre} fabric / design strength", ratio, limit.value,
                    "1", limit.source)
        )  # fmt: skip
    return verdicts


def _flags(check: ProtocolCheck, section: Section, limits: Limits) -> tuple[str, ...]:
    flags = [verdict.sentence for verdict in check.verdicts if not verdict.within]
    flags += _life_flags(check)
    share = max(
        stress / bar.steel.yield_mpa
        for stress, bar in zip(check.high.bars_mpa, section.bars, strict=True)
    )
    if share >= 1.0:
        flags.append(
            f"Elastic bar stress at the largest load is {share:.2f} fy: the bars yield, and "
            "stresses and life found here do not hold."
        )
    least = limits["minimum-load"]
    ratio = check.level.least_n / check.level.largest_n
    if not check.level.sustained and ratio < least.value:
        flags.append(
            f"The least load is {ratio:.3f} of the largest; {least.source} asks for at least "
            f"{least.value:g}, so that nothing lifts off."
        )
    return tuple(flags)


def about(value: float) -> str:
    """A number of load cycles in words, one digit of it: 300 000, 2 million."""
    rounded = float(f"{value:.0e}")
    if rounded >= 1e6:
        return f"{grouped(rounded / 1e6)} million"
    return grouped(rounded)


def _life_flags(check: ProtocolCheck) -> list[str]:
    if check.life is None:
        return []
    life = check.life
    band = f"5 to 95 % of such bars between {about(life.low)} and {about(life.high)} cycles"
    if check.bars_fail_first:
        return [
            f"The bars will fail first, at about {about(life.median)} cycles ({band}), before the "
            f"planned {about(check.cycles)}."
        ]
    share = 100.0 * (1.0 - life.surviving(check.cycles))
    return [
        f"The bar stress range is above the threshold: about {share:.0f} % of such bars break "
        f"before the planned {about(check.cycles)} cycles, half by {about(life.median)} ({band})."
    ]
