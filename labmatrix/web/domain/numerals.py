"""How a number is written: rounded by its uncertainty, grouped, with a true minus sign.

Rounding follows JCGM 100:2008 (GUM), 7.2.6: the standard uncertainty keeps at most two significant
digits and the value ends at the same decimal place. Digits in groups of three with a narrow
no-break space, from five digits on, as in ISO 80000-1:2022 (recalled, not re-read).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, localcontext

from labmatrix.kernel.text import NARROW_SPACE

MINUS = "\u2212"
DEFAULT_DIGITS = 4
_SUPERSCRIPT = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")
_SMALLEST_PLAIN = -3  # below 0.001 a plain decimal hides its digits behind noughts
_LARGEST_PLAIN = 9


@dataclass(frozen=True)
class Numeral:
    """One number as it is printed, cut at its decimal sign.

    Attributes:
        whole: sign and whole part, grouped: ``−1 234``.
        fraction: decimal sign and decimals, or nothing: ``.50``.
        power: the factor of a very small or large number, or nothing: `` × 10⁻⁷``.
    """

    whole: str
    fraction: str
    power: str = ""

    @property
    def text(self) -> str:
        """The number in one piece."""
        return self.whole + self.fraction + self.power

    @property
    def places(self) -> int:
        """Decimals that are printed."""
        return max(0, len(self.fraction) - 1)


def exact(value: float | Decimal) -> Decimal:
    """The shortest decimal that stands for a number, as a person would type it.

    Raises:
        ValueError: not finite.
    """
    if not math.isfinite(value):
        raise ValueError(f"a number to be printed must be finite, not {value}")
    return value if isinstance(value, Decimal) else Decimal(repr(value))


def uncertainty_rounded(u: float | Decimal) -> Decimal:
    """A standard uncertainty to two significant digits (GUM 7.2.6); 0.0996 becomes 0.10.

    Args:
        u: standard uncertainty in any unit, above zero.

    Raises:
        ValueError: not finite, zero or negative.
    """
    value = exact(u)
    if value <= 0:
        raise ValueError(f"a standard uncertainty is above zero, not {u}")
    once = _at(value, 1 - value.adjusted())
    return _at(once, 1 - once.adjusted())


def places_for(value: float | Decimal, digits: int) -> int:
    """Decimals that show so many significant digits, never fewer than none."""
    number = exact(value)
    return max(0, digits - 1 - number.adjusted()) if number else 0


def numeral(
    value: float | Decimal,
    *,
    u: float | Decimal | None = None,
    digits: int = DEFAULT_DIGITS,
    places: int | None = None,
) -> Numeral:
    """A number as it is printed.

    Args:
        value: the number, in the unit in which it is shown.
        u: its standard uncertainty in the same unit; it decides the last place.
        digits: significant digits where there is no uncertainty; whole units are never rounded.
        places: decimals, which overrules both (for a column of like numbers).

    An ``int`` without ``u`` and ``places`` is printed whole.

    Raises:
        ValueError: a number that is not finite, or an uncertainty that is not above zero.
    """
    number = exact(value)
    if places is not None:
        return _plain(_at(number, places))
    if isinstance(value, int) and u is None:
        return _plain(number)
    rounded, last = _rounded(number, u, digits)
    power = _power_of(rounded, last)
    if power:
        return _scaled(rounded, last, power)
    return _plain(rounded if u is not None else _at(number, max(0, last)))


def uncertainty_text(value: float | Decimal, u: float | Decimal) -> str:
    """The uncertainty beside its value: at the same decimal place and power of ten."""
    shown, last = _rounded(exact(value), u, DEFAULT_DIGITS)
    power = _power_of(shown, last)
    rounded = uncertainty_rounded(u)
    return (_scaled(rounded, last, power) if power else _plain(rounded)).text


def column_places(values: Iterable[float | Decimal], digits: int = DEFAULT_DIGITS) -> int | None:
    """Decimals for a column of like numbers, so that the largest shows ``digits`` digits.

    None when the largest is too small for plain decimals: then each number brings its power.
    """
    largest = max((abs(exact(value)) for value in values), default=Decimal(0))
    if largest and largest.adjusted() < _SMALLEST_PLAIN:
        return None
    return places_for(_at(largest, places_for(largest, digits)), digits)


def _exponent(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    if not isinstance(exponent, int):
        raise TypeError("a finite number has a whole exponent")
    return exponent


def _at(number: Decimal, places: int) -> Decimal:
    with localcontext(prec=400):
        return number.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)


def _rounded(number: Decimal, u: float | Decimal | None, digits: int) -> tuple[Decimal, int]:
    """The number rounded, and the decimal place of its last digit (negative: tens and up)."""
    if u is not None:
        last = -_exponent(uncertainty_rounded(u))
        return _at(number, last), last
    once = _at(number, digits - 1 - number.adjusted()) if number else number
    last = digits - 1 - once.adjusted() if once else 0
    return _at(once, last), last


def _power_of(rounded: Decimal, last: int) -> int:
    """The power of ten to take out of a number; 0 where plain decimals do."""
    power = rounded.adjusted() if rounded else -last
    return power if power < _SMALLEST_PLAIN or power >= _LARGEST_PLAIN else 0


def _scaled(rounded: Decimal, last: int, power: int) -> Numeral:
    plain = _plain(_at(rounded.scaleb(-power), max(0, last + power)))
    superscript = str(power).translate(_SUPERSCRIPT)
    return Numeral(plain.whole, plain.fraction, f"{NARROW_SPACE}×{NARROW_SPACE}10{superscript}")


def _plain(number: Decimal) -> Numeral:
    whole, _, fraction = f"{abs(number):f}".partition(".")
    if len(whole) > 4:
        head = len(whole) % 3 or 3
        groups = [whole[:head], *(whole[i : i + 3] for i in range(head, len(whole), 3))]
        whole = NARROW_SPACE.join(groups)
    sign = MINUS if number < 0 else ""
    return Numeral(sign + whole, f".{fraction}" if fraction else "")
