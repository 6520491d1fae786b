"""The pages and the API, on loopback and read-only."""

from service.web.app import web_app
from service.web.serving import check_bind, listen, serve

__all__ = ["check_bind", "listen", "serve", "web_app"]
