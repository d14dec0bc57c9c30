"""Make the secrets of a cell's broker: a password for each party, and certificates of its own.

Units: ``*_days`` days.
Source: RFC 8018, PBKDF2; RFC 5280, certificates; Mosquitto 2.0, mosquitto_passwd(1), for the form
of a line of its password file (from memory, judged by the broker itself in the tests).
"""

import base64
import ipaddress
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import pbkdf2_hmac

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

ROUNDS = 101
"""What Mosquitto 2.0 reads by default; passwords of 192 bits at random need no stretching."""
PASSWORD_BYTES = 24
AUTHORITY_DAYS = 3650
BROKER_DAYS = 730
_BEFORE = timedelta(minutes=10)
"""Clocks of other machines may be that much behind."""


@dataclass(frozen=True, slots=True)
class Certificates:
    """PEM texts."""

    authority: bytes
    authority_key: bytes
    broker: bytes
    broker_key: bytes


def new_password() -> str:
    """Return a password at random, fit for a file and a line."""
    return secrets.token_urlsafe(PASSWORD_BYTES)


def password_line(name: str, password: str) -> str:
    """Return a line of Mosquitto's password file."""
    salt = secrets.token_bytes(12)
    digest = pbkdf2_hmac("sha512", password.encode(), salt, ROUNDS)
    salt_text, digest_text = (base64.b64encode(one).decode() for one in (salt, digest))
    return f"{name}:$7${ROUNDS}${salt_text}${digest_text}\n"


def new_certificates(cell: str, host: str, now: datetime | None = None) -> Certificates:
    """Return an authority of the cell's own, and the broker's certificate signed by it.

    Args:
        cell: Name of the cell, told in the certificates.
        host: Name or address by which the parties reach the broker.
        now: When they begin to count.
    """
    begins = now or datetime.now(UTC)
    authority_key, broker_key = (ec.generate_private_key(ec.SECP256R1()) for _ in range(2))
    issuer = _name(f"Bothsides cell {cell}")
    authority = (
        _builder(issuer, issuer, authority_key, begins, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(
            x509.SubjectKeyIdentifier.from_public_key(authority_key.public_key()), critical=False
        )
        .sign(authority_key, hashes.SHA256())
    )
    issued_by = x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key())
    broker = (
        _builder(_name(host), issuer, broker_key, begins, BROKER_DAYS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_as_host(host)]), critical=False)
        .add_extension(issued_by, critical=False)
        .sign(authority_key, hashes.SHA256())
    )
    return Certificates(
        authority.public_bytes(serialization.Encoding.PEM),
        _private(authority_key),
        broker.public_bytes(serialization.Encoding.PEM),
        _private(broker_key),
    )


def _builder(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePrivateKey,
    begins: datetime,
    lasts_days: int,
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins - _BEFORE)
        .not_valid_after(begins + timedelta(days=lasts_days))
    )


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs,
        key_cert_sign=signs,
        crl_sign=signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text[:64])])


def _as_host(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(host))
    except ValueError:
        return x509.DNSName(host)


def _private(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
