"""What to bring to a fan."""

from analytics.vocabulary import BearingLubrication, Drive
from config.epoch import FanEpoch
from service.words import one_line


def parts_words(epoch: FanEpoch) -> str:
    """Say which parts to bring, with blanks where fans.csv does not say."""
    if epoch.machine.drive is Drive.DIRECT:
        return "no belts: a direct drive"
    length = one_line(epoch.belt_length) if epoch.belt_length else "______ (read it off the old belt)"
    section = f"section {one_line(epoch.belt_section)}, " if epoch.belt_section else "section ______, "
    number = "____" if epoch.belt_count is None else f"{epoch.belt_count}"
    one_belt = epoch.belt_count == 1
    matched = "" if one_belt else ", one matched set"
    told = [f"{number} {'belt' if one_belt else 'belts'}: {section}{length}{matched}"]
    if epoch.bearing_lubrication is BearingLubrication.GREASE:
        told.append("grease as on the tag")
    if epoch.belt_tensioner:
        told.append(f"tensioned by {one_line(epoch.belt_tensioner)}")
    return "; ".join(told)
