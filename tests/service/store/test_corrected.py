"""Which days were read again after they had been judged."""

import datetime as dt
from pathlib import Path

import sqlalchemy as sa

from config import load_site
from service.store import Store, open_store
from service.store.corrected import Correction, corrections
from service.store.tables import generations, passes, touched_days
from tests.service.databases import database_line

FAN = "Mill SF-1"
FIRST = dt.date(2025, 6, 1)


def _site(folder: Path) -> Store:
    (folder / "site.toml").write_text(database_line(folder) + 'name = "Weir"\ntimezone = "America/Denver"\n')
    (folder / "fans.csv").write_text(f"fan,drive,motor_kw,speed_point\n{FAN},v_belt,7.5,P\n")
    return open_store(load_site(folder))


def _read(store: Store, number: int, on: dt.date, days: list[int], state: str = "current") -> dt.datetime:
    """Enter a pass that touched some days of June."""
    finished = dt.datetime.combine(on, dt.time(5), tzinfo=dt.UTC)
    generation = 1 if state == "current" else 2
    with store.writer() as connection:
        if not connection.execute(sa.select(generations.c.id).where(generations.c.id == generation)).all():
            made = {"id": generation, "folder": f"g{generation}", "settings_digest": "0"}
            connection.execute(sa.insert(generations), [{**made, "state": state, "begun": finished}])
        row = {"id": number, "marker": f"m{number}", "generation_id": generation, "settings_digest": "0"}
        done = {"state": "done", "has_readings": True, "started": finished, "finished": finished}
        connection.execute(sa.insert(passes), [{**row, **done}])
        touched = [{"pass_id": number, "fan": FAN, "date": dt.date(2025, 6, day)} for day in days]
        connection.execute(sa.insert(touched_days), touched)
    return finished


def test_days_that_a_later_pass_read_again_are_corrected_and_neighbours_stand_together(
    tmp_path: Path,
) -> None:
    with _site(tmp_path) as store:
        for day in range(1, 11):  # night by night, each export reaching back into the day before
            _read(store, day, dt.date(2025, 6, day + 1), sorted({day, max(day - 1, 1)}))
        with store.reader() as connection:
            assert corrections(connection, FAN) == ()
        late = _read(store, 11, dt.date(2025, 6, 20), [3, 4, 5, 8])
        with store.reader() as connection:
            assert corrections(connection, FAN) == (
                Correction(dt.date(2025, 6, 3), dt.date(2025, 6, 5), late),
                Correction(dt.date(2025, 6, 8), dt.date(2025, 6, 8), late),
            )
            assert corrections(connection, "another") == ()


def test_a_year_pulled_at_once_and_a_rebuild_correct_nothing(tmp_path: Path) -> None:
    with _site(tmp_path) as store:
        _read(store, 1, dt.date(2025, 12, 1), [1, 2, 3])
        _read(store, 2, dt.date(2026, 1, 1), [1, 2, 3], state="retired")
        with store.reader() as connection:
            assert corrections(connection, FAN) == ()
