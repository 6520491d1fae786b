"""`slipledger user`: people and tokens from the command line, and what `serve` says of who is let in."""

import os
import ssl
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
import trustme
from typer.testing import CliRunner, Result

from service.command_line.frame import app
from tests.service.databases import database_line

ROOT = Path(__file__).parents[2]
SENTENCE = "four belts, well tensioned"


@pytest.fixture
def site(tmp_path: Path, quick_hashes: None) -> Path:
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "site.toml").write_text(f'{database_line(folder)}name = "Weir"\ntimezone = "UTC"\n')
    (folder / "fans.csv").write_text("fan,drive,motor_kw,speed_point\nSF-1,v_belt,7.5,P\n")
    return folder


def said(*arguments: object, stdin: str = "") -> Result:
    return CliRunner().invoke(app, [str(one) for one in arguments], input=stdin)


def test_a_user_is_added_listed_and_disabled(site: Path) -> None:
    assert "no user yet" in said("user", "list", site).stderr
    assert said("user", "add", site, "Ann", "--role", "admin", stdin=f"{SENTENCE}\n").exit_code == 0
    assert said("user", "list", site).stdout.split()[:3] == ["Ann", "admin", "enabled"]
    assert said("user", "disable", site, "ann").exit_code == 0
    assert said("user", "list", site).stdout.split()[:3] == ["Ann", "admin", "disabled"]
    assert said("user", "enable", site, "ann").exit_code == 0
    assert said("user", "role", site, "ann", "viewer").exit_code == 0
    assert said("user", "password", site, "ann", stdin="another long sentence\n").exit_code == 0


def test_a_token_is_printed_once_alone_on_stdout_and_revoked(site: Path) -> None:
    said("user", "add", site, "Ann", stdin=f"{SENTENCE}\n")
    made = said("user", "token", site, "Ann", "--label", "wall screen")
    token = made.stdout.strip()
    assert token.startswith("slipledger_")
    assert len(made.stdout.splitlines()) == 1
    assert token not in said("user", "list", site).stdout
    assert said("user", "token", site, "Ann", "--revoke", 1).exit_code == 0
    assert "revoked" in said("user", "list", site).stdout


def test_what_cannot_be_done_is_said_and_changes_nothing(site: Path) -> None:
    short = said("user", "add", site, "Ann", stdin="short\n")
    assert (short.exit_code, "12 to 200" in short.stderr) == (2, True)
    assert "short" not in short.stderr
    assert said("user", "token", site, "Ann").exit_code == 2
    assert said("user", "disable", site, "Ann").exit_code == 2
    assert said("user", "add", site, "Ann", "--role", "king").exit_code == 2
    assert said("user", "list", site).stdout == ""


@pytest.mark.parametrize(
    ("arguments", "remedy"),
    [
        (["--bind", "0.0.0.0"], "--tls-cert"),
        (["--behind-proxy"], "public_url"),
        (["--tls-cert", "chain.pem"], "--tls-key"),
        (["--tls-cert", "none.pem", "--tls-key", "none.pem", "--bind", "0.0.0.0"], "no file none.pem"),
        (["--behind-proxy", "--tls-cert", "a", "--tls-key", "b"], "leaves the encryption to the proxy"),
    ],
)
def test_serve_refuses_what_others_could_read(site: Path, arguments: list[str], remedy: str) -> None:
    ended = said("serve", site, *arguments)
    assert ended.exit_code == 2
    assert remedy in " ".join(ended.stderr.replace("│", " ").split())


@pytest.mark.parametrize(
    "url", ["http://fans.example.edu", "fans.example.edu", "https://a.edu/fans", "https://u@a.edu"]
)
def test_a_public_address_is_a_host_over_https(site: Path, url: str) -> None:
    with (site / "site.toml").open("a") as file:
        file.write(f'[web]\npublic_url = "{url}"\n')
    ended = said("check", site)
    assert ended.exit_code == 2
    assert 'write it like "https://fans.example.edu"' in ended.stderr + ended.stdout


@pytest.mark.long
def test_with_a_certificate_the_pages_are_encrypted_and_nobody_is_let_in_unknown(
    site: Path, tmp_path: Path
) -> None:
    authority = trustme.CA()
    issued = authority.issue_cert("127.0.0.1")
    chain, key = tmp_path / "chain.pem", tmp_path / "key.pem"
    chain.write_bytes(b"".join(blob.bytes() for blob in issued.cert_chain_pems))
    key.write_bytes(issued.private_key_pem.bytes())
    said("user", "add", site, "Ann", stdin=f"{SENTENCE}\n")
    command = "from service.command_line import main; main()"
    files = ["--tls-cert", str(chain), "--tls-key", str(key)]
    started = subprocess.Popen(
        [sys.executable, "-c", command, "serve", str(site), "--port", "0", "--only", "web", *files],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
    )
    with started:
        assert started.stdout is not None
        address = started.stdout.readline().split(" at ")[1].split()[0]
        assert address.startswith("https://127.0.0.1:")
        trusted = ssl.create_default_context()
        authority.configure_trust(trusted)
        with urllib.request.urlopen(address, context=trusted) as page:  # led to the login
            assert page.url.startswith(f"{address}login")
            assert "SF-1" not in page.read().decode()
            assert "; Secure" in page.headers["set-cookie"]
        started.terminate()
        started.wait(timeout=20)
    assert started.returncode == 0
