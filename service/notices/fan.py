"""What whoever is sent to a fan must know before going: where it is, and who must be told first."""

from urllib.parse import quote

from analytics.vocabulary import Criticality
from config.epoch import FanEpoch
from config.folder import SiteFolder
from service.notices.notice import Fact
from service.words import one_line


def place_facts(epoch: FanEpoch) -> tuple[Fact, ...]:
    """Return where a fan is, how to get there and what it serves."""
    place = ", ".join(part for part in (epoch.building, epoch.location) if part)
    told = (
        ("Where", place or "not in fans.csv (building, location)"),
        ("Way there", epoch.access or "not in fans.csv (access)"),
        ("Serves", epoch.serves or "not in fans.csv (serves)"),
    )
    return tuple(Fact(label, f"{one_line(text)}.") for label, text in told)


def page_facts(site: SiteFolder, fan: str) -> tuple[Fact, ...]:
    """Return where a fan's page is, where the site says how its pages are reached."""
    url = site.site.web.public_url
    return (Fact("Page", f"{url}/fans/{quote(fan, safe='')}"),) if url else ()


def tell_first(epoch: FanEpoch) -> str:
    """Say who must be told before a fan is stopped."""
    serves = one_line(epoch.serves) if epoch.serves else "what it serves"
    if epoch.criticality is Criticality.LIFE_SAFETY:
        return (
            f"Life safety. It keeps running until whoever answers for safety where it serves ({serves}) has "
            "agreed and the work there has stopped."
        )
    if epoch.criticality is Criticality.CRITICAL:
        return f"Critical. Agree the time with the people who depend on it ({serves}) before it stops."
    return f"The building's operator; nothing critical is declared for it ({serves})."
