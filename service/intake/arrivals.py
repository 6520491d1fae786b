"""Which exports a pull has to read: new ones from the sources, and kept ones not read yet."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from config.folder import SiteFolder
from service.intake.mapping import shaping_settings
from service.intake.ranks import Rank
from service.intake.reading import point_of_file
from service.intake.report import PassReport
from service.intake.sources import Offer, OpenSource, SourceDownError, StillWrittenError
from service.store import Store, faults
from service.store.catalogue import Export, ReadExport

_Key = tuple[str, str, str]  # digest, source, name without ending

KEEP_BYTES: Final = 32 << 20  # exports put on the disk before SQL is told of them
KEEP_FILES: Final = 64


@dataclass(frozen=True, slots=True)
class Arrival:
    """An export to be read, with its bytes where they are at hand; or a file that could not be fetched."""

    file: str
    source: str
    export: Export | None
    content: bytes | None = None
    problem: str = ""


class Arrivals:
    """The exports of one pull, each put on the disk and noted before it is handed on."""

    def __init__(
        self, site: SiteFolder, store: Store, now: dt.datetime, report: PassReport, read: Sequence[ReadExport]
    ) -> None:
        """Look out for what `read`, the exports a generation has read, does not hold."""
        self._site = site
        self._store = store
        self._now = now
        self._report = report
        self._sources = {source.name: source for source in site.site.sources}
        self._exports = {_key(export): export for export in store.catalogue.exports()}
        self._read = {one.export.id: one for one in read}
        # Bytes read in full, whatever their file was called.
        self._read_bytes = {
            (one.export.sha256, one.export.source) for one in read if not one.is_named_by_file
        }

    def note_read(self, one: ReadExport) -> None:
        """Remember that an export has been read in this pull."""
        self._read[one.export.id] = one
        if not one.is_named_by_file:
            self._read_bytes[one.export.sha256, one.export.source] = one

    def rank(self, one: ReadExport) -> Rank:
        """Return an export's standing; equal bytes of one source stand at the latest time any of them had."""
        export = self._exports_by_id[one.export.id]
        modified_us = export.modified_us
        if not one.is_named_by_file:
            modified_us = self._latest[export.sha256, export.source]
        return Rank(one.newest_us or 0, modified_us, export.sha256)

    def new(self) -> Iterator[Arrival]:
        """Fetch what the sources offer, keep what is new and hand it on."""
        held: list[tuple[Offer, bytes]] = []
        for source in self._site.site.sources:
            try:
                opened = OpenSource(source, self._site.path)
                offers = opened.offers()
            except SourceDownError as error:
                self._report.problems.append(str(error))
                continue
            for offer in offers:
                fetched = self._fetch(opened, offer)
                if isinstance(fetched, Arrival):
                    yield fetched
                elif fetched is not None:
                    held.append((offer, fetched))
                if len(held) >= KEEP_FILES or sum(len(content) for _, content in held) >= KEEP_BYTES:
                    yield from self._keep(held)
                    held = []
        yield from self._keep(held)

    def unread(self, newest_of: Mapping[int, int]) -> Iterator[Arrival]:
        """Hand on every kept export that the generation has not read, the lowest rank first."""
        waiting = sorted(
            self._exports.values(),
            key=lambda export: (newest_of.get(export.id, 0), export.modified_us, export.sha256, export.id),
        )
        for export in waiting:
            if not self._is_read(export):
                yield Arrival(export.file, export.source, export)

    def _is_read(self, export: Export) -> bool:
        return export.id in self._read or (export.sha256, export.source) in self._read_bytes

    def _fetch(self, opened: OpenSource, offer: Offer) -> bytes | Arrival | None:
        try:
            return opened.fetch(offer)
        except StillWrittenError as error:
            self._report.waiting.append(str(error))
        except FileNotFoundError:
            pass  # taken away between the listing and the reading
        except OSError as error:
            return Arrival(offer.file, offer.source.name, None, problem=f"cannot be opened: {error}")
        return None

    def _keep(self, held: Sequence[tuple[Offer, bytes]]) -> Iterator[Arrival]:
        """Put exports on the disk, tell SQL, and hand on those that are to be read."""
        offered: dict[_Key, tuple[Offer, bytes]] = {}
        for offer, content in held:
            sha256 = self._store.kept.keep(content)
            offered.setdefault((sha256, offer.source.name, point_of_file(offer.file)), (offer, content))
        if not offered:
            return
        self._store.kept.settle()
        self._store.reached(faults.EXPORT_KEPT)
        known = {key: export for key in offered if (export := self._known(key)) is not None}
        moved = {one.export.id: key for key in offered if (one := self._moved(key, offered[key][0], known))}
        fresh = [key for key in offered if key not in known]
        rows = [self._row(offered[key][0], key, len(offered[key][1])) for key in fresh]
        for export in self._store.catalogue.add_exports(rows):
            self._remember(export)
        for key, (offer, content) in offered.items():
            if not self._is_read(self._exports[key]):
                yield Arrival(offer.file, offer.source.name, self._exports[key], content)
            else:
                self._report.skipped += 1
        for export_id, key in moved.items():
            export = self._exports_by_id[export_id]
            yield Arrival(export.file, export.source, export, offered[key][1])

    def _known(self, key: _Key) -> Export | None:
        """Return the export kept under a key, or under the name of a source that the site no longer has."""
        if key in self._exports:
            return self._exports[key]
        for export in self._exports.values():
            is_same = (export.sha256, export.point_name) == (key[0], key[2])
            if is_same and export.source not in self._sources:
                self._change(export, {"source": key[1]})
                self._read = {
                    number: replace(one, export=self._exports_by_id[number])
                    for number, one in self._read.items()
                }
                return self._exports[key]
        return None

    def _moved(self, key: _Key, offer: Offer, known: Mapping[_Key, Export]) -> ReadExport | None:
        """Note the time an offer gives its bytes; return what was read of them if that passes a rival.

        Such an export is read again: its values now stand above some that had won over them.
        """
        one = self._read_bytes.get((key[0], key[1]))
        if one is None and key in known:
            one = self._read.get(known[key].id)
        before = None if one is None else self.rank(one)
        if key in known and offer.modified_us > known[key].modified_us:
            self._change(known[key], {"modified_us": offer.modified_us})
        self._latest[key[0], key[1]] = max(offer.modified_us, self._latest.get((key[0], key[1]), 0))
        if one is None or before is None or self.rank(one) == before:
            return None
        is_passing = any(before < self.rank(rival) < self.rank(one) for rival in self._read.values())
        return one if is_passing else None

    def _remember(self, export: Export) -> None:
        self._exports[_key(export)] = export
        self._exports_by_id[export.id] = export
        latest = self._latest.get((export.sha256, export.source), 0)
        self._latest[export.sha256, export.source] = max(latest, export.modified_us)

    def _change(self, export: Export, values: Mapping[str, Any]) -> None:
        self._store.catalogue.update_export(export.id, values)
        del self._exports[_key(export)]
        self._remember(replace(export, **values))

    def _row(self, offer: Offer, key: _Key, size: int) -> dict[str, Any]:
        sha256, source, point_name = key
        return {
            "sha256": sha256,
            "source": source,
            "point_name": point_name,
            "file": offer.file,
            "size": size,
            "modified_us": offer.modified_us,
            "kept_at": self._now,
            "source_settings": shaping_settings(offer.source),
        }


def _key(export: Export) -> _Key:
    return export.sha256, export.source, export.point_name
