"""The generations of the readings and the exports that each of them has read."""

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from service.store.database import Database
from service.store.passes import Generation
from service.store.tables import exports, generations, intake, passes, points_seen, touched_days


@dataclass(frozen=True, slots=True)
class Export:
    """A kept export: its bytes' digest, and what its source said about it."""

    id: int
    sha256: str
    source: str
    point_name: str
    file: str
    size: int
    modified_us: int
    source_settings: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class ReadExport:
    """An export that a generation has read, with the span it found there."""

    export: Export
    is_named_by_file: bool
    source_digest: str
    first_us: int | None
    newest_us: int | None
    ranked_us: int


class Catalogue:
    """What was kept and what was read, as SQL knows it."""

    def __init__(self, database: Database) -> None:
        """Look things up in a database."""
        self._database = database

    def current(self) -> Generation | None:
        """Return the generation that is read from, None before the first pull."""
        with self._database.reader() as connection:
            row = connection.execute(_generation().where(generations.c.state == "current")).first()
        return None if row is None else Generation(*row)

    def begin(self, settings_digest: str, begun: dt.datetime, *, is_current: bool) -> Generation:
        """Begin a generation; a building one is unseen until `adopt`."""
        folder = f"generation-{uuid.uuid4().hex[:12]}"  # never a folder that an older database knew
        with self._database.writer() as connection:
            given = connection.execute(
                sa.insert(generations).values(
                    folder=folder,
                    settings_digest=settings_digest,
                    state="current" if is_current else "building",
                    begun=begun,
                )
            ).inserted_primary_key
        assert given is not None
        return Generation(int(given[0]), folder, settings_digest)

    def adopt(self, generation: Generation) -> None:
        """Make a whole building generation the current one, and touch the days only the old one had."""
        with self._database.writer() as connection:
            old = connection.execute(
                sa.select(generations.c.id).where(generations.c.state == "current")
            ).scalar()
            if old is not None:
                _touch_what_is_gone(connection, old, generation.id)
                connection.execute(
                    sa.update(generations).where(generations.c.id == old).values(state="retired")
                )
            connection.execute(
                sa.update(generations).where(generations.c.id == generation.id).values(state="current")
            )

    def in_state(self, state: str) -> tuple[Generation, ...]:
        """Return the generations in a state."""
        with self._database.reader() as connection:
            return tuple(
                Generation(*row)
                for row in connection.execute(_generation().where(generations.c.state == state))
            )

    def forget(self, generation: Generation) -> None:
        """Drop a generation that was never finished, with the ledger rows of its passes."""
        with self._database.writer() as connection:
            connection.execute(sa.delete(generations).where(generations.c.id == generation.id))

    def exports(self) -> tuple[Export, ...]:
        """Return every export kept, in the order they were kept."""
        with self._database.reader() as connection:
            return tuple(_export(row) for row in connection.execute(_exports().order_by(exports.c.id)))

    def add_exports(self, rows: Sequence[Mapping[str, Any]]) -> tuple[Export, ...]:
        """Note exports that were put on the disk."""
        if not rows:
            return ()
        insert = sa.insert(exports).returning(*_EXPORT_COLUMNS, sort_by_parameter_order=True)
        with self._database.writer() as connection:
            return tuple(_export(row) for row in connection.execute(insert, rows))

    def update_exports(self, changed: Sequence[Export]) -> None:
        """Note what is new about kept exports: a later time their source gave, or its new name."""
        if not changed:
            return
        update = (
            sa.update(exports)
            .where(exports.c.id == sa.bindparam("of"))
            .values(source=sa.bindparam("named"), modified_us=sa.bindparam("given_us"))
        )
        rows = [{"of": one.id, "named": one.source, "given_us": one.modified_us} for one in changed]
        with self._database.writer() as connection:
            connection.execute(update, rows)

    def note_ranks(self, generation: Generation, ranked_us: Mapping[int, int]) -> None:
        """Note that exports, by id, stand at later times of their files, which nothing has to be read for."""
        if not ranked_us:
            return
        of_generation = sa.select(passes.c.id).where(passes.c.generation_id == generation.id)
        update = (
            sa.update(intake)
            .where(intake.c.export_id == sa.bindparam("of"), intake.c.pass_id.in_(of_generation))
            .values(ranked_us=sa.bindparam("given_us"))
        )
        rows = [{"of": export_id, "given_us": given_us} for export_id, given_us in ranked_us.items()]
        with self._database.writer() as connection:
            connection.execute(update, rows)

    def carriers(self, generation: Generation, start_us: int, end_us: int) -> list[tuple[str, int]]:
        """Return points, each with an export that names it and may speak of times in [start, end).

        Of exports that passes which are done have read; an export's whole span counts, whatever the point's
        own is. Parameters: the times [us since 1970].
        """
        query = (
            sa.select(points_seen.c.name, points_seen.c.export_id)
            .join(
                intake,
                sa.and_(
                    intake.c.pass_id == points_seen.c.pass_id, intake.c.export_id == points_seen.c.export_id
                ),
            )
            .join(passes, passes.c.id == intake.c.pass_id)
            .where(
                passes.c.generation_id == generation.id,
                passes.c.state == "done",
                intake.c.first_us < end_us,
                intake.c.newest_us >= start_us,
            )
        )
        with self._database.reader() as connection:
            return [(str(row.name), int(row.export_id)) for row in connection.execute(query)]

    def read_in(self, generation: Generation) -> tuple[ReadExport, ...]:
        """Return what a generation has read, in passes that are done."""
        query = (
            sa.select(
                *_EXPORT_COLUMNS,
                intake.c.is_named_by_file,
                intake.c.source_digest,
                intake.c.first_us,
                intake.c.newest_us,
                intake.c.ranked_us,
            )
            .select_from(intake.join(exports).join(passes))
            .where(passes.c.generation_id == generation.id, passes.c.state == "done")
            .order_by(intake.c.id)
        )
        with self._database.reader() as connection:
            return tuple(
                ReadExport(_export(row), *row[len(_EXPORT_COLUMNS) :]) for row in connection.execute(query)
            )

    def newest_of_exports(self) -> dict[int, int]:
        """Return the newest record of each export as it was last read, for those that ever were."""
        query = (
            sa.select(intake.c.export_id, intake.c.newest_us)
            .join(passes)
            .where(passes.c.state == "done", intake.c.newest_us.is_not(None))
            .order_by(intake.c.id)
        )
        with self._database.reader() as connection:
            return {int(row.export_id): int(row.newest_us) for row in connection.execute(query)}


_EXPORT_COLUMNS = (
    exports.c.id,
    exports.c.sha256,
    exports.c.source,
    exports.c.point_name,
    exports.c.file,
    exports.c.size,
    exports.c.modified_us,
    exports.c.source_settings,
)


def _generation() -> sa.Select[Any]:
    return sa.select(generations.c.id, generations.c.folder, generations.c.settings_digest)


def _exports() -> sa.Select[Any]:
    return sa.select(*_EXPORT_COLUMNS)


def _export(row: Any) -> Export:
    return Export(*row[: len(_EXPORT_COLUMNS)])


def _touch_what_is_gone(connection: sa.Connection, old: int, new: int) -> None:
    """Enter the days that the old generation had and the new one has not under the new one's last pass."""
    last_pass = connection.execute(
        sa.select(sa.func.max(passes.c.id)).where(passes.c.generation_id == new)
    ).scalar()
    if last_pass is None:
        return
    days_of = [
        sa.select(touched_days.c.fan, touched_days.c.date)
        .join(passes)
        .where(passes.c.generation_id == generation)
        .distinct()
        for generation in (old, new)
    ]
    for fan, date in connection.execute(sa.except_(*days_of)).all():
        connection.execute(sa.insert(touched_days).values(pass_id=last_pass, fan=fan, date=date))
