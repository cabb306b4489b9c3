"""The coordinator's own certificate (RFC 5280) for HTTPS, made where none fits.

Nobody vouches for it: who connects compares its fingerprint, or trusts exactly this file.
"""

import datetime
import ipaddress
import logging
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from coordinator.codes.os_words import os_words
from coordinator.config.data_folder import DataFolderError, write_whole

SERVER_FILE: Final = "server.pem"
"""Key and certificate, for the owner's eyes only."""
CERTIFICATE_FILE: Final = "cert.pem"
"""The certificate alone, for those who shall trust it."""
VALID: Final = datetime.timedelta(days=800)
"""Below the 825 days that iOS and macOS accept (Apple, HT210176)."""
RENEWED_BEFORE: Final = datetime.timedelta(days=30)
_BACK: Final = datetime.timedelta(days=1)
"""Clocks of phones may be behind."""
_logger = logging.getLogger(__name__)


def own_certificate(data: Path, address: str, names: Sequence[str]) -> str:
    """Have a certificate for this address and these names in the data folder; its fingerprint.

    The one that is there is kept as long as it fits. Raises DataFolderError.
    """
    path = data / SERVER_FILE
    wanted = [x509.IPAddress(ipaddress.ip_address(address)), *map(x509.DNSName, names)]
    try:
        certificate = x509.load_pem_x509_certificate(path.read_bytes())
    except FileNotFoundError:
        certificate = _make(path, wanted)
    except (OSError, ValueError) as error:
        raise DataFolderError(f"{path} cannot be read: {os_words(error)}") from error
    if not _fits(certificate, wanted):
        _logger.warning(
            "%s was for other names, or has nearly expired: it is made anew. Whoever has noted its "
            "fingerprint or copied %s needs the new one.",
            path,
            data / CERTIFICATE_FILE,
        )
        certificate = _make(path, wanted)
    text = certificate.public_bytes(serialization.Encoding.PEM).decode()
    write_whole(data / CERTIFICATE_FILE, text)
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _fits(certificate: x509.Certificate, wanted: list[x509.GeneralName]) -> bool:
    names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    left = certificate.not_valid_after_utc - datetime.datetime.now(datetime.UTC)
    return list(names) == wanted and left > RENEWED_BEFORE


def _make(path: Path, wanted: list[x509.GeneralName]) -> x509.Certificate:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Unisono")])
    now = datetime.datetime.now(datetime.UTC)
    identifier = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    usage = x509.KeyUsage(
        digital_signature=True, content_commitment=False, key_encipherment=False,
        data_encipherment=False, key_agreement=False, key_cert_sign=False, crl_sign=False,
        encipher_only=False, decipher_only=False,
    )  # fmt: skip
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _BACK)
        .not_valid_after(now - _BACK + VALID)
        .add_extension(x509.SubjectAlternativeName(wanted), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(identifier, critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier),
            critical=False,
        )
        .sign(key, hashes.SHA256())
    )
    secret = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    pem = secret + certificate.public_bytes(serialization.Encoding.PEM)
    write_whole(path, pem.decode(), 0o600)
    return certificate
