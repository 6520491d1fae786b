"""Which exports a pull has to read: new ones from the sources, and kept ones not read yet."""

import datetime as dt
from collections.abc import Collection, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any, Final

from config.folder import SiteFolder
from config.site import Source
from service.intake.archives import members_of
from service.intake.columns import point_of_file
from service.intake.known import Key, KnownExports, key_of
from service.intake.mapping import shaping_settings
from service.intake.report import PassReport
from service.intake.sources import Offer, OpenSource, SourceDownError, StillWrittenError
from service.store import Store, faults
from service.store.catalogue import Export

KEEP_BYTES: Final = 32 << 20  # exports put on the disk before SQL is told of them
KEEP_FILES: Final = 64
_KEEPERS: Final = 4


@dataclass(slots=True)
class Content:
    """The bytes of a file: whoever takes them is the only one to hold them, and can let them go."""

    held: bytes

    def take(self) -> bytes:
        """Hand the bytes over."""
        taken, self.held = self.held, b""
        return taken


@dataclass(frozen=True, slots=True)
class Arrival:
    """An export to be read, with its bytes where they are at hand; or a file that could not be fetched."""

    file: str
    source: str
    export: Export | None
    content: Content | None = None
    problem: str = ""


class Arrivals:
    """The exports of one pull, each put on the disk and noted before it is handed on."""

    def __init__(
        self,
        site: SiteFolder,
        store: Store,
        now: dt.datetime,
        report: PassReport,
        known: KnownExports,
        only: Collection[str] | None = None,
    ) -> None:
        """Look out for what the known exports do not hold or no generation has read.

        `only` the names of the sources to ask; None asks them all.
        """
        self._only = only
        self._site = site
        self._store = store
        self._now = now
        self._report = report
        self._known = known
        self._offered: dict[Key, str] = {}  # what each export was called that was there already

    def new(self) -> Iterator[Arrival]:
        """Fetch what the sources offer, keep what is new and hand it on."""
        held: list[tuple[Offer, Content]] = []
        for source in self._site.site.sources:
            if self._only is not None and source.name not in self._only:
                continue
            self._report.sources[source.name] = ""
            for fetched in self._offered_by(source):
                if isinstance(fetched, Arrival):
                    yield fetched
                    continue
                offer, whole = fetched
                held += [
                    (replace(offer, file=name), Content(content))
                    for name, content in members_of(offer.file, whole.take())
                ]
                if len(held) >= KEEP_FILES or sum(len(one.held) for _, one in held) >= KEEP_BYTES:
                    yield from self._keep(held)
                    held = []
        yield from self._keep(held)

    def _offered_by(self, source: Source) -> Iterator[tuple[Offer, Content] | Arrival]:
        """Fetch a source's files one by one; where it goes down on the way, what was fetched is good."""
        try:
            with OpenSource(source, self._site.path) as opened:
                for offer in opened.offers():
                    fetched = self._fetch(opened, offer)
                    if fetched is not None:
                        yield fetched
        except SourceDownError as error:
            self._report.sources[source.name] = str(error)

    def left(self) -> Iterator[Arrival]:
        """Hand on the kept exports that were not read yet, and those that are to be read again."""
        newest_of = self._store.catalogue.newest_of_exports()
        for export in self._known.unread(newest_of):
            if not self._known.is_read(export):  # equal bytes may have been read a moment ago
                yield Arrival(export.file, export.source, export)
        for export in self._known.risen():
            raised = key_of(self._known.latest_like(export))
            file = self._offered.pop(raised, None)
            if file is not None:
                self._report.skipped -= 1
            yield Arrival(file or self._known[raised].file, export.source, export)

    def _fetch(self, opened: OpenSource, offer: Offer) -> tuple[Offer, Content] | Arrival | None:
        try:
            found, content = opened.fetch(offer)
            return found, Content(content)
        except StillWrittenError as error:
            self._report.waiting.append(str(error))
        except FileNotFoundError:
            pass  # taken away between the listing and the reading
        except SourceDownError:
            raise
        except OSError as error:
            return Arrival(offer.file, offer.source.name, None, problem=f"cannot be opened: {error}")
        return None

    def _keep(self, held: Sequence[tuple[Offer, Content]]) -> Iterator[Arrival]:
        """Put exports on the disk, tell SQL, and hand on those that are to be read."""
        offered: dict[Key, tuple[Offer, Content]] = {}
        with ThreadPoolExecutor(_KEEPERS) as pool:  # waiting for the disk and compressing go side by side
            digests = list(pool.map(self._store.kept.keep, (content.held for _, content in held)))
        for sha256, (offer, content) in zip(digests, held, strict=True):
            key = (sha256, offer.source.name, point_of_file(offer.file))
            if key not in offered or offer.modified_us > offered[key][0].modified_us:
                offered[key] = (offer, content)
        if not offered:
            return
        self._store.kept.settle()
        self._store.reached(faults.EXPORT_KEPT)
        fresh = self._known.note_offered({key: offer.modified_us for key, (offer, _) in offered.items()})
        self._known.add([self._row(offered[key][0], key, len(offered[key][1].held)) for key in fresh])
        for key, (offer, content) in offered.items():
            if self._known.is_read(self._known[key]):
                self._report.skipped += 1
                self._offered[key] = offer.file
            else:
                yield Arrival(offer.file, offer.source.name, self._known[key], content)

    def _row(self, offer: Offer, key: Key, size: int) -> dict[str, Any]:
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
