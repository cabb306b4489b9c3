"""The coordinator's own certificate, judged by OpenSSL as Python's `ssl` gives it."""

import hashlib
import ssl
import stat
from pathlib import Path

import pytest

from coordinator.api.certificate import CERTIFICATE_FILE, SERVER_FILE, own_certificate
from coordinator.config.data_folder import DataFolderError


def shake_hands(data: Path, trusted: Path, name: str) -> None:
    """A TLS handshake in memory. Raises what the client's side raises."""
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(data / SERVER_FILE)
    asking = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    asking.verify_flags |= ssl.VERIFY_X509_STRICT
    asking.load_verify_locations(trusted)
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    client = asking.wrap_bio(to_client, to_server, server_hostname=name)
    server = serving.wrap_bio(to_server, to_client, server_side=True)
    left = [client, server]
    while left:
        for side in list(left):
            try:
                side.do_handshake()
                left.remove(side)
            except ssl.SSLWantReadError:
                pass


def test_who_trusts_the_file_connects_to_the_address_and_the_names_it_was_made_for(
    tmp_path: Path,
) -> None:
    own_certificate(tmp_path, "192.0.2.7", ["bench.local", "bench"])
    for name in ("192.0.2.7", "bench.local", "bench"):
        shake_hands(tmp_path, tmp_path / CERTIFICATE_FILE, name)
    for name in ("192.0.2.8", "evil.example"):
        with pytest.raises(ssl.SSLCertVerificationError, match="mismatch"):
            shake_hands(tmp_path, tmp_path / CERTIFICATE_FILE, name)


def test_another_certificate_for_the_same_address_is_not_trusted(tmp_path: Path) -> None:
    mine, other = tmp_path / "mine", tmp_path / "other"
    for folder in (mine, other):
        folder.mkdir()
        own_certificate(folder, "192.0.2.7", [])
    with pytest.raises(ssl.SSLCertVerificationError):
        shake_hands(other, mine / CERTIFICATE_FILE, "192.0.2.7")


def test_the_fingerprint_is_the_sha_256_of_the_certificate_as_browsers_show_it(
    tmp_path: Path,
) -> None:
    told = own_certificate(tmp_path, "192.0.2.7", [])
    der = ssl.PEM_cert_to_DER_cert((tmp_path / CERTIFICATE_FILE).read_text())
    assert told.replace(":", "").lower() == hashlib.sha256(der).hexdigest()
    assert len(told.split(":")) == 32


def test_it_is_kept_as_long_as_it_fits_and_the_key_is_for_its_owner_only(tmp_path: Path) -> None:
    first = own_certificate(tmp_path, "192.0.2.7", ["bench.local"])
    assert own_certificate(tmp_path, "192.0.2.7", ["bench.local"]) == first
    assert own_certificate(tmp_path, "192.0.2.8", ["bench.local"]) != first
    assert stat.S_IMODE((tmp_path / SERVER_FILE).stat().st_mode) == 0o600
    assert "PRIVATE" not in (tmp_path / CERTIFICATE_FILE).read_text()


@pytest.mark.parametrize("content", [b"", b"-----BEGIN CERTIFICATE-----\nx\n", b"\xff"])
def test_a_broken_file_is_named(tmp_path: Path, content: bytes) -> None:
    (tmp_path / SERVER_FILE).write_bytes(content)
    with pytest.raises(DataFolderError, match=SERVER_FILE):
        own_certificate(tmp_path, "192.0.2.7", [])
