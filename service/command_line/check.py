"""`slipledger check`: every fault in the site's files in one go, and what absent facts cost."""

from textwrap import fill
from typing import Final

from service.command_line.arguments import SiteArgument

_WIDTH: Final = 100


def check(site: SiteArgument) -> None:
    """Say every fault in the site's files at once.

    Each with its file, line and column and what to do; without faults, what absent facts cost.
    """
    from config import FaultySite, check_site  # noqa: PLC0415 - kept out of --help
    from config.service_log import FILE  # noqa: PLC0415 - kept out of --help
    from service.logbook import doubt_of_pair  # noqa: PLC0415 - kept out of --help

    report = check_site(site)
    if report.folder is None:
        raise FaultySite(report.faults)
    folder = report.folder
    points = {point for epoch in folder.fans for point in epoch.points.values()}
    print(
        f"{folder.site.name}: {_count(len(folder.fan_names), 'fan')}, {_count(len(points), 'point')}, "
        f"{_count(len(folder.service), 'service entry', 'service entries')}; no fault."
    )
    doubts = [
        f"{FILE}, line {entry.row}, {entry.fan}: {doubt}"
        for entry in folder.service
        if (doubt := doubt_of_pair(folder, entry)) is not None
    ]
    if doubts:
        print("\nTachometer pairs that are not used:")
    for doubt in doubts:
        print(fill(f"- {doubt}", width=_WIDTH, subsequent_indent="  "))
    for heading, costs in (
        ("Left to fill in:", [cost for cost in report.costs if cost.is_open_task]),
        ("What is absent and what that costs:", [cost for cost in report.costs if not cost.is_open_task]),
    ):
        if costs:
            print(f"\n{heading}")
        for cost in costs:
            print(fill(f"- {cost}", width=_WIDTH, subsequent_indent="  "))


def _count(number: int, one: str, many: str | None = None) -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"
