"""One step ahead gives the same items, and the same exception at the same place."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from labmatrix.evidence.reading.ahead import one_ahead


def test_gives_the_same_items_in_order() -> None:
    assert list(one_ahead(iter(range(50)))) == list(range(50))
    assert list(one_ahead(iter([]))) == []
    assert list(one_ahead(iter([None, 0, None]))) == [None, 0, None]


def test_an_exception_comes_where_its_item_would() -> None:
    def two_then_fail() -> Iterator[int]:
        yield 1
        yield 2
        raise LookupError("third")

    items = one_ahead(two_then_fail())
    assert [next(items), next(items)] == [1, 2]
    with pytest.raises(LookupError, match="third"):
        next(items)


def test_may_be_left_early() -> None:
    made: list[int] = []

    def endless() -> Iterator[int]:
        while True:
            made.append(len(made))
            yield made[-1]

    for item in one_ahead(endless()):
        if item == 3:
            break
    assert len(made) <= 6
