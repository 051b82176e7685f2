"""Every load cycle of a record has one number: files, restarts, copies and gaps are resolved."""

from __future__ import annotations

import numpy as np
import pytest

from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.run_numbering import FileCycles, Numbering, number_cycles

PEAKS = 40 + np.random.default_rng(5).normal(0, 0.1, 5000)


def file(name: str, *spans: tuple[int, int], counted: list[int] | None = None,
         began: float | None = None) -> FileCycles:  # fmt: skip
    """A file of true cycles, one part for each span; its counter begins each part as given."""
    peaks = [PEAKS[a - 1 : b] for a, b in spans]
    parts = [np.full(len(p), k) for k, p in enumerate(peaks)]
    counts = None
    if counted is not None:
        counts = np.concatenate(
            [c + np.arange(len(p), dtype=float) for c, p in zip(counted, peaks, strict=True)]
        )
    return FileCycles(name, np.concatenate(peaks), np.concatenate(parts), counts, began)


def spans(found: Numbering) -> list[tuple[str, int, int]]:
    return [(b["name"], b["first_cycle"], b["last_cycle"]) for b in found.blocks]


def codes(found: Numbering) -> list[str]:
    return [note.code for note in found.notes]


def test_a_plain_record_counts_on_from_its_offset_without_a_remark():
    found = number_cycles([file("a.csv", (1, 100))], 5000)
    assert spans(found) == [("a.csv", 5001, 5100)]
    assert (found.notes, found.numbers[0].tolist()) == ((), list(range(5001, 5101)))


@pytest.mark.parametrize(("starts", "numbered"), [(0, 1), (1, 1), (5000, 5000)])
def test_a_counter_says_which_cycle_a_record_begins_with(starts: int, numbered: int):
    found = number_cycles([file("a.csv", (1, 100), counted=[starts])], 0)
    assert spans(found) == [("a.csv", numbered, numbered + 99)]


def test_a_cycle_offset_is_above_the_counter_and_the_difference_is_said():
    found = number_cycles([file("a.csv", (1, 100), counted=[3])], 700)
    assert spans(found) == [("a.csv", 701, 800)]
    assert codes(found) == ["cyclic.counter"]


def test_two_restarts_without_a_counter_follow_each_other_and_it_is_said():
    found = number_cycles([file("a.csv", (1, 100), (101, 150), (151, 300))], 10)
    assert spans(found) == [
        ("a.csv, part 1", 11, 110), ("a.csv, part 2", 111, 160), ("a.csv, part 3", 161, 310)
    ]  # fmt: skip
    assert codes(found) == ["cyclic.run.assumed"] * 2


def test_a_counter_that_fell_back_moves_what_follows():
    found = number_cycles([file("a.csv", (1, 1000), (1001, 1500), counted=[1, 900])], 0)
    assert [b["moved_by"] for b in found.blocks] == [0, 101]
    assert found.numbers[0].tolist() == list(range(1, 1501))
    assert codes(found) == ["cyclic.run.restart"]


def test_a_counter_set_back_while_time_goes_on_is_a_restart_too():
    one = file("a.csv", (1, 1000), (1001, 1500), counted=[1, 900])
    found = number_cycles([FileCycles("a.csv", one.peaks, np.zeros(1500, int), one.counts)], 0)
    assert spans(found) == [("a.csv, part 1", 1, 1000), ("a.csv, part 2", 1001, 1500)]


def test_triggered_blocks_in_one_file_are_numbered_by_the_counter():
    found = number_cycles([file("a.csv", (1, 10), (100, 109), (1000, 1009),
                                counted=[0, 99, 999])], 0)  # fmt: skip
    assert [b["first_cycle"] for b in found.blocks] == [1, 100, 1000]
    assert codes(found) == ["cyclic.run.gap"] * 2


def test_a_stretch_saved_twice_counts_once():
    found = number_cycles([file("a.csv", (1, 100), (61, 160), counted=[1, 61])], 0)
    assert found.numbers[0].tolist() == [*range(1, 101), *([0] * 40), *range(101, 161)]
    assert codes(found) == ["cyclic.run.copy"]


def test_single_wrong_readings_of_the_counter_change_nothing():
    one = file("a.csv", (1, 300), counted=[1])
    assert one.counts is not None
    one.counts[[20, 140, 299]] = 0.0
    one.counts[[30, 31, 32]] = np.nan
    found = number_cycles([one], 0)
    assert (spans(found), found.notes) == ([("a.csv", 1, 300)], ())


def test_a_counter_of_something_else_is_not_used():
    one = file("a.csv", (1, 300), counted=[1])
    halves = FileCycles("a.csv", one.peaks, one.parts, 2.0 * np.arange(300.0))
    found = number_cycles([halves], 0)
    assert (spans(found), codes(found)) == ([("a.csv", 1, 300)], ["cyclic.counter-ignored"])


def test_files_go_by_date_and_else_by_counter():
    a, b = file("a.csv", (1, 100)), file("b.csv", (101, 150))
    dated = [FileCycles(f.name, f.peaks, f.parts, None, t) for f, t in ((b, 900.0), (a, 5.0))]
    found = number_cycles(dated, 7)
    assert spans(found) == [("a.csv", 8, 107), ("b.csv", 108, 157)]
    assert [numbers[0] for numbers in found.numbers] == [108, 8]
    counted = [file("b.csv", (101, 150), counted=[101]), file("a.csv", (1, 100), counted=[1])]
    assert spans(number_cycles(counted, 0)) == [("a.csv", 1, 100), ("b.csv", 101, 150)]


def test_refuses_files_that_nothing_puts_in_order():
    for files, code in (
        ([file("a.csv", (1, 100)), file("b.csv", (101, 150))], "run.order-unclear"),
        ([file("a.csv", (1, 50), counted=[1]), file("b.csv", (51, 90), counted=[1])],
         "run.contradiction"),
    ):  # fmt: skip
        with pytest.raises(ShapeError) as refused:
            number_cycles(files, 0)
        assert refused.value.code == code


def test_a_record_without_a_cycle_has_no_number():
    nothing = FileCycles("a.csv", np.empty(0), np.empty(0, dtype=np.int64))
    found = number_cycles([nothing], 3)
    assert (found.blocks, found.numbers[0].tolist()) == ((), [])


def test_of_many_remarks_of_a_kind_the_first_few_are_told():
    many = [(k, k + 4) for k in range(1, 2000, 100)]
    found = number_cycles([file("a.csv", *many, counted=[a for a, _ in many])], 0)
    assert len(found.notes) == 7
    assert "13 more times" in found.notes[-1].message
