"""Settings of the break reduction."""

from __future__ import annotations

from typing import ClassVar, Literal, Self

from pydantic import model_validator

from results.domain.reduction.settings import JoinedSettings, setting


class BreakSettings(JoinedSettings):
    """How a load–deflection record of a monotonic test is prepared and read."""

    REDUCTION: ClassVar[str] = "break"

    zero: Literal["rest", "as-recorded"] = setting(
        "rest",
        unit="1",
        rule="Zero of load and deflection: the mean of the rest at the start of the record, or as "
        "recorded.",
    )
    zero_limit_share: float = setting(
        0.02,
        unit="1",
        gt=0.0,
        lt=0.5,
        rule="A load at rest above this share of the peak is a preload, not an offset: it is kept "
        "and said.",
    )
    seating: Literal["toe", "none"] = setting(
        "toe",
        unit="1",
        rule="Seating: where the stiffness below seating_low_share of the peak is less than "
        "seating_stiffness_ratio of that up to seating_high_share, the curve below is replaced by "
        "the line of the latter, and deflection counts from where that line meets zero load.",
    )
    seating_low_share: float = setting(
        0.05, unit="1", gt=0.0, lt=0.5, rule="Share of the peak below which seating is looked for."
    )
    seating_high_share: float = setting(
        0.15, unit="1", gt=0.0, lt=0.6, rule="Share of the peak up to which the member is seated."
    )
    seating_stiffness_ratio: float = setting(
        0.7, unit="1", gt=0.0, lt=1.0, rule="Stiffness ratio below which there is seating."
    )
    crack_search_share: float = setting(
        0.6,
        unit="1",
        gt=0.1,
        le=1.0,
        rule="First crack: of all pairs of lines through the curve up to this share of the peak, "
        "the pair with the least squares; it lies where the two lines meet, each fitted to its "
        "side without the tenth next to the change.",
    )
    crack_slope_ratio: float = setting(
        0.85,
        unit="1",
        gt=0.0,
        lt=1.0,
        rule="There is a first crack only where the second line is flatter than this share of the "
        "first, and the two lines follow the curve better than one does by more than half the "
        "noise and 0.1 % of the peak.",
    )
    secant_share: float = setting(
        0.75,
        unit="1",
        gt=0.3,
        lt=1.0,
        rule="Yield secant75: deflection at which the secant through this share of the peak, on "
        "the rising branch, reaches the peak load (equivalent elasto-plastic system of reduced "
        "stiffness, Park 1989); the load is that of the curve there.",
    )
    elastic_share: float = setting(
        0.40,
        unit="1",
        gt=0.05,
        lt=0.75,
        rule="Yield equal-energy: corner of the elastic–perfectly plastic curve with the secant "
        "stiffness at this share of the peak that holds the same energy up to the ultimate "
        "deflection (form of ASTM E2126); the load is that of the plateau.",
    )
    bar_yield_strain: float | None = setting(
        None,
        unit="mm/mm",
        gt=0.0,
        rule="Yield gauge: first place where the bar strain reaches this value and stays there "
        "for five samples. Without it, or without a bar strain channel, there is no such yield.",
    )
    ultimate_share: float = setting(
        0.80,
        unit="1",
        ge=0.5,
        lt=1.0,
        rule="Ultimate: first place after the peak where the load has fallen to this share of it "
        "and stays there for three samples (Park 1989 gives 0.80; 0.85 is as common). Where the "
        "record ends before, its last deflection is a lower bound.",
    )
    peak_drop_share: float = setting(
        0.01,
        unit="1",
        gt=0.0,
        lt=0.2,
        rule="Where the load never falls by more than this share of the peak (and six times the "
        "noise) after the peak, the test stopped before it and the peak is a lower bound.",
    )
    ductility_energy_at: Literal["peak", "ultimate"] = setting(
        "peak",
        unit="1",
        rule="Where the energy ductility ½(Etot/Eel + 1) is taken (Naaman and Jeong 1995). The "
        "elastic energy is P²/2S, S the mean of the slopes of the uncracked and cracked lines "
        "weighted by the load that each covers; for a member already cracked the latter alone.",
    )
    unloading_recovery: float = setting(
        0.3,
        unit="1",
        gt=0.0,
        lt=1.0,
        rule="A fall of load of more than 5 % with less than this share of the elastic recovery "
        "is a loss of load and belongs to the envelope; with more it is an unloading and does "
        "not.",
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.seating_low_share >= self.seating_high_share:
            raise ValueError("seating_low_share has to lie below seating_high_share")
        return self
