"""Numbers, choices and fields that come from a person, checked where they enter."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from labmatrix.kernel.errors import RangeError, ShapeError
from labmatrix.kernel.units import convert

# The ending of a field's name and its unit, the longer ending first.
_ENDINGS: Mapping[str, str] = MappingProxyType(
    {
        "_knm": "kN·m",
        "_kn": "kN",
        "_mm2": "mm²",
        "_mm": "mm",
        "_mpa": "MPa",
        "_hz": "Hz",
    }
)


def number(
    argument: str,
    value: object,
    *,
    low: float = -math.inf,
    high: float = math.inf,
    above: bool = False,
    unit: str = "",
) -> float:
    """A finite number within [low, high], or (low, high] with ``above``.

    Raises:
        ShapeError: ``input.number``, not a number at all.
        RangeError: ``input.out-of-range``, with argument, value and allowed range.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ShapeError(
            "input.number",
            f"{argument} is {value!r}; allowed is a number {_allowed(low, high, above, unit)}.",
            argument=argument,
            value=str(value),
        )
    result = float(value)
    too_low = result <= low if above else result < low
    if not math.isfinite(result) or too_low or result > high:
        raise RangeError(argument, value, _allowed(low, high, above, unit))
    return result


def _allowed(low: float, high: float, above: bool, unit: str) -> str:
    tail = f" {unit}" if unit else ""
    lower = f"above {low:g}" if above else f"from {low:g}"
    if math.isinf(low) and math.isinf(high):
        return f"any finite number{tail}"
    if math.isinf(low):
        return f"up to {high:g}{tail}"
    if math.isinf(high):
        return f"{'above' if above else 'at least'} {low:g}{tail}"
    return f"{lower} to {high:g}{tail}"


def choice(argument: str, value: object, allowed: Sequence[str]) -> str:
    """One of the named choices.

    Raises:
        ShapeError: ``input.choice``, naming the argument, its value and the choices.
    """
    if not isinstance(value, str) or value not in allowed:
        raise ShapeError(
            "input.choice",
            f"{argument} is {value!r}; allowed is one of {', '.join(allowed)}.",
            argument=argument,
            value=str(value),
            allowed=list(allowed),
        )
    return value


@dataclass
class Fields:
    """Reads one JSON object field by field and refuses what it does not know.

    ``path`` is put before each name in an error, such as ``member.concrete.``. A field that is
    missing or null takes its default; without a default it is asked for.
    """

    source: Mapping[str, Any]
    path: str = ""
    seen: set[str] = field(default_factory=set)

    @classmethod
    def of(cls, value: object, path: str) -> Fields:
        """Raises ShapeError ``input.object`` when the value is not a JSON object."""
        if not isinstance(value, Mapping):
            raise ShapeError(
                "input.object",
                f"{path or 'the payload'} is {value!r}; allowed is an object with named fields.",
                argument=path,
            )
        return cls(value, f"{path}." if path else "")

    def _get(self, name: str) -> Any:
        self.seen.add(name)
        return self.source.get(name)

    def _in_unit(self, name: str) -> Any:
        """The value, converted where it came as {value, unit}."""
        value = self._get(name)
        if not isinstance(value, Mapping):
            return value
        part = Fields.of(value, f"{self.path}{name}")
        amount, unit = part.number("value"), part.text("unit")
        part.finish()
        wanted = next((u for ending, u in _ENDINGS.items() if name.endswith(ending)), "1")
        return convert(amount, unit, wanted)

    def _missing(self, name: str, wanted: str) -> ShapeError:
        return ShapeError(
            "input.missing",
            f"{self.path}{name} is missing; wanted is {wanted}.",
            argument=f"{self.path}{name}",
        )

    def number(
        self,
        name: str,
        default: float | None = None,
        *,
        low: float = -math.inf,
        high: float = math.inf,
        above: bool = False,
    ) -> float:
        """A number in the unit that ends its name, or {value, unit} in any unit of its kind."""
        value = self._in_unit(name)
        if value is None and default is None:
            raise self._missing(name, f"a number {_allowed(low, high, above, '')}")
        if value is None:
            value = default
        return number(f"{self.path}{name}", value, low=low, high=high, above=above)

    def maybe_number(
        self, name: str, *, low: float = -math.inf, high: float = math.inf, above: bool = False
    ) -> float | None:
        """As :meth:`number`, or None when it is missing or null."""
        value = self._in_unit(name)
        if value is None:
            return None
        return number(f"{self.path}{name}", value, low=low, high=high, above=above)

    def count(self, name: str, default: int | None = None, *, low: int, high: int) -> int:
        """A whole number within [low, high]."""
        value = self.number(name, default, low=low, high=high)
        if not value.is_integer():
            raise RangeError(f"{self.path}{name}", value, f"a whole number from {low} to {high}")
        return int(value)

    def choice(self, name: str, allowed: Sequence[str], default: str | None = None) -> str:
        """One of the named choices."""
        value = self._get(name)
        if value is None and default is None:
            raise self._missing(name, f"one of {', '.join(allowed)}")
        return choice(f"{self.path}{name}", default if value is None else value, allowed)

    def flag(self, name: str, default: bool) -> bool:
        """True or false.

        Raises:
            ShapeError: ``input.flag``.
        """
        value = self._get(name)
        if value is None:
            return default
        if not isinstance(value, bool):
            raise ShapeError(
                "input.flag",
                f"{self.path}{name} is {value!r}; allowed is true or false.",
                argument=f"{self.path}{name}",
            )
        return value

    def text(self, name: str, default: str = "") -> str:
        """A text of at most 200 characters.

        Raises:
            ShapeError: ``input.text``.
        """
        value = self._get(name)
        if value is None:
            return default
        if not isinstance(value, str) or len(value) > 200:
            raise ShapeError(
                "input.text",
                f"{self.path}{name} is {value!r}; allowed is text of at most 200 characters.",
                argument=f"{self.path}{name}",
            )
        return value

    def part(self, name: str) -> Fields | None:
        """A nested object, or None when it is missing or null."""
        value = self._get(name)
        return None if value is None else Fields.of(value, f"{self.path}{name}")

    def wanted_part(self, name: str) -> Fields:
        """A nested object that must be there."""
        part = self.part(name)
        if part is None:
            raise self._missing(name, "an object with named fields")
        return part

    def parts(self, name: str, *, at_most: int = 100) -> tuple[Fields, ...]:
        """A list of nested objects, empty when it is missing.

        Raises:
            ShapeError: ``input.list``.
        """
        value = self._get(name)
        if value is None:
            return ()
        if not isinstance(value, list | tuple) or len(value) > at_most:
            raise ShapeError(
                "input.list",
                f"{self.path}{name} is {value!r}; allowed is a list of at most {at_most} objects.",
                argument=f"{self.path}{name}",
            )
        return tuple(
            Fields.of(item, f"{self.path}{name}[{index}]") for index, item in enumerate(value)
        )

    def finish(self) -> None:
        """Raises ShapeError ``input.unknown-field`` for fields that nobody asked for."""
        unknown = sorted(set(self.source) - self.seen)
        if unknown:
            raise ShapeError(
                "input.unknown-field",
                f"{self.path}{unknown[0]} is not known; known are {', '.join(sorted(self.seen))}.",
                argument=f"{self.path}{unknown[0]}",
                unknown=unknown,
            )
