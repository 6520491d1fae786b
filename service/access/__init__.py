"""Who may see and do what: people and their roles, passwords, sessions, tokens, and the tries to log in."""

from service.access.attempts import begin_attempt, end_attempt
from service.access.changes import Change, changes_of, note_change
from service.access.people import (
    User,
    add_user,
    is_anyone,
    name_key,
    set_disabled,
    set_password,
    set_role,
    users_of,
)
from service.access.roles import Role
from service.access.sessions import begin_session, end_session, user_of_session
from service.access.tokens import Token, make_token, revoke_token, tokens_of, user_of_token

__all__ = [
    "Change",
    "Role",
    "Token",
    "User",
    "add_user",
    "begin_attempt",
    "begin_session",
    "changes_of",
    "end_attempt",
    "end_session",
    "is_anyone",
    "make_token",
    "name_key",
    "note_change",
    "revoke_token",
    "set_disabled",
    "set_password",
    "set_role",
    "tokens_of",
    "user_of_session",
    "user_of_token",
    "users_of",
]
