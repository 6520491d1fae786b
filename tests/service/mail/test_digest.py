"""What the mail says of a ledger written by hand, and that nothing after the week's end is used."""

import datetime as dt

import pytest
import sqlalchemy as sa

from config.site import Crew
from service.alerts import acknowledge, shelve
from service.mail import Digest, Week, text_of, weekly_digest
from service.mail.opening import subject_of
from service.store.cost_tables import fan_loads
from service.store.fleet import Standing
from service.store.ledger_tables import daily, episodes, fan_days
from service.words import one_line
from tests.service.mail.conftest import FANS, WEEK, Ledger
from tests.service.web.test_round_page import load_of

DAY = dt.timedelta(days=1)


def facts(digest: Digest, fan: str) -> dict[str, str]:
    visit = next(one for one in digest.visits if one.fan == fan)
    return {fact.label: fact.text for fact in visit.facts}


def drifting(ledger: Ledger) -> None:
    """RF-1 gains half a point a day from 1 June and passes watch on 5 June, act on 9 June."""
    ledger.days(
        "RF-1",
        WEEK.first - 28 * DAY,
        WEEK.last + 7 * DAY,
        lambda date: 1.0 + max(0.0, 0.5 * (date - dt.date(2025, 6, 1)).days),
    )
    ledger.quiet("LEF-1", "AH-2")
    ledger.episode("RF-1", "belt_slip", dt.date(2025, 6, 8), act_on=dt.date(2025, 6, 12), level="act")


def test_a_quiet_week_is_one_line_and_whom_to_ask(ledger: Ledger) -> None:
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    lines = text_of(ledger.digest()).strip().splitlines()
    assert lines[0] == "A quiet week: 3 fans watched, none wants a visit. All could be judged."
    assert [line for line in lines[1:] if line] == [lines[-1]]
    assert "Fan Desk <fans@college.example>" in lines[-1]


def test_a_quiet_week_names_who_could_not_be_judged_and_why(ledger: Ledger) -> None:
    ledger.quiet("RF-1", "LEF-1")
    first = text_of(ledger.digest()).splitlines()[0]
    assert "1 could not be judged (AH-2: no operating day with readings yet)" in first


def test_a_recheck_of_new_belts_is_due_until_somebody_was_there(ledger: Ledger) -> None:
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    ledger.declare(service="RF-1,2025-06-10,belt_replaced,\nAH-2,2025-06-10,greased,\n")
    (due,) = ledger.digest().due
    assert due.fan == "RF-1"
    assert "recheck the tension after 24 to 48 h of running (11 Jun 2025 to 12 Jun 2025), overdue" in due.text
    assert "Due" in text_of(ledger.digest())
    ledger.declare(service="RF-1,2025-06-10,belt_replaced,\nRF-1,2025-06-12,inspected,\n")
    assert ledger.digest().due == ()


def test_four_weeks_after_a_change_the_mail_says_how_to_tell_what_it_saved(ledger: Ledger) -> None:
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    for changed, is_told in (("2025-05-11", False), ("2025-05-14", True), ("2025-05-19", False)):
        ledger.declare(service=f"RF-1,{changed},sheave_changed,\n")
        told = [one.text for one in ledger.digest().put_right if "what it saved" in one.text]
        assert bool(told) == is_told
    ledger.declare(service="RF-1,2025-05-14,sheave_changed,\n")
    (text,) = (one.text for one in ledger.digest().put_right if "what it saved" in one.text)
    assert "--before 2025-04-16..2025-05-13 --after 2025-05-15..2025-06-11" in text


def test_a_visit_says_what_pays_back_soonest(ledger: Ledger) -> None:
    drifting(ledger)
    with ledger.open() as store, store.writer() as connection:
        row = {"fan": "RF-1", "digest": "0" * 64, "profile": load_of(3000)}
        connection.execute(sa.insert(fan_loads), [row])
    told = facts(ledger.digest(), "RF-1")["What pays"]
    # Slip of 7 % above creep, 1 kW at a price of 1 over 3000 h: 3000 (1 / 0.93 - 1) = 226; one hour at 75.
    assert told.startswith("By [prices] of site.toml: retension, 75 USD, back in 0.3 (")


def test_a_week_without_readings_is_not_called_quiet(ledger: Ledger) -> None:
    digest = ledger.digest()
    assert subject_of(digest) == "No readings from the fan drives: Test College, week 24 of 2025"
    assert "No readings of this week from any of 3 fans: there never was one." in one_line(text_of(digest))
    ledger.days("RF-1", WEEK.first - dt.timedelta(days=9), WEEK.first - dt.timedelta(days=1))
    told = one_line(text_of(ledger.digest()))
    assert "the last is of 8 Jun 2025. Nothing is known of these drives since" in told
    assert "quiet" not in told


def test_a_week_in_which_every_fan_stood_has_readings(ledger: Ledger) -> None:
    row = {"digest": "0", "hours_running": 0.0, "hours_steady": 0, "interval_s": 300.0}
    noon = dt.datetime.combine(WEEK.last, dt.time(12), tzinfo=dt.UTC)
    with ledger.open() as store, store.writer() as connection:
        rows = [{**row, "fan": "RF-1", "date": WEEK.last, "last_reading": noon, "is_proof_seen": False}]
        connection.execute(sa.insert(fan_days), rows)
    assert text_of(ledger.digest()).startswith("A quiet week: 3 fans watched")


def test_what_is_open_is_still_told_in_a_week_without_readings(ledger: Ledger) -> None:
    drifting(ledger)
    told = one_line(text_of(ledger.digest(Week.parse("2025-W30"))))
    assert "No readings of this week from any of 3 fans: the last is of 22 Jun 2025." in told
    assert "As of then: 1 of 3 fans want a visit" in told


def test_a_slipping_fan_is_told_with_everything_its_visitor_needs(ledger: Ledger) -> None:
    drifting(ledger)
    told = facts(ledger.digest(), "RF-1")
    # On Sunday 15 June slip is 1 + 0.5 x 14 = 8 %, seven days before it 4.5 %.
    assert (
        "8.0 % (95 %: 7.3 to 8.8) at the reference torque, up 3.5 points since last week" in told["Slip now"]
    )
    assert told["Where"] == "Alder Hall, Penthouse."
    assert told["Way there"] == "Ladder from the hall."
    assert told["Serves"] == "Classrooms."
    assert "8 Jun 2025: slip past its limit (act)" in told["Since"]
    assert "97 % sure" in told["Likely"]
    assert "belt tension" in told["Check"]
    assert "17.0 % (95 %:" in told["Drive loss"]


def test_a_belt_that_slips_on_dragging_bearings_sends_somebody_to_both(ledger: Ledger) -> None:
    drifting(ledger)
    topic = "drive loss past its limit"
    ledger.episode("RF-1", "drive_loss", dt.date(2025, 6, 10), topic=topic, value_pct=5.2)
    digest = ledger.digest()
    told = facts(digest, "RF-1")
    assert "belt tension" in told["Check"]
    assert "check bearings" in told["Check"]
    assert "bearings or alignment drag: what is lost beside slip is past its own limit" in told["Likely"]
    why = next(one.why for one in digest.visits if one.fan == "RF-1")
    assert why == "the belt slips, and bearings or alignment drag"


def test_the_weeks_cost_is_excess_power_times_hours_times_price(ledger: Ledger) -> None:
    drifting(ledger)
    # Slip 5.0 to 8.0 % over seven days of 10 h: 0.05 kW a per cent: 22.75 kWh; at 0.2 a kWh 4.55.
    assert facts(ledger.digest(), "RF-1")["It costs"].startswith(
        "About 5 USD this week: 0.33 kW above the healthy drive at the same airflow and pressure"
    )


def test_who_must_be_told_follows_what_hangs_on_the_fan(ledger: Ledger) -> None:
    for fan in ("RF-1", "LEF-1", "AH-2"):
        ledger.days(fan, WEEK.first, WEEK.last, lambda _: 7.0)
        ledger.episode(fan, "belt_slip", WEEK.first)
    told = {fan: facts(ledger.digest(), fan)["Tell first"] for fan in ("RF-1", "LEF-1", "AH-2")}
    assert told["LEF-1"].startswith("Life safety. It keeps running until")
    assert "Fume hoods" in told["LEF-1"]
    assert told["AH-2"].startswith("Critical. Agree the time")
    assert "nothing critical is declared" in told["RF-1"]


def test_the_worst_comes_first_and_is_in_the_subject(ledger: Ledger) -> None:
    drifting(ledger)
    ledger.episode(
        "LEF-1", "drive_lost", dt.date(2025, 6, 14), cause="drive_lost", act_on=dt.date(2025, 6, 14)
    )
    digest = ledger.digest()
    assert [(one.fan, one.standing) for one in digest.visits] == [
        ("LEF-1", Standing.GO_NOW),
        ("RF-1", Standing.GO_SOON),
    ]


def test_sensor_and_command_faults_stand_apart_for_the_controls_contractor(ledger: Ledger) -> None:
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    ledger.episode("RF-1", "notice", dt.date(2025, 6, 10), cause="pressure_sensor")
    ledger.episode(
        "LEF-1",
        "notice",
        dt.date(2025, 6, 11),
        cause="speed_not_followed",
        topic="speed not followed",
        level="act",
        act_on=dt.date(2025, 6, 11),
    )
    digest = ledger.digest()
    assert digest.visits == ()
    told = {entry.fan: entry.text for entry in digest.controls}
    assert told["RF-1"].startswith("The pressure reading drifts (point P1), since 10 Jun 2025")
    assert "hand or bypass switch" in told["LEF-1"]


def test_a_notice_about_the_air_waits_for_the_round(ledger: Ledger) -> None:
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    ledger.episode("AH-2", "notice", dt.date(2025, 6, 10), cause="air_path")
    digest = ledger.digest()
    assert [entry.fan for entry in digest.on_the_round] == ["AH-2"]
    assert digest.visits == digest.controls == ()


def test_why_a_fan_could_not_be_judged(ledger: Ledger) -> None:
    ledger.quiet("RF-1", "LEF-1")
    blank = dict.fromkeys([column.name for column in daily.c if column.name.endswith("_pct")])
    note = "2 steady hours in the fitted range, 3 needed"
    ledger.days("AH-2", WEEK.first, WEEK.last, cause="not_judged", note=note, **blank)
    [entry] = ledger.digest().unseen
    assert entry.text == f"{note} (on 7 of the week's 7 operating days)"


def served(ledger: Ledger, after: float) -> None:
    """RF-1 slips 8 % until it is tightened on Tuesday 10 June; from then on `after`."""
    ledger.declare(service="RF-1,2025-06-10,retensioned,belts were slack\n")
    start = WEEK.first - 28 * DAY
    ledger.days("RF-1", start, WEEK.last + 7 * DAY, lambda d: 8.0 if d < dt.date(2025, 6, 10) else after)
    ledger.quiet("LEF-1", "AH-2")


def test_a_service_is_too_early_to_judge_then_put_right(ledger: Ledger) -> None:
    served(ledger, 1.2)
    ledger.episode(
        "RF-1", "belt_slip", dt.date(2025, 5, 20), closed_on=dt.date(2025, 6, 15), closed_by="service"
    )
    # Two days of run-in (11 and 12 June), then three judged days: 13, 14 and 15 June.
    [entry] = ledger.digest().put_right
    assert entry.text == (
        'Retensioned on 10 Jun 2025 ("belts were slack"): put right, and the data agree. Slip at the '
        "reference torque was 8.0 % before it and is 1.2 % over the last 3 judged days."
    )


def test_until_three_days_after_the_run_in_it_is_too_early_and_nobody_is_sent(ledger: Ledger) -> None:
    ledger.declare(service="RF-1,2025-06-12,retensioned,\n")
    start = WEEK.first - 28 * DAY
    ledger.days("RF-1", start, WEEK.last, lambda d: 8.0 if d < dt.date(2025, 6, 12) else 1.2)
    ledger.quiet("LEF-1", "AH-2")
    ledger.episode("RF-1", "belt_slip", dt.date(2025, 5, 20), level="act", act_on=dt.date(2025, 5, 25))
    digest = ledger.digest()
    assert digest.visits == ()
    [entry] = digest.put_right
    assert "too early to say. 1 of 3 judged days after two of run-in" in entry.text


def test_a_service_that_did_not_help_is_said_with_the_visit(ledger: Ledger) -> None:
    served(ledger, 7.6)
    ledger.episode("RF-1", "belt_slip", dt.date(2025, 5, 20), level="act", act_on=dt.date(2025, 5, 25))
    digest = ledger.digest()
    assert "no better by the data" in facts(digest, "RF-1")["Work done"]
    assert "no better by the data" in digest.put_right[0].text


def test_a_service_that_helped_in_part(ledger: Ledger) -> None:
    served(ledger, 4.5)
    # Of 7 points above the healthy 1 % half are gone: (8 - 4.5) / 7.
    assert "better in part. " in ledger.digest().put_right[0].text
    assert "50 % of what was too much is gone" in ledger.digest().put_right[0].text


def test_a_routine_service_on_a_tight_belt_had_nothing_to_put_right(ledger: Ledger) -> None:
    ledger.declare(service="RF-1,2025-06-10,retensioned,\n")
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    assert "nothing had to be put right" in ledger.digest().put_right[0].text


def test_a_past_week_uses_nothing_that_came_after_it(ledger: Ledger) -> None:
    drifting(ledger)
    before = text_of(ledger.digest())
    ledger.declare(service="RF-1,2025-06-17,retensioned,a later visit\n")
    ledger.episode(
        "LEF-1", "drive_lost", dt.date(2025, 6, 18), cause="drive_lost", act_on=dt.date(2025, 6, 18)
    )
    with ledger.open() as store, store.writer() as connection:
        late = daily.c.date > WEEK.last
        connection.execute(sa.update(daily).where(late).values(slip_ref_pct=1.0, cause="none"))
        mine = episodes.c.fan == "RF-1"
        gone = {"closed_on": dt.date(2025, 6, 20), "closed_by": "service"}
        connection.execute(sa.update(episodes).where(mine).values(**gone))
    assert text_of(ledger.digest()) == before


def test_an_alert_has_the_level_it_had_when_the_week_ended(ledger: Ledger) -> None:
    drifting(ledger)
    # Opened on Sunday 8 June as watch; past the act limit on 12 June.
    assert [one.standing for one in ledger.digest(Week(2025, 23)).visits] == [Standing.PLAN]
    assert [one.standing for one in ledger.digest().visits] == [Standing.GO_SOON]


@pytest.mark.long
def test_the_last_of_many_fans_still_has_its_facts(ledger: Ledger) -> None:
    many = [
        row.replace("RF-1", f"RF-{i:02d}").replace("A1,P1,I1", f"A{i}x,P{i}x,I{i}x")
        for i, row in enumerate([FANS[0]] * 25)
    ]
    ledger.declare(fans=tuple(many))
    for i in range(25):
        ledger.days(f"RF-{i:02d}", WEEK.last - 2 * DAY, WEEK.last, lambda _: 6.0)
        ledger.episode(f"RF-{i:02d}", "belt_slip", WEEK.last)
    digest = ledger.digest()
    assert len(digest.visits) == 25
    assert sum(one.picture is not None for one in digest.visits) == 20
    assert all(len(one.facts) >= 9 for one in digest.visits)


def test_each_crew_reads_of_its_buildings_and_its_trade(ledger: Ledger) -> None:
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    ledger.episode("RF-1", "belt_slip", WEEK.first)
    ledger.episode("LEF-1", "belt_slip", WEEK.first)
    ledger.episode("AH-2", "notice", WEEK.first, cause="pressure_sensor")
    alder = Crew(to=("a@college.example",), buildings=("Alder Hall",))
    controls = Crew(to=("c@college.example",), trade="controls")
    with ledger.open() as store:
        first, second, both = (
            weekly_digest(ledger.site, store, WEEK, circle)
            for circle in ((alder,), (controls,), (alder, controls))
        )
    assert ([one.fan for one in first.visits], first.controls, first.watched) == (["RF-1"], (), 1)
    assert ([one.fan for one in second.visits], [one.fan for one in second.controls]) == ([], ["AH-2"])
    assert ([one.fan for one in both.visits], [one.fan for one in both.controls]) == (["RF-1"], ["AH-2"])
    assert "Test College (Alder Hall; all buildings: controls)" in text_of(both)


def test_nobody_is_sent_again_for_what_somebody_has_in_hand(ledger: Ledger) -> None:
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    taken = ledger.episode("RF-1", "belt_slip", WEEK.first)
    aside = ledger.episode("LEF-1", "belt_slip", WEEK.first)
    at = dt.datetime.combine(WEEK.first, dt.time(18), tzinfo=dt.UTC)
    with ledger.open() as store:
        acknowledge(store, taken, "R. Vance", "belts ordered", at)
        shelve(store, aside, WEEK.last + dt.timedelta(days=3), "R. Vance", "shutdown", at)
    digest = ledger.digest()
    assert digest.visits == ()
    assert [entry.fan for entry in digest.in_hand] == ["LEF-1", "RF-1"]
    assert "by R. Vance since 9 Jun 2025 (belts ordered)" in digest.in_hand[1].text
    # A week later the date has passed: LEF-1 wants a visit again.
    ledger.days("LEF-1", WEEK.last + dt.timedelta(days=8), WEEK.last + dt.timedelta(days=9))
    later = ledger.digest(Week.of(WEEK.last + dt.timedelta(days=1)))
    assert [one.fan for one in later.visits] == ["LEF-1"]


def test_what_was_told_and_taken_back_is_said_in_that_week_only(ledger: Ledger) -> None:
    ledger.quiet("RF-1", "LEF-1", "AH-2")
    back = {"closed_on": WEEK.last, "closed_by": "data_changed"}
    ledger.episode("RF-1", "belt_slip", WEEK.first, **back)
    assert [entry.fan for entry in ledger.digest().taken_back] == ["RF-1"]
    assert ledger.digest(Week.of(WEEK.last + dt.timedelta(days=1))).taken_back == ()
