"""What went wrong with a request, and what to do: one shape for every page and every JSON answer."""

import json
from collections.abc import Mapping
from typing import Any, Final

from pydantic import BaseModel, ConfigDict
from starlette.types import Send

JSON_PATHS: Final = ("/api/", "/health", "/metrics", "/openapi.json")


class Problem(Exception):  # noqa: N818 - named for what it is
    """A request that cannot be answered: a status, one sentence, and what to do about it."""

    def __init__(
        self, status: int, message: str, remedy: str, headers: Mapping[str, str] | None = None
    ) -> None:
        """Keep the three parts, and what its answer's headers say beside them."""
        super().__init__(message)
        self.status = status
        self.message = message
        self.remedy = remedy
        self.headers: Mapping[str, str] = headers or {}

    def as_json(self) -> dict[str, Any]:
        """Return the JSON error shape."""
        return {"error": {"status": self.status, "message": self.message, "remedy": self.remedy}}


class ErrorPart(BaseModel):
    """The inside of every JSON error."""

    model_config = ConfigDict(frozen=True)

    status: int
    message: str
    remedy: str


class ErrorShape(BaseModel):
    """The shape of every JSON error."""

    model_config = ConfigDict(frozen=True)

    error: ErrorPart


async def refuse(problem: Problem, path: str, send: Send) -> None:
    """Answer with a problem where no page can be written: as JSON, or as one plain sentence."""
    if path.startswith(JSON_PATHS):
        kind, body = b"application/json", json.dumps(problem.as_json()).encode()
    else:
        sentence = f"{problem.message} {problem.remedy[0].upper()}{problem.remedy[1:]}.\n"
        kind, body = b"text/plain; charset=utf-8", sentence.encode()
    headers = [(b"content-type", kind), (b"content-length", str(len(body)).encode())]
    headers += [(name.lower().encode(), value.encode("latin-1")) for name, value in problem.headers.items()]
    await send({"type": "http.response.start", "status": problem.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
