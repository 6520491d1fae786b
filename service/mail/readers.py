"""Who reads the weekly mail, and of which buildings and trades."""

from dataclasses import dataclass

from config.site import Crew, Mail
from service.notices.headers import plain_address
from service.notices.notice import Trade
from service.notices.rows import concerns

Circle = tuple[Crew, ...]
EVERYTHING: Circle = ()


@dataclass(frozen=True, slots=True)
class Reader:
    """An address as declared, and the crews it reads for; none: everything."""

    whole: str
    circle: Circle


def weekly_readers(mail: Mail) -> dict[str, Reader]:
    """Return everyone the weekly mail is for; who is in `weekly` reads all, who is in crews theirs."""
    crews: dict[str, tuple[str, Circle]] = {}
    for crew in mail.crews:
        if "weekly" not in crew.gets:
            continue
        for whole in crew.to:
            first, circle = crews.get(plain_address(whole), (whole, ()))
            crews[plain_address(whole)] = (first, (*circle, crew))
    readers = {plain_address(one): Reader(one, EVERYTHING) for one in mail.weekly}
    return readers | {
        plain: Reader(whole, circle) for plain, (whole, circle) in crews.items() if plain not in readers
    }


def reads_of(circle: Circle, building: str | None, trade: Trade | None = None) -> bool:
    """Tell whether a circle reads of a building, and of a trade there."""
    if not circle:
        return True
    # A fan without a building is nobody's in particular: whoever reads of one building only does not see it.
    return any(concerns(crew, (building or "",), trade) for crew in circle)


def part_of(circle: Circle) -> str:
    """Say in a few words what of the site a circle reads; "" where it is all."""
    said = []
    for crew in circle:
        if not crew.buildings and not crew.trade:
            return ""
        of = ", ".join(crew.buildings) or "all buildings"
        said.append(f"{of}: {crew.trade}" if crew.trade else of)
    return "; ".join(dict.fromkeys(said))
