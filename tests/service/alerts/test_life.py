"""The life of an alert: one a drift, every change a row, what people say of it, and data that come later."""

import datetime as dt

import pandas as pd
import pytest

from analytics.ledger import NAMED_CAUSES
from analytics.vocabulary import Cause
from service.alerts import acknowledge, close, log_service, shelve, take_up
from service.failure import WorkFailed
from tests.service.alerts.conftest import FIRST, NOW, Book, day

QUIET = (1.0,) * 3
DENVER_MIDNIGHT = dt.time(6, tzinfo=dt.UTC)  # in June


def test_each_change_is_a_row_that_says_when_it_became_true_and_when_it_was_written(book: Book) -> None:
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5)
    book.keep()
    later = NOW + dt.timedelta(days=3)
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5, 6.0, 6.0, 6.0)
    book.keep(later)
    assert book.states("F-1") == [("", "watch"), ("watch", "act")]
    opened, raised = book.history("F-1")
    # Opened by the reading it was decided on; raised by a whole plant day, which ends at Denver's midnight.
    assert opened.true_from == dt.datetime(2025, 6, 7, 12, tzinfo=dt.UTC)
    assert raised.true_from == dt.datetime.combine(day(9), DENVER_MIDNIGHT)
    assert (opened.written_at, raised.written_at) == (NOW, later)
    assert {row.who for row in (opened, raised)} == {"data"}


def test_nothing_new_writes_nothing(book: Book) -> None:
    book.slips("F-1", *QUIET, 6.0, 6.0, 6.0)
    book.keep()
    before = book.history("F-1"), book.outbox(), book.exported().to_csv()
    book.keep(NOW + dt.timedelta(days=1))
    assert (book.history("F-1"), book.outbox(), book.exported().to_csv()) == before


def test_an_alert_all_at_once_has_the_same_history_as_day_by_day(book: Book) -> None:
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5, 6.0, 6.0, 6.0, *[1.0] * 10)
    book.keep()
    # Slip that went without work in the log is asked about, by a notice of its own.
    asked = ("", "watch")
    assert sorted(book.states("F-1")) == sorted([asked, ("", "watch"), ("watch", "act"), ("act", "over")])


def test_late_data_that_move_the_opening_leave_the_alert_the_same(book: Book) -> None:
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5, 3.5)
    book.keep()
    alert = book.alert_of("F-1")
    book.slips("F-1", *QUIET, 3.5, 1.0, 3.5, 3.5, 3.5)
    book.keep()
    assert book.alert_of("F-1") == alert
    assert book.states("F-1", "opening") == [(str(day(5)), str(day(7)))]
    assert list(book.exported()["opened_on"]) == [day(7)]


def test_somebody_takes_an_alert_in_hand(book: Book) -> None:
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5)
    book.keep()
    with book.open() as store:
        acknowledge(store, book.alert_of("F-1"), "R. Vance", "belts are ordered", NOW)
    row = book.history("F-1")[-1]
    assert (row.old, row.new, row.who, row.why) == ("untouched", "in hand", "R. Vance", "belts are ordered")
    assert (row.true_from, row.until) == (NOW, None)
    with book.open() as store:
        take_up(store, book.alert_of("F-1"), "R. Vance", "moved to another shop", NOW)
    assert book.states("F-1", "handling")[-1] == ("in hand", "untouched")


def test_what_was_set_aside_comes_back_after_its_date(book: Book) -> None:
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5)
    book.keep()
    until = dt.date(2025, 6, 20)
    with book.open() as store:
        shelve(store, book.alert_of("F-1"), until, "R. Vance", "summer shutdown", NOW)
    last_minute = dt.datetime(2025, 6, 21, 5, 59, tzinfo=dt.UTC)  # 20 June 23:59 in Denver
    book.keep(last_minute)
    assert book.states("F-1", "handling") == [("untouched", "set aside")]
    book.keep(last_minute + dt.timedelta(minutes=1))
    book.keep(last_minute + dt.timedelta(days=1))
    assert book.states("F-1", "handling") == [("untouched", "set aside"), ("set aside", "untouched")]


@pytest.mark.parametrize("until", [dt.date(2025, 6, 15), dt.date(2027, 1, 1)])
def test_an_alert_is_set_aside_neither_for_the_past_nor_for_years(book: Book, until: dt.date) -> None:
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5)
    book.keep()
    with book.open() as store, pytest.raises(WorkFailed, match="for up to a year"):
        shelve(store, book.alert_of("F-1"), until, "R. Vance", "later", NOW)


def test_what_was_said_of_a_watch_alert_does_not_cover_its_rise_to_act(book: Book) -> None:
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5)
    book.keep(dt.datetime(2025, 6, 8, 12, tzinfo=dt.UTC))
    with book.open() as store:
        acknowledge(store, book.alert_of("F-1"), "R. Vance", "", dt.datetime(2025, 6, 8, 15, tzinfo=dt.UTC))
    assert book.outbox() == []
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5, 6.0, 6.0, 6.0)
    book.keep()
    assert book.states("F-1", "handling")[-1] == ("in hand", "untouched")
    assert [row.subject for row in book.outbox()] == ["Go soon: F-1: slip past its limit: Test College"]


def test_a_person_ends_an_alert_and_the_same_drift_opens_no_other(book: Book) -> None:
    book.slips("F-1", *QUIET, *[3.5] * 8)
    book.keep()
    with book.open() as store:
        close(store, book.alert_of("F-1"), "R. Vance", "new sheave, 3 % is its ratio", NOW)
    for days in (8, 9, 12):
        book.slips("F-1", *QUIET, *[3.5] * days)
        book.keep(NOW + dt.timedelta(days=days))
    ended = book.exported()
    assert list(ended["closed_by"]) == ["person"]
    assert list(ended["closed_on"]) == [NOW.date()]
    row = next(row for row in book.history("F-1") if row.aspect == "handling")
    assert (row.new, row.who, row.why) == ("over", "R. Vance", "new sheave, 3 % is its ratio")
    assert book.states("F-1") == [("", "watch"), ("watch", "over")]


def test_an_alert_that_a_person_ended_opens_again_when_it_rises_to_act(book: Book) -> None:
    book.slips("F-1", *QUIET, *[3.5] * 8)
    book.keep()
    alert = book.alert_of("F-1")
    early = dt.datetime.combine(day(9), dt.time(18), tzinfo=dt.UTC)
    with book.open() as store:
        close(store, alert, "R. Vance", "as found", early)
    book.slips("F-1", *QUIET, *[3.5] * 8, *[6.0] * 3)
    book.keep()
    assert book.alert_of("F-1") == alert
    assert book.exported()["closed_on"].isna().all()
    assert [row.occasion for row in book.outbox()] == [f"alert:{alert}:act"]


def test_an_episode_of_which_somebody_was_told_is_taken_back_once_and_said_so(book: Book) -> None:
    book.slips("F-1", *QUIET, 6.0, 6.0, 6.0)
    book.keep()
    for _ in range(3):
        book.slips("F-1", *QUIET, 6.0, 1.0, 6.0, 1.0)
        book.keep(NOW + dt.timedelta(days=1))
    ended = book.exported()
    assert list(ended["closed_by"]) == ["data_changed"]
    assert list(ended["closed_on"]) == [day(6)]
    assert book.states("F-1") == [("", "act"), ("act", "taken back")]
    assert [row.subject.split(":")[0] for row in book.outbox()] == ["Go soon", "Taken back"]


def test_an_episode_of_which_nobody_knew_leaves_only_its_history(book: Book) -> None:
    book.tell("")
    book.slips("F-1", *QUIET, 6.0, 6.0, 6.0)
    book.keep()
    book.slips("F-1", *QUIET, 6.0, 1.0, 6.0)
    book.keep()
    assert book.exported().empty
    assert book.states("F-1") == [("", "act"), ("act", "taken back")]


def test_service_for_an_alert_goes_into_the_log_and_by_whom_into_its_history(book: Book) -> None:
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5)
    book.keep()
    with book.open() as store:
        cells = {"date": "2025-06-12", "work": "retensioned", "note": "was 4 mm loose"}
        log_service(book.site, store, book.alert_of("F-1"), cells, "R. Vance", NOW)
    entry = book.site.service[-1]
    assert (entry.fan, entry.work.value, entry.note) == ("F-1", "retensioned", "was 4 mm loose")
    row = book.history("F-1")[-1]
    assert (row.aspect, row.new, row.who) == ("work", "retensioned on 2025-06-12", "R. Vance")


def test_what_cannot_be_said_of_an_alert_is_refused_and_nothing_is_written(book: Book) -> None:
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5)
    book.keep()
    alert = book.alert_of("F-1")
    with book.open() as store:
        with pytest.raises(WorkFailed, match="no alert 99"):
            acknowledge(store, 99, "R. Vance", "", NOW)
        with pytest.raises(WorkFailed, match="name is needed"):
            acknowledge(store, alert, "  ", "", NOW)
        with pytest.raises(WorkFailed, match="reason is needed"):
            close(store, alert, "R. Vance", "", NOW)
        close(store, alert, "R. Vance", "seen", NOW)
        with pytest.raises(WorkFailed, match="was over on"):
            acknowledge(store, alert, "R. Vance", "", NOW)
    assert book.states("F-1", "handling") == [("untouched", "over")]


def test_the_columns_of_the_export_are_those_agreed(book: Book) -> None:
    book.slips("F-1", *QUIET, 3.5, 3.5, 3.5)
    book.keep()
    agreed = "fan,kind,level,opened_on,opened_at,act_on,cause,cause_share,closed_on,closed_by,message"
    assert ",".join(book.exported().columns) == agreed
    assert pd.isna(book.exported().iloc[0]["closed_by"])


@pytest.mark.parametrize(
    ("after", "verdict"),
    [(1.2, "put right, and the data agree"), (4.2, "better in part"), (5.9, "no better by the data")],
)
def test_the_data_say_whether_service_brought_the_drive_back(book: Book, after: float, verdict: str) -> None:
    book.slips("F-1", *QUIET, *[6.0] * 4)
    book.keep()
    done = day(7)
    (book.folder / "service_log.csv").write_text(f"fan,date,work\nF-1,{done},retensioned\n")
    book.slips("F-1", *QUIET, *[6.0] * 4, *[after] * 3)
    book.keep(NOW + dt.timedelta(days=1))
    book.slips("F-1", *QUIET, *[6.0] * 4, *[after] * 6)
    book.keep(NOW + dt.timedelta(days=2))
    book.keep(NOW + dt.timedelta(days=3))
    early = "retensioned on 9 Jun 2025: too early to say"
    assert book.states("F-1", "proof") == [("", early), (early, f"retensioned on 9 Jun 2025: {verdict}")]
    row = next(row for row in reversed(book.history("F-1")) if row.aspect == "proof")
    assert "slip at the reference torque was 6.0 % before it" in row.why


def test_assessed_as_of_an_earlier_day_nothing_is_taken_back_and_nothing_told_again(book: Book) -> None:
    whole = (*QUIET, 1.0, 6.0, 6.0, 6.0)
    book.slips("F-1", *whole)
    book.keep()
    alert, mails, exported = book.alert_of("F-1"), book.outbox(), book.exported().to_csv()
    book.slips("F-1", *QUIET, 1.0)
    book.keep(NOW + dt.timedelta(hours=1))
    assert book.exported().empty
    book.slips("F-1", *whole)
    book.keep(NOW + dt.timedelta(hours=2))
    assert (book.alert_of("F-1"), book.outbox(), book.exported().to_csv()) == (alert, mails, exported)
    assert book.states("F-1") == [("", "act"), ("act", ""), ("", "act")]


def test_two_faults_besides_the_drive_that_look_alike_are_told_as_one_notice(book: Book) -> None:
    shares = [0.0] * len(NAMED_CAUSES)
    shares[NAMED_CAUSES.index(Cause.AIR_PATH)] = 0.6
    shares[NAMED_CAUSES.index(Cause.AIRFLOW_SENSOR)] = 0.4
    book.days("F-1", FIRST, day(5), cause="unclear", cause_share=0.6, shares=shares)
    book.keep()
    (row,) = book.exported("F-1").to_dict("records")
    # As the ledger's own row says it: the cause is unclear, and both are named.
    assert (row["kind"], row["cause"], row["cause_share"]) == ("notice", "unclear", 0.6)
    assert row["message"] == (
        "Unclear: a filter, coil or damper between fan and sensor loads, or the airflow reading drifts: look "
        "at filters and coils; check the airflow station's zero and calibration; no rpm tells these apart; "
        "the readings held against an instrument do."
    )
