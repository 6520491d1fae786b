"""One pass over the sources: every new export kept, read, and brought together with what is held."""

import datetime as dt
from collections.abc import Callable, Collection, Iterable
from dataclasses import replace
from functools import partial
from typing import Any, Final

import pyarrow as pa

from config.folder import SiteFolder
from config.site import Source
from service.instants import stamp_of
from service.intake.accounts import FileReading
from service.intake.arrivals import Arrival, Arrivals, Content
from service.intake.carriers import Carriers
from service.intake.clocks import clock_trouble
from service.intake.known import KnownExports
from service.intake.later_word import LaterWord
from service.intake.mapping import PointMap, map_points, shaping_digest
from service.intake.merge import Merge, Outcome
from service.intake.reading import read_export
from service.intake.report import FileReport, PassReport
from service.intake.stuck import stuck_points
from service.intake.text import UnreadableFileError
from service.intake.zones import Clock
from service.store import Store, faults
from service.store.catalogue import Export, ReadExport
from service.store.passes import Generation, PassRows
from service.store.readings import from_microseconds, microseconds
from service.store.source_stretches import note_sources, source_states

_CLOCK_SLACK: Final = dt.timedelta(hours=1)
PASS_VALUES: Final = 6_500_000  # values in one Delta commit: some 50 MB


def pull(
    site: SiteFolder,
    store: Store,
    *,
    again: bool = False,
    only: Collection[str] | None = None,
    clock: Callable[[], dt.datetime],
    progress: Callable[[str], None] = lambda _file: None,
) -> PassReport:
    """Bring the readings up to date with the sources, or with those named `only`, once.

    Where a setting that shapes how exports read has changed, or `again` asks for it, every export kept is
    read anew into a new generation of the readings, which takes the old one's place when it is whole.
    """
    with store.pulling():
        store.remove_retired()
        points = map_points(site)
        settings = SourceSettings(site)
        current = store.catalogue.current()
        report = PassReport()
        now = clock()
        if current is not None and not again and not _is_stale(store, current, points, settings):
            _Pass(site, store, current, now, report, points, settings, progress, only).run()
            _note_sources(store, now, report)
            return report
        generation = store.catalogue.begin(points.digest, now, is_current=current is None)
        _Pass(site, store, generation, now, report, points, settings, progress, only).run()
        _note_sources(store, now, report)
        if current is not None:
            report.is_rebuilt = True
            store.reached(faults.GENERATION_BUILT)
            store.catalogue.adopt(generation)
        return report


def _note_sources(store: Store, now: dt.datetime, report: PassReport) -> None:
    """Enter how each source answered, and report since when."""
    with store.writer() as connection:
        note_sources(connection, now, report.sources)
        states = source_states(connection)
    report.source_states += [states[source] for source in report.sources]


def _is_stale(store: Store, current: Generation, points: PointMap, settings: "SourceSettings") -> bool:
    """Tell whether any setting that shaped the readings is no longer what it was."""
    return current.settings_digest != points.digest or any(
        one.source_digest != shaping_digest(settings.of(one.export))
        for one in store.catalogue.read_in(current)
    )


class SourceSettings:
    """How each export is to be read: as its source says today, or last said."""

    def __init__(self, site: SiteFolder) -> None:
        """Know the sources of a site."""
        self._sources = {source.name: source for source in site.site.sources}

    def of(self, export: Export) -> Source:
        """Return the source to read an export by."""
        found = self._sources.get(export.source)
        return found or Source(name=export.source, **export.source_settings)


class _Pass:
    """Reads arrivals into one generation, a Delta commit for each 50 MB."""

    def __init__(
        self,
        site: SiteFolder,
        store: Store,
        generation: Generation,
        now: dt.datetime,
        report: PassReport,
        points: PointMap,
        settings: SourceSettings,
        progress: Callable[[str], None],
        only: Collection[str] | None,
    ) -> None:
        self._store = store
        self._generation = generation
        self._now = now
        self._report = report
        self._points = points
        self._settings = settings
        self._progress = progress
        self._zone = site.site.zone
        names = {source.name for source in site.site.sources}
        self._known = KnownExports(store.catalogue, generation, names)
        self._arrivals = Arrivals(site, store, now, report, self._known, only)
        self._begin_commit()

    def run(self) -> None:
        """Read what is new, then what was kept and never read."""
        self._take(self._arrivals.new())
        self._commit()
        self._take(self._arrivals.left())
        self._commit()

    def _take(self, arrivals: Iterable[Arrival]) -> None:
        for arrival in arrivals:
            self._progress(arrival.file)
            self._take_one(arrival)
            if self._merge.waiting >= PASS_VALUES:
                self._commit()

    def _begin_commit(self) -> None:
        table = self._store.table(self._generation.folder)
        self._carriers = Carriers(partial(self._store.catalogue.carriers, self._generation))
        later_word = LaterWord(self._known, self._carriers, self._reading)
        self._merge = Merge(table, self._points, later_word.is_there)
        self._intake: list[dict[str, Any]] = []
        self._refusals: list[dict[str, Any]] = []
        self._seen: list[dict[str, Any]] = []

    def _commit(self) -> None:
        if not self._intake:
            return
        rows = PassRows(
            self._merge.take_rows(),
            self._intake,
            self._refusals,
            self._merge.touched(Clock(self._zone)),
            self._seen,
        )
        self._report.pass_ids.append(self._store.passes.write(self._generation, self._now, rows))
        self._begin_commit()

    def _take_one(self, arrival: Arrival) -> None:
        if arrival.export is None:
            self._enter(arrival, FileReading(arrival.problem), Outcome(), "", 0)
            return
        export, source = arrival.export, self._settings.of(arrival.export)
        reading = self._reading(export, arrival.content)
        self._look_ahead(reading)
        self._look_at_clock(reading, export)
        digest = shaping_digest(source)
        one = ReadExport(export, reading.is_named_by_file, digest, reading.first_us, reading.newest_us, 0)
        for sentence in stuck_points(reading.series, self._points, self._merge.held):
            _tell(reading, sentence)
        rank = self._known.rank(one)
        outcome = self._merge.add(reading, rank)
        self._enter(arrival, reading, outcome, digest, rank.modified_us)
        self._known.note_read(replace(one, ranked_us=rank.modified_us))
        if one.first_us is not None and one.newest_us is not None:
            self._carriers.note(export.id, reading.series, one.first_us, one.newest_us)
        self._refusals += _refusal_rows(export, reading)
        self._seen += _seen_rows(export, reading)

    def _reading(self, export: Export, content: Content | None = None) -> FileReading:
        """Read an export; one that cannot be read is empty and says why."""

        def whole() -> bytes:
            return self._store.kept.read(export.sha256) if content is None else content.take()

        try:
            return read_export(whole(), export.file, self._settings.of(export), self._zone, self._points)
        except UnreadableFileError as error:
            return FileReading(f"cannot be read: {error}")
        except (OSError, ValueError, LookupError, ArithmeticError, pa.ArrowException) as error:
            return FileReading(f"cannot be read: {type(error).__name__}: {error}")

    def _look_ahead(self, reading: FileReading) -> None:
        """Say where an export speaks of a time that is still to come; its values are kept as they are."""
        if reading.newest_us is None or reading.newest_us <= microseconds(self._now + _CLOCK_SLACK):
            return
        newest = stamp_of(from_microseconds(reading.newest_us))
        _tell(
            reading,
            f"times up to {newest:%Y-%m-%d %H:%M} UTC are still to come: its clock or its zone is wrong",
        )

    def _look_at_clock(self, reading: FileReading, export: Export) -> None:
        """Say where an export shows that its source's clock was set, or runs slow or fast."""
        if reading.newest_us is None:
            return
        earlier = self._known.ends_of(export.source)
        trouble = clock_trouble(earlier, reading.newest_us, export.modified_us)
        if trouble:
            _tell(reading, trouble)

    def _enter(
        self, arrival: Arrival, reading: FileReading, outcome: Outcome, digest: str, ranked_us: int
    ) -> None:
        counts = {
            "rows_read": outcome.stored + outcome.identical + outcome.superseded + reading.refused_count,
            "stored": outcome.stored,
            "identical": outcome.identical,
            "superseded": outcome.superseded,
            "refused": reading.refused_count,
            "missing": reading.missing,
            "unmapped": reading.unmapped + outcome.unmapped,
            "cells": reading.cells,
        }
        row: dict[str, Any] = {
            "file": arrival.file,
            "source": arrival.source,
            "pulled_at": self._now,
            **counts,
            "decided": reading.decided,
        }
        self._report.files.append(FileReport(**row))
        self._report.notes += [f"{arrival.file}: {note}" for note in reading.notes]
        self._intake.append(
            {
                **row,
                "export_id": None if arrival.export is None else arrival.export.id,
                "is_named_by_file": reading.is_named_by_file,
                "source_digest": digest,
                "ranked_us": ranked_us,
                "first_us": reading.first_us,
                "newest_us": reading.newest_us,
            }
        )


def _tell(reading: FileReading, note: str) -> None:
    reading.notes.append(note)
    reading.decided = f"{reading.decided}; {note}"


def _refusal_rows(export: Export, reading: FileReading) -> list[dict[str, Any]]:
    return [
        {
            "export_id": export.id,
            "row": refused.row,
            "column": refused.column,
            "value": refused.value,
            "reason": refused.reason,
            "cells": refused.cells,
        }
        for refused in reading.refused
    ]


def _seen_rows(export: Export, reading: FileReading) -> list[dict[str, Any]]:
    """Return a row a point name; where several tables of an export carry it, of the first of them."""
    return [
        {
            "export_id": export.id,
            "name": name,
            "first_us": seen.first_us,
            "last_us": seen.last_us,
            "cells": seen.cells,
            "example": seen.look.example,
            "low": seen.look.low,
            "high": seen.look.high,
        }
        for name, seen in {seen.name: seen for seen in reversed(reading.seen)}.items()
    ]
