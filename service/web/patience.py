"""How long a connection may take to say what it wants."""

import asyncio
from typing import Final

from uvicorn.protocols.http.h11_impl import H11Protocol

LONGEST_HEAD_S: Final = 10.0


class PatientProtocol(H11Protocol):
    """HTTP that hangs up on whoever does not finish the head of a request.

    The server below counts only the rest between requests: a head that trickles in would hold one of its
    connections for ever.
    """

    head_s = LONGEST_HEAD_S
    _hanging_up: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for a request."""
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Go on waiting, from when the first byte came, or stop where a request is whole."""
        super().data_received(data)
        if self.cycle is None or self.cycle.response_complete:
            self._wait()
        else:
            self._stop_waiting()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no longer."""
        self._stop_waiting()
        super().connection_lost(exc)

    def _wait(self) -> None:
        if self._hanging_up is None:
            self._hanging_up = self.loop.call_later(self.head_s, self._hang_up)

    def _stop_waiting(self) -> None:
        if self._hanging_up is not None:
            self._hanging_up.cancel()
            self._hanging_up = None

    def _hang_up(self) -> None:
        self._hanging_up = None
        if not self.transport.is_closing():
            self.transport.close()
