"""The bench's certificate, made on the spot by its own small authority (trustme), kept beside the store."""

from __future__ import annotations

import hashlib
import ipaddress
import ssl
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import trustme
from cryptography import x509

from coppermend.adapters.lan.book import private_folder, put_private
from coppermend.core.findings import Place, refuse

LIFE_DAYS = 390
"""Some systems take no server certificate that lives longer than 398 days (common practice of browsers; from memory)."""
RENEW_DAYS = 30


@dataclass(frozen=True, slots=True)
class Papers:
    """What https needs: the authority's certificate (public), the file with the server's key and chain (private), the server certificate's SHA-256."""

    authority_pem: bytes
    server_file: Path
    fingerprint: str


def papers(folder: Path, names: Sequence[str], now: datetime | None = None) -> Papers:
    """The certificate for these addresses and host names: the kept one while it fits, else a new one. Refusal LAN-007 when it cannot be kept."""
    moment = now or datetime.now(UTC)
    try:
        private_folder(folder)
        authority = _authority(folder)
        server = folder / "server.pem"
        if not _fits(server, names, moment, authority):
            until = moment + timedelta(days=LIFE_DAYS)
            made = authority.issue_cert(
                *names, common_name="Coppermend bench", not_before=moment - timedelta(days=1), not_after=until
            )
            put_private(server, made.private_key_and_cert_chain_pem.bytes())
        return Papers(authority.cert_pem.bytes(), server, fingerprint(server))
    except (OSError, ValueError, ssl.SSLError) as err:
        raise refuse(
            "LAN-007",
            f"The bench's certificate cannot be made or read ({err}).",
            "Give yourself the right to write beside the store; delete the folder 'lan' there to begin anew (devices must be paired again).",
            Place(file=str(folder)),
        ) from err


def fingerprint(server: Path) -> str:
    """SHA-256 of the server's certificate as browsers show it: pairs of hexadecimal digits with colons."""
    digest = hashlib.sha256(ssl.PEM_cert_to_DER_cert(_certificate(server).decode())).hexdigest().upper()
    return ":".join(digest[k : k + 2] for k in range(0, 64, 2))


def _authority(folder: Path) -> trustme.CA:
    cert, key = folder / "authority.pem", folder / "authority.key"
    if cert.exists() and key.exists():
        return trustme.CA.from_pem(cert.read_bytes(), key.read_bytes())
    made = trustme.CA(organization_name="Coppermend", organization_unit_name="bench authority", path_length=0)
    put_private(key, made.private_key_pem.bytes())
    put_private(cert, made.cert_pem.bytes())
    return made


def _certificate(server: Path) -> bytes:
    text = server.read_bytes()
    begin = text.index(b"-----BEGIN CERTIFICATE-----")
    return text[begin : text.index(b"-----END CERTIFICATE-----", begin) + 25]


def _fits(server: Path, names: Sequence[str], now: datetime, authority: trustme.CA) -> bool:
    """Whether the kept certificate is of this authority, holds just these names and lives long enough."""
    if not server.exists():
        return False
    try:
        kept = x509.load_pem_x509_certificate(_certificate(server))
        kept.verify_directly_issued_by(x509.load_pem_x509_certificate(authority.cert_pem.bytes()))
        held = kept.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except Exception:
        return False  # whatever is wrong with it, a new one is made
    have = {str(one) for one in held.get_values_for_type(x509.IPAddress)} | set(held.get_values_for_type(x509.DNSName))
    return have == {_plain(one) for one in names} and kept.not_valid_after_utc > now + timedelta(days=RENEW_DAYS)


def _plain(name: str) -> str:
    try:
        return str(ipaddress.ip_address(name))
    except ValueError:
        return name


def valid_until(folder: Path) -> str:
    """Until when the kept certificate holds: ISO 8601, UTC; "" when none is kept. Refusal LAN-007 when it cannot be read."""
    server = folder / "server.pem"
    if not server.exists():
        return ""
    try:
        kept = x509.load_pem_x509_certificate(_certificate(server))
    except (OSError, ValueError) as err:
        raise refuse(
            "LAN-007",
            f"The bench's certificate cannot be read ({err}).",
            "Delete the folder 'lan' beside the store to begin anew (devices must be paired again).",
            Place(file=str(server)),
        ) from err
    return kept.not_valid_after_utc.isoformat(timespec="milliseconds").replace("+00:00", "Z")
