"""The mark of each standing: two sheaves and what is between them."""

from typing import Final

from service.store.fleet import Standing

# The name of the drawing in templates/marks.html.
MARKS: Final[dict[Standing, str]] = {
    Standing.GO_NOW: "broken",
    Standing.GO_SOON: "slack",
    Standing.PLAN: "sagging",
    Standing.NOTE: "doubtful",
    Standing.TIGHT: "tight",
    Standing.UNSEEN: "unseen",
}
MEANINGS: Final[dict[Standing, str]] = {
    Standing.GO_NOW: "a drive is lost, a fan stopped though commanded, or does not turn as told",
    Standing.GO_SOON: "slip or drive loss is past the limit for acting",
    Standing.PLAN: "slip or drive loss is past the limit for watching",
    Standing.NOTE: "no drive fault: a sensor, a filter or a command wants a look",
    Standing.TIGHT: "nothing is past a limit",
    Standing.UNSEEN: "the readings do not allow a verdict; the row says why",
}


def slug(standing: Standing) -> str:
    """Return a standing as it stands in an address."""
    return standing.value.replace(" ", "-")
