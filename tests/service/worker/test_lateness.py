"""A job that is late is told to somebody once: to who reads the weekly mail where nobody else is named."""

import datetime as dt
from pathlib import Path

import pytest
import sqlalchemy as sa

from config import load_site
from service.store import open_store
from service.store.mail_tables import outbox
from service.worker.lateness import tell_of_late_jobs
from tests.service.databases import database_line

NOW = dt.datetime(2025, 6, 16, 12, 0, tzinfo=dt.UTC)
FANS = "fan,drive,motor_kw,speed_point\nSF-1,v_belt,5,SF-1 speed\n"
WEEKLY = 'weekly = ["manager@hall.example"]\n'
IMMEDIATE = 'immediate = ["oncall@hall.example"]\n'
CREW = '[[mail.crews]]\nto = ["shop@hall.example"]\ngets = ["{}"]\n'


@pytest.mark.parametrize(
    ("named", "told"),
    [
        (WEEKLY, ["manager@hall.example"]),
        (WEEKLY + CREW.format("weekly"), ["manager@hall.example", "shop@hall.example"]),
        (WEEKLY + IMMEDIATE, ["oncall@hall.example"]),
        (WEEKLY + CREW.format("immediate"), ["shop@hall.example"]),
    ],
    ids=["weekly alone", "weekly and a crew's weekly", "immediate", "a crew at once"],
)
def test_a_late_job_is_told_to_somebody_once(tmp_path: Path, named: str, told: list[str]) -> None:
    head = f'{database_line(tmp_path)}name = "Hall"\ntimezone = "America/Denver"\n'
    (tmp_path / "site.toml").write_text(f'{head}[mail]\nfrom = "fans@hall.example"\n{named}')
    (tmp_path / "fans.csv").write_text(FANS)
    site = load_site(tmp_path)
    with open_store(site) as store:
        store.runs.meet("pull nightly", NOW - dt.timedelta(days=1), late_at=NOW - dt.timedelta(hours=1))
        for _ in range(2):
            tell_of_late_jobs(site, store, lambda: NOW, NOW)
        with store.reader() as connection:
            query = sa.select(outbox.c.recipient, outbox.c.subject).order_by(outbox.c.recipient)
            rows = connection.execute(query).all()
    assert [row.recipient for row in rows] == told
    assert {row.subject for row in rows} == {"Hall: the job 'pull nightly' is late"}
