"""Settings of the cyclic reduction."""

from __future__ import annotations

from typing import ClassVar, Literal, Self

from pydantic import model_validator

from results.domain.reduction.dropouts import DROPOUT_RULE
from results.domain.reduction.noise import BAND_RULE
from results.domain.reduction.settings import JoinedSettings, setting

Speed = Literal["static", "dynamic"]
CHECKPOINTS = (1, 10, 100, 1_000, 10_000, 100_000)


class CyclicSettings(JoinedSettings):
    """How load cycles are found, measured and compared."""

    REDUCTION: ClassVar[str] = "cyclic"

    cycles_by: Literal["load", "deflection"] = setting(
        "load",
        unit="1",
        rule="The channel whose valleys and peaks bound the cycles: load, or deflection for a "
        "test driven in displacement.",
    )
    noise_band: float | None = setting(
        None,
        unit="kN or mm",
        gt=0.0,
        rule="Moves of the bounding channel up to this size are noise, in kN by load and in mm by "
        f"deflection. Where it is not given: {BAND_RULE}.",
    )
    extremes: Literal["fitted", "sampled"] = setting(
        "fitted",
        unit="1",
        rule="Valley and peak by a parabola through the samples within a twentieth of a cycle on "
        "both sides (at most 50), narrowed where it would cut off a pointed extreme by more than "
        "three standard deviations of the noise; or the extreme sample itself.",
    )
    stiffness: Literal["load-extremes", "deflection-extremes", "regression"] = setting(
        "load-extremes",
        unit="1",
        rule="Stiffness of one cycle: load range over the difference of the deflections at its "
        "two load extremes; load range over deflection range; or the slope of the least-squares "
        "line of load on deflection over the whole cycle.",
    )
    reference: Literal["first-cycle", "first-ten", "cycle", "stiffness"] = setting(
        "first-cycle",
        unit="1",
        rule="What stiffness ratios are taken to: the first complete cycle of the test, the mean "
        "of its first ten, the cycle named in reference_cycle, or the stiffness given in "
        "reference_stiffness_kn_mm (from another record of the same test).",
    )
    reference_cycle: int | None = setting(
        None, unit="1", ge=1, rule="Number of the reference cycle, where the reference is a cycle."
    )
    reference_stiffness_kn_mm: float | None = setting(
        None, unit="kN/mm", gt=0.0, rule="Reference stiffness, where the reference is a stiffness."
    )
    speed: Speed | None = setting(
        None,
        unit="1",
        rule="Whether the stiffness is of slow (static) or fast (dynamic) cycles; cycles of the "
        "other speed are counted and listed but give no metric. Where it is not given: the speed "
        "of most cycles of the record.",
    )
    static_below_hz: float = setting(
        0.1, unit="Hz", gt=0.0, rule="A cycle slower than this is static, any other dynamic."
    )
    checkpoints: tuple[int, ...] = setting(
        CHECKPOINTS,
        unit="1",
        rule="Numbers of the load cycles that give metrics; the last complete cycle always does.",
    )
    checkpoint_every: int | None = setting(
        250_000,
        unit="1",
        ge=1,
        rule="Beyond the last number in checkpoints, every multiple of this one is a checkpoint.",
    )
    target_maximum_kn: float | None = setting(
        None, unit="kN", rule="Peak load that the cycles should reach."
    )
    target_minimum_kn: float | None = setting(
        None, unit="kN", rule="Valley load that the cycles should reach."
    )
    load_tolerance: float = setting(
        0.02,
        unit="1",
        gt=0.0,
        lt=1.0,
        rule="Band of the load error, as a share of the larger target load in size. Borrowed from "
        "metal coupons (ASTM E466 and E467, recalled, not re-read).",
    )
    samples_for_verdict: int = setting(
        20,
        unit="1",
        ge=3,
        rule="With fewer samples in a cycle the load error is not given: the sampled peak falls "
        "short.",
    )
    gap_intervals: float | None = setting(
        5.0,
        unit="1",
        ge=1.5,
        rule="A step longer than this many times the usual step and the step before is a gap. "
        "Without time the rows left out are counted. None sees no gaps.",
    )
    bridge_share: float = setting(
        0.25,
        unit="1",
        ge=0.0,
        lt=0.5,
        rule="A gap of up to this share of the last cycle cannot hide a cycle: the search goes on "
        "across it, and the cycle is counted but not whole and gives no metric. A longer gap "
        "ends the stretch.",
    )
    dropout_samples: int | None = setting(
        20, unit="1", ge=1, le=1_000, rule=f"{DROPOUT_RULE} None keeps every sample."
    )
    longest_cycle_samples: int = setting(
        2_000_000,
        unit="1",
        ge=1_000,
        rule="Without a reversal for longer than this the machine stood: the cycle is not "
        "complete and the search begins anew.",
    )
    edge_share: float = setting(
        0.10,
        unit="1",
        gt=0.0,
        lt=0.5,
        rule="The start of a stretch counts as valley of its first cycle where it lies within "
        "this share of the range from the valley that follows; its end closes the last cycle "
        "where it lies no more than this share of the range above the valley before.",
    )
    settle_loss_per_decade: float = setting(
        0.02,
        unit="1",
        gt=0.0,
        rule="The stiffness has settled at the first checkpoint from which on the least-squares "
        "loss of stiffness ratio for each tenfold number of cycles, over it and all later "
        "checkpoints, is at most this, and stays so from every later start.",
    )
    settle_span_decades: float = setting(
        0.3,
        unit="1",
        gt=0.0,
        rule="A start is judged only where at least three checkpoints lie from it on, spread over "
        "at least this many tenfolds of cycles.",
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.reference == "cycle" and self.reference_cycle is None:
            raise ValueError("reference is a cycle, so reference_cycle has to be given")
        if self.reference == "stiffness" and self.reference_stiffness_kn_mm is None:
            raise ValueError(
                "reference is a stiffness, so reference_stiffness_kn_mm has to be given"
            )
        if any(number < 1 for number in self.checkpoints):
            raise ValueError("checkpoints are numbers of load cycles, 1 or more")
        low, high = self.target_minimum_kn, self.target_maximum_kn
        if low is not None and high is not None and low >= high:
            raise ValueError("target_minimum_kn has to lie below target_maximum_kn")
        return self

    def is_checkpoint(self, number: int) -> bool:
        """Whether a load cycle of this number gives metrics."""
        if number in self.checkpoints:
            return True
        beyond = max(self.checkpoints, default=0)
        every = self.checkpoint_every
        return every is not None and number > beyond and number % every == 0
