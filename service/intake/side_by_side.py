"""Where each point of an export has a column of times of its own: tables put side by side."""

import csv
import io
from collections.abc import Sequence

from service.intake.head import Head, is_like_time
from service.intake.layouts import Layout
from service.intake.text import PlainText, split_line

_LOOKED_AT = 50


def groups_of(head: Head, layout: Layout) -> list[list[int]]:
    """Return the columns of each table, a time and what belongs to it; none where there is one table.

    Two times before one value are no tables: an interval's start and end, a local time and UTC.
    """
    if layout.kind != "wide" or layout.time_of_day is not None:
        return []
    times = sorted([layout.time, *(column for column in layout.values if _holds_times(head.rows, column))])
    if times[0] != 0:
        return []
    groups = [
        list(range(start, end)) for start, end in zip(times, [*times[1:], len(head.header)], strict=True)
    ]
    return groups if len(groups) > 1 and all(len(group) > 1 for group in groups) else []


def further_times(head: Head, layout: Layout) -> list[str]:
    """Return the names of the other columns of times, which are not the ones read."""
    return [head.header[column] for column in layout.values if _holds_times(head.rows, column)]


def tables_of(text: PlainText, head: Head, groups: Sequence[Sequence[int]]) -> list[tuple[int, PlainText]]:
    """Return each group's columns as a table, with the count of lines above its header."""
    lines = text.content[head.start :].decode("utf-8").split("\n")
    rows = [split_line(line.rstrip("\r"), head.delimiter) for line in lines]
    below = text.content.count(b"\n", head.start, head.end)
    # What is left out below the rows is left out of each table, but for words that are in none.
    rows[below:] = [row if len(row) > 1 else [] for row in rows[below:]]
    titles = [
        f"{name} [{unit}]" if unit else name for name, unit in zip(head.header, head.units, strict=True)
    ]
    above = max(head.first_line - 2, 0)
    return [(above, _table(titles, rows, group, head.delimiter)) for group in groups]


def _table(
    titles: Sequence[str], rows: Sequence[Sequence[str]], group: Sequence[int], delimiter: str
) -> PlainText:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\n")
    writer.writerow([titles[column] for column in group])
    for row in rows:
        cells = [row[column] if column < len(row) else "" for column in group]
        if any(cell.strip() for cell in cells):
            writer.writerow(cells)
        else:
            out.write("\n")  # keeps the numbers of the lines right
    content = out.getvalue().rstrip("\n") + "\n"
    return PlainText(content.encode(), "UTF-8", is_last_line_ended=True)


def _holds_times(rows: Sequence[Sequence[str]], column: int) -> bool:
    cells = [row[column] for row in rows[:_LOOKED_AT] if column < len(row) and row[column].strip()]
    return bool(cells) and is_like_time(cells[0]) and sum(map(is_like_time, cells)) > len(cells) / 2
