"""Tables as CSV stand there in the very text that pandas would have written."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.command_line.csv_text import csv_text

_TURNS_OF_NOTATION = [
    0.0,
    -0.0,
    1e-4,
    9.999e-5,
    1e-5,
    999_999_999.5,
    1e9,
    1e10,
    1e15,
    1e16,
    0.1 + 0.2,
    np.nan,
]


def of_pandas(rows: pd.DataFrame) -> str:
    text: str = rows.to_csv(index=False, header=False, lineterminator="\n")
    return text


@given(st.lists(st.floats(), min_size=1, max_size=30))
def test_every_number_has_the_text_it_has_in_pandas(values: list[float]) -> None:
    rows = pd.DataFrame({"fan": "F-1", "pressure_pa": values, "speed_fraction": values[::-1]})
    assert "".join(csv_text(rows)) == of_pandas(rows)


def test_numbers_at_which_a_notation_turns_and_readings_as_they_are_rounded() -> None:
    readings = np.random.default_rng(1).uniform(0.0, 9000.0, 2000).round(2)
    values = np.concatenate([_TURNS_OF_NOTATION, readings, -readings, readings / 4e6, np.floor(readings)])
    rows = pd.DataFrame({"airflow_m3s": values, "running": np.arange(len(values)) % 2})
    assert "".join(csv_text(rows)) == of_pandas(rows)


@pytest.mark.parametrize("fan", ["AHU 3, return", 'the "old" one', "Lüfter;1", "two\nlines"])
def test_a_name_is_quoted_where_a_reader_would_else_part_it(fan: str) -> None:
    rows = pd.DataFrame({"fan": [fan, "F-2"], "running": [1, 0]})
    assert "".join(csv_text(rows)) == of_pandas(rows)


def test_a_table_without_rows_has_no_lines() -> None:
    assert (
        list(csv_text(pd.DataFrame({"fan": pd.Series(dtype="str"), "running": pd.Series(dtype="int")}))) == []
    )


def test_long_tables_come_in_parts_that_follow_each_other() -> None:
    rows = pd.DataFrame({"fan": "F-1", "current_a": np.arange(70_000) / 8.0})
    parts = list(csv_text(rows))
    assert len(parts) == 2
    assert "".join(parts) == of_pandas(rows)
