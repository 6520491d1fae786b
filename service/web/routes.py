"""Every route there is, with who is answered on it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter
from fastapi.routing import APIRoute

from service.access import Role
from service.web.visitor import Require

# Answered to anybody: how else would one log in, or a monitor ask whether the service is well?
LOGIN_PATH: Final = "/login"
OPEN_PATHS: Final = (LOGIN_PATH, "/health")
OPEN_FOLDER: Final = "/static/"


@dataclass(frozen=True, slots=True)
class RouteRule:
    """A method and path, and the least role that is answered; None for everybody."""

    method: str
    path: str
    role: Role | None


class RouteTable:
    """The routes of some routers: which methods an address knows, and whom each asks for."""

    def __init__(self, routers: Iterable[APIRouter]) -> None:
        """Read the routers' routes."""
        self._routes: Sequence[APIRoute] = [
            route for router in routers for route in router.routes if isinstance(route, APIRoute)
        ]

    def methods(self, path: str) -> tuple[str, ...]:
        """Return the methods that an address knows, none where there is nothing there."""
        if path.startswith(OPEN_FOLDER) or path == "/openapi.json":
            return ("GET", "HEAD")
        here = (route for route in self._routes if route.path_regex.match(path))
        found = {name for route in here for name in route.methods or ()}
        return tuple(sorted(found | {"HEAD"} if "GET" in found else found))

    def rules(self) -> list[RouteRule]:
        """Return the rule of every route, by path."""
        found = [
            RouteRule(method, route.path, _role_of(route))
            for route in self._routes
            for method in route.methods or ()
        ]
        described = RouteRule("GET", "/openapi.json", Role.VIEWER)
        return sorted([*found, described], key=lambda rule: (rule.path, rule.method))


def is_open(path: str) -> bool:
    """Tell whether an address is answered to anybody."""
    return path in OPEN_PATHS or path.startswith(OPEN_FOLDER)


def _role_of(route: APIRoute) -> Role | None:
    if is_open(route.path):
        return None
    asked = [found.call.role for found in route.dependant.dependencies if isinstance(found.call, Require)]
    return max(asked, key=list(Role).index, default=Role.VIEWER)
