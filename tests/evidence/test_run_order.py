"""Blocks of one cycling run: gaps, copies and restarts are resolved and said, never guessed."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from labmatrix.evidence.domain.restarts import RestartTrack
from labmatrix.evidence.domain.run_order import RunBlock, RunOrder, order_blocks
from labmatrix.kernel.errors import ShapeError

PEAKS = 40 + np.random.default_rng(5).normal(0, 0.1, 5000)


def block(
    name: str, claim: int | None, start: int, stop: int, began: float | None = None
) -> RunBlock:
    """A block that holds true cycles ``start`` to ``stop`` and claims to begin with ``claim``."""
    return RunBlock(name, claim, PEAKS[start - 1 : stop], began)


def spans(order: RunOrder) -> list[tuple[str, int, int]]:
    return [(b.name, b.first_cycle, b.last_cycle) for b in order.blocks]


def codes(order: RunOrder) -> list[str]:
    return [remark.code for remark in order.remarks]


def refusal(*blocks: RunBlock) -> str:
    with pytest.raises(ShapeError) as caught:
        order_blocks(blocks)
    assert caught.value.message.endswith(".")
    return caught.value.code


def test_puts_blocks_in_order_of_their_claims() -> None:
    order = order_blocks([block("b", 101, 101, 250), block("a", 1, 1, 100)])
    assert spans(order) == [("a", 1, 100), ("b", 101, 250)]
    assert (order.remarks, order.last_cycle) == ((), 250)


def test_says_cycles_that_nobody_recorded() -> None:
    order = order_blocks([block("a", 1, 1, 10), block("b", 1000, 1000, 1009)])
    assert spans(order) == [("a", 1, 10), ("b", 1000, 1009)]
    assert codes(order) == ["run.gap"]
    assert "Cycles 11 to 999" in order.remarks[0].message


def test_a_copy_counts_once() -> None:
    order = order_blocks([block("a", 1, 1, 100), block("b", 61, 61, 160)])
    assert spans(order) == [("a", 1, 100), ("b", 101, 160)]
    assert (order.blocks[1].skipped, order.blocks[1].moved_by) == (40, 0)
    assert codes(order) == ["run.copy"]


def test_a_whole_copy_is_left_out_and_said() -> None:
    order = order_blocks([block("a", 1, 1, 100), block("b", 41, 41, 90)])
    assert spans(order) == [("a", 1, 100)]
    assert "50 of 50" in order.remarks[0].message


def test_a_file_saved_again_with_more_cycles_adds_only_these() -> None:
    order = order_blocks([block("early", 1, 1, 80), block("late", 1, 1, 120)])
    assert spans(order) == [("early", 1, 80), ("late", 81, 120)]


def test_a_restart_moves_its_block_and_all_later_claims() -> None:
    order = order_blocks(
        [
            block("a", 1, 1, 1000),
            block("b", 900, 1001, 2101),
            block("c", 2001, 2102, 2500),
        ]
    )
    assert spans(order) == [("a", 1, 1000), ("b", 1001, 2101), ("c", 2102, 2500)]
    assert [b.moved_by for b in order.blocks] == [0, 101, 101]
    assert codes(order) == ["run.restart"]


def test_a_counter_set_to_zero_is_a_restart_when_times_say_so() -> None:
    order = order_blocks([block("b", 1, 301, 400, began=50.0), block("a", 1, 1, 300, began=0.0)])
    assert spans(order) == [("a", 1, 300), ("b", 301, 400)]
    assert codes(order) == ["run.restart"]


def test_blocks_without_a_claim_follow_each_other_in_time() -> None:
    order = order_blocks([block("b", None, 101, 150, 9.0), block("a", None, 1, 100, 2.0)])
    assert spans(order) == [("a", 1, 100), ("b", 101, 150)]
    assert codes(order) == ["run.assumed", "run.assumed"]


def test_refuses_what_cannot_be_ordered() -> None:
    assert refusal() == "run.no-blocks"
    assert refusal(block("a", 1, 1, 0)) == "run.empty-block"
    assert refusal(block("a", 0, 1, 5)) == "run.first-cycle"
    assert refusal(block("a", 1, 1, 5), block("b", None, 6, 9)) == "run.order-unclear"
    assert refusal(block("a", 1, 1, 50), block("b", 1, 51, 90)) == "run.contradiction"


@st.composite
def histories(draw: st.DrawFn) -> tuple[list[RunBlock], list[tuple[int, int]]]:
    """True blocks of a run whose counter falls back now and then, in any order, with copies."""
    lengths = draw(st.lists(st.integers(1, 60), min_size=1, max_size=8))
    blocks, truth, true_next, counter = [], [], 1, 1
    for index, length in enumerate(lengths):
        if index:
            counter -= draw(st.integers(0, min(counter - 1, 40)))
        blocks.append(block(f"{index}", counter, true_next, true_next + length - 1, float(index)))
        truth.append((true_next, true_next + length - 1))
        if draw(st.booleans()):
            blocks.append(
                block(f"{index} again", counter, true_next, true_next + length - 1, index + 0.5)
            )
        true_next, counter = true_next + length, counter + length
    return draw(st.permutations(blocks)), truth


@given(histories())
@settings(max_examples=200)
def test_every_cycle_of_a_run_counts_exactly_once(
    history: tuple[list[RunBlock], list[tuple[int, int]]],
) -> None:
    blocks, truth = history
    order = order_blocks(blocks)
    assert [(b.first_cycle, b.last_cycle) for b in order.blocks] == truth


def in_pieces(time: NDArray[np.float64], cuts: list[int]) -> list[int]:
    track, found = RestartTrack(), []
    for piece in np.split(time, sorted(cuts)):
        found += track.feed(piece)
        kept = json.loads(json.dumps(track.state()))
        track = RestartTrack()
        track.go_on(kept)
    assert track.rows == found
    return found


@pytest.mark.parametrize(
    ("time", "rows"),
    [
        ([*range(20), *range(20)], [20]),
        ([*range(20), 18, 19, 20, *range(30)], [23]),  # a clock that wavers goes on
        ([*range(20), np.nan, *range(5), *range(4)], [21]),
        ([*range(100, 120), np.nan, np.nan, *range(60), 30, 0], [22, 82, 83]),
        ([np.nan, 5.0, 5.0, 5.0, 4.0], [4]),
        ([], []),
    ],
)
def test_finds_the_rows_at_which_a_record_starts_again(time: list[float], rows: list[int]) -> None:
    assert in_pieces(np.array(time, dtype=np.float64), []) == rows


@given(
    st.lists(st.sampled_from([0.0, 1.0, 1.0, 1.0, -3.0, -40.0, np.nan]), max_size=80),
    st.lists(st.integers(0, 80), max_size=5),
)
def test_where_it_starts_again_does_not_depend_on_pieces(steps: list[float], cuts: list[int]):
    time = np.cumsum([0.0, *np.nan_to_num(steps)])
    time[1:][np.isnan(steps)] = np.nan
    assert in_pieces(time, cuts) == in_pieces(time, [])


def test_a_run_that_begins_late_needs_no_room_for_what_came_before() -> None:
    far = 10**12
    order = order_blocks([block("a", far, 1, 10), block("b", far + 10**9, 11, 20)])
    assert spans(order) == [("a", far, far + 9), ("b", far + 10**9, far + 10**9 + 9)]
    assert codes(order) == ["run.gap"]
