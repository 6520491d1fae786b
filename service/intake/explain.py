"""How a file is read, decision by decision, for a person who wonders."""

from pathlib import Path
from typing import Final

from config.folder import SiteFolder
from config.site import Source
from service.failure import WorkFailed
from service.instants import stamp_of
from service.intake.accounts import FileReading
from service.intake.archives import members_of
from service.intake.mapping import map_points
from service.intake.reading import read_export
from service.intake.text import UnreadableFileError
from service.intake.zones import Clock
from service.store import Store
from service.store.readings import from_microseconds

_SHOWN: Final = 10


def explain(site: SiteFolder, store: Store, file: str) -> str:
    """Return how a file, named by its path or as in the intake ledger, reads under today's settings."""
    content, name, source = _find(site, store, file)
    members = members_of(name, content)
    return "\n\n".join(_of_one(site, inner, member, source) for member, inner in members)


def _of_one(site: SiteFolder, content: bytes, name: str, source: Source) -> str:
    points = map_points(site)
    try:
        reading = read_export(content, name, source, site.site.zone, points)
    except UnreadableFileError as error:
        return f"{name} (source {source.name}) cannot be read: {error}"
    mapped = sorted(seen.name for seen in reading.seen if seen.name in points.targets)
    unmapped = sorted(seen.name for seen in reading.seen if seen.name not in points.targets)
    lines = [
        f"{name} (source {source.name})",
        f"read as: {reading.decided}",
        f"times: {_span(reading, Clock(site.site.zone))}",
        f"points in use: {_names(mapped)}",
        f"points in no use: {_names(unmapped)}",
        f"cells: {reading.cells}, of them missing {reading.missing}, unmapped {reading.unmapped}, "
        f"refused {reading.refused_count}",
    ]
    for refused in reading.refused[:_SHOWN]:
        lines.append(
            f"refused: line {refused.row}, column {refused.column!r}, {refused.value!r}: {refused.reason}"
        )
    if len(reading.refused) > _SHOWN:
        lines.append(f"... and {len(reading.refused) - _SHOWN} more refusals")
    return "\n".join(lines)


def _find(site: SiteFolder, store: Store, file: str) -> tuple[bytes, str, Source]:
    path = Path(file)
    if path.is_file():
        for source in site.site.sources:
            folder = (site.path / source.url).resolve()
            if path.resolve().is_relative_to(folder):
                return path.read_bytes(), str(path.resolve().relative_to(folder)), source
        return path.read_bytes(), path.name, site.site.sources[0]
    sources = {source.name: source for source in site.site.sources}
    for export in reversed(store.catalogue.exports()):
        if file in (export.file, Path(export.file).name) and export.source in sources:
            return store.kept.read(export.sha256), export.file, sources[export.source]
    raise WorkFailed(f"{file}: no such file here, and no export of that name was ever pulled; give its path")


def _span(reading: FileReading, clock: Clock) -> str:
    if reading.first_us is None or reading.newest_us is None:
        return "none could be read"
    ends = (reading.first_us, reading.newest_us)
    first, last = (clock.local(stamp_of(from_microseconds(time))) for time in ends)
    return f"{first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}, plant time"


def _names(names: list[str]) -> str:
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return (", ".join(names[:_SHOWN]) + more) or "none"
