"""A small site in a temporary folder."""

from pathlib import Path

import pytest

from config import SiteFolder, load_site
from tests.service.databases import database_line


@pytest.fixture
def site(tmp_path: Path) -> SiteFolder:
    folder = tmp_path / "a site"
    folder.mkdir()
    (folder / "site.toml").write_text(database_line(folder) + 'name = "S"\ntimezone = "UTC"\n')
    (folder / "fans.csv").write_text("fan,drive,motor_kw,speed_point\nA,direct,11,A speed\n")
    return load_site(folder)
