"""Canonical JSON: one text for one value."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.kernel.canonical import canonical_json, content_key, sha256_text

TEXT = st.text(st.characters(exclude_categories=["Cs"]))
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**60), 2**60)
    | st.floats(allow_nan=False, allow_infinity=False)
    | TEXT,
    lambda inner: st.lists(inner) | st.dictionaries(TEXT, inner),
    max_leaves=20,
)


@given(VALUES)
def test_reading_back_and_writing_again_gives_the_same_text(value):
    text = canonical_json(value)
    assert canonical_json(json.loads(text)) == text


@given(st.dictionaries(st.text(max_size=5), st.integers(), min_size=2), st.randoms())
def test_the_order_of_keys_does_not_matter(value, random):
    keys = list(value)
    random.shuffle(keys)
    assert content_key({k: value[k] for k in keys}) == content_key(value)


def test_two_and_two_point_zero_are_one_number():
    assert canonical_json([2, 2.0, -0.0]) == "[2,2,0]"


def test_an_instant_is_written_in_utc_whatever_its_zone():
    at = datetime(2026, 3, 1, 9, 30, tzinfo=timezone(timedelta(hours=1)))
    assert canonical_json(at) == '"2026-03-01T08:30:00.000000Z"'
    assert canonical_json(at.astimezone(UTC)) == canonical_json(at)


@pytest.mark.parametrize("value", [math.nan, math.inf, {1: 2}, {"a": object()}, {1, 2}])
def test_what_has_no_one_text_is_refused(value):
    with pytest.raises((ValueError, TypeError)):
        canonical_json(value)


def test_sha256_of_the_empty_text():
    # FIPS 180-4, recalled, not re-read: the digest of no bytes.
    assert sha256_text("").startswith("e3b0c44298fc1c149afbf4c8996fb924")
