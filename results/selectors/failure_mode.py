"""How the specimens of a series failed, counted by cell and by scheme, letter and words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass

from django.db.models.fields.json import KeyTransform

from labmatrix.matrix.models import Series
from specimens.domain.life_read import life_from
from specimens.models import SpecimenState


@dataclass(frozen=True)
class ModeCount:
    """So many tests of a cell that ended in one way.

    Attributes:
        cell: its code.
        scheme, letter, words: of the mode; the letter may be empty.
        end: how the test ended: broken, failed in cycling, …
        count: tests, several where a specimen has several locations.
        specimens: how many specimens they belong to.
    """

    cell: str
    scheme: str
    letter: str
    words: str
    end: str
    count: int
    specimens: int


def failure_mode_list(series: Series, codes: Collection[str]) -> tuple[ModeCount, ...]:
    """Modes by cell, the most frequent of each cell first; one query.

    Args:
        series: the series.
        codes: of the specimens that count.
    """
    states = (
        SpecimenState.objects.filter(specimen__cell__series=series)
        .exclude(end="", last_at=None)
        .order_by("specimen__cell_id", "specimen__number")
        .values_list(
            "specimen__cell__code",
            "specimen__code",
            KeyTransform("breaks", KeyTransform("life", "folded")),
        )
    )
    tests: Counter[tuple[str, str, str, str, str]] = Counter()
    members: dict[tuple[str, str, str, str, str], set[str]] = {}
    for cell, code, breaks in states:
        if code not in codes:
            continue
        for seen in life_from({"breaks": breaks}).breaks:
            key = (cell, seen.scheme, seen.letter, seen.words, seen.end)
            tests[key] += 1
            members.setdefault(key, set()).add(code)
    order = {cell: place for place, cell in enumerate(dict.fromkeys(key[0] for key in tests))}
    ranked = sorted(tests, key=lambda key: (order[key[0]], -tests[key], key[1:]))
    return tuple(ModeCount(*key, tests[key], len(members[key])) for key in ranked)
