"""One step ahead: the next item of an iterator is made while the present one is worked on."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")


def one_ahead(items: Iterator[T]) -> Iterator[T]:
    """The same items in the same order, each made on a thread of its own before it is asked for.

    At most one item waits. An exception of the iterator comes where its item would have come.
    """

    def taken() -> tuple[T, ...]:
        return tuple(itertools.islice(items, 1))

    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="ahead") as pool:
        following = pool.submit(taken)
        while item := following.result():
            following = pool.submit(taken)
            yield item[0]
