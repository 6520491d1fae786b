"""The one script there is: it draws a fan's charts so that they answer to the pointer."""

from functools import cache
from importlib.resources import files
from typing import Final

import vl_convert

_SNIPPET: Final = files("service.web") / "closer_snippet.js"


@cache
def closer_script() -> str:
    """Return the drawing library with our few lines in it, put together once a process."""
    return str(vl_convert.javascript_bundle(_SNIPPET.read_text(encoding="utf-8")))
