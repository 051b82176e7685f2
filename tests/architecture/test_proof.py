"""The list of what was asked names tests that are there."""

from __future__ import annotations

import re
from pathlib import Path

TESTS = Path(__file__).parents[1]


def test_every_file_that_the_list_names_is_there():
    text = (TESTS / "PROOF.md").read_text(encoding="utf-8")
    named = re.findall(r"`([\w*./]+\.(?:py|importlinter))`|`(\.importlinter)`", text)
    paths = [a or b for a, b in named]
    assert len(paths) > 30
    roots = (TESTS, TESTS.parent)
    missing = [p for p in paths if not any(any(root.glob(p)) for root in roots)]
    assert missing == []
