"""How a problem is answered: as a page, or as JSON to programs."""

from typing import Any

import sqlalchemy as sa
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from service.web.paper import page
from service.web.problem import JSON_PATHS, Problem

_SEE: str = "see /openapi.json for what may be asked"


def problem_of(error: Exception) -> Problem:
    """Return what is said of an error."""
    if isinstance(error, Problem):
        return error
    if isinstance(error, RequestValidationError):
        told: list[Any] = [f"{'.'.join(str(part) for part in e['loc'])}: {e['msg']}" for e in error.errors()]
        return Problem(400, "; ".join(told), _SEE)
    if isinstance(error, HTTPException):
        if error.status_code == 404:
            return Problem(404, "There is nothing at this address.", "begin at /, or see /openapi.json")
        return Problem(error.status_code, str(error.detail), _SEE, error.headers)
    if isinstance(error, sa.exc.SQLAlchemyError):
        remedy = "see that the database can be reached and ask again; nothing is lost"
        return Problem(503, "The site's database did not answer.", remedy)
    remedy = "ask again; if it stays, the words on the server's own terminal say more"
    return Problem(500, "This could not be answered: an error nobody foresaw.", remedy)


def error_answer(path: str, problem: Problem) -> Response:
    """Return the answer to a request for an address that met a problem."""
    if path.startswith(JSON_PATHS):
        answer: Response = JSONResponse(problem.as_json(), problem.status)
    else:
        answer = page("error.html", problem.status, problem=problem)
    answer.headers.update(problem.headers)
    return answer
