"""Alert episodes: opened on the hold_days-th day, one a drift, closed by what the agreement names."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.episode import Episode, Event, JudgedDay, Service
from analytics.episodes import episodes
from analytics.machine import Limits
from analytics.notices import UNLOGGED_TOPIC, UNSURE_FAULT
from analytics.vocabulary import AlertKind, AlertLevel, Cause, ClosedBy, Role, Work

FIRST = dt.date(2025, 3, 1)
LIMITS = Limits(
    slip_watch_pct=3.0,
    slip_act_pct=5.0,
    drive_loss_rise_watch_pct=4.0,
    drive_loss_rise_act_pct=8.0,
    hold_days=3,
)
NAN = float("nan")
SLIP, LOSS, LOST, NOTICE = AlertKind.BELT_SLIP, AlertKind.DRIVE_LOSS, AlertKind.DRIVE_LOST, AlertKind.NOTICE


def on(day: int) -> dt.date:
    return FIRST + dt.timedelta(days=day)


def at(day: int, hour: int = 23) -> dt.datetime:
    return dt.datetime.combine(on(day), dt.time(hour), tzinfo=dt.UTC)


def judged(day: int, slip: float, drag: float = 0.0, cause: Cause = Cause.NONE) -> JudgedDay:
    return JudgedDay(
        date=on(day),
        is_judged=True,
        is_healthy_period=False,
        is_awaited=True,
        slip_ref_pct=slip,
        drag_ref_pct=drag,
        cause=cause,
        cause_share=0.9,
        last_reading=at(day),
        limits=LIMITS,
        can_slip=True,
    )


def silent(day: int) -> JudgedDay:
    return replace(judged(day, 9.0), is_judged=False, cause=Cause.NOT_JUDGED)


def run(text: str, **levels: float) -> list[JudgedDay]:
    """Read a letter a day: . low, h below half the watch limit, w past watch, a past act, - not judged."""
    values = {".": 2.0, "h": 1.4, "w": 3.5, "a": 6.0, **levels}
    return [silent(i) if letter == "-" else judged(i, values[letter]) for i, letter in enumerate(text)]


def of_kind(
    days: Sequence[JudgedDay],
    kind: AlertKind = SLIP,
    services: Sequence[Service] = (),
    events: Sequence[Event] = (),
) -> list[Episode]:
    return [episode for episode in episodes(days, events, services) if episode.kind is kind]


@pytest.mark.parametrize(
    ("days", "opened", "act"),
    [
        ("..www.", [4], [None]),
        ("..ww.www", [7], [None]),
        # days not judged neither count nor break
        ("w-w--w.", [5], [None]),
        ("ww-", [], []),
        # watch, then act on the same row
        (".wwwaaa", [3], [6]),
        (".wwaaa.", [3], [5]),
        ("aaa", [2], [2]),
        ("wwwaawaa.", [2], [None]),
        # one alert a drift: it stays open over days below the limit
        ("www..www..www", [2], [None]),
        ("ww..ww..ww..", [], []),
    ],
)
def test_a_limit_opens_on_the_third_judged_day_past_it(
    days: str, opened: list[int], act: list[int | None]
) -> None:
    found = of_kind(run(days))
    assert [episode.opened_on for episode in found] == [on(day) for day in opened]
    assert [episode.act_on for episode in found] == [None if day is None else on(day) for day in act]
    assert [episode.level for episode in found] == [
        AlertLevel.WATCH if day is None else AlertLevel.ACT for day in act
    ]
    assert [episode.opened_at for episode in found] == [at(day) for day in opened]
    assert all(episode.closed_on is None for episode in found)


def test_on_the_limit_is_not_past_it() -> None:
    assert of_kind([judged(day, 3.0) for day in range(10)]) == []


@pytest.mark.parametrize("hold", [1, 2, 5])
def test_a_fan_may_hold_longer_or_shorter(hold: int) -> None:
    days = [replace(day, limits=replace(LIMITS, hold_days=hold)) for day in run("wwwwwww")]
    assert of_kind(days)[0].opened_on == on(hold - 1)


def test_the_opening_carries_the_days_cause() -> None:
    days = [judged(0, 4.0), judged(1, 4.0), judged(2, 4.4, cause=Cause.BELT_SLIP)]
    alert = of_kind(days)[0]
    assert (alert.cause, alert.cause_share, alert.value_pct) == (Cause.BELT_SLIP, 0.9, 4.4)


def test_drive_loss_has_its_own_limits() -> None:
    days = [judged(day, 1.0, drag) for day, drag in enumerate([3.9, 4.1, 4.2, 9.0, 9.0, 9.0])]
    assert of_kind(days) == []
    alert = of_kind(days, LOSS)[0]
    assert (alert.opened_on, alert.act_on) == (on(3), on(5))


def test_healthy_days_open_nothing_and_do_not_count() -> None:
    days = [replace(day, is_healthy_period=True, is_awaited=False) for day in run("aaaaaa")]
    assert episodes(days, (), ()) == ()
    later = [replace(judged(6 + i, 6.0)) for i in range(2)]
    assert episodes([*days, *later], (), ()) == ()
    assert of_kind([*days, *later, judged(8, 6.0)])[0].opened_on == on(8)


@pytest.mark.parametrize(
    ("days", "closed"),
    [
        ("www" + "h" * 10, 12),
        ("www" + "h" * 9, None),
        ("www" + "h" * 5 + "." + "h" * 9, None),
        # days not judged neither count nor break
        ("www" + "hhhhh" + "-----" + "hhhhh", 17),
        # at half the limit is not below it
        ("www" + "e" * 20, None),
    ],
)
def test_ten_judged_days_below_half_the_limit_close_by_data(days: str, closed: int | None) -> None:
    (alert,) = of_kind(run(days, e=1.5))
    assert alert.closed_on == (None if closed is None else on(closed))
    assert alert.closed_by is (None if closed is None else ClosedBy.DATA)


def test_a_closed_alert_opens_anew_only_after_its_hold() -> None:
    found = of_kind(run("www" + "h" * 10 + "ww" + "." + "www"))
    assert [episode.opened_on for episode in found] == [on(2), on(18)]
    assert [episode.closed_on for episode in found] == [on(12), None]


def test_service_closes_with_recovery_shown_on_three_judged_days_after_run_in() -> None:
    # Opened on day 2, tightened on day 5: days 6 and 7 are run-in, 8 to 10 show it.
    days = run("wwwwww" + ".." + "h" * 6)
    services = [Service(on(5), Work.RETENSIONED, None)]
    (alert,) = of_kind(days, services=services)
    assert (alert.closed_on, alert.closed_by) == (on(10), ClosedBy.SERVICE)
    # A day not judged after it puts the verdict off.
    days[9] = silent(9)
    (alert,) = of_kind(days, services=services)
    assert alert.closed_on == on(11)


@pytest.mark.parametrize(
    ("after", "work", "role"),
    [
        # not recovered: past the limit still, or below it with less than half of the rise gone
        ("wwwwwwwww", Work.RETENSIONED, None),
        ("lllllllll", Work.RETENSIONED, None),
        # work that has nothing to do with slip
        ("hhhhhhhhh", Work.GREASED, None),
        ("hhhhhhhhh", Work.INSPECTED, None),
        ("hhhhhhhhh", Work.SENSOR_CALIBRATED, Role.PRESSURE),
    ],
)
def test_service_alone_closes_nothing(after: str, work: Work, role: Role | None) -> None:
    days = run("wwwwww" + after, l=2.9)
    (alert,) = of_kind(days, services=[Service(on(5), work, role)])
    assert alert.closed_on is None


def test_a_service_before_the_alert_does_not_close_it() -> None:
    days = run("wwww" + "hhhhhhhh")
    (alert,) = of_kind(days, services=[Service(on(1), Work.RETENSIONED, None)])
    assert alert.closed_on is None


def test_a_failed_service_and_a_second_one() -> None:
    days = run("wwwwww" + "wwwwww" + ".." + "hhh")
    services = [Service(on(5), Work.RETENSIONED, None), Service(on(11), Work.BELT_REPLACED, None)]
    (alert,) = of_kind(days, services=services)
    assert (alert.closed_on, alert.closed_by) == (on(16), ClosedBy.SERVICE)


def test_aligning_closes_both_and_greasing_only_the_loss() -> None:
    days = [judged(i, 4.0, 5.0) for i in range(6)] + [judged(6 + i, 1.0, 0.2) for i in range(6)]
    aligned = episodes(days, (), [Service(on(5), Work.ALIGNED, None)])
    assert {episode.kind: episode.closed_by for episode in aligned} == dict.fromkeys(
        (SLIP, LOSS), ClosedBy.SERVICE
    )
    greased = episodes(days, (), [Service(on(5), Work.GREASED, None)])
    drive = [episode for episode in greased if episode.kind is not NOTICE]
    assert {episode.kind: episode.closed_by for episode in drive} == {SLIP: None, LOSS: ClosedBy.SERVICE}


def test_fourteen_days_without_a_verdict_are_a_notice() -> None:
    assert of_kind([silent(i) for i in range(13)], NOTICE) == []
    (alert,) = of_kind([silent(i) for i in range(20)], NOTICE)
    assert (alert.opened_on, alert.cause, alert.level) == (on(13), Cause.NOT_JUDGED, AlertLevel.WATCH)
    days = [silent(i) for i in range(20)] + [judged(20, 1.0)]
    (alert,) = of_kind(days, NOTICE)
    assert (alert.closed_on, alert.closed_by) == (on(20), ClosedBy.DATA)
    broken = [silent(i) for i in range(10)] + [judged(10, 1.0)] + [silent(i) for i in range(11, 24)]
    assert of_kind(broken, NOTICE) == []


def test_neither_a_lost_drive_nor_a_period_being_learned_is_silence() -> None:
    lost = [replace(silent(i), cause=Cause.DRIVE_LOST) for i in range(30)]
    assert episodes(lost, (), ()) == ()
    learning = [replace(silent(i), is_awaited=False) for i in range(30)]
    assert episodes(learning, (), ()) == ()


def test_days_of_a_lost_drive_do_not_count_as_slip() -> None:
    lost = [replace(silent(i), cause=Cause.DRIVE_LOST, slip_ref_pct=100.0) for i in range(10)]
    assert of_kind(lost) == []


def event(cause: Cause, topic: str, begin: int, end: int | None) -> Event:
    return Event(cause, topic, on(begin), at(begin, 14), None if end is None else on(end))


def test_a_lost_drive_opens_at_once_as_act_and_closes_when_it_is_whole() -> None:
    (alert,) = episodes((), [event(Cause.DRIVE_LOST, "drive lost", 4, None)], ())
    assert (alert.kind, alert.level, alert.opened_on, alert.act_on) == (LOST, AlertLevel.ACT, on(4), on(4))
    assert (alert.opened_at, alert.closed_on, alert.closed_by) == (at(4, 14), None, None)
    (alert,) = episodes((), [event(Cause.DRIVE_LOST, "drive lost", 4, 7)], ())
    assert (alert.closed_on, alert.closed_by) == (on(7), ClosedBy.DATA)
    services = [Service(on(6), Work.BELT_REPLACED, None)]
    (alert,) = episodes((), [event(Cause.DRIVE_LOST, "drive lost", 4, 7)], services)
    assert alert.closed_by is ClosedBy.SERVICE


def test_a_commanded_stop_is_a_notice_at_once() -> None:
    (alert,) = episodes((), [event(Cause.UNCLEAR, "stopped though commanded", 4, None)], ())
    assert (alert.kind, alert.level, alert.opened_at) == (NOTICE, AlertLevel.ACT, at(4, 14))


def test_a_sensor_fault_that_holds_is_a_notice_and_no_drive_alert() -> None:
    days = [judged(i, 1.0, cause=Cause.AIRFLOW_SENSOR) for i in range(5)]
    (alert,) = episodes(days, (), ())
    assert (alert.kind, alert.level, alert.opened_on) == (NOTICE, AlertLevel.WATCH, on(2))
    assert alert.cause is Cause.AIRFLOW_SENSOR
    healed = days + [judged(5 + i, 1.0) for i in range(10)]
    (alert,) = episodes(healed, (), ())
    assert (alert.closed_on, alert.closed_by) == (on(14), ClosedBy.DATA)
    served = [Service(on(5), Work.SENSOR_CALIBRATED, Role.AIRFLOW)]
    (alert,) = episodes(healed, (), served)
    assert (alert.closed_on, alert.closed_by) == (on(7), ClosedBy.SERVICE)


def test_slips_signature_on_a_drive_that_cannot_slip_is_an_act() -> None:
    days = [replace(judged(i, 0.0, cause=Cause.SPEED_NOT_FOLLOWED), can_slip=False) for i in range(4)]
    (alert,) = episodes(days, (), ())
    assert (alert.kind, alert.level, alert.act_on) == (NOTICE, AlertLevel.ACT, on(2))


def test_only_work_that_can_mend_a_fault_is_named_as_what_closed_it() -> None:
    lost = [event(Cause.DRIVE_LOST, "drive lost", 4, 7)]
    for work in (Work.GREASED, Work.INSPECTED, Work.FILTER_CHANGED):
        (alert,) = episodes((), lost, [Service(on(6), work, None)])
        assert alert.closed_by is ClosedBy.DATA, work
    sensor = [judged(i, 1.0, cause=Cause.AIRFLOW_SENSOR) for i in range(5)]
    healed = sensor + [judged(5 + i, 1.0) for i in range(10)]
    (alert,) = episodes(healed, (), [Service(on(5), Work.SENSOR_CALIBRATED, Role.PRESSURE)])
    assert (alert.closed_on, alert.closed_by) == (on(14), ClosedBy.DATA)


def test_what_logged_work_has_brought_is_no_fault_to_notice() -> None:
    days = [judged(i, 1.0, cause=Cause.RATIO_CHANGE) for i in range(6)]
    assert len(episodes(days, (), ())) == 1
    learning = [replace(day, expected=frozenset({Cause.RATIO_CHANGE})) for day in days]
    assert episodes(learning, (), ()) == ()


def unlogged(days: list[JudgedDay], services: Sequence[Service] = ()) -> list[Episode]:
    return [one for one in episodes(days, (), services) if one.topic == UNLOGGED_TOPIC]


def test_slip_that_goes_without_work_in_the_log_is_asked_about_until_it_is_entered() -> None:
    days = [judged(i, 6.0) for i in range(5)] + [judged(5 + i, 1.0) for i in range(20)]
    (asked,) = unlogged(days)
    assert (asked.kind, asked.level, asked.opened_on) == (NOTICE, AlertLevel.WATCH, on(7))
    assert (asked.closed_on, asked.closed_by) == (on(17), ClosedBy.DATA)
    assert unlogged(days, [Service(on(5), Work.RETENSIONED, None)]) == []
    assert unlogged(days, [Service(on(5), Work.GREASED, None)]) == [asked]
    assert unlogged([judged(i, 6.0 - 0.2 * i) for i in range(25)]) == []


letters = st.text(alphabet=".hwa-", max_size=80)
works = st.sampled_from([Work.RETENSIONED, Work.BELT_REPLACED, Work.GREASED, Work.INSPECTED, Work.RETROFIT])
visits = st.lists(st.tuples(st.integers(0, 80), works), max_size=6)


@given(letters, visits)
def test_episodes_of_a_kind_never_overlap_and_never_open_early(
    text: str, done: list[tuple[int, Work]]
) -> None:
    days = run(text)
    services = [Service(on(day), work, None) for day, work in done]
    found = episodes(days, (), services)
    for kind in (SLIP, LOSS):
        mine = [episode for episode in found if episode.kind is kind]
        for earlier, later in pairwise(mine):
            assert earlier.closed_on is not None
            # The earliest it can open again is hold_days judged days after it closed.
            between = [d for d in days if d.is_judged and earlier.closed_on < d.date <= later.opened_on]
            assert len(between) >= LIMITS.hold_days
        for episode in mine:
            before = [day for day in days if day.is_judged and day.date <= episode.opened_on]
            assert len(before) >= LIMITS.hold_days
            assert all(day.slip_ref_pct > LIMITS.slip_watch_pct for day in before[-LIMITS.hold_days :])
            assert episode.act_on is None or episode.act_on >= episode.opened_on
            assert (episode.act_on is None) == (episode.level is AlertLevel.WATCH)
            assert (episode.closed_on is None) == (episode.closed_by is None)
            assert episode.closed_on is None or episode.closed_on > episode.opened_on


@given(letters, visits, st.randoms(use_true_random=False))
def test_the_order_of_entries_does_not_matter(text: str, done: list[tuple[int, Work]], draw: object) -> None:
    days = run(text)
    services = [Service(on(day), work, None) for day, work in done]
    events = [event(Cause.DRIVE_LOST, "drive lost", 1, 3), event(Cause.UNCLEAR, "stopped", 5, None)]
    shuffled, moved = list(services), list(events)
    draw.shuffle(shuffled)  # type: ignore[attr-defined]
    draw.shuffle(moved)  # type: ignore[attr-defined]
    assert episodes(days, moved, shuffled) == episodes(days, events, services)


@given(letters, visits, st.integers(0, 80))
def test_what_opened_by_a_day_is_known_that_day(text: str, done: list[tuple[int, Work]], cut: int) -> None:
    days = run(text)
    services = [Service(on(day), work, None) for day, work in done]
    whole = episodes(days, (), services)
    known = episodes(
        [day for day in days if day.date <= on(cut)], (), [one for one in services if one.date <= on(cut)]
    )
    told = [(e.kind, e.topic, e.opened_on, e.opened_at, e.cause) for e in known]
    assert told == [
        (e.kind, e.topic, e.opened_on, e.opened_at, e.cause) for e in whole if e.opened_on <= on(cut)
    ]
    closed = {(e.kind, e.opened_on): (e.closed_on, e.closed_by) for e in known if e.closed_on is not None}
    later = {(e.kind, e.opened_on): (e.closed_on, e.closed_by) for e in whole}
    assert all(later[key] == value for key, value in closed.items())


def drifting(innovations: Sequence[float], slip: float = 1.8, **changed: object) -> list[JudgedDay]:
    told: dict[str, object] = {"cause": Cause.BELT_SLIP, "likeliest": Cause.BELT_SLIP} | changed
    return [
        replace(judged(i, slip), slip_innovation=value, **told)  # type: ignore[arg-type]
        for i, value in enumerate(innovations)
    ]


def test_a_drift_below_the_limit_is_one_notice_with_its_cause() -> None:
    found = episodes(drifting([1.5] * 30), [], [])
    (notice,) = found
    assert (notice.kind, notice.level, notice.cause) == (NOTICE, AlertLevel.WATCH, Cause.BELT_SLIP)
    # Page's sum grows by 1.5 less the slack of a half: past 7.05, the threshold of 0.05 a year, on day 8.
    assert notice.opened_on == on(7)
    assert notice.closed_on is None


def test_a_drift_names_no_cause_that_its_day_does_not_name() -> None:
    alike = (Cause.BELT_SLIP, Cause.WHEEL)
    (open_still,) = episodes(drifting([1.5] * 30, cause=Cause.UNCLEAR, cause_share=0.39, alike=alike), [], [])
    assert (open_still.cause, open_still.alike, open_still.cause_share) == (Cause.UNCLEAR, alike, 0.39)
    (unseen,) = episodes(drifting([1.5] * 30, cause=Cause.NONE, cause_share=0.9), [], [])
    assert (unseen.cause, unseen.alike) == (Cause.UNCLEAR, ())
    # What is left beside nothing is all that any fault may hold.
    assert unseen.cause_share == pytest.approx(0.1)


def test_a_limit_passed_on_an_unclear_day_keeps_what_that_day_could_not_tell_apart() -> None:
    alike = (Cause.BELT_SLIP, Cause.PRESSURE_SENSOR)
    days = [replace(judged(i, 4.0, cause=Cause.UNCLEAR), alike=alike) for i in range(5)]
    (alert,) = episodes(days, [], [])
    assert (alert.kind, alert.cause, alert.alike) == (SLIP, Cause.UNCLEAR, alike)


def test_a_limit_passed_names_its_own_cause_where_nothing_but_the_size_is_open() -> None:
    # The likelier first: either way there is no other fault to tell it from.
    for alike in ((Cause.BELT_SLIP, Cause.NONE), (Cause.NONE, Cause.BELT_SLIP)):
        unsure = [judged(i, 3.2, cause=Cause.UNCLEAR) for i in range(3)]
        (alert,) = of_kind([replace(day, alike=alike, likeliest_share=0.45) for day in unsure])
        assert (alert.cause, alert.cause_share, alert.alike) == (Cause.BELT_SLIP, 0.45, ())


def test_a_quiet_fan_has_no_drift_and_a_single_odd_day_is_none() -> None:
    assert episodes(drifting([0.3, -0.4] * 40), [], []) == ()
    assert episodes(drifting([0.0] * 10 + [40.0] + [0.0] * 10), [], []) == ()


def test_more_false_alerts_allowed_open_it_sooner() -> None:
    strict = episodes(drifting([1.5] * 30), [], [])
    loose = episodes(drifting([1.5] * 30, limits=replace(LIMITS, false_alerts_per_fan_year=2.0)), [], [])
    assert loose[0].opened_on < strict[0].opened_on


def test_days_not_judged_neither_count_nor_break_a_drift() -> None:
    whole = drifting([1.5] * 30)
    gaps = [silent(i) if i % 3 == 1 else day for i, day in enumerate(whole)]
    assert episodes(gaps, [], [])[0].opened_on == [day.date for day in gaps if day.is_judged][7]


def test_a_drift_closes_when_the_days_are_as_healthy_ones_for_as_long_as_the_sum_needs() -> None:
    (notice,) = episodes(drifting([1.5] * 12 + [0.0] * 30), [], [])
    # The sum is held at its threshold and falls by half a deviation a day.
    # Of 7.7 deviations at half a false alert in twenty years, sixteen days.
    assert notice.closed_on == on(12 + 15)
    assert notice.closed_by is ClosedBy.DATA


def test_a_drift_ended_by_work_on_the_belt_is_closed_by_service() -> None:
    days = drifting([1.5] * 12 + [0.0] * 30)
    (notice,) = episodes(days, [], [Service(on(12), Work.RETENSIONED, None)])
    assert notice.closed_by is ClosedBy.SERVICE


def test_a_drift_that_work_is_seen_to_have_put_right_is_closed_with_the_verdict_on_it() -> None:
    days = [
        replace(day, slip_ref_pct=2.6 if i < 12 else 1.1)
        for i, day in enumerate(drifting([1.5] * 12 + [0.4] * 30))
    ]
    (notice,) = episodes(days, [], [Service(on(11), Work.RETENSIONED, None)])
    # Two days of run-in, then three that agree.
    assert (notice.closed_on, notice.closed_by) == (on(11 + 5), ClosedBy.SERVICE)
    (open_still,) = episodes(days, [], [])
    assert open_still.closed_on is None or open_still.closed_on > on(11 + 5)


def test_past_the_limit_the_alert_takes_the_notices_place() -> None:
    days = drifting([1.5] * 12) + [
        replace(day, date=on(12 + i), last_reading=at(12 + i), slip_ref_pct=3.5)
        for i, day in enumerate(drifting([1.5] * 10))
    ]
    found = episodes(days, [], [])
    assert [one.kind for one in found] == [NOTICE, SLIP]
    assert found[0].closed_on == found[1].opened_on


def test_a_cause_that_is_told_is_not_told_again_because_it_moves_the_other_gauge() -> None:
    # A belt past its limit lowers the load too: its innovations are no news of the bearings.
    slipping = [
        replace(day, drag_innovation=2.0, slip_ref_pct=3.5, cause=Cause.BELT_SLIP)
        for day in drifting([2.0] * 30)
    ]
    assert [one.kind for one in episodes(slipping, [], [])] == [SLIP]
    # Once another cause is the likeliest and the ledger shows it, its drift is told.
    bearings = [
        replace(day, likeliest=Cause.DRAG, drag_ref_pct=1.5) if i >= 20 else day
        for i, day in enumerate(slipping)
    ]
    found = episodes(bearings, [], [])
    assert [(one.kind, one.opened_on) for one in found] == [(SLIP, on(2)), (NOTICE, on(20))]


def test_innovations_that_the_ledger_gives_to_others_are_no_drift_of_the_drive() -> None:
    unseen = [
        replace(day, likeliest=Cause.DRAG, drag_innovation=2.0, slip_innovation=0.0, drag_ref_pct=0.2)
        for day in drifting([2.0] * 30)
    ]
    assert episodes(unseen, [], []) == ()
    seen = [replace(day, drag_ref_pct=1.2) for day in unseen]
    assert [one.topic for one in episodes(seen, [], [])] == ["drive loss drifting"]


def test_neither_belt_nor_bearings_are_told_to_drift_while_the_other_is_the_likeliest() -> None:
    bearings = [replace(day, likeliest=Cause.DRAG) for day in drifting([2.0] * 30)]
    assert episodes(bearings, [], []) == ()
    belt = [
        replace(day, slip_innovation=0.0, drag_innovation=2.0, drag_ref_pct=1.5)
        for day in drifting([2.0] * 30)
    ]
    assert episodes(belt, [], []) == ()


def test_a_sensor_that_is_told_is_no_drift_of_the_belt_besides() -> None:
    days = [
        replace(day, cause=Cause.PRESSURE_SENSOR, likeliest=Cause.PRESSURE_SENSOR)
        for day in drifting([1.5] * 30)
    ]
    (notice,) = episodes(days, [], [])
    assert notice.topic == "no drive fault"


def between(day: int, *alike: Cause, **changed: object) -> JudgedDay:
    unclear = replace(judged(day, 1.0, cause=Cause.UNCLEAR), alike=alike, cause_share=0.6)
    return replace(unclear, **changed)  # type: ignore[arg-type]


def test_days_that_cannot_tell_a_filter_from_a_station_are_one_notice_of_the_likelier() -> None:
    path, station = Cause.AIR_PATH, Cause.AIRFLOW_SENSOR
    days = [between(i, *((path, station) if i % 3 else (station, path))) for i in range(12)]
    (notice,) = episodes(days, [], [])
    assert (notice.kind, notice.opened_on) == (NOTICE, on(2))
    assert (notice.cause, notice.alike) == (Cause.UNCLEAR, (path, station))
    assert (notice.topic, notice.cause_share) == (UNSURE_FAULT, 0.6)
    named = [replace(judged(12 + i, 1.0), cause=path) for i in range(4)]
    after = [judged(16 + i, 1.0) for i in range(12)]
    (closed,) = episodes([*days, *named, *after], [], [])
    assert (closed.closed_on, closed.closed_by) == (on(25), ClosedBy.DATA)


def test_days_that_may_be_the_drives_or_nothing_are_no_notice_of_another_fault() -> None:
    for other in (Cause.BELT_SLIP, Cause.DRAG, Cause.NONE):
        assert episodes([between(i, Cause.PRESSURE_SENSOR, other) for i in range(12)], [], []) == ()


def test_a_wheel_or_a_command_on_a_drive_that_cannot_slip_is_grave_whichever_it_is() -> None:
    either = Cause.WHEEL, Cause.SPEED_NOT_FOLLOWED
    (notice,) = episodes([between(i, *either, can_slip=False) for i in range(5)], [], [])
    assert notice.level is AlertLevel.ACT
    (mild,) = episodes(
        [between(i, Cause.WHEEL, Cause.PRESSURE_SENSOR, can_slip=False) for i in range(5)], [], []
    )
    assert mild.level is AlertLevel.WATCH


def test_a_fan_whose_healthy_days_scatter_more_must_drift_more() -> None:
    healthy = [
        replace(day, is_healthy_period=True, date=on(i - 30), slip_innovation=value)
        for i, (day, value) in enumerate(zip(drifting([0.0] * 30), [2.0, -2.0] * 15, strict=True))
    ]
    assert episodes([*healthy, *drifting([0.9] * 40)], [], []) == ()
