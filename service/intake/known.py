"""The exports a site has kept: which of them a generation has read, and where each one stands."""

from bisect import bisect_left, bisect_right
from collections import deque
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from service.intake.ranks import Rank
from service.store.catalogue import Catalogue, Export, ReadExport
from service.store.passes import Generation

_ENDS_KEPT: Final = 60
Key = tuple[str, str, str]  # digest, source, name without ending


def key_of(export: Export) -> Key:
    """Return what tells an export from every other."""
    return export.sha256, export.source, export.point_name


class KnownExports:
    """The kept exports and what one generation has read of them, kept in step with SQL."""

    def __init__(self, catalogue: Catalogue, generation: Generation, source_names: Collection[str]) -> None:
        """Begin with what SQL knows."""
        self._catalogue = catalogue
        self._generation = generation
        self._by_key: dict[Key, Export] = {}
        self._by_id: dict[int, Export] = {}
        self._latest: dict[tuple[str, str], Export] = {}  # by digest and source: that of the latest time
        self._orphans: dict[tuple[str, str], Export] = {}  # exports of sources that are no more
        for export in catalogue.exports():
            self._remember(export)
            if export.source not in source_names:
                self._orphans[export.sha256, export.point_name] = export
        self._read: dict[int, ReadExport] = {}
        self._ends: dict[str, deque[tuple[int, int]]] = {}  # by source
        self._read_bytes: set[tuple[str, str]] = set()  # read whatever their file was called
        for one in catalogue.read_in(generation):
            self.note_read(one)

    def __getitem__(self, key: Key) -> Export:
        """Return a kept export."""
        return self._by_key[key]

    def note_read(self, one: ReadExport) -> None:
        """Remember that an export has been read."""
        self._read[one.export.id] = one
        if one.newest_us is not None:
            ends = self._ends.setdefault(one.export.source, deque(maxlen=_ENDS_KEPT))
            ends.append((one.newest_us, one.export.modified_us))
        if not one.is_named_by_file:
            self._read_bytes.add((one.export.sha256, one.export.source))

    def is_read(self, export: Export) -> bool:
        """Tell whether an export was read, be it under another name where the name says nothing."""
        return export.id in self._read or (export.sha256, export.source) in self._read_bytes

    def note_offered(self, times: Mapping[Key, int]) -> list[Key]:
        """Note the times [us since 1970] that sources give exports now; return those not kept yet.

        Bytes kept already stand at the latest time given them. An export of a source that was renamed follows
        it to its new name.
        """
        fresh, changes = [], []
        for key, modified_us in times.items():
            known = self._by_key.get(key) or self._orphans.pop((key[0], key[2]), None)
            if known is None:
                fresh.append(key)
            elif key not in self._by_key or modified_us > known.modified_us:
                latest_us = max(modified_us, known.modified_us)
                changes.append((known, replace(known, source=key[1], modified_us=latest_us)))
        self._catalogue.update_exports([changed for _, changed in changes])
        for known, changed in changes:
            del self._by_key[key_of(known)]
            self._remember(changed)
            if changed.id in self._read:
                self.note_read(replace(self._read[changed.id], export=changed))
        return fresh

    def add(self, rows: Sequence[Mapping[str, Any]]) -> None:
        """Note exports that were put on the disk."""
        for export in self._catalogue.add_exports(rows):
            self._remember(export)

    def rank(self, one: ReadExport) -> Rank:
        """Return an export's standing; equal bytes of one source stand at the latest time any of them had."""
        export = self._by_id[one.export.id]
        given = export if one.is_named_by_file else self._latest[export.sha256, export.source]
        return Rank(one.newest_us or 0, given.modified_us, export.sha256)

    def latest_like(self, export: Export) -> Export:
        """Return the one of an export's copies, itself among them, by whose time it stands."""
        one = self._read.get(export.id)
        is_alone = one is None or one.is_named_by_file
        return export if is_alone else self._latest[export.sha256, export.source]

    def ends_of(self, source: str) -> Sequence[tuple[int, int]]:
        """Return the newest record of the exports of a source read last, and the time that its file had."""
        return tuple(self._ends.get(source, ()))

    def above(self, rank: Rank, ids: Iterable[int]) -> list[ReadExport]:
        """Return those of some exports that were read and stand above a rank, the highest first."""
        some = [self._read[export_id] for export_id in dict.fromkeys(ids) if export_id in self._read]
        standings = [(standing, one) for one in some if (standing := self.rank(one)) > rank]
        return [one for _, one in sorted(standings, key=lambda pair: pair[0], reverse=True)]

    def unread(self, newest_of: Mapping[int, int]) -> list[Export]:
        """Return the kept exports that were not read, the lowest rank first as far as it is known."""
        waiting = [export for export in self._by_key.values() if not self.is_read(export)]
        return sorted(
            waiting,
            key=lambda export: (newest_of.get(export.id, 0), export.modified_us, export.sha256, export.id),
        )

    def risen(self) -> list[Export]:
        """Return the exports that a later time has taken past a rival since they were read.

        They are to be read again: values of theirs that lost may win now. Where no rival stands between,
        the new standing is noted and nothing has to be read.
        """
        standings = sorted(self.rank(one) for one in self._read.values())
        to_read, moved = [], {}
        for one in self._read.values():
            now = self.rank(one)
            before = now._replace(modified_us=one.ranked_us)
            if now == before:
                continue
            if bisect_right(standings, before) < bisect_left(standings, now):
                to_read.append(self._by_id[one.export.id])
            else:
                moved[one.export.id] = now.modified_us
        self._catalogue.note_ranks(self._generation, moved)
        return to_read

    def _remember(self, export: Export) -> None:
        self._by_key[key_of(export)] = export
        self._by_id[export.id] = export
        latest = self._latest.setdefault((export.sha256, export.source), export)
        if export.id == latest.id or export.modified_us > latest.modified_us:
            self._latest[export.sha256, export.source] = export
