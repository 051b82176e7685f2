"""A regime's settings read as words and units."""

from __future__ import annotations

import pytest

from conditioning.domain.setting_words import settings_in_words


@pytest.mark.parametrize(
    ("name", "value", "words", "shown"),
    [
        ("low_degc", -18.0, "Low temperature", "\N{MINUS SIGN}18 °C"),
        ("wet_h", 12, "Wet time", "12 h"),
        ("salt_percent", 3.5, "Salt", "3.5 %"),
        ("cycles_per_day", 3.6, "Cycles", "3.6 per day"),
        ("is_sealed", True, "Is sealed", "yes"),
        ("medium", "sea water", "Medium", "sea water"),
    ],
)
def test_a_setting_reads_as_words_and_unit(name, value, words, shown):
    assert settings_in_words({name: value}) == [(words, shown)]
