"""What is known of a member is said in words with its unit."""

from __future__ import annotations

from labmatrix.matrix.domain.member_fields import GROUPS
from specimens.domain.member_words import MEMBER_WORDS, member_label, member_said


def test_everything_that_a_series_is_asked_for_has_words() -> None:
    asked = {field.name: field.unit for _, fields in GROUPS for field in fields}
    assert asked.keys() <= MEMBER_WORDS.keys()
    units = {name: MEMBER_WORDS[name][1] for name, unit in asked.items() if unit}
    assert units == {name: unit for name, unit in asked.items() if unit}


def test_words_are_used_once() -> None:
    words = [words for words, _ in MEMBER_WORDS.values()]
    assert len(set(words)) == len(words)


def test_a_number_is_said_with_its_unit_and_a_text_without() -> None:
    said = member_said({"fibre": "pbo", "fc_mpa": 31.5, "b_mm": 200, "bar_count": 3, "own_1": 7})
    assert [one.name for one in said.values()] == [
        "width", "number of bars", "concrete strength", "fibre of the fabric", "own_1",
    ]  # fmt: skip
    assert said["fc_mpa"].quantity == {"value": 31.5, "unit": "MPa"}
    assert said["bar_count"].number == 3
    assert said["fibre"].text == "pbo"


def test_the_label_of_a_field_names_the_unit_that_is_typed() -> None:
    assert member_label("fc_mpa", 30.0) == "concrete strength (MPa)"
    assert member_label("fibre", "pbo") == "fibre of the fabric"
