"""A piece of work that failed for a reason a person can act on."""


class WorkFailed(Exception):  # noqa: N818 - named for what it says
    """The work could not be done; the message is one sentence saying what, where and what to do."""


class WrongInput(WorkFailed):
    """What was asked for names what is not there, or cannot be: what was typed is wrong, not the work."""
