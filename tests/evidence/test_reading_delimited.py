"""What loggers really write is read, and whatever is not clean is said with its lines."""

from __future__ import annotations

import numpy as np
import pytest

from labmatrix.evidence.reading.column import Column
from labmatrix.evidence.reading.delimited import DelimitedReading, read_delimited
from labmatrix.evidence.reading.dialect import sniff
from labmatrix.evidence.reading.table import RawTable
from labmatrix.kernel.errors import ShapeError
from tests.evidence.reading_samples import QUAYSIDE, codes, lines_of, read, stream

HEAD = "Time;Load;Defl\ns;kN;mm\n"
CLEAN = "".join(f"{i / 10:.1f};{i * 1.5:.2f};{i * 0.25:.3f}\n" for i in range(1, 101))


def refusal(text: str | bytes) -> ShapeError:
    with pytest.raises(ShapeError) as caught:
        read(text)
    return caught.value


def test_reads_a_clean_file_without_a_warning() -> None:
    table = read(QUAYSIDE)
    assert table.columns == (Column("Time", "s"), Column("Load", "kN"), Column("Deflection", "mm"))
    assert table.array("Load").tolist() == [0.02, 1.5, 3.0]
    assert table.array("Deflection").tolist() == [0.0, 0.125, -0.25]
    assert table.lines.tolist() == [5, 6, 7]
    assert table.warnings == ()


def test_finds_a_column_without_its_unit_or_white_space() -> None:
    table = read("Load [kN] ;Defl / mm\n1;2\n")
    assert table.array("Load").tolist() == [1.0]
    assert table.array("Load [kN]").tolist() == [1.0]
    assert table.array("Defl").tolist() == [2.0]
    with pytest.raises(KeyError):
        table.array("Slip")


def test_tells_progress_up_to_one() -> None:
    told: list[float] = []
    read_delimited(stream(HEAD + CLEAN), progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_reads_from_a_stream_that_cannot_seek() -> None:
    class Pipe:
        def __init__(self, data: bytes) -> None:
            self._rest = data

        def seekable(self) -> bool:
            return False

        def read(self, size: int) -> bytes:
            size = min(size, 1000)
            piece, self._rest = self._rest[:size], self._rest[size:]
            return piece

    table = read_delimited(Pipe((HEAD + CLEAN).encode()))  # type: ignore[arg-type]
    assert table.row_count == 100


def test_leaves_out_rows_of_another_length_and_says_so() -> None:
    table = read(HEAD + CLEAN + "10.1;5\n10.2;1;2;3\n" + "10.3;4;5\n")
    assert table.row_count == 101
    assert lines_of(table, "row-length") == (103, 104)
    assert table.lines[-1] == 105


def test_leaves_out_a_cut_last_line() -> None:
    table = read(HEAD + CLEAN + "10.1;5")
    assert (table.row_count, lines_of(table, "cut-last-line")) == (100, (103,))


def test_leaves_out_a_last_number_that_was_cut_in_its_decimals() -> None:
    table = read(HEAD + CLEAN + "10.1;151.50;25.2")
    assert (table.row_count, lines_of(table, "cut-last-line")) == (100, (103,))


def test_keeps_a_whole_last_line_without_a_line_end() -> None:
    table = read(HEAD + CLEAN.removesuffix("\n"))
    assert (table.row_count, table.warnings) == (100, ())


def test_passes_over_a_repeated_header() -> None:
    table = read(HEAD + CLEAN + HEAD + "10.1;1;2\n")
    assert (table.row_count, lines_of(table, "header-repeated")) == (101, (103, 104))


def test_refuses_a_header_that_changes_the_columns() -> None:
    error = refusal(HEAD + CLEAN + "Time;Defl;Load\n10.1;1;2\n")
    assert (error.code, error.facts["line"]) == ("record.header-changed", 103)


def test_says_backward_and_repeated_time_and_gaps() -> None:
    table = read(HEAD + CLEAN + "10.0;1;2\n9.5;1;2\n9.6;1;2\n20.0;1;2\n")
    assert lines_of(table, "time-duplicate") == (103,)
    assert lines_of(table, "time-backward") == (104,)
    assert lines_of(table, "time-gap") == (106,)
    assert table.row_count == 104


@pytest.mark.parametrize("word", ["", "NaN", "nan", "#N/A", "-", "NULL"])
def test_missing_values_become_nan_and_are_said(word: str) -> None:
    table = read(HEAD + CLEAN + f"10.1;{word};2\n")
    assert np.isnan(table.array("Load")[-1])
    assert lines_of(table, "missing-value") == (103,)


@pytest.mark.parametrize("word", ["OVER", "OVL", "----", "+OVER", "9.91E37", "-9.9e+37", "inf"])
def test_over_range_words_become_nan_and_are_said(word: str) -> None:
    table = read(HEAD + CLEAN + f"10.1;{word};2\n")
    assert np.isnan(table.array("Load")[-1])
    assert lines_of(table, "over-range") == (103,)
    assert table.array("Defl")[-1] == 2.0


def test_a_long_drop_out_is_one_warning_with_its_count() -> None:
    table = read(HEAD + CLEAN + "".join(f"{10 + i / 10:.1f};OVER;2\n" for i in range(1, 60)))
    (warning,) = table.warnings
    assert (warning.lines, warning.count) == ((103, 104, 105, 106, 107), 59)
    assert "103, 104, 105, 106, 107 and 54 more" in warning.message


def test_text_in_a_number_cell_is_missing_and_said() -> None:
    table = read(HEAD + CLEAN + "10.1;crack seen;2\n")
    assert np.isnan(table.array("Load")[-1])
    assert lines_of(table, "text-cell") == (103,)


def test_a_marker_line_and_a_blank_line_are_said() -> None:
    table = read(HEAD + CLEAN + "\nend of test\n")
    assert lines_of(table, "blank-line") == (103,)
    assert lines_of(table, "text-line") == (104,)


def test_a_column_of_text_is_kept_as_missing_and_said() -> None:
    table = read("Time;Load;Hold\n" + "".join(f"{i};{i}.5;no\n" for i in range(9)))
    assert np.isnan(table.array("Hold")).all()
    assert codes(table) == {"text-column"}


def test_an_empty_column_is_said_once() -> None:
    table = read("Time;Load;Spare\n" + "".join(f"{i};{i}.5;\n" for i in range(9)))
    assert codes(table) <= {"empty-column", "ends-with-delimiter"}
    assert np.isnan(table.array("Spare")).all()


def test_rows_that_end_with_a_delimiter_have_no_column_behind_it() -> None:
    table = read("Time;Load;\n0;1.5;\n1;2.5;\n")
    assert [column.name for column in table.columns] == ["Time", "Load"]
    assert codes(table) == {"ends-with-delimiter"}


def test_refuses_a_file_that_loses_more_than_one_row_in_twenty() -> None:
    error = refusal(HEAD + CLEAN + "1;2\n" * 6)
    assert error.code == "record.too-many-bad-rows"
    assert (error.facts["bad"], error.facts["rows"]) == (6, 106)
    assert "5.7 %" in error.message


def test_keeps_a_file_that_loses_one_row_in_twenty() -> None:
    assert read(HEAD + CLEAN + "1;2\n" * 5).row_count == 100


def test_refuses_nul_bytes_deep_in_the_file() -> None:
    data = (HEAD + CLEAN * 300).encode() + b"1;2;\x00\n"
    error = refusal(data)
    assert (error.code, error.facts["line"]) == ("record.nul-bytes", 2 + 100 * 300 + 1)


def test_says_characters_of_another_encoding_deep_in_the_file() -> None:
    data = (HEAD + CLEAN * 300).encode() + "1;2;3\n1;2;40 µm\n".encode("cp1252")
    table = read(data)
    assert lines_of(table, "encoding-changed") == (2 + 100 * 300 + 2,)


def test_reads_clocks_over_midnight() -> None:
    table = read("Clock;Load;d\n23:59:59.25;1.5;2\n00:00:00,75;2.5;2\n00:00:01;3;2\n")
    assert table.array("Clock").tolist() == [86399.25, 86400.75, 86401.0]
    assert table.columns[0] == Column("Clock", "s")
    assert table.clocks == ("Clock",)
    assert lines_of(table, "midnight") == (3,)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("2026-03-31 23:59:59.5", "2026-04-01 00:00:00.5"),
        ("2026-03-31T23:59:59.5Z", "2026-04-01T00:00:00.5Z"),
        ("2026-03-31T23:59:59.5+02:00", "2026-03-31T22:00:00.5+00:00"),
        ("31.03.2026 23:59:59,5", "01.04.2026 00:00:00,5"),
        ("31/03/2026 11:59:59.5 PM", "01/04/2026 12:00:00.5 AM"),
        ("3/31/2026 23:59:59.5", "4/1/2026 0:00:00.5"),
    ],
)
def test_reads_dated_time_as_seconds_of_the_first_day(first: str, second: str) -> None:
    table = read(f"Stamp;Load;d\n{first};1,5;2\n{second};2,5;2\n")
    assert np.diff(table.array("Stamp")).tolist() == [1.0]
    assert table.origins == {"Stamp": "2026-03-31"}


@pytest.mark.parametrize(
    ("before", "after"), [("03/04/2026", "04/04/2026"), ("03/04/2026", "03/05/2026")]
)
@pytest.mark.parametrize("rows", [1, 3, 12_000])
def test_days_that_follow_prove_the_order_of_day_and_month(
    before: str, after: str, rows: int
) -> None:
    text = "Stamp;Load\n" + f"{before} 23:59:59;1\n" * rows + f"{after} 00:00:01;2\n" * rows
    table = read(text)
    assert table.array("Stamp")[-1] == 86401.0
    assert "text-cell" not in codes(table)


@pytest.mark.parametrize("rows", [1, 12_000])
def test_refuses_dates_that_follow_in_neither_order(rows: int) -> None:
    text = "Stamp;Load\n" + "03/04/2026 10:00:00;1\n" * rows + "05/06/2026 10:00:01;2\n" * rows
    assert refusal(text).code == "record.date-ambiguous"


def test_refuses_numbers_in_a_single_column_beside_text() -> None:
    assert refusal("Load;Hold\n1.5;no\n2.5;yes\n").code == "record.single-column"


def test_a_date_column_beside_a_clock_column() -> None:
    table = read("Date;Time;Load\n2026-03-31;10:00:00;1\n2026-03-31;10:00:01;2\n")
    assert table.array("Date").tolist() == [0.0, 0.0]
    assert table.array("Time").tolist() == [36000.0, 36001.0]


def test_quoted_cells_with_decimal_commas_between_commas() -> None:
    table = read('a,b\n"1,5","2,25"\n"2,5","3,25"\n')
    assert table.array("b").tolist() == [2.25, 3.25]


def test_negative_zero_is_zero() -> None:
    assert not np.signbit(read("a;b\n-0.0;-0.00\n").array("a")).any()


def test_a_saved_dialect_reads_the_next_file_of_the_rig() -> None:
    dialect = sniff(stream(QUAYSIDE))
    again = read_delimited(stream(QUAYSIDE + "0,3;1,234;5\n"), dialect)
    assert again.array("Load")[-1] == 1.234


def test_a_saved_dialect_refuses_a_file_with_other_columns() -> None:
    dialect = sniff(stream(QUAYSIDE))
    with pytest.raises(ShapeError) as caught:
        read_delimited(stream(QUAYSIDE.replace("Load;Defl", "Defl;Load")), dialect)
    assert caught.value.code == "record.other-columns"


def test_block_borders_change_nothing() -> None:
    text = HEAD + CLEAN + "23.5;OVER;1\n" + CLEAN
    whole = read(text)
    for size in (7, 64, 1000):
        reading = DelimitedReading(stream(text), block_bytes=size)
        reading_table: RawTable = reading.table(list(reading.pieces()))
        for column in whole.columns:
            np.testing.assert_array_equal(
                whole.values[column.name], reading_table.values[column.name]
            )
        np.testing.assert_array_equal(whole.lines, reading_table.lines)
        assert whole.warnings == reading_table.warnings


@pytest.mark.parametrize("line", ["Max;151.50;25.000", "Sample rate;50;Hz", "0.5;halted;rig 2"])
def test_a_number_in_a_remark_is_no_sample(line: str) -> None:
    table = read(HEAD + CLEAN + line + "\n")
    assert (table.row_count, lines_of(table, "text-line")) == (100, (103,))


def test_blocks_with_their_whole_head_repeated_are_read_as_one_table() -> None:
    head = "Rig 2\nSample rate;50;Hz\n" + HEAD
    table = read((head + CLEAN + "\n") * 3)
    assert table.row_count == 300
    assert lines_of(table, "header-repeated") == (108, 109, 213, 214)
    assert lines_of(table, "text-line") == (106, 107, 211, 212)
    assert lines_of(table, "time-backward") == (110, 215)


def test_a_date_beside_a_clock_need_not_advance() -> None:
    text = "Date;Time;Load\n" + "".join(f"31.03.2026;10:00:0{i};{i},5\n" for i in range(5))
    assert read(text).warnings == ()


def test_refuses_columns_that_only_blanks_part() -> None:
    assert refusal("t P w\n0.0 1.5 2\n1.0 2.5 3\n").code == "record.blanks-between"
