"""The frame the commands hang in: their registry, their help, their exit codes."""

import sys
from collections.abc import Sequence
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from service.command_line.alert import alert
from service.command_line.assess import assess
from service.command_line.backup import backup
from service.command_line.check import check
from service.command_line.demo import demo
from service.command_line.digest import digest
from service.command_line.export import export
from service.command_line.log import log
from service.command_line.move import move
from service.command_line.new_site import new_site
from service.command_line.outcome import outcome_of
from service.command_line.points import points
from service.command_line.pull import pull
from service.command_line.restore import restore
from service.command_line.retrofit import retrofit
from service.command_line.round import round_
from service.command_line.serve import serve
from service.command_line.user import user
from service.command_line.why import why


class Frame(TyperGroup):
    """The command group; a failure that can be foreseen ends as sentences and an exit code."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command and turn what stopped it into its exit code."""
        try:
            result = super().invoke(ctx)
            sys.stdout.flush()  # here, where a reader that has gone away is foreseen
        except Exception as error:
            outcome = outcome_of(error)
            if outcome is None:
                raise
            for sentence in outcome.sentences:
                print(sentence, file=sys.stderr)
            raise typer.Exit(outcome.exit_code) from None
        return result


app = typer.Typer(
    name="slipledger",
    cls=Frame,
    help="Infer the drive health of HVAC fans from building-automation trend logs.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
)


def _print_version(is_asked: bool) -> None:
    if is_asked:
        from importlib.metadata import PackageNotFoundError, version  # noqa: PLC0415 - only for this answer

        try:
            print(f"slipledger {version('slipledger')}")
        except PackageNotFoundError:
            print("slipledger, run from its sources")
        raise typer.Exit


@app.callback()
def _options(
    _version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Hold the options of the program itself."""


# One line a command: its name, and the function in the module of its own.
app.command("demo")(demo)
app.command("new-site")(new_site)
app.command("check")(check)
app.command("points")(points)
app.command("pull")(pull)
app.command("export")(export)
app.command("assess")(assess)
app.command("why")(why)
app.command("alert")(alert)
app.command("log")(log)
app.command("digest")(digest)
app.command("retrofit")(retrofit)
app.command("round")(round_)
app.command("serve")(serve)
app.command("move")(move)
app.command("backup")(backup)
app.command("restore")(restore)
app.add_typer(user, name="user")


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit with its code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # A terminal without UTF-8 gets an escape for a letter it lacks, never a UnicodeEncodeError.
            stream.reconfigure(errors="backslashreplace")
    app(args=arguments, prog_name="slipledger")
