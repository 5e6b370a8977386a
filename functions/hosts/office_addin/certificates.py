"""A certificate authority of this user alone, and the certificate of the server for https.

Excel loads add-ins over https only. No public authority vouches for "localhost",
so the user's machine trusts one of its own; it is made so that it can vouch for
this machine's own names and for nothing else, should its key ever be stolen.
"""

from __future__ import annotations

import datetime
import ipaddress
from dataclasses import dataclass, field
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from dampcell.functions.errors import InputError

__all__ = ["LEAF_DAYS", "Identity", "days_left", "new_authority", "new_leaf", "still_good"]

LEAF_DAYS: Final = 397
"""Validity of the server's certificate [day]; browsers and systems refuse longer ones."""

_AUTHORITY_DAYS = 3650
_DNS = "localhost"
_ADDRESSES = (ipaddress.ip_address("127.0.0.1"), ipaddress.ip_address("::1"))


@dataclass(frozen=True, slots=True)
class Identity:
    """A certificate and its private key, both as PEM."""

    certificate: bytes
    key: bytes = field(repr=False)


def new_authority(now: datetime.datetime) -> Identity:
    """Make a certificate authority that can vouch for this machine's own names only.

    Parameters
    ----------
    now : datetime
        Present time, with its zone.

    Returns
    -------
    Identity
    """
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Dampcell, for this machine only")])
    networks = [ipaddress.ip_network(address) for address in _ADDRESSES]
    permitted = [x509.DNSName(_DNS), *(x509.IPAddress(network) for network in networks)]
    builder = (
        _builder(name, name, key, now, _AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    )
    return _identity(builder.sign(key, hashes.SHA256()), key)


def new_leaf(authority: Identity, now: datetime.datetime) -> Identity:
    """Make the certificate of the server.

    Parameters
    ----------
    authority : Identity
        Who vouches for it.
    now : datetime
        Present time, with its zone.

    Returns
    -------
    Identity
        Valid for `LEAF_DAYS`, for localhost, 127.0.0.1 and ::1.
    """
    issuer = x509.load_pem_x509_certificate(authority.certificate)
    signer = _key(authority)
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, _DNS)])
    names = [x509.DNSName(_DNS), *(x509.IPAddress(address) for address in _ADDRESSES)]
    builder = (
        _builder(name, issuer.subject, key, now, LEAF_DAYS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False
        )
    )
    return _identity(builder.sign(signer, hashes.SHA256()), key)


def days_left(certificate: bytes, now: datetime.datetime) -> int:
    """Count the whole days for which a certificate is still valid; negative once it is not."""
    return (x509.load_pem_x509_certificate(certificate).not_valid_after_utc - now).days


def still_good(authority: Identity, now: datetime.datetime) -> bool:
    """Whether an authority can be used again: key and certificate belong together, and outlive a new leaf."""
    try:
        certificate = x509.load_pem_x509_certificate(authority.certificate)
        matching = certificate.public_key() == _key(authority).public_key()
        return matching and days_left(authority.certificate, now) > LEAF_DAYS
    except (ValueError, TypeError):
        return False


def _builder(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePrivateKey,
    now: datetime.datetime,
    days: int,
) -> x509.CertificateBuilder:
    # Clocks differ a little, and a certificate from the future is refused.
    begin = now - datetime.timedelta(hours=1)
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begin)
        .not_valid_after(begin + datetime.timedelta(days=days))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )


def _identity(certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey) -> Identity:
    return Identity(
        certificate.public_bytes(serialization.Encoding.PEM),
        key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        ),
    )


def _key(identity: Identity) -> ec.EllipticCurvePrivateKey:
    key = serialization.load_pem_private_key(identity.key, password=None)
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise InputError("is of another kind", parameter="private key", allowed="a key made by Dampcell")
    return key
