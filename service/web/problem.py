"""What went wrong with a request, and what to do: one shape for every page and every JSON answer."""

from typing import Any

from pydantic import BaseModel, ConfigDict


class Problem(Exception):  # noqa: N818 - named for what it is
    """A request that cannot be answered: a status, one sentence, and what to do about it."""

    def __init__(self, status: int, message: str, remedy: str) -> None:
        """Keep the three parts."""
        super().__init__(message)
        self.status = status
        self.message = message
        self.remedy = remedy

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
