"""`serve --tls`: what a browser that trusts the lab's own authority finds out about the certificate."""

import socket
import ssl
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest

from app.cli import certificate, in_browser, names_of


def shown(folder: Path, files: tuple[Path, Path], name: str) -> int:
    """Connects under `name` and returns how long the certificate lasts, in days; ssl refuses a wrong one itself."""
    server = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    server.load_cert_chain(*files)
    client = ssl.create_default_context(cafile=str(folder / "authority.pem"))
    here, there = socket.socketpair()

    def answer() -> None:
        with suppress(ssl.SSLError, OSError), server.wrap_socket(there, server_side=True):
            pass  # a browser that hangs up on a wrong name is what one of the tests is about

    answering = threading.Thread(target=answer)
    answering.start()
    try:
        with client.wrap_socket(here, server_hostname=name) as line:
            found = line.getpeercert()
    finally:
        answering.join(5)
    assert found is not None
    return int(ssl.cert_time_to_seconds(str(found["notAfter"])) - time.time()) // 86_400


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "0.0.0.0", "bench.lab.example"])
def test_every_name_of_the_lab_is_trusted_and_for_no_longer_than_tablets_take(tmp_path: Path, host: str) -> None:
    files = certificate(tmp_path, host)
    for name in {in_browser(host).strip("[]"), *names_of(host)}:
        assert 365 < shown(tmp_path, files, name) <= 825, name


def test_another_name_is_refused(tmp_path: Path) -> None:
    files = certificate(tmp_path, "127.0.0.1")
    with pytest.raises(ssl.SSLError):
        shown(tmp_path, files, "elsewhere.example")


def test_devices_that_trust_the_lab_go_on_doing_so_after_a_restart(tmp_path: Path) -> None:
    certificate(tmp_path, "127.0.0.1")
    trusted = (tmp_path / "authority.pem").read_bytes()
    files = certificate(tmp_path, "bench.lab.example")
    assert (tmp_path / "authority.pem").read_bytes() == trusted
    assert shown(tmp_path, files, "bench.lab.example")


def test_only_the_server_s_own_account_reads_the_keys(tmp_path: Path) -> None:
    certificate(tmp_path, "127.0.0.1")
    for name in ("authority.key", "certificate.key"):
        assert (tmp_path / name).stat().st_mode & 0o077 == 0
