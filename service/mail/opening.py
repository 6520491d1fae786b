"""The mail's subject and first sentences, the same in text and HTML."""

from collections.abc import Sequence
from typing import Final

from service.mail.digest import Digest
from service.mail.lists import Entry
from service.store.fleet import Standing
from service.words import plain_date

# Two sheaves and what is between them, as the pages draw it.
MARKS: Final[dict[Standing, str]] = {
    Standing.GO_NOW: "o/ /o",
    Standing.GO_SOON: "o~~~o",
    Standing.PLAN: "o-~-o",
}
_LONGEST_SUBJECT: Final = 110


def subject_of(digest: Digest) -> str:
    """Return the subject: what is wanted, before the name of the site."""
    week = f"week {digest.week.number} of {digest.week.year}"
    return _cut(f"{_wanted(digest)}: {digest.site}, {week}")


def _wanted(digest: Digest) -> str:
    if digest.now:
        rest = len(digest.visits) - 1
        more = f" and {rest} more to visit" if rest else ""
        return f"Go now: {digest.now[0].fan}{more}"
    if digest.visits:
        many = "fan" if len(digest.visits) == 1 else "fans"
        return f"{len(digest.visits)} {many} to visit"
    if not digest.has_readings:
        return "No readings from the fan drives"
    return "Quiet week at the fan drives" if digest.is_quiet else "No fan to visit"


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST_SUBJECT else f"{text[: _LONGEST_SUBJECT - 1]}…"


def title_of(digest: Digest) -> str:
    """Return the heading."""
    week = digest.week
    days = f"{plain_date(week.first)} to {plain_date(week.last)}"
    part = f" ({digest.part})" if digest.part else ""
    return f"{digest.site}{part}: fan drives in week {week.number}, {days}"


def summary_of(digest: Digest) -> str:
    """Return the first sentence: how many of how many; of a quiet week it is all there is to say."""
    if digest.has_readings:
        return _counted(digest)
    last_read = digest.last_read
    last = "there never was one" if last_read is None else f"the last is of {plain_date(last_read)}"
    silence = (
        f"No readings of this week from any of {digest.watched} fans{_of_part(digest)}: {last}. "
        "Nothing is known of these drives since; see why no exports arrive."
    )
    return silence if digest.is_quiet else f"{silence} As of then: {_counted(digest)}"


def _of_part(digest: Digest) -> str:
    return f" of {digest.part}" if digest.part else ""


def _counted(digest: Digest) -> str:
    unseen = len(digest.unseen)
    if digest.is_quiet:
        names = "; ".join(f"{entry.fan}: {entry.text}" for entry in digest.unseen)
        rest = f" {unseen} could not be judged ({names})." if unseen else " All could be judged."
        return f"A quiet week: {digest.watched} fans{_of_part(digest)} watched, none wants a visit.{rest}"
    now = f", {len(digest.now)} of them now" if digest.now else ""
    judged = f"{unseen} could not be judged" if unseen else "all could be judged"
    wanted = f"{len(digest.visits)} of {digest.watched} fans want a visit{now}"
    if not digest.visits:
        wanted = f"None of {digest.watched} fans wants a visit"
    return f"{wanted}; {digest.tight} are tight; {judged}."


def asking(digest: Digest) -> str:
    """Say who answers questions."""
    return f"Questions, or a finding that does not fit: answer this mail or write to {digest.ask}."


READING: Final = (
    "Slip and the rise of drive loss stand at each fan's reference torque, which one hour in twenty of its "
    "healthy period was above; the 95 % interval is meant to hold the true value nineteen times in twenty. "
    "A healthy belt creeps by about 1 %. Only what was known when the week ended is used."
)


def lists_of(digest: Digest) -> tuple[tuple[str, str, Sequence[Entry]], ...]:
    """Return the lists after the visits that have entries: heading, what the list is for, entries."""
    lists = (
        ("Work done, and what the data say", "What was put right since last week.", digest.put_right),
        ("Due", "By the calendar: belts to recheck, bearings to grease.", digest.due),
        (
            "For the controls contractor",
            "Sensor and command faults: the readings, not the drives.",
            digest.controls,
        ),
        (
            "When somebody is there anyway",
            "Filters, coils, wheels and inlets, and drifts that have not reached a drive's limit.",
            digest.on_the_round,
        ),
        (
            "In hand or set aside",
            "Somebody has said so; nobody is sent because of these until they get worse.",
            digest.in_hand,
        ),
        ("Taken back", "Told before; what came later does not show it.", digest.taken_back),
        ("Could not be judged", "No verdict this week, and why.", digest.unseen),
    )
    return tuple(one for one in lists if one[2])
