"""`slipledger points`: what the exports carry that no fan uses."""

import sys

from service.command_line.arguments import SiteArgument


def points(site: SiteArgument) -> None:
    """List point names that no fan uses, with a proposed role.

    As CSV, from the exports pulled so far; copy the names that fit into fans.csv.
    """
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service.intake.points import unused_points  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    declared = load_site(site)
    with open_store(declared) as store:
        found = unused_points(declared, store)
    found.to_csv(sys.stdout, index=False)
    if found.empty:
        print("The exports pulled so far hold no point name that no fan uses.", file=sys.stderr)
