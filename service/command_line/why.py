"""`slipledger why`: the verdict of a day with its evidence."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from service.command_line.arguments import SiteArgument, known_fan, plant_day

if TYPE_CHECKING:
    from service.assess.reasons import Why


_COLUMNS = (("size %", 8), ("pressure %", 11), ("load %", 8), ("command %", 10), ("misfit", 7))


def why(
    site: SiteArgument,
    *,
    fan: Annotated[str, typer.Option(metavar="FAN", help="The fan.", show_default=False)],
    date: Annotated[
        str | None, typer.Option(metavar="D", help="A plant day; default: the latest.", show_default=False)
    ] = None,
) -> None:
    """Say why the ledger says so: a day's verdict with its evidence."""
    from config import load_site  # noqa: PLC0415 - kept out of --help
    from service.assess.reasons import why as reasons  # noqa: PLC0415 - kept out of --help
    from service.store import open_store  # noqa: PLC0415 - kept out of --help

    declared = load_site(site)
    known_fan(declared, fan)
    day = None if date is None else plant_day(date, "--date")
    with open_store(declared) as store:
        told = reasons(declared, store, fan, day)
    if told.row is None and day is not None:
        remedy = "name a day the fan ran; without --date it is the latest"
        raise typer.BadParameter(f"{fan} has no row in the ledger for {day}; {remedy}", param_hint="--date")
    print("\n".join(_lines(fan, told)))


def _lines(fan: str, told: "Why") -> list[str]:
    from service.words import CAUTION  # noqa: PLC0415 - kept out of --help

    if told.row is None:
        return [
            f"{fan}: no row in the ledger; pull and assess first.",
            f"Healthy period: {told.healthy}.",
        ]
    lines = [f"{fan}, {told.row['date']}", "", *_verdict(told.row), f"Healthy period: {told.healthy}."]
    lines += [f"What its points let be seen: {told.sight}."] if told.sight else []
    lines += ["", *_table(told)] if told.seen is not None else []
    lines += ["", "Open alerts:", *(f"  {alert}" for alert in told.alerts)] if told.alerts else []
    return [*lines, "", CAUTION]


def _verdict(row: dict[str, Any]) -> list[str]:
    from analytics.vocabulary import Cause  # noqa: PLC0415 - kept out of --help
    from service.words import CAUSE_WORDS, EXCESS_IS, forecast_words, sureness  # noqa: PLC0415 - kept out of --help

    share = "" if row["cause_share"] is None else f" ({sureness(row['cause_share'])})"
    lines = [f"Verdict: {CAUSE_WORDS[Cause(row['cause'])]}{share}."]
    for name, words in (
        ("slip_ref", "Slip at the reference torque"),
        ("slip", "Slip that day"),
        ("slip_change", "  of it above the healthy drive"),
        ("drag_ref", "Drag rise at the reference torque"),
        ("drive_loss", "Drive loss that day"),
        ("drive_loss_change", "  of it above the healthy drive"),
    ):
        if row[f"{name}_pct"] is not None:
            low, high = row[f"{name}_low_pct"], row[f"{name}_high_pct"]
            lines.append(f"{words}: {row[f'{name}_pct']:.2f} % (95 %: {low:.2f} to {high:.2f})")
    if row["excess_kw"] is not None:
        lines.append(f"Excess power at the same air: {row['excess_kw']:.2f} kW ({EXCESS_IS})")
    ahead = forecast_words(row)
    lines += [f"Forecast: {ahead}."] if ahead else []
    lines.append(f"Hours running {row['hours']:.1f}, used {row['hours_used']}.")
    return [*lines, f"Note: {row['note']}."] if row["note"] else lines


def _table(told: "Why") -> list[str]:
    seen = told.seen
    if seen is None:
        return []
    titles = (f"{title:>{width}}" for title, width in _COLUMNS)
    head = " ".join([f"{'that day alone':34}", *titles])
    lines = [
        "Against the healthy fan at the same airflow and command; what each cause alone would have done:",
        head,
        "-" * len(head),
        f"{'seen':34} {'':>8} {seen.pressure_pct:11.2f} {seen.load_pct:8.2f}",
    ]
    lines += [
        f"{line.cause.value + ' (' + line.parameter.replace('_', ' ') + ')':34} {line.size_pct:8.2f} "
        f"{line.pressure_pct:11.2f} {line.load_pct:8.2f} {line.command_pct:10.2f} {line.misfit:7.1f}"
        for line in told.lines
    ]
    return [
        *lines,
        "Misfit is what is left, in standard deviations of a day. The verdict weighs all days and how often "
        "each cause comes.",
    ]
