"""What came in: sources, passes, files, refused values, points that no fan uses."""

import datetime as dt
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from config.site import Source
from service.intake.points import unused_points
from service.store.source_stretches import SourceState, source_states
from service.store.tables import generations, intake, passes, refusals
from service.web.desk import Desk

_COUNTS: Final = ("rows_read", "stored", "identical", "superseded", "refused", "missing", "unmapped")
_PASSES: Final = 12
FILES_A_PAGE: Final = 50
MOST_REFUSED: Final = 100
MOST_POINTS: Final = 200


@dataclass(frozen=True, slots=True)
class SourceLine:
    """A source of exports, how it answered last, and what all its files came to."""

    source: Source
    state: SourceState | None
    files: int
    last_at: dt.datetime | None
    counts: dict[str, int]


@dataclass(frozen=True, slots=True)
class DataPage:
    """All of the data page; `refused` and `points` are the first of `refused_in_all` and `points_in_all`."""

    sources: tuple[SourceLine, ...]
    passes: tuple[Any, ...]
    files: tuple[Any, ...]
    files_in_all: int
    sheet: int
    refused: tuple[Any, ...]
    refused_in_all: int
    points: tuple[dict[str, Any], ...]
    points_in_all: int

    @property
    def sheets(self) -> int:
        """How many sheets of files there are."""
        return max(1, -(-self.files_in_all // FILES_A_PAGE))


def data_page(desk: Desk, sheet: int) -> DataPage:
    """Read what came in; `sheet` of the files, the first one the latest."""
    is_current = (passes.c.state == "done") & (generations.c.state == "current")
    read = intake.join(passes).join(generations)
    sums = [sa.func.sum(intake.c[name]).label(name) for name in _COUNTS]
    by_source = sa.select(
        intake.c.source,
        sa.func.count().label("files"),
        sa.func.max(intake.c.pulled_at, type_=intake.c.pulled_at.type).label("last_at"),
        *sums,
    )
    by_pass = (
        sa.select(passes.c.id, passes.c.started, passes.c.finished, sa.func.count().label("files"), *sums)
        .group_by(passes.c.id, passes.c.started, passes.c.finished)
        .order_by(passes.c.id.desc())
    )
    with desk.store.reader() as connection:
        states = source_states(connection)
        told = {
            row.source: row
            for row in connection.execute(
                by_source.select_from(read).where(is_current).group_by(intake.c.source)
            )
        }
        latest = connection.execute(by_pass.select_from(read).where(is_current).limit(_PASSES)).all()
        count = sa.select(sa.func.count()).select_from(read).where(is_current)
        files_in_all = connection.execute(count).scalar() or 0
        found = sa.select(intake).select_from(read).where(is_current).order_by(intake.c.id.desc())
        within = max(0, min(sheet, -(-files_in_all // FILES_A_PAGE) - 1))
        files = connection.execute(found.limit(FILES_A_PAGE).offset(within * FILES_A_PAGE)).all()
        refused, refused_in_all = _refused(connection)
    points = unused_points(desk.site, desk.store)
    return DataPage(
        tuple(_source(one, told.get(one.name), states.get(one.name)) for one in desk.site.site.sources),
        tuple(latest),
        tuple(files),
        int(files_in_all),
        within,
        refused,
        refused_in_all,
        tuple(
            {str(name): value for name, value in row.items()}
            for row in points.head(MOST_POINTS).to_dict("records")
        ),
        len(points),
    )


def _source(source: Source, row: Any, state: SourceState | None) -> SourceLine:
    counts = {name: 0 if row is None else int(getattr(row, name)) for name in _COUNTS}
    return SourceLine(
        source, state, 0 if row is None else row.files, None if row is None else row.last_at, counts
    )


def _refused(connection: sa.Connection) -> tuple[tuple[Any, ...], int]:
    """Return the latest refused values with the name their file was pulled under, and how many there are."""
    read = refusals.join(passes).join(generations)
    is_current = (passes.c.state == "done") & (generations.c.state == "current")
    pulled_as = (intake.c.pass_id == refusals.c.pass_id) & (intake.c.export_id == refusals.c.export_id)
    query = (
        sa.select(
            intake.c.file,
            refusals.c.row,
            refusals.c.column,
            refusals.c.value,
            refusals.c.reason,
            refusals.c.cells,
        )
        .select_from(read.join(intake, pulled_as))
        .where(is_current)
        .order_by(refusals.c.id.desc())
    )
    total = sa.select(sa.func.sum(refusals.c.cells)).select_from(read).where(is_current)
    return tuple(connection.execute(query.limit(MOST_REFUSED)).all()), int(
        connection.execute(total).scalar() or 0
    )
