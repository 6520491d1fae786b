"""The site's files as they are now: read again when one of them changes."""

import threading

from config import FaultySite, load_site
from config.folder import SiteFolder
from config.templates import FILES


class CurrentSite:
    """The site as its files now say; while they are faulty, as they last said rightly."""

    def __init__(self, site: SiteFolder) -> None:
        """Begin with a site that has just been read."""
        self._site = site
        self._stamp = self._read_stamp()
        self._faults: tuple[str, ...] = ()
        self._lock = threading.Lock()

    def get(self) -> SiteFolder:
        """Return the site."""
        with self._lock:
            stamp = self._read_stamp()
            if stamp != self._stamp:
                self._stamp = stamp
                self._read()
            return self._site

    @property
    def faults(self) -> tuple[str, ...]:
        """What is wrong with the files since they were last read rightly."""
        return self._faults

    def _read(self) -> None:
        try:
            self._site = load_site(self._site.path)
            self._faults = ()
        except FaultySite as faulty:
            self._faults = tuple(str(fault) for fault in faulty.faults)
        except OSError as error:
            self._faults = (f"{error.filename}: {error.strerror}",)

    def _read_stamp(self) -> tuple[tuple[int, int] | None, ...]:
        stamps: list[tuple[int, int] | None] = []
        for name in FILES:
            try:
                status = (self._site.path / name).stat()
                stamps.append((status.st_mtime_ns, status.st_size))
            except OSError:
                stamps.append(None)
        return tuple(stamps)
