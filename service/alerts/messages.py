"""What an alert says, in one sentence a technician understands, with what to look at."""

from typing import Final

from analytics.episode import Episode
from analytics.episodes import DRIFT_TOPICS
from analytics.notices import UNLOGGED_TOPIC
from analytics.vocabulary import AlertKind, Cause
from service.words import CAUSE_WORDS, LOOK_AT, about, capital, look_at, told_cause

_DRIFTING: Final = {
    DRIFT_TOPICS[AlertKind.BELT_SLIP]: "Belt slip",
    DRIFT_TOPICS[AlertKind.DRIVE_LOSS]: "Drive loss beside slip",
}


def message(episode: Episode) -> str:
    """Return the sentence of an episode."""
    return _MESSAGES[episode.kind](episode)


def _slip(episode: Episode) -> str:
    return (
        f"Belt slip of {episode.value_pct:.1f} % at the reference torque: past its limit; "
        f"{_cause(episode, Cause.BELT_SLIP)}."
    )


def _loss(episode: Episode) -> str:
    up = f"Drive loss up by {episode.value_pct:.1f} % of the reference torque beside slip: past its limit"
    if episode.cause is Cause.BELT_SLIP:
        # No belt explains what is lost beside its slip: both are at work.
        what = f"{CAUSE_WORDS[Cause.DRAG]}, and {CAUSE_WORDS[Cause.BELT_SLIP]} too"
        return f"{up}; {what}: {LOOK_AT[Cause.DRAG]}; {LOOK_AT[Cause.BELT_SLIP]}."
    return f"{up}; {_cause(episode, Cause.DRAG)}."


def _cause(episode: Episode, usual: Cause) -> str:
    looked = usual if episode.cause is Cause.NONE else episode.cause
    return f"{told_cause(episode.cause, episode.alike)}: {look_at(looked, episode.alike)}"


def _lost(episode: Episode) -> str:
    del episode
    return (
        "The motor turns without load and the air does not move: the belt or coupling is gone, or the wheel "
        "is loose on its shaft. Go and look."
    )


def _notice(episode: Episode) -> str:
    if episode.topic == "stopped though commanded":
        return "Stopped though commanded: tripped, locked out or a lost belt; look."
    if episode.topic == "speed not followed":
        return f"The motor's own speed differs from the command: {LOOK_AT[Cause.SPEED_NOT_FOLLOWED]}."
    if episode.topic == UNLOGGED_TOPIC:
        return (
            f"Slip went away, now {episode.value_pct:.1f} % at reference torque, with no work in the log; "
            "belts do not heal. If it was serviced, enter that with its date; if not, check the readings."
        )
    if episode.topic == "not judged":
        return "No judged day in fourteen: the ledger's notes say what is missing."
    if episode.topic in _DRIFTING:
        return (
            f"{_DRIFTING[episode.topic]} drifts up, to {episode.value_pct:.1f} % at the reference torque, "
            f"ahead of an alert at its limit; {_cause(episode, Cause.UNCLEAR)}."
        )
    what = about(episode.topic, episode.cause, episode.alike)
    return f"{capital(what)}: {look_at(episode.cause, episode.alike)}."


_MESSAGES: Final = {
    AlertKind.BELT_SLIP: _slip,
    AlertKind.DRIVE_LOSS: _loss,
    AlertKind.DRIVE_LOST: _lost,
    AlertKind.NOTICE: _notice,
}
