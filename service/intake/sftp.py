"""SFTP with the server's key verified: fsspec's own takes any key that a server shows."""

from pathlib import Path
from typing import Any, Final, Self

import paramiko
from fsspec.implementations.sftp import SFTPFileSystem

_TIMEOUT_S: Final = 30.0
_SYSTEM_KEYS: Final = Path("/etc/ssh/ssh_known_hosts")


class VerifiedSftp(SFTPFileSystem):  # type: ignore[misc]
    """Files on a server whose key is in ~/.ssh/known_hosts or the system's own list."""

    cachable = False  # a connection may be gone by the next pass

    @classmethod
    def connected(cls, host: str, port: int, user: str | None, password: str | None) -> Self:
        """Connect; without a password the keys of the agent and of ~/.ssh sign."""
        return cls(
            host,
            port=port,
            username=user,
            password=password,
            timeout=_TIMEOUT_S,
            banner_timeout=_TIMEOUT_S,
            auth_timeout=_TIMEOUT_S,
            allow_agent=password is None,
            look_for_keys=password is None,
            host_key_policy="reject",
        )

    def _connect(self) -> None:
        self.client = paramiko.SSHClient()
        self.client.load_system_host_keys()
        if _SYSTEM_KEYS.is_file():
            self.client.load_system_host_keys(str(_SYSTEM_KEYS))
        self.client.set_missing_host_key_policy(self.host_key_policy)
        try:
            self.client.connect(self.host, **self.ssh_kwargs)
            self.ftp = self.client.open_sftp()
        except BaseException as error:
            self.client.close()
            if isinstance(error, paramiko.SSHException):
                raise OSError(self._advice(error)) from error
            raise

    def cat_file(self, path: str, start: int | None = None, end: int | None = None, **_more: Any) -> bytes:
        """Return a file's bytes, asked for all at once: a round trip for each piece takes minutes."""
        with self.ftp.open(path, "rb") as file:
            file.prefetch(file.stat().st_size)
            content: bytes = file.read()
        return content[start:end]

    def close(self) -> None:
        """End the connection."""
        self.client.close()

    def _advice(self, error: paramiko.SSHException) -> str:
        port = self.ssh_kwargs["port"]
        known = f"ssh-keyscan -p {port} {self.host} >> ~/.ssh/known_hosts"
        if isinstance(error, paramiko.BadHostKeyException):
            return (
                "the server's key is not the one in ~/.ssh/known_hosts: someone may stand in between. If the "
                f"server was set up anew, have its administrator confirm the key, then replace it ({known})"
            )
        if isinstance(error, paramiko.AuthenticationException):
            return f"the server does not take this user with this password or key ({error})"
        if "not found in known_hosts" in str(error):
            return (
                "its key is not known here: compare it with what its administrator says, then enter it with "
                f"{known}"
            )
        return str(error)
