"""How service done gets into service_log.csv: checked first, then in one step or not at all."""

import codecs
import contextlib
import csv
import io
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

from analytics.tachometer import nominal_ratio, slip_of_pair
from config import FaultySite, ServiceEntry, SiteFolder, load_site
from config.service_log import COLUMNS, FILE, ServiceRow, entries_of, entry_faults
from config.sheet import Sheet, SheetRow, delimiter_of, header_span, text_of

try:
    import fcntl
except ImportError:  # a system without POSIX locks
    fcntl = None  # type: ignore[assignment]

_BYTE_ORDER_MARKS: Final = (codecs.BOM_UTF8[:2], codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_HEADER: Final = ("fan", "date", "time", "work", "role", "motor_rpm", "fan_rpm", "speed", "no_load_a", "note")


def append_service(folder: Path, cells: Mapping[str, str]) -> ServiceEntry:
    """Append one entry to the site's service log and return it as it will be read.

    Raises FaultySite, with nothing written, if the site or the entry has a fault. The whole log is written
    beside the old one and takes its place in one step; two writers wait for each other.
    """
    with _only_writer(folder):
        entry = _checked(load_site(folder), cells)
        _append(folder, [cells])
    return entry


def append_services(folder: Path, rows: Sequence[Mapping[str, str]]) -> list[ServiceEntry]:
    """Append the entries that the log does not hold already, and return those as they will be read.

    Held is what equals in every column. Raises FaultySite, with nothing written, if any has a fault.
    """
    with _only_writer(folder):
        site = load_site(folder)
        held = {_told(entry) for entry in site.service}
        added: list[ServiceEntry] = []
        kept = []
        for cells in rows:
            entry = _checked(site, cells)
            if _told(entry) not in held:
                held.add(_told(entry))
                added.append(entry)
                kept.append(cells)
        if kept:
            _append(folder, kept)
    return added


def _told(entry: ServiceEntry) -> str:
    return entry.model_dump_json(exclude={"row"})


def _append(folder: Path, rows: Sequence[Mapping[str, str]]) -> None:
    path = (folder / FILE).resolve()
    text = text_of(path) if path.exists() else ",".join(_HEADER) + "\n"
    for cells in rows:
        text = _with_row(text, cells)
    _replace(path, text)


@contextlib.contextmanager
def _only_writer(folder: Path) -> Iterator[None]:
    """Hold the folder's lock, where the system has such locks; it goes with the process."""
    if fcntl is None or not folder.is_dir():
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def miss_of_pair(site: SiteFolder, entry: ServiceEntry) -> float | None:
    """Return how far a tachometer pair is off the sheaves' ratio, None unless that is too far to be used."""
    epoch = site.epoch_at(entry.fan, entry.date)
    if epoch is None or entry.motor_rpm is None or entry.fan_rpm is None:
        return None
    ratio = nominal_ratio(epoch.machine)
    if ratio is None or slip_of_pair(entry.motor_rpm, entry.fan_rpm, ratio) is not None:
        return None
    return entry.fan_rpm / (entry.motor_rpm * ratio) - 1.0


def doubt_of_pair(site: SiteFolder, entry: ServiceEntry) -> str | None:
    """Say why a tachometer reading will not be used: it stands alone, or is far off the sheaves' ratio."""
    if (entry.motor_rpm is None) != (entry.fan_rpm is None):
        given, missing = ("motor", "fan") if entry.fan_rpm is None else ("fan", "motor")
        return (
            f"The {given} rpm stands alone: slip is read from both shafts together, so it is kept in the log "
            f"and not used. Read the two within a minute at a steady speed and enter {missing} rpm beside it."
        )
    miss = miss_of_pair(site, entry)
    if miss is None:
        return None
    return (
        f"The pair is {100.0 * miss:+.0f} % off the sheaves' ratio: a strobe harmonic, swapped numbers or "
        "wrong sheaves in fans.csv. It is kept in the log and not used; read it again."
    )


def _checked(site: SiteFolder, cells: Mapping[str, str]) -> ServiceEntry:
    rows = list(Sheet(COLUMNS, (SheetRow(0, dict(cells)),), (), ",").readings(ServiceRow))
    faults = entry_faults(rows, site.fan_names, site.speed_unit_at)
    if faults:
        raise FaultySite(faults)
    return entries_of(rows, site.speed_unit_at)[0]


def _with_row(text: str, cells: Mapping[str, str]) -> str:
    delimiter = delimiter_of(text)
    newline = "\r\n" if "\r\n" in text else "\n"
    begin, end = header_span(text)
    header = [name.strip() for name in next(csv.reader([text[begin:end]], delimiter=delimiter))]
    absent = [name for name in COLUMNS if name in cells and name not in header]
    header_text = text[begin:end] + "".join(delimiter + name for name in absent)
    body = text[end:] if text.endswith(("\n", "\r")) else text[end:] + newline
    row = io.StringIO()
    columns = [*header, *absent]
    csv.writer(row, delimiter=delimiter, lineterminator=newline).writerow(
        cells.get(name, "") for name in columns
    )
    return text[:begin] + header_text + body + row.getvalue()


def _replace(path: Path, text: str) -> None:
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    beside = Path(name)
    has_mark = path.exists() and path.read_bytes()[:2] in _BYTE_ORDER_MARKS
    try:
        with os.fdopen(handle, "w", encoding="utf-8-sig" if has_mark else "utf-8", newline="") as opened:
            opened.write(text)
            opened.flush()
            os.fsync(opened.fileno())
        if path.exists():
            shutil.copymode(path, beside)
        else:
            beside.chmod(0o644)
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
