"""Do many fans of one place send nothing any more, or readings of the future?"""

import datetime as dt
from typing import Final

import sqlalchemy as sa

from config.folder import SiteFolder
from service.alerts.common_cause import What, common_causes
from service.alerts.telling import tell_of_places
from service.instants import stamp_of
from service.store.ledger_tables import fan_days
from service.store.store import Store
from service.words import plain_date

_AHEAD: Final = dt.timedelta(hours=1)


def tell_silence(site: SiteFolder, store: Store, now: dt.datetime) -> None:
    """Tell once where more than the set share of a building's fans fell silent on one day, or run ahead.

    One silent fan is no notice: the weekly mail says of it that it could not be judged, and why.
    """
    zone = site.site.zone
    limit = dt.timedelta(hours=site.site.alerts.silent_after_hours)
    newest = sa.func.max(fan_days.c.last_reading, type_=fan_days.c.last_reading.type).label("newest")
    query = sa.select(fan_days.c.fan, newest).where(fan_days.c.fan.in_(site.fan_names))
    with store.writer() as connection:
        last = {row.fan: row.newest for row in connection.execute(query.group_by(fan_days.c.fan))}
        silent = [(fan, time.astimezone(zone).date()) for fan, time in last.items() if now - time > limit]
        ahead = [(fan, now.astimezone(zone).date()) for fan, time in last.items() if time - now > _AHEAD]
        words = {fan: _latest(stamp_of(time).astimezone(zone)) for fan, time in last.items()}
        found = [*common_causes(site, What.SILENCE, silent), *common_causes(site, What.AHEAD, ahead)]
        tell_of_places(connection, site, found, words, now)


def _latest(local: dt.datetime) -> str:
    return f"Latest reading {local:%H:%M} on {plain_date(local.date())}."
