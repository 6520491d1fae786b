"""What a monitoring system reads: ages, fans by standing, open alerts, refused values."""

from collections import Counter
from collections.abc import Iterator, Sequence

import sqlalchemy as sa
from fastapi import APIRouter, Response
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from prometheus_client.registry import Collector

from service.store.fleet import Standing, fleet
from service.store.ledger_tables import episodes
from service.store.outbox import Queue, queue
from service.store.runs import Heartbeat, read_heartbeats
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
            stored, refused = connection.execute(
                sa.select(sa.func.sum(intake.c.stored), sa.func.sum(intake.c.refused))
            ).one()
            by_kind = sa.select(episodes.c.kind, episodes.c.level, sa.func.count()).group_by(
                episodes.c.kind, episodes.c.level
            )
            opened = connection.execute(by_kind.where(episodes.c.closed_on.is_(None))).all()
            beats = read_heartbeats(connection)
            waiting = queue(connection)
        yield from self._ages(ground)
        yield from self._jobs(beats)
        yield from self._mails(waiting)
        yield GaugeMetricFamily(
            "slipledger_stored_values", "Values stored as readings, over all files pulled.", stored or 0
        )
        yield GaugeMetricFamily(
            "slipledger_refused_values", "Values that could not be read, over all files pulled.", refused or 0
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

    def _jobs(self, beats: Sequence[Heartbeat]) -> Iterator[Metric]:
        now = self._desk.clock()
        age = GaugeMetricFamily(
            "slipledger_job_age_seconds", "Seconds since a job of the worker was last done.", labels=["job"]
        )
        late = GaugeMetricFamily(
            "slipledger_job_late", "1 where a job should have been done by now.", labels=["job"]
        )
        failed = GaugeMetricFamily(
            "slipledger_job_failures", "Runs of a job that failed since one succeeded.", labels=["job"]
        )
        for beat in beats:
            if beat.done is not None:
                age.add_metric([beat.job], (now - beat.done).total_seconds())
            late.add_metric([beat.job], float(beat.is_late(now)))
            failed.add_metric([beat.job], beat.failures)
        yield from (age, late, failed)

    def _mails(self, waiting: Queue) -> Iterator[Metric]:
        yield GaugeMetricFamily(
            "slipledger_outbox_waiting", "Mails and hook calls that wait to go out.", waiting.waiting
        )
        oldest = 0.0 if waiting.oldest is None else (self._desk.clock() - waiting.oldest).total_seconds()
        yield GaugeMetricFamily(
            "slipledger_outbox_oldest_age_seconds", "Seconds that the oldest of them has waited.", oldest
        )
        yield GaugeMetricFamily(
            "slipledger_outbox_given_up", "Mails and hook calls that were refused for good.", waiting.given_up
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
