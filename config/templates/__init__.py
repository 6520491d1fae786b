"""The commented files of a new site, read from beside this module."""

import json
from importlib.resources import files
from pathlib import Path
from string import Template
from typing import Final

FILES: Final = ("site.toml", "fans.csv", "service_log.csv")


def template(file: str) -> str:
    """Return the text of a template."""
    return files(__name__).joinpath(file).read_text(encoding="utf-8")


def write_templates(folder: Path, name: str, timezone: str) -> None:
    """Write a new site's files and its drop folder; a file that is there is not touched."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "drop").mkdir(exist_ok=True)
    for file in FILES:
        text = template(file)
        if file == "site.toml":
            text = text.replace('name = "New site"', f"name = {_toml_text(name)}", 1)
            text = text.replace('timezone = "UTC"', f"timezone = {_toml_text(timezone)}", 1)
        with (folder / file).open("x", encoding="utf-8", newline="\n") as opened:
            opened.write(text)


def systemd_unit(name: str, user: str, executable: Path, folder: Path) -> str:
    """Return a systemd unit that serves a site; a per cent sign would begin one of its specifiers."""
    facts = {"name": name, "user": user, "executable": str(executable), "folder": str(folder)}
    escaped = {key: text.replace("%", "%%") for key, text in facts.items()}
    return Template(template("slipledger.service")).substitute(escaped)


def _toml_text(text: str) -> str:
    """Return a TOML basic string: JSON's escapes are TOML's, its bare DEL is not."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
