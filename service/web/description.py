"""The API's description: the OpenAPI document, and a plain page of it that loads nothing from elsewhere."""

from typing import Any, Final

from fastapi import APIRouter, FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.responses import Response

from service.web.desk import Desk
from service.web.paper import page

STABILITY: Final = (
    "Within /api/v1 routes, parameters and fields are added, never renamed, removed or given another meaning "
    "or unit; words of a list (causes, kinds, standings) may be added. Read fields by name, passing over "
    "those you do not know. What cannot be kept so comes under /api/v2, with /api/v1 answered for "
    "a year beside it."
)
ABOUT: Final = (
    "Drive health of HVAC fans. Times are UTC, ISO 8601 with Z; dates are plant days; names say the unit. "
    "Tables come as JSON, CSV or Parquet by the Accept header. A page that is not the last has a Link header "
    'with rel="next". An ETag changes when the answer does; sent as If-None-Match, it spares the body. '
    f"Every refusal has the shape ErrorShape. {STABILITY}"
)
_OF_ALL: Final = {
    "400": "What was asked cannot be understood.",
    "414": "The address is too long.",
    "421": "The Host header names another host.",
    "503": "The database did not answer, or not in time.",
}
_OF_CLOSED: Final = {
    "401": "Nobody has logged in, or the token does not hold.",
    "403": "There is no user yet, another site sent this, or the role does not do.",
}
_ERROR: Final = {"application/json": {"schema": {"$ref": "#/components/schemas/ErrorShape"}}}
_BEARER: Final = "token"
_METHODS: Final = ("get", "post")


def describe(app: FastAPI) -> None:
    """Let an application describe itself as it behaves: refusals in our shape, tokens, an open /health."""

    def described() -> dict[str, Any]:
        if app.openapi_schema is None:
            made = get_openapi(title=app.title, version=app.version, description=ABOUT, routes=app.routes)
            app.openapi_schema = _as_it_is(made)
        return app.openapi_schema

    app.openapi = described  # type: ignore[method-assign]


def _as_it_is(schema: dict[str, Any]) -> dict[str, Any]:
    for path, operations in schema["paths"].items():
        for method in _METHODS:
            operation = operations.get(method)
            if operation is None:
                continue
            responses = operation["responses"]
            if "HTTPValidationError" in str(responses.get("422")):
                del responses["422"]  # answered as 400 here
            is_open = path == "/health"
            operation["security"] = [] if is_open else [{_BEARER: []}]
            for status, said in (_OF_ALL if is_open else _OF_ALL | _OF_CLOSED).items():
                responses.setdefault(status, {"description": said, "content": _ERROR})
    parts = schema.setdefault("components", {})
    for unused in ("HTTPValidationError", "ValidationError"):
        parts.get("schemas", {}).pop(unused, None)
    parts["securitySchemes"] = {_BEARER: {"type": "http", "scheme": "bearer"}}
    return schema


def description_routes(desk: Desk, app: FastAPI) -> APIRouter:
    """Return the route of the page."""
    router = APIRouter(include_in_schema=False)

    @router.get("/api")
    def _page() -> Response:
        schema = app.openapi()
        routes = [
            (method.upper(), path, operation)
            for path, operations in schema["paths"].items()
            for method, operation in operations.items()
        ]
        tables = schema["components"]["schemas"]
        return page("api.html", site=desk.site.site, about=ABOUT, routes=routes, tables=tables)

    return router
