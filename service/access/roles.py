"""What somebody may do."""

from enum import StrEnum


class Role(StrEnum):
    """The three roles; each includes those before it."""

    VIEWER = "viewer"  # reads everything
    OPERATOR = "operator"  # also takes alerts in hand and enters service done
    ADMIN = "admin"  # also says who may do what

    def includes(self, other: "Role") -> bool:
        """Tell whether who has this role may do what the other one may."""
        order = list(Role)
        return order.index(self) >= order.index(other)


def lesser(one: Role, other: Role) -> Role:
    """Return the role of the two that may do less."""
    return one if other.includes(one) else other
