"""Load levels of a protocol: how much, and of whose ultimate load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from labmatrix.kernel.errors import RangeError
from results.domain.mechanics.ranges import choice, number

ReferenceKind = Literal["own", "control", "measured", "predicted"]
REFERENCE_KINDS: tuple[ReferenceKind, ...] = ("own", "control", "measured", "predicted")
REFERENCE_WORDS: dict[ReferenceKind, str] = {
    "own": "the predicted ultimate load of this cell",
    "control": "the predicted ultimate load of the unstrengthened control",
    "measured": "a measured ultimate load",
    "predicted": "a predicted ultimate load of another cell",
}


@dataclass(frozen=True)
class ReferenceLoad:
    """The ultimate load that a level is a share of.

    Args:
        kind: whose.
        load_n: total actuator load, N.
        note: which specimen or cell, in words.
    """

    kind: ReferenceKind
    load_n: float
    note: str = ""

    def __post_init__(self) -> None:
        choice("reference", self.kind, REFERENCE_KINDS)
        number("reference load", self.load_n, low=0.0, high=1e8, above=True, unit="N")

    @property
    def words(self) -> str:
        """Whose ultimate this is."""
        return REFERENCE_WORDS[self.kind] + (f" ({self.note})" if self.note else "")


@dataclass(frozen=True)
class LoadLevel:
    """A cycle between two loads, or a sustained load where they are equal.

    Args:
        reference: whose ultimate.
        largest_share: of the reference load.
        least_share: of the reference load; above zero so that the member never lifts off.
    """

    reference: ReferenceLoad
    largest_share: float
    least_share: float

    def __post_init__(self) -> None:
        number("largest_share", self.largest_share, low=0.0, high=1.5, above=True)
        number("least_share", self.least_share, low=0.0, high=self.largest_share)
        if self.least_share == 0.0:
            raise RangeError(
                "least_share",
                self.least_share,
                f"above 0 to {self.largest_share:g}, so that the member never lifts off",
            )

    @property
    def sustained(self) -> bool:
        """Whether the load stays."""
        return self.least_share == self.largest_share

    @property
    def largest_n(self) -> float:
        """Largest actuator load, N."""
        return self.largest_share * self.reference.load_n

    @property
    def least_n(self) -> float:
        """Least actuator load, N."""
        return self.least_share * self.reference.load_n

    @property
    def sentence(self) -> str:
        """The level in words."""
        top = f"{100 * self.largest_share:.3g} %"
        whose = f"of {self.reference.words}, {self.reference.load_n / 1000:.2f} kN"
        if self.sustained:
            return f"{top} {whose}, sustained: {self.largest_n / 1000:.2f} kN."
        return (
            f"{100 * self.least_share:.3g} to {top} {whose}: {self.least_n / 1000:.2f} to "
            f"{self.largest_n / 1000:.2f} kN."
        )
