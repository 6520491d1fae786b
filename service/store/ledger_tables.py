"""The tables of the judgement: days of readings, healthy curves, the daily ledger, alert episodes."""

from typing import Final

import sqlalchemy as sa

from service.store.alert_tables import alerts
from service.store.tables import METADATA, UtcTime

NUMBERS: Final = (
    "slip_pct",
    "slip_low_pct",
    "slip_high_pct",
    "slip_change_pct",
    "slip_change_low_pct",
    "slip_change_high_pct",
    "slip_ref_pct",
    "slip_ref_low_pct",
    "slip_ref_high_pct",
    "drag_ref_pct",
    "drag_ref_low_pct",
    "drag_ref_high_pct",
    "drive_loss_pct",
    "drive_loss_low_pct",
    "drive_loss_high_pct",
    "drive_loss_change_pct",
    "drive_loss_change_low_pct",
    "drive_loss_change_high_pct",
    "excess_kw",
)

# What each plant day of a fan holds, so that an untouched day need not be read to know it is unchanged.
fan_days = sa.Table(
    "fan_days",
    METADATA,
    sa.Column("fan", sa.Text, primary_key=True),
    sa.Column("date", sa.Date, primary_key=True),
    sa.Column("digest", sa.String(64), nullable=False),
    sa.Column("hours_running", sa.Float, nullable=False),
    sa.Column("hours_steady", sa.Integer, nullable=False),
    sa.Column("interval_s", sa.Float, nullable=False),
    sa.Column("last_reading", UtcTime, nullable=False),
    # Whether the run proof was on in an hour in which the fan ran: one that never is, is not connected.
    sa.Column("is_proof_seen", sa.Boolean, nullable=False, server_default=sa.false()),
)

# How far the hours have followed the readings; one row.
hour_marks = sa.Table(
    "hour_marks",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("pass_id", sa.Integer, nullable=False),
    sa.Column("generation", sa.Text, nullable=False),
    sa.Column("hours_version", sa.Integer, nullable=False),
)

# What of the site's files each fan's hours were made with: with other settings they are made again.
hours_made = sa.Table(
    "hours_made",
    METADATA,
    sa.Column("fan", sa.Text, primary_key=True),
    sa.Column("digest", sa.String(64), nullable=False),
)

# The healthy curves of a fan's epoch, or the reason why there are none.
curves = sa.Table(
    "curves",
    METADATA,
    sa.Column("fan", sa.Text, primary_key=True),
    sa.Column("epoch", sa.Integer, primary_key=True),
    sa.Column("digest", sa.String(64), nullable=False),
    sa.Column("first_date", sa.Date),
    sa.Column("last_date", sa.Date),
    sa.Column("fitted", sa.JSON),
    sa.Column("reason", sa.Text),
    # What the fan's points let be seen, the points not used and why, the quality of the healthy period.
    sa.Column("sight", sa.JSON),
)

daily = sa.Table(
    "daily",
    METADATA,
    sa.Column("fan", sa.Text, primary_key=True),
    sa.Column("date", sa.Date, primary_key=True),
    sa.Column("hours", sa.Float, nullable=False),
    sa.Column("hours_used", sa.Integer, nullable=False),
    *(sa.Column(name, sa.Float) for name in NUMBERS),
    sa.Column("cause", sa.String(24), nullable=False),
    sa.Column("cause_share", sa.Float),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("is_healthy_period", sa.Boolean, nullable=False),
    sa.Column("shares", sa.JSON),
    sa.Column("last_reading", UtcTime, nullable=False),
    sa.Column("digest", sa.String(64), nullable=False),
    # The state after the day. Kept on the last row and on the last of each fortnight: a restart goes back to
    # the nearest one and computes the same rows again, at a thirteenth of the room.
    sa.Column("state", sa.LargeBinary),
    sa.Column("judged_on", sa.Date),
    # Whether a verdict was due: the healthy period, or its gathering, lies behind.
    sa.Column("is_awaited", sa.Boolean, nullable=False, server_default=sa.false()),
    # How far the day lay from what a fan without a fault would have shown, in standard deviations.
    sa.Column("slip_innovation", sa.Float),
    sa.Column("drag_innovation", sa.Float),
    # Slip and drag at the reference torque if that cause alone were at work: the forecast follows them.
    sa.Column("slip_alone_pct", sa.Float),
    sa.Column("drag_alone_pct", sa.Float),
    # When the trend reaches its next limit, of slip or of drag; the bounds hold four fifths, null is never.
    sa.Column("forecast_of", sa.String(8)),
    sa.Column("forecast_limit_pct", sa.Float),
    sa.Column("forecast_on", sa.Date),
    sa.Column("forecast_earliest", sa.Date),
    sa.Column("forecast_latest", sa.Date),
    # What work has changed for good, a parameter: offset, deviation, judged days until it is learned.
    sa.Column("new_normal", sa.JSON(none_as_null=True)),
)

# How each tachometer pair was taken: `words` for people; `is_taught` where the level rests on it. A pair
# waits for a judged day, `compared_on`, to be held against what was inferred.
tachometer_pairs = sa.Table(
    "tachometer_pairs",
    METADATA,
    sa.Column("fan", sa.Text, primary_key=True),
    sa.Column("date", sa.Date, primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("compared_on", sa.Date, nullable=False),
    sa.Column("motor_rpm", sa.Float, nullable=False),
    sa.Column("wheel_rpm", sa.Float, nullable=False),
    sa.Column("is_fresh", sa.Boolean, nullable=False),
    sa.Column("is_declared", sa.Boolean, nullable=False),
    sa.Column("nominal_ratio", sa.Float),
    sa.Column("slip_pct", sa.Float),
    sa.Column("inferred_pct", sa.Float),
    sa.Column("inferred_low_pct", sa.Float),
    sa.Column("inferred_high_pct", sa.Float),
    sa.Column("change_pct", sa.Float),
    sa.Column("change_sd_pct", sa.Float),
    sa.Column("load_ratio", sa.Float),
    sa.Column("is_taught", sa.Boolean, nullable=False),
    sa.Column("words", sa.Text, nullable=False),
)

# When a finding of raw readings began and ended: lost drives, stops though commanded. A row a change.
findings = sa.Table(
    "findings",
    METADATA,
    sa.Column("fan", sa.Text, primary_key=True),
    sa.Column("topic", sa.String(24), primary_key=True),
    sa.Column("hour", UtcTime, primary_key=True),
    sa.Column("is_present", sa.Boolean, nullable=False),
    sa.Column("date", sa.Date, nullable=False),
    sa.Column("decided_at", UtcTime, nullable=False),
)

# The alert episodes as the data now show them; derived, written anew for a fan whose ledger moved.
episodes = sa.Table(
    "episodes",
    METADATA,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("fan", sa.Text, nullable=False, index=True),
    sa.Column("kind", sa.String(16), nullable=False),
    sa.Column("topic", sa.String(40), nullable=False),
    sa.Column("level", sa.String(8), nullable=False),
    sa.Column("opened_on", sa.Date, nullable=False),
    sa.Column("opened_at", UtcTime, nullable=False),
    sa.Column("act_on", sa.Date),
    sa.Column("cause", sa.String(24), nullable=False),
    sa.Column("cause_share", sa.Float, nullable=False),
    sa.Column("alike", sa.JSON, nullable=False),
    sa.Column("closed_on", sa.Date),
    sa.Column("closed_by", sa.String(16)),
    sa.Column("value_pct", sa.Float),
    sa.Column("message", sa.Text, nullable=False),
    sa.Column("alert_id", sa.ForeignKey(alerts.c.id), nullable=False),
    sa.CheckConstraint("level in ('watch', 'act')", name="level"),
)

# Up to which day a fan's ledger needs no second look: none of the days there, nor what they were judged by,
# has changed since. `made_of` all that they were judged by but the readings; `served` from when each measure
# runs on undisturbed by work. Gone as soon as one of the days changes.
settled_days = sa.Table(
    "settled_days",
    METADATA,
    sa.Column("fan", sa.Text, primary_key=True),
    sa.Column("date", sa.Date, nullable=False),
    sa.Column("as_of", UtcTime, nullable=False),
    sa.Column("made_of", sa.String(64), nullable=False),
    sa.Column("served", sa.JSON, nullable=False),
    sa.Column("is_proof_seen", sa.Boolean, nullable=False),
)

# How a fan's alerts stand after a day of its ledger, so that they go on from there. Gone as soon as a row of
# that day or before it is written again.
watched_days = sa.Table(
    "watched_days",
    METADATA,
    sa.Column("fan", sa.Text, primary_key=True),
    sa.Column("date", sa.Date, nullable=False),
    sa.Column("made_of", sa.String(64), nullable=False),
    sa.Column("standing", sa.JSON, nullable=False),
)

LEDGER_TABLES: Final = (
    fan_days,
    hour_marks,
    hours_made,
    curves,
    daily,
    settled_days,
    watched_days,
    tachometer_pairs,
    findings,
    episodes,
)
