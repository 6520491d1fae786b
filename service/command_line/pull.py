"""`slipledger pull`: one pass over the sources."""

import datetime as dt
import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from service.command_line.arguments import SiteArgument

if TYPE_CHECKING:
    from service.intake import PassReport

_NOTES_SHOWN: Final = 20
_UNREAD_SHOWN: Final = 5
_UNTOLD_DATES: Final = "day or month first: not told"


def pull(
    site: SiteArgument,
    *,
    again: Annotated[
        bool, typer.Option("--again", help="Read every export ever kept anew, under today's settings.")
    ] = False,
    explain: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Say how a file is read, after the pass.", show_default=False),
    ] = None,
) -> None:
    """Make one pass over the sources.

    Takes in what is new; refused values and unreadable files are in `export intake`.
    """
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service.command_line.progress import showing_files  # noqa: PLC0415 - kept out of --help
    from service.command_line.waiting import say_who_writes  # noqa: PLC0415 - kept out of --help
    from service.failure import WorkFailed  # noqa: PLC0415 - kept out of --help
    from service.intake import pull as pull_once  # noqa: PLC0415 - kept out of --help
    from service.intake.explain import explain as explanation  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    declared = load_site(site)
    with open_store(declared, waiting=say_who_writes) as store:
        with showing_files("reading") as progress:
            report = pull_once(
                declared, store, again=again, clock=lambda: dt.datetime.now(dt.UTC), progress=progress
            )
        print(_summary(report))
        shown = report.notes[:_NOTES_SHOWN]
        if len(report.notes) > len(shown):
            shown.append(f"... and {len(report.notes) - len(shown)} more, in `decided` of `export intake`")
        for sentence in (*report.waiting, *_about_losses(report, site), *shown):
            print(sentence, file=sys.stderr)
        if explain is not None:
            print(explanation(declared, store, explain))
    if report.problems:
        raise WorkFailed("; ".join(report.problems) + "; the rest of the pull was done, nothing is lost")


def _summary(report: "PassReport") -> str:
    files = report.files
    unread = sum(row.decided.startswith("cannot be") for row in files)
    stored, identical, superseded, refused = (
        sum(getattr(row, name) for row in files) for name in ("stored", "identical", "superseded", "refused")
    )
    again = "Everything kept was read again: settings that shape the readings had changed, or --again.\n"
    lines = again if report.is_rebuilt else ""
    lines += f"{_count(len(files) - unread)} read, {report.skipped} already known"
    lines += f", {unread} unreadable" if unread else ""
    if not files:
        return f"{lines}; nothing new."
    return (
        f"{lines}: {stored} values stored, {identical} identical, {superseded} superseded, {refused} refused."
    )


def _about_losses(report: "PassReport", site: Path) -> list[str]:
    """Say why files could not be read, and how to find out about those of which something was refused."""
    unread = [row for row in report.files if row.decided.startswith("cannot be")]
    said = [f"{row.file}: {row.decided}" for row in unread[:_UNREAD_SHOWN]]
    if len(unread) > len(said):
        said.append(f"... and {len(unread) - len(said)} more, in `decided` of `export intake`")
    worst = max(report.files, key=lambda row: row.refused, default=None)
    if worst is None or not worst.refused:
        return said
    command = shlex.join(["slipledger", "pull", str(site), "--explain", worst.file])
    said.append(f"{worst.refused} refused in {worst.file}; line, value and reason of each: {command}")
    if any(_UNTOLD_DATES in row.decided and row.refused for row in report.files):
        said.append(
            "Where day and month cannot be told apart, write the source's time_format, such as "
            '"%d/%m/%Y %H:%M", under [[sources]] in site.toml: the next pull reads its files again.'
        )
    return said


def _count(files: int) -> str:
    return f"{files} file" if files == 1 else f"{files} files"
