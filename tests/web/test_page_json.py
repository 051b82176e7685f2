"""Data for a page's scripts: as Django writes it, and never a way out of its element."""

from __future__ import annotations

import pytest
from django.core.serializers.json import DjangoJSONEncoder
from django.utils.html import json_script
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.web.templatetags.notebook import page_json

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(alphabet=st.sampled_from("<>&'\"/\\ü\u2028ab")),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=20,
)  # fmt: skip


@given(JSON, st.text(alphabet="ab<\"'&-1", min_size=1))
def test_it_is_what_django_writes(value, name):
    assert page_json(value, name) == json_script(value, name, encoder=DjangoJSONEncoder)


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_a_number_that_no_browser_can_read_is_refused(number):
    with pytest.raises(ValueError, match="JSON"):
        page_json({"x": [number]}, "figure-1-data")
