"""One line of a calculation sheet, and the sheet that gathers them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Step:
    """One number of a calculation that can be followed by hand.

    Attributes:
        symbol: as in the formula of later steps.
        words: what it is.
        formula: how it follows from earlier symbols; ``given`` for an input.
        value: the number, or a word where a rule decides.
        unit: its unit, empty for a word.
        source: clause, edition and origin.
        part: heading under which it stands.
    """

    symbol: str
    words: str
    formula: str
    value: float | str
    unit: str
    source: str
    part: str = ""

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready, the number as {value, unit}."""
        return {
            "part": self.part,
            "symbol": self.symbol,
            "words": self.words,
            "formula": self.formula,
            "quantity": {"value": self.value, "unit": self.unit},
            "source": self.source,
        }


@dataclass
class Sheet:
    """Steps in order; ``begin`` names the part that follows."""

    steps: list[Step] = field(default_factory=list)
    part: str = ""

    def begin(self, part: str) -> None:
        """Start a part."""
        self.part = part

    def given(self, symbol: str, words: str, value: float, unit: str, origin: str) -> None:
        """An input."""
        self.steps.append(Step(symbol, words, "given", value, unit, origin, self.part))

    def found(  # noqa: PLR0917  a line of a sheet reads like one
        self,
        symbol: str,
        words: str,
        formula: str,
        value: float | str,
        unit: str = "",
        source: str = "mechanics",
    ) -> None:
        """A result."""
        self.steps.append(Step(symbol, words, formula, value, unit, source, self.part))
