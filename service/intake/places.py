"""On which file system a source is: a folder, or a server that fsspec reaches."""

import base64
import importlib.util
import re
import ssl
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import SplitResult, urlsplit

import fsspec
from fsspec.implementations.local import LocalFileSystem

from config.secrets import resolve_secrets
from config.site import Source

_REFERENCE: Final = re.compile(r"\{(?:env|file):[^{}]+\}")
# The module that a scheme needs, and the extra of this package that brings it.
_NEEDS: Final = {
    "sftp": ("paramiko", "sftp"),
    "ssh": ("paramiko", "sftp"),
    "s3": ("s3fs", "s3"),
    "s3a": ("s3fs", "s3"),
    "http": ("aiohttp", "http"),
    "https": ("aiohttp", "http"),
}


@dataclass(frozen=True, slots=True)
class Place:
    """A file system and the folder on it; `secrets` are never to be shown."""

    files: Any
    root: str
    secrets: tuple[str, ...] = ()

    @property
    def is_local(self) -> bool:
        """Tell whether it is on this machine."""
        return isinstance(self.files, LocalFileSystem)

    def close(self) -> None:
        """End the connection, where there is one that stays open."""
        ending: Callable[[], None] | None = getattr(self.files, "close", None)
        if ending is not None:
            ending()


def reach(source: Source, site_folder: Path) -> Place:
    """Return where a source is; raise whatever its file system raises where it cannot be reached."""
    if "://" not in source.url:
        folder = resolve_secrets(source.url, site_folder)
        return Place(LocalFileSystem(), str((site_folder / folder).absolute()).rstrip("/") or "/")
    url, secrets = _parts(source.url, site_folder)
    if url.scheme in _NEEDS:
        module, extra = _NEEDS[url.scheme]
        if importlib.util.find_spec(module) is None:
            raise ImportError(f'{url.scheme}:// needs a part of its own: pip install "slipledger[{extra}]"')
    opened = _OPENERS.get(url.scheme, _by_fsspec)(url, site_folder)
    return Place(*opened, tuple(secret for secret in secrets if secret))


def _parts(written: str, site_folder: Path) -> tuple[SplitResult, list[str]]:
    """Return a URL in parts with its secrets in their places: they may hold any of a URL's own marks."""
    references = _REFERENCE.findall(written)
    marked = written
    for number, reference in enumerate(references):
        marked = marked.replace(reference, f"secret{number}x", 1)
    secrets = [resolve_secrets(reference, site_folder) for reference in references]

    def filled(part: str) -> str:
        for number, secret in enumerate(secrets):
            part = part.replace(f"secret{number}x", secret)
        return part

    scheme, netloc, path, query, fragment = (filled(part) for part in urlsplit(marked))
    return SplitResult(scheme, netloc, path, query, fragment), secrets


def _host(url: SplitResult) -> tuple[str, int | None, str | None, str | None]:
    """Return host, port, user and password; a password may hold an @ or a colon."""
    signed, _, host = url.netloc.rpartition("@")
    user, _, password = signed.partition(":")
    plain = urlsplit(f"//{host}")
    return plain.hostname or "", plain.port, user or None, password or None


def _sftp(url: SplitResult, _folder: Path) -> tuple[Any, str]:
    from service.intake.sftp import VerifiedSftp  # noqa: PLC0415 - an extra

    host, port, user, password = _host(url)
    return VerifiedSftp.connected(host, port or 22, user, password), url.path.rstrip("/") or "/"


def _s3(url: SplitResult, _folder: Path) -> tuple[Any, str]:
    bucket = url.netloc.rpartition("@")[2]
    _, _, key, secret = _host(url)
    files = fsspec.filesystem(
        "s3",
        key=key,
        secret=secret,
        skip_instance_cache=True,
        config_kwargs={"connect_timeout": 20, "read_timeout": 120, "retries": {"max_attempts": 3}},
    )
    return files, f"{bucket}/{url.path.strip('/')}".rstrip("/")


def _http(url: SplitResult, _folder: Path) -> tuple[Any, str]:
    import aiohttp  # noqa: PLC0415 - an extra

    host, port, user, password = _host(url)
    signed = base64.b64encode(f"{user}:{password or ''}".encode()).decode()  # RFC 7617
    headers = {} if user is None else {"Authorization": f"Basic {signed}"}
    timeout = aiohttp.ClientTimeout(total=None, sock_connect=20, sock_read=120)

    async def client(**kwargs: Any) -> aiohttp.ClientSession:
        # The authorities trusted today; aiohttp would go on with those of when it was imported.
        connector = aiohttp.TCPConnector(ssl=ssl.create_default_context())
        return aiohttp.ClientSession(connector=connector, **kwargs)

    files = fsspec.filesystem(
        url.scheme,
        client_kwargs={"headers": headers, "timeout": timeout},
        get_client=client,
        skip_instance_cache=True,
    )
    netloc = f"[{host}]" if ":" in host else host
    return files, url._replace(netloc=netloc if port is None else f"{netloc}:{port}").geturl()


def _by_fsspec(url: SplitResult, _folder: Path) -> tuple[Any, str]:
    files, root = fsspec.core.url_to_fs(url.geturl(), skip_instance_cache=True)
    return files, str(root)


_OPENERS: Final[dict[str, Callable[[SplitResult, Path], tuple[Any, str]]]] = {
    "sftp": _sftp,
    "ssh": _sftp,
    "s3": _s3,
    "s3a": _s3,
    "http": _http,
    "https": _http,
}
