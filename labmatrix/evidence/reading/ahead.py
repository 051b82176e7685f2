"""Ahead of time: what comes next is made while the present item is worked on."""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")
Made = TypeVar("Made")


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


def worked_ahead(
    items: Iterator[T], work: Callable[[T], Made], *, workers: int = 2
) -> Iterator[tuple[T, Made]]:
    """Each item with what some work made of it, in order; the work runs on threads of its own.

    One item more than there are workers is under way or waits. An exception of the iterator or of
    the work comes where its item would have come.

    Args:
        items: taken one after the other, on one thread.
        work: may run for several items at once.
        workers: how many.
    """

    def taken() -> tuple[T, ...]:
        return tuple(itertools.islice(items, 1))

    def worked(taking: Future[tuple[T, ...]]) -> tuple[tuple[T, Made], ...]:
        return tuple((item, work(item)) for item in taking.result())

    with (
        ThreadPoolExecutor(max_workers=1, thread_name_prefix="ahead") as taker,
        ThreadPoolExecutor(max_workers=workers, thread_name_prefix="work") as pool,
    ):
        under_way = deque(pool.submit(worked, taker.submit(taken)) for _ in range(workers + 1))
        while made := under_way.popleft().result():
            under_way.append(pool.submit(worked, taker.submit(taken)))
            yield made[0]
