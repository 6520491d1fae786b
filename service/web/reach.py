"""From where the pages can be reached: under which names, through what, and how that is encrypted."""

import ipaddress
import socket
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from starlette.types import Scope

LOOPBACK_NAMES: Final = ("localhost", "127.0.0.1", "[::1]")
# What a proxy adds. Where no proxy is declared, it is a sign that one stands between all the same.
FORWARDING: Final = (b"forwarded", b"x-real-ip", b"via", b"true-client-ip", b"x-client-ip")
_WILDCARDS: Final = ("0.0.0.0", "::", "")


def is_loopback(bind: str) -> bool:
    """Tell whether an address can be reached from this machine alone."""
    if bind == "localhost":
        return True
    try:
        return ipaddress.ip_address(bind).is_loopback
    except ValueError:
        return False


@dataclass(frozen=True, slots=True)
class Reach:
    """An address that is served; `is_encrypted` by this process, or before it by a proxy."""

    bind: str
    port: int
    public_url: str = ""
    is_behind_proxy: bool = False
    is_encrypted: bool = False

    @property
    def is_secure(self) -> bool:
        """Whether a browser speaks to it encrypted, so that its cookies may say so."""
        return self.is_encrypted or self.is_behind_proxy

    @property
    def own_name(self) -> str:
        """The name that the bound address itself has in a Host header."""
        return f"[{self.bind}]".lower() if ":" in self.bind else self.bind.lower()

    @property
    def address(self) -> str:
        """Where to open the pages."""
        if self.public_url:
            return f"{self.public_url}/"
        name = self.own_name if self.bind not in _WILDCARDS else socket.gethostname().lower()
        return f"{'https' if self.is_encrypted else 'http'}://{name}:{self.port}/"

    @property
    def hosts(self) -> dict[str, frozenset[int | None]]:
        """Return the names that a Host header may hold, and the ports with each."""
        names = [*LOOPBACK_NAMES, self.own_name]
        if self.is_encrypted and not is_loopback(self.bind):
            names += [socket.gethostname().lower(), socket.getfqdn().lower()]
        found: dict[str, frozenset[int | None]] = dict.fromkeys(names, frozenset((None, self.port)))
        public = self.public_name
        if public is not None:
            name, port = public
            found[name] = found.get(name, frozenset()) | {port, None if port == 443 else port}
        return found

    @property
    def public_name(self) -> tuple[str, int] | None:
        """Return the host and port of the public address, None where none is declared."""
        if not self.public_url:
            return None
        parts = urlsplit(self.public_url)
        host = parts.hostname or ""
        return (f"[{host}]" if ":" in host else host), parts.port or 443

    def origin(self, host: str) -> str:
        """Return the origin of a page asked for under a Host header."""
        return f"{'https' if self.is_secure else 'http'}://{host.lower()}"

    def is_local(self, scope: Scope, host: str) -> bool:
        """Tell whether a request comes from this machine to this machine, with nothing between."""
        name = host.lower().rsplit(":", 1)[0] if not host.endswith("]") else host.lower()
        is_named_so = name in LOOPBACK_NAMES or (name == self.own_name and is_loopback(self.bind))
        client = scope.get("client")
        comes_from_here = client is not None and is_loopback(client[0])
        return is_named_so and comes_from_here and not self.is_behind_proxy and not is_forwarded(scope)

    def comes_from(self, scope: Scope) -> str:
        """Return the address that tries to log in are counted by; of IPv6 the network of 64 bits.

        Behind a proxy it is the last one that `X-Forwarded-For` names: those before it are what the
        visitor's own side claims.
        """
        client = scope.get("client")
        address = client[0] if client else ""
        if self.is_behind_proxy:
            named = [value for name, value in scope["headers"] if name.lower() == b"x-forwarded-for"]
            if named:
                address = named[-1].decode("latin-1").rsplit(",", 1)[-1].strip()
        try:
            parsed = ipaddress.ip_address(address)
        except ValueError:
            return address
        if parsed.version == 6 and parsed.ipv4_mapped is None:
            return str(ipaddress.ip_network((parsed, 64), strict=False))
        return str(parsed)


def is_forwarded(scope: Scope) -> bool:
    """Tell whether a header says that something stands between."""
    names = (name.lower() for name, _ in scope["headers"])
    return any(name in FORWARDING or name.startswith(b"x-forwarded-") for name in names)
