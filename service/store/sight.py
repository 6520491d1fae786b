"""What the points of a fan let be seen, as it is written beside its healthy curves and told to people."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from analytics.healthy_quality import Flaw, Quality
from analytics.sight import Seen, Sight
from analytics.vocabulary import Role
from analytics.wrong_points import Refusal
from service.store.ledger_tables import curves

# What stands in the note of every row; empty where slip and drag are both seen.
ROW_WORDS: Final[dict[Seen, str]] = {
    Seen.SLIP_AND_DRAG: "",
    Seen.SLIP: "no load is read: drag is not seen, which is not none",
    Seen.NET: "only the net of slip and drag is seen, in which one hides the other: not seen is not none",
    Seen.EXCESS: "only excess power at this speed is seen; slip is not seen, which is not none",
    Seen.LOST: "only a lost drive is seen: one reading of the air cannot tell slip from what the system does",
    Seen.NOTHING: "nothing but the speed command is read",
}
_SEEN_WORDS: Final[dict[Seen, str]] = {
    **ROW_WORDS,
    Seen.SLIP_AND_DRAG: "slip and drag are both seen",
    Seen.SLIP: "slip is seen; no load is read, so drag is not, which is not none",
}
_STEP_TEST: Final = (
    "a step test after tensioning (five commands from 40 to 100 %, fifteen minutes each) would widen it"
)
_FLAW_WORDS: Final[dict[Flaw, str]] = {
    Flaw.FEW_HOURS: "it has {size:.0f} steady hours, 150 are wanted",
    Flaw.NARROW: "the fan hardly left one operating point in it; " + _STEP_TEST,
    Flaw.SLIP_GROWS: "slip grew within it by {size:.1f} points: choose an earlier or a later one",
    Flaw.DRAG_GROWS: "drag grew within it by {size:.1f} % of the reference torque: choose another one",
    Flaw.SLIPPING: (
        "the belt may have slipped by {size:.1f} % in it already, later slip on top: a tachometer pair tells"
    ),
}


@dataclass(frozen=True, slots=True)
class FanSight:
    """What is known of a fan's sight: `sight` None where no curves could be learned.

    `refusals` the points not used; `quality` what the healthy period lacks; `step_test_levels` how many
    levels of step tests were learned from.
    """

    sight: Sight | None
    refusals: tuple[Refusal, ...] = ()
    quality: tuple[Quality, ...] = ()
    step_test_levels: int = 0

    @property
    def row_note(self) -> str:
        """What every row of the fan says, empty where all its points are used and both are seen."""
        seen = "" if self.sight is None else ROW_WORDS[self.sight.seen]
        return "; ".join([*self.refused_words, *([seen] if seen else [])])

    @property
    def refused_words(self) -> tuple[str, ...]:
        """Each point not used, and why."""
        return tuple(f"{one.role}_point not used: it {one.reason}" for one in self.refusals)

    @property
    def seen_words(self) -> str:
        """What can be seen, how small a slip, and which point would help most."""
        if self.sight is None:
            return ""
        parts = [_SEEN_WORDS[self.sight.seen]]
        if self.sight.least_slip_pct is not None:
            parts.append(
                f"the smallest slip that shows within a week is {self.sight.least_slip_pct:.1f} % at the "
                "reference torque"
            )
        if self.sight.best_point is not None:
            parts.append(f"{self.sight.best_point}_point would help most")
        return "; ".join(parts)

    @property
    def quality_words(self) -> tuple[str, ...]:
        """What the healthy period lacks, and the step test in it."""
        flaws = tuple(_FLAW_WORDS[one.flaw].format(size=one.size) for one in self.quality)
        if self.step_test_levels == 0:
            return flaws
        return (f"the {self.step_test_levels} levels of a step test are learned from too", *flaws)

    @property
    def is_judged(self) -> bool:
        """Whether days can be judged, and not only a lost drive be told."""
        return self.sight is None or self.sight.seen.is_judged

    def as_json(self) -> dict[str, Any]:
        """Return it as it is written down."""
        seen = self.sight
        return {
            "seen": None if seen is None else seen.seen.value,
            "least_slip_pct": None if seen is None else seen.least_slip_pct,
            "best_point": None if seen is None or seen.best_point is None else seen.best_point.value,
            "refused": [{"role": one.role.value, "reason": one.reason} for one in self.refusals],
            "quality": [{"flaw": one.flaw.value, "size": one.size} for one in self.quality],
            "step_test_levels": self.step_test_levels,
        }


NO_SIGHT: Final = FanSight(None)


def sight_from_json(written: Mapping[str, Any] | None) -> FanSight:
    """Read it again; nothing is known where nothing is written."""
    if written is None:
        return NO_SIGHT
    best = written["best_point"]
    seen = None
    if written["seen"] is not None:
        seen = Sight(Seen(written["seen"]), written["least_slip_pct"], None if best is None else Role(best))
    return FanSight(
        seen,
        tuple(Refusal(Role(one["role"]), one["reason"]) for one in written["refused"]),
        tuple(Quality(Flaw(one["flaw"]), one["size"]) for one in written["quality"]),
        written.get("step_test_levels", 0),  # not written before step tests were known
    )


def latest_sights(connection: sa.Connection) -> dict[str, FanSight]:
    """Return what can be seen of each fan by its latest healthy period."""
    query = sa.select(curves.c.fan, curves.c.sight).order_by(curves.c.fan, curves.c.epoch)
    return {row.fan: sight_from_json(row.sight) for row in connection.execute(query)}
