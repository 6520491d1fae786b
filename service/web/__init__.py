"""The pages and the API, for people and programs, behind a door."""

from service.web.app import web_app
from service.web.reach import is_loopback
from service.web.round_page import round_file
from service.web.serving import PLAIN, Transport, check_bind, listen, serve

__all__ = ["PLAIN", "Transport", "check_bind", "is_loopback", "listen", "round_file", "serve", "web_app"]
