"""How filled sheets come back: every fault said, all entered or nothing, the same sheet once only."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from analytics.vocabulary import Work
from config import FaultySite, ServiceEntry, load_site
from config.faults import Fault, in_order
from config.folder import SiteFolder
from config.service_log import COLUMNS as LOG_COLUMNS
from config.service_log import REQUIRED as LOG_REQUIRED
from config.service_log import ServiceRow, entry_faults
from config.sheet import Sheet, SheetRow, read_sheet
from service.logbook import append_services
from service.round.fields import CHECKS, COLUMNS, FILLED, FOUND, LEFT, unshielded

_KNOWN: Final = (*COLUMNS, *(name for name in LOG_COLUMNS if name not in COLUMNS))
# Columns of the log by the sheet's, after `found_` or `left_`.
_OF_LOG: Final = {
    "time": "time",
    "command": "speed",
    "motor_rpm": "motor_rpm",
    "wheel_rpm": "fan_rpm",
    "no_load_a": "no_load_a",
}
_NUMBERS: Final = ("speed", "motor_rpm", "fan_rpm", "no_load_a")
_OF_NOTE: Final = {"amps": "amps {}", "force": "force a belt {}", "deflection": "deflection {}"}
_CHECK_WORDS: Final = {"yes": True, "y": True, "x": True, "no": False, "n": False}


@dataclass(frozen=True, slots=True)
class Entered:
    """What a filled sheet brought: entries added, how many the log had already, how many rows were blank."""

    added: tuple[ServiceEntry, ...]
    known: int
    blank: int

    @property
    def words(self) -> str:
        """What the sheet brought, as a sentence."""
        added = "1 entry" if len(self.added) == 1 else f"{len(self.added)} entries"
        blank = "1 row" if self.blank == 1 else f"{self.blank} rows"
        return f"{added} added, {self.known} in the log before, {blank} not filled in."


def enter_filled(folder: Path, file: Path) -> Entered:
    """Enter a filled sheet of the round, or a file with the columns of service_log.csv.

    Raises FaultySite with every fault of the file and nothing entered. Entries that the log holds already,
    equal in all their columns, are not added again.
    """
    site = load_site(folder)
    is_log, sheet = _read(file)
    cells, blank, faults = _log_rows(sheet) if is_log else _sheet_rows(sheet, file.name)
    faults = [*sheet.faults, *faults, *_faults_of(site, cells, sheet, file.name)]
    if faults:
        raise FaultySite(in_order(faults))
    added = append_services(folder, [_pointed(row.cells, sheet) for row in cells])
    return Entered(tuple(added), len(cells) - len(added), blank)


@dataclass(frozen=True, slots=True)
class _LogRow:
    """A row for the log: the file's line, its cells, and the file's column each cell stands in."""

    line: int
    cells: Mapping[str, str]
    columns: Mapping[str, str]


def _pointed(cells: Mapping[str, str], sheet: Sheet) -> dict[str, str]:
    """Return the cells as the log takes them: its columns are parted by commas, decimals by points."""
    if sheet.delimiter == ",":
        return dict(cells)
    return {name: text.replace(",", ".") if name in _NUMBERS else text for name, text in cells.items()}


def _read(file: Path) -> tuple[bool, Sheet]:
    sheet = read_sheet(file, _KNOWN, ("fan", "date"))
    # A sheet that knows none of the round's own columns is a piece of the service log.
    is_log = "work" in sheet.columns and not set(sheet.columns) & (set(COLUMNS) - set(LOG_COLUMNS))
    return is_log, sheet


def _log_rows(sheet: Sheet) -> tuple[list[_LogRow], int, list[Fault]]:
    rows = [_LogRow(row.line, row.cells, {name: name for name in row.cells}) for row in sheet.rows]
    return rows, 0, []


def _sheet_rows(sheet: Sheet, file: str) -> tuple[list[_LogRow], int, list[Fault]]:
    rows: list[_LogRow] = []
    faults: list[Fault] = []
    blank = 0
    for row in sheet.rows:
        cells = {name: unshielded(" ".join(cell.split())) for name, cell in row.cells.items()}
        if not any(name in cells for name in FILLED):
            blank += 1
            continue
        found, wrong = _entries_of(row.line, cells, file)
        rows += found
        faults += wrong
    return rows, blank, faults


def _entries_of(line: int, cells: Mapping[str, str], file: str) -> tuple[list[_LogRow], list[Fault]]:
    faults = [
        Fault(file, line, name, None, "is not filled in, though others of the row are", "write it")
        for name in ("fan", "date")
        if name not in cells
    ]
    checks, wrong = _checks(line, cells, file)
    faults += wrong
    works = [
        word for word in cells.get("work", "").replace("+", ";").replace(",", ";").split(";") if word.strip()
    ]
    works = [word.strip().casefold().replace(" ", "_") for word in works]
    found = _half(cells, FOUND)
    left = _half(cells, LEFT)
    closing = [*checks]
    closing += [f"recheck on {cells['recheck_on']}"] if "recheck_on" in cells else []
    closing += [f"by {cells['by']}"] if "by" in cells else []
    closing += [cells["note"]] if "note" in cells else []
    rows: list[_LogRow] = []
    if found or not works:
        said = [] if works else [*_half_note(cells, LEFT), *closing]
        note = "; ".join([*_half_note(cells, FOUND), *said])
        rows.append(_row(line, cells, Work.INSPECTED.value, found, FOUND, note))
    if left and not works:
        rows.append(_row(line, cells, Work.INSPECTED.value, left, LEFT, ""))
    for place, work in enumerate(works):
        # The readings as left belong to the last piece of work.
        is_last = place == len(works) - 1
        note = "; ".join([*_half_note(cells, LEFT), *closing]) if is_last else ""
        rows.append(_row(line, cells, work, left if is_last else {}, LEFT, note))
    return rows, faults


def _half(cells: Mapping[str, str], half: str) -> dict[str, str]:
    """Return what was read as found or as left, by the columns of the sheet."""
    return {name: cells[name] for name in (f"{half}_{one}" for one in (*_OF_LOG, *_OF_NOTE)) if name in cells}


def _half_note(cells: Mapping[str, str], half: str) -> list[str]:
    told = [
        words.format(cells[f"{half}_{one}"]) for one, words in _OF_NOTE.items() if f"{half}_{one}" in cells
    ]
    return [f"as {half}: {', '.join(told)}"] if told else []


def _row(
    line: int, cells: Mapping[str, str], work: str, read: Mapping[str, str], half: str, note: str
) -> _LogRow:
    told = {name: cells[name] for name in ("fan", "date") if name in cells} | {"work": work}
    columns = {name: name for name in told}
    for one, name in _OF_LOG.items():
        if f"{half}_{one}" in read:
            told[name] = read[f"{half}_{one}"]
            columns[name] = f"{half}_{one}"
    if note:
        told["note"] = note
        columns["note"] = "note"
    return _LogRow(line, told, columns)


def _checks(line: int, cells: Mapping[str, str], file: str) -> tuple[list[str], list[Fault]]:
    told, faults = [], []
    for check in CHECKS:
        if check.name not in cells:
            continue
        said = _CHECK_WORDS.get(cells[check.name].casefold())
        if said is None:
            faults.append(
                Fault(file, line, check.name, cells[check.name], "is neither yes nor no", "write yes or no")
            )
        else:
            told.append(check.words if said else f"NOT {check.words}")
    return told, faults


def _faults_of(site: SiteFolder, rows: Iterable[_LogRow], sheet: Sheet, file: str) -> list[Fault]:
    """Hold each entry against the rules of the service log; faults name the file's own columns."""
    faults = []
    for row in rows:
        if any(name not in row.cells for name in LOG_REQUIRED if name != "work"):
            continue
        one = Sheet(LOG_COLUMNS, (SheetRow(row.line, dict(row.cells)),), (), sheet.delimiter)
        found = entry_faults(one.readings(ServiceRow), site.fan_names, site.speed_unit_at)
        faults += [
            replace(fault, file=file, column=row.columns.get(fault.column or "", fault.column))
            for fault in found
        ]
    return list(dict.fromkeys(faults))
