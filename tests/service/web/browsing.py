"""A real browser before a real server: what people see, press and type."""

import contextlib
import datetime as dt
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from config import load_site
from service.store import open_store
from service.web import web_app

DESKTOP = {"width": 1500, "height": 1000}
PHONE = {"width": 390, "height": 844}
_FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
_PATIENCE_MS = 60_000


def chromium() -> str | None:
    """Return the system's Chromium, None where there is none."""
    return next((found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), None)


@contextlib.contextmanager
def served(folder: Path, now: dt.datetime) -> Iterator[str]:
    """Serve a site in this process, on a port of its own; yield its address."""
    site = load_site(folder)
    with open_store(site) as store, socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        port = listener.getsockname()[1]
        app = web_app(site, store, bind="127.0.0.1", port=port, clock=lambda: now)
        server = uvicorn.Server(uvicorn.Config(app, log_config=None, ws="none", lifespan="off"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        while not server.started:
            time.sleep(0.02)
        yield f"http://127.0.0.1:{port}"
        server.should_exit = True
        thread.join()


@contextlib.contextmanager
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=chromium(), args=_FLAGS)
        yield launched
        launched.close()


@dataclass
class Visit:
    """One tab: what the browser complained of, and what it asked for elsewhere."""

    page: Page
    address: str
    complaints: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def goto(self, path: str) -> None:
        self.page.goto(self.address + path, timeout=_PATIENCE_MS)

    def faults(self) -> list[str]:
        """Return what a careful visitor would find wrong with the page that is open."""
        answer = Axe().run(self.page)
        found = [
            f"{one['id']}: {one['help']}: {one['nodes'][0]['html'][:200]}"
            for one in answer.response["violations"]
        ]
        across = self.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        found += [f"runs {across} dots out of the window"] if across > 0 else []
        found += [] if self.page.title().endswith("Slipledger") else ["has no title of its own"]
        found += [] if self.page.locator("h1").count() == 1 else ["has not one heading"]
        return [*found, *self.complaints, *self.elsewhere]


@contextlib.contextmanager
def visiting(
    browser: Browser, address: str, size: dict[str, int], scheme: Any = "light", zone: str | None = None
) -> Iterator[Visit]:
    context = browser.new_context(viewport=size, color_scheme=scheme, timezone_id=zone)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(_PATIENCE_MS)
    visit = Visit(page, address)

    def noticed(url: str) -> None:
        visit.asked.append(url.removeprefix(address))
        if not url.startswith((address, "data:", "blob:")):
            visit.elsewhere.append(f"asks for {url}")

    page.on("console", lambda said: visit.complaints.append(f"console {said.type}: {said.text}"))
    page.on("pageerror", lambda error: visit.complaints.append(f"error: {error}"))
    page.on("request", lambda request: noticed(request.url))
    yield visit
    context.close()
