"""The checked-in campus, copied out of the package without simulating anything."""

from importlib import resources
from pathlib import Path


def write_campus(folder: Path) -> None:
    """Copy the checked-in site folder (site.toml, fans.csv, service_log.csv, drop) to a folder."""
    packaged = resources.files("demo_trends") / "campus"
    (folder / "drop").mkdir(parents=True, exist_ok=True)
    for name in ("site.toml", "fans.csv", "service_log.csv"):
        (folder / name).write_bytes((packaged / name).read_bytes())
    for export in (packaged / "drop").iterdir():
        if export.name.endswith(".csv"):
            (folder / "drop" / export.name).write_bytes(export.read_bytes())
