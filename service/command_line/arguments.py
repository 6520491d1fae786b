"""The arguments and options that several commands take."""

from pathlib import Path
from typing import Annotated

import typer

SiteArgument = Annotated[Path, typer.Argument(metavar="SITE", help="The site's folder.", show_default=False)]
