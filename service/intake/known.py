"""The exports a site has kept: which of them a generation has read, and where each one stands."""

from collections import deque
from collections.abc import Collection, Mapping, Sequence
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
        self._latest: dict[tuple[str, str], int] = {}  # by digest and source: the latest time given
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

    def has(self, key: Key) -> bool:
        """Tell whether an export is kept; one of a source that was renamed follows it to its new name."""
        if key in self._by_key:
            return True
        orphan = self._orphans.pop((key[0], key[2]), None)
        if orphan is None:
            return False
        self._change(orphan, {"source": key[1]})
        return True

    def add(self, rows: Sequence[Mapping[str, Any]]) -> None:
        """Note exports that were put on the disk."""
        for export in self._catalogue.add_exports(rows):
            self._remember(export)

    def note_time(self, key: Key, modified_us: int) -> None:
        """Note a later time that a source gives bytes kept already."""
        if modified_us > self._by_key[key].modified_us:
            self._change(self._by_key[key], {"modified_us": modified_us})

    def rank(self, one: ReadExport) -> Rank:
        """Return an export's standing; equal bytes of one source stand at the latest time any of them had."""
        export = self._by_id[one.export.id]
        given = export.modified_us if one.is_named_by_file else self._latest[export.sha256, export.source]
        return Rank(one.newest_us or 0, given, export.sha256)

    def ends_of(self, source: str) -> Sequence[tuple[int, int]]:
        """Return the newest record of the exports of a source read last, and the time that its file had."""
        return tuple(self._ends.get(source, ()))

    def read_above(self, rank: Rank) -> list[ReadExport]:
        """Return the read exports above a rank, the highest first."""
        above = [(self.rank(one), one) for one in self._read.values()]
        return [
            one for standing, one in sorted(above, key=lambda pair: pair[0], reverse=True) if standing > rank
        ]

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
        result = []
        for one in list(self._read.values()):
            now = self.rank(one)
            before = now._replace(modified_us=one.ranked_us)
            if now == before:
                continue
            if any(before < self.rank(rival) < now for rival in self._read.values()):
                result.append(self._by_id[one.export.id])
            else:
                self._catalogue.note_rank(self._generation, one.export.id, now.modified_us)
        return result

    def _remember(self, export: Export) -> None:
        self._by_key[key_of(export)] = export
        self._by_id[export.id] = export
        latest = self._latest.get((export.sha256, export.source), 0)
        self._latest[export.sha256, export.source] = max(latest, export.modified_us)

    def _change(self, export: Export, values: Mapping[str, Any]) -> None:
        self._catalogue.update_export(export.id, values)
        del self._by_key[key_of(export)]
        changed = replace(export, **values)
        self._remember(changed)
        if export.id in self._read:
            self.note_read(replace(self._read[export.id], export=changed))
