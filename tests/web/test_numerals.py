"""How numbers are written; the rounding example is that of JCGM 100:2008, 7.2.6 (recalled)."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.web.domain.numerals import (
    MINUS,
    NARROW_SPACE,
    column_places,
    numeral,
    uncertainty_rounded,
    uncertainty_text,
)


def test_rounds_a_value_to_the_place_of_its_uncertainty_as_the_guide_does() -> None:
    # "if y = 10,057 62 Ω with u_c(y) = 27 mΩ, y should be rounded to 10,058 Ω"
    assert numeral(10.05762, u=0.027).text == "10.058"
    assert uncertainty_text(10.05762, 0.027) == "0.027"


@pytest.mark.parametrize(
    ("u", "rounded"),
    [(0.0996, "0.10"), (0.0144, "0.014"), (1.25, "1.2"), (1.35, "1.4"), (148.0, "1.5E+2")],
)
def test_keeps_two_digits_of_an_uncertainty_ties_to_even(u: float, rounded: str) -> None:
    assert str(uncertainty_rounded(u)) == rounded


@pytest.mark.parametrize("u", [0.0, -0.1, math.nan, math.inf])
def test_refuses_an_uncertainty_that_is_none(u: float) -> None:
    with pytest.raises(ValueError, match=r"uncertainty|finite"):
        uncertainty_rounded(u)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (87.3149, "87.31"),
        (9.99996, "10.00"),
        (0.0, "0"),
        (-0.5, f"{MINUS}0.5000"),
        (1234.5, "1234"),
        (12345.6, f"12{NARROW_SPACE}346"),
        (1_000_000, f"1{NARROW_SPACE}000{NARROW_SPACE}000"),
        (7, "7"),
        (0.000512, f"5.120{NARROW_SPACE}×{NARROW_SPACE}10⁻⁴"),
        (9.99996e-5, f"1.000{NARROW_SPACE}×{NARROW_SPACE}10⁻⁴"),
        (-1.62e-5, f"{MINUS}1.620{NARROW_SPACE}×{NARROW_SPACE}10⁻⁵"),
        (2.5e12, f"2.500{NARROW_SPACE}×{NARROW_SPACE}10¹²"),
        (Decimal("3.10"), "3.100"),
    ],
)
def test_shows_four_digits_but_never_rounds_whole_units(value: float, text: str) -> None:
    assert numeral(value).text == text


def test_large_uncertainty_rounds_beyond_the_decimal_sign() -> None:
    assert numeral(12345.6, u=140.0).text == f"12{NARROW_SPACE}350"


def test_small_value_and_its_uncertainty_share_one_power_of_ten() -> None:
    assert numeral(1.62e-5, u=4.1e-7).text == f"1.620{NARROW_SPACE}×{NARROW_SPACE}10⁻⁵"
    assert uncertainty_text(1.62e-5, 4.1e-7) == f"0.041{NARROW_SPACE}×{NARROW_SPACE}10⁻⁵"


def test_a_negative_that_rounds_to_nought_loses_its_sign() -> None:
    assert numeral(-0.04, places=1).text == "0.0"


def test_one_precision_for_a_column_of_like_numbers() -> None:
    assert column_places([87.31, 101.2, 9.876]) == 1
    assert column_places([0.0, 0.0]) == 0
    assert column_places([9.9999]) == 2
    assert column_places([1.6e-5, 2e-6]) is None


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_refuses_what_is_no_number(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        numeral(value)


@given(
    st.floats(allow_nan=False, allow_infinity=False, min_value=-1e15, max_value=1e15),
    st.floats(min_value=1e-9, max_value=1e6),
)
def test_printed_value_lies_within_half_its_last_place(value: float, u: float) -> None:
    step = Decimal(1).scaleb(uncertainty_rounded(u).as_tuple().exponent)  # type: ignore[arg-type]
    assert abs(_read(numeral(value, u=u).text) - Decimal(repr(value))) <= step / 2


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=1e-30, max_value=1e30))
def test_four_digits_are_within_half_of_the_fourth(value: float) -> None:
    exact = Decimal(repr(value))
    step = Decimal(1).scaleb(exact.adjusted() - 3)
    assert abs(_read(numeral(value).text) - exact) <= step / 2


def _read(text: str) -> Decimal:
    """The number that a printed text stands for."""
    mantissa, _, power = text.replace(NARROW_SPACE, "").replace(MINUS, "-").partition("×10")
    plain = power.translate(str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-"))
    return Decimal(mantissa).scaleb(int(plain or 0))
