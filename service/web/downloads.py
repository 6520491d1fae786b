"""Tables to take away from a page, safe to open in a spreadsheet."""

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

import pandas as pd
from fastapi import APIRouter
from fastapi.responses import Response

from service.alerts import export_alerts
from service.assess.exports import export_daily
from service.intake import export_intake
from service.web.api_answer import plain
from service.web.api_rows import ServiceRow
from service.web.desk import Desk
from service.web.problem import Problem

# What makes a spreadsheet take a text for a formula (OWASP, CSV Injection).
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n")
_SERVICE_COLUMNS: Final = tuple(ServiceRow.model_fields)
_MARK: Final = (
    "\N{ZERO WIDTH NO-BREAK SPACE}"  # without it a spreadsheet takes the bytes for another encoding
)


def download_routes(desk: Desk) -> APIRouter:
    """Return the routes: `/download/daily.csv` and the like, of one fan where `fan` names it."""
    router = APIRouter(include_in_schema=False)
    tables: dict[str, Callable[[str | None], pd.DataFrame]] = {
        "daily": lambda fan: export_daily(desk.store, fan),
        "alerts": lambda fan: export_alerts(desk.store, fan),
        "intake": lambda _fan: export_intake(desk.store),
        "service": lambda fan: _service(desk, fan),
    }

    @router.get("/download/{table}.csv")
    def _download(table: str, fan: str = "") -> Response:
        if table not in tables:
            raise Problem(404, "There is no such table.", f"take one of {', '.join(tables)}")
        frame = tables[table](desk.known_fan(fan) if fan else None)
        headers = {"content-disposition": f'attachment; filename="{table}.csv"'}
        body = safe_csv(list(frame.columns), frame.itertuples(index=False))
        return Response(body, media_type="text/csv", headers=headers)

    return router


def safe_csv(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Write rows so that no cell is taken for a formula: a text that would be begins with an apostrophe."""
    into = io.StringIO()
    writer = csv.writer(into, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_safe(value) for value in row])
    return _MARK + into.getvalue()


def _safe(value: Any) -> Any:
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    return "" if pd.isna(value) else plain(value)


def _service(desk: Desk, fan: str | None) -> pd.DataFrame:
    entries = [entry for entry in desk.site.service if fan in (None, entry.fan)]
    rows = [[getattr(entry, name) for name in _SERVICE_COLUMNS] for entry in entries]
    return pd.DataFrame(rows, columns=list(_SERVICE_COLUMNS))
