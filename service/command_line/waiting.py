"""What is said while another process writes to the site."""

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from service.store.lease import Holder


def say_who_writes(holder: "Holder") -> None:
    """Say on stderr for whom this command waits."""
    print(f"Waiting for {holder}.", file=sys.stderr, flush=True)
