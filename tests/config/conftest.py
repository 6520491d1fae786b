"""A site folder that a test fills in."""

from collections.abc import Callable
from pathlib import Path

import pytest

SITE = 'name = "Campus"\ntimezone = "America/Denver"\n'
FANS = "fan,drive,motor_hp,motor_rpm,speed_point\nAHU-1,v_belt,20,1760,AHU1 SPD\n"

WriteSite = Callable[..., Path]


@pytest.fixture
def write_site(tmp_path: Path) -> WriteSite:
    """Write a site folder with these files; what is not given is a sound minimum."""

    def write(site: str = SITE, fans: str | bytes = FANS, service: str | None = None) -> Path:
        (tmp_path / "site.toml").write_text(site, encoding="utf-8")
        content = fans if isinstance(fans, bytes) else fans.encode()
        (tmp_path / "fans.csv").write_bytes(content)
        if service is not None:
            (tmp_path / "service_log.csv").write_text(service, encoding="utf-8")
        return tmp_path

    return write
