"""What a monitoring system reads: ages, fans by standing, open alerts, refused values."""

from collections import Counter
from collections.abc import Iterator

import sqlalchemy as sa
from fastapi import APIRouter, Response
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from prometheus_client.registry import Collector

from service.store.fleet import Standing, fleet
from service.store.ledger_tables import episodes
from service.store.tables import intake
from service.web.desk import Desk
from service.web.health import Footing, footing, health


class SiteMetrics(Collector):
    """Reads the site's state at each scrape; nothing is counted in between."""

    def __init__(self, desk: Desk) -> None:
        """Read from this desk."""
        self._desk = desk

    def describe(self) -> list[Metric]:
        """Name nothing in advance: to do so would read the site."""
        return []

    def collect(self) -> Iterator[Metric]:
        """Yield every metric."""
        desk = self._desk
        state, _ = health(desk)
        yield GaugeMetricFamily("slipledger_well", "1 where /health answers 200.", float(state == "well"))
        with desk.store.reader() as connection:
            ground = footing(connection)
            refused = connection.execute(sa.select(sa.func.sum(intake.c.refused))).scalar() or 0
            by_kind = sa.select(episodes.c.kind, episodes.c.level, sa.func.count()).group_by(
                episodes.c.kind, episodes.c.level
            )
            opened = connection.execute(by_kind.where(episodes.c.closed_on.is_(None))).all()
        yield from self._ages(ground)
        yield GaugeMetricFamily(
            "slipledger_refused_values", "Values that could not be read, over all files pulled.", refused
        )
        alerts = GaugeMetricFamily("slipledger_open_alerts", "Alerts now open.", labels=["kind", "level"])
        for kind, level, count in opened:
            alerts.add_metric([kind, level], count)
        yield alerts
        standings = GaugeMetricFamily("slipledger_fans", "Fans by how they stand.", labels=["standing"])
        counted = Counter(fan.standing for fan in fleet(desk.site, desk.store))
        for standing in Standing:
            standings.add_metric([standing.value], counted[standing])
        yield standings

    def _ages(self, ground: Footing) -> Iterator[Metric]:
        if ground.last_pull is not None:
            age = (self._desk.clock() - ground.last_pull).total_seconds()
            yield GaugeMetricFamily(
                "slipledger_last_pull_age_seconds", "Seconds since the last pull ended.", age
            )
        if ground.ledger_reading is not None:
            yield GaugeMetricFamily(
                "slipledger_last_assessed_reading_timestamp_seconds",
                "Time of the newest reading that the daily ledger has judged.",
                ground.ledger_reading.timestamp(),
            )
        yield GaugeMetricFamily(
            "slipledger_passes_not_assessed",
            "Finished pulls that no assess has followed yet.",
            ground.passes_behind,
        )


def metrics_routes(desk: Desk) -> APIRouter:
    """Return the route."""
    router = APIRouter()
    registry = CollectorRegistry()
    registry.register(SiteMetrics(desk))

    @router.get("/metrics", summary="Metrics as text", response_class=Response)
    def _metrics() -> Response:
        return Response(generate_latest(registry), headers={"content-type": CONTENT_TYPE_LATEST})

    return router
