"""How the API answers with rows: as JSON, CSV or Parquet, page by page, and not again if nothing changed."""

import datetime as dt
import hashlib
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final

import pandas as pd
from fastapi import Query, Request, Response
from fastapi.responses import JSONResponse

from service.web.problem import Problem

JSON: Final = "application/json"
CSV: Final = "text/csv"
PARQUET: Final = "application/vnd.apache.parquet"  # as registered with IANA
MOST_ROWS: Final = 10_000
_FARTHEST: Final = 1_000_000_000
KINDS: Final = (JSON, CSV, PARQUET)


@dataclass(frozen=True, slots=True)
class Paging:
    """Which part of the rows is wanted."""

    limit: int
    offset: int


def paging(
    limit: Annotated[int, Query(ge=1, le=MOST_ROWS, description="Rows a page.")] = MOST_ROWS,
    offset: Annotated[int, Query(ge=0, le=_FARTHEST, description="Rows to pass over.")] = 0,
) -> Paging:
    """Read the paging of a request."""
    return Paging(limit, offset)


Row = Mapping[str, Any]


def page_of(request: Request, rows: Sequence[Row], columns: Sequence[str], part: Paging) -> Response:
    """Answer with one page of rows: of all of them, or of those from the offset on and one more."""
    is_more = len(rows) > part.limit
    following = {"offset": str(part.offset + part.limit), "limit": str(part.limit)}
    return answer(request, rows[: part.limit], columns, following if is_more else None)


def answer(
    request: Request, rows: Sequence[Row], columns: Sequence[str], following: Mapping[str, str] | None = None
) -> Response:
    """Answer with rows in the kind asked for; `following` are the parameters of the next page."""
    kind = kind_wanted(request.headers.get("accept", ""))
    body = _WRITERS[kind](rows, columns)
    tag = f'W/"{hashlib.sha256(body).hexdigest()[:32]}"'
    headers = {"etag": tag, "vary": "Accept, Authorization, Cookie", "cache-control": "private, no-cache"}
    if following is not None:
        path = request.scope["raw_path"].decode("latin-1")  # as it was sent: a header is no place for Unicode
        query = request.url.include_query_params(**following).query
        headers["link"] = f'<{path}?{query}>; rel="next"'
    if _is_known(request.headers.get("if-none-match", ""), tag):
        return Response(status_code=304, headers=headers)
    return Response(body, media_type=kind, headers=headers)


def kind_wanted(accept: str) -> str:
    """Return the kind of answer that an Accept header wants most; JSON where it does not matter."""
    ranges: list[tuple[float, str]] = []
    for part in accept.split(",") if accept.strip() else ["*/*"]:
        name, _, parameters = part.partition(";")
        ranges.append((_quality(parameters), name.strip().lower()))
    refused = {name for quality, name in ranges if quality <= 0.0}
    for quality, name in sorted(ranges, key=lambda one: -one[0]):
        if quality > 0.0:
            for kind in KINDS:
                fits = name in ("*/*", kind, f"{kind.split('/')[0]}/*")
                if fits and kind not in refused:
                    return kind
    raise Problem(406, "The answer cannot be of the kind asked for.", f"accept one of {', '.join(KINDS)}")


def _quality(parameters: str) -> float:
    for parameter in parameters.split(";"):
        name, _, value = parameter.partition("=")
        if name.strip().lower() == "q":
            try:
                quality = float(value)
            except ValueError:
                return 0.0
            return quality if math.isfinite(quality) else 0.0
    return 1.0


def _is_known(asked: str, tag: str) -> bool:
    known = {part.strip().removeprefix("W/") for part in asked.split(",")}
    return "*" in known or tag.removeprefix("W/") in known


def _as_json(rows: Sequence[Row], _columns: Sequence[str]) -> bytes:
    """Write rows as JSON: dates as ISO 8601, times in UTC with Z, null where there is no number."""
    return bytes(JSONResponse([{name: plain(value) for name, value in row.items()} for row in rows]).body)


def _as_csv(rows: Sequence[Row], columns: Sequence[str]) -> bytes:
    """Write rows exactly, as the command line's exports do."""
    return _frame(rows, columns).to_csv(index=False).encode()


def _as_parquet(rows: Sequence[Row], columns: Sequence[str]) -> bytes:
    into = io.BytesIO()
    _frame(rows, columns).to_parquet(into, index=False)
    return into.getvalue()


def _frame(rows: Sequence[Row], columns: Sequence[str]) -> pd.DataFrame:
    listed = [
        {name: ", ".join(value) if isinstance(value, list) else _cell(value) for name, value in row.items()}
        for row in rows
    ]
    return pd.DataFrame(listed, columns=list(columns))


def _cell(value: Any) -> Any:
    return plain(value) if isinstance(value, dt.date | dt.time) else value


def plain(value: Any) -> Any:
    """Return a value as JSON has it."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dt.datetime):
        in_utc = value.astimezone(dt.UTC)
        return f"{in_utc:%Y-%m-%dT%H:%M:%S}{f'.{in_utc.microsecond:06d}' if in_utc.microsecond else ''}Z"
    if isinstance(value, dt.time):
        return f"{value:%H:%M}"
    return value.isoformat() if isinstance(value, dt.date) else value


_WRITERS: Final = {JSON: _as_json, CSV: _as_csv, PARQUET: _as_parquet}
