"""The certificate authority of this machine: what it can vouch for, and for how long."""

from __future__ import annotations

import datetime
import http.client
import ipaddress
import os
import socket
import ssl
import stat
import threading
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.x509.oid import NameOID
from tests.hosts.office_addin.conftest import Server

from dampcell.functions.errors import InputError
from dampcell.functions.hosts.office_addin.build import renewed
from dampcell.functions.hosts.office_addin.certificates import (
    LEAF_DAYS,
    Identity,
    days_left,
    new_authority,
    new_leaf,
    still_good,
)

NOW = datetime.datetime.now(datetime.UTC)


@pytest.fixture(scope="module")
def authority() -> Identity:
    """Give an authority."""
    return new_authority(NOW)


def _connects(authority: Identity, leaf: Identity, name: str, tmp_path: Path) -> bool:
    """Whether a client that trusts the authority accepts a server with the certificate under a name."""
    for file, content in (("a.crt", authority.certificate), ("l.crt", leaf.certificate), ("l.key", leaf.key)):
        (tmp_path / file).write_bytes(content)
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(tmp_path / "l.crt", tmp_path / "l.key")
    asking = ssl.create_default_context(cafile=str(tmp_path / "a.crt"))
    ours, theirs = socket.socketpair()

    def serve() -> None:
        try:
            serving.wrap_socket(theirs, server_side=True).close()
        except OSError:
            theirs.close()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        asking.wrap_socket(ours, server_hostname=name).close()
    except ssl.SSLCertVerificationError:
        return False
    finally:
        ours.close()
        thread.join()
    return True


@pytest.mark.parametrize("name", ["localhost", "127.0.0.1", "::1"])
def test_the_server_is_trusted_under_each_of_its_names(
    authority: Identity, name: str, tmp_path: Path
) -> None:
    assert _connects(authority, new_leaf(authority, NOW), name, tmp_path)


def _leaf_for(authority: Identity, name: x509.GeneralName) -> Identity:
    """Make, with a stolen key, a certificate for a foreign name."""
    issuer = x509.load_pem_x509_certificate(authority.certificate)
    signer = serialization.load_pem_private_key(authority.key, None)
    assert isinstance(signer, ec.EllipticCurvePrivateKey)
    key = ec.generate_private_key(ec.SECP256R1())
    certificate = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "x")]))
        .issuer_name(issuer.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(NOW - datetime.timedelta(days=1))
        .not_valid_after(NOW + datetime.timedelta(days=30))
        .add_extension(x509.SubjectAlternativeName([name]), critical=False)
        .sign(signer, hashes.SHA256())
    )
    return Identity(
        certificate.public_bytes(serialization.Encoding.PEM),
        key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        ),
    )


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        (x509.DNSName("bank.example"), "bank.example"),
        (x509.DNSName("localhost.example"), "localhost.example"),
        (x509.IPAddress(ipaddress.ip_address("192.0.2.1")), "192.0.2.1"),
        (x509.IPAddress(ipaddress.ip_address("127.0.0.2")), "127.0.0.2"),
    ],
)
def test_a_stolen_key_cannot_vouch_for_other_names(
    authority: Identity, name: x509.GeneralName, shown: str, tmp_path: Path
) -> None:
    assert not _connects(authority, _leaf_for(authority, name), shown, tmp_path)


def test_another_authority_is_not_trusted(authority: Identity, tmp_path: Path) -> None:
    assert not _connects(authority, new_leaf(new_authority(NOW), NOW), "localhost", tmp_path)


def test_the_certificate_lives_no_longer_than_systems_allow(authority: Identity) -> None:
    certificate = x509.load_pem_x509_certificate(new_leaf(authority, NOW).certificate)
    lasts = certificate.not_valid_after_utc - certificate.not_valid_before_utc
    assert lasts == datetime.timedelta(days=LEAF_DAYS) <= datetime.timedelta(days=397)
    assert certificate.not_valid_before_utc < NOW
    assert days_left(new_leaf(authority, NOW).certificate, NOW) == LEAF_DAYS - 1


def test_a_key_is_not_shown(authority: Identity) -> None:
    assert "PRIVATE" not in repr(authority)


def test_the_authority_is_kept_until_it_would_end_before_a_new_certificate(authority: Identity) -> None:
    later = NOW + datetime.timedelta(days=3650 - LEAF_DAYS - 2)
    assert renewed(authority, NOW)[0] == authority
    assert renewed(authority, later)[0] == authority
    assert renewed(authority, later + datetime.timedelta(days=2))[0] != authority
    assert renewed(None, NOW)[0] != authority


@pytest.mark.parametrize("damaged", ["certificate", "key", "other key", "other kind"])
def test_a_damaged_authority_is_made_anew(authority: Identity, damaged: str) -> None:
    other = rsa.generate_private_key(65537, 2048).private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    found = {
        "certificate": Identity(b"x", authority.key),
        "key": Identity(authority.certificate, b"x"),
        "other key": Identity(authority.certificate, new_authority(NOW).key),
        "other kind": Identity(authority.certificate, other),
    }[damaged]
    assert not still_good(found, NOW)
    assert renewed(found, NOW)[0] not in (found, authority)


def test_a_key_of_another_kind_cannot_sign(authority: Identity) -> None:
    key = rsa.generate_private_key(65537, 2048).private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    with pytest.raises(InputError, match="private key: is of another kind"):
        new_leaf(Identity(authority.certificate, key), NOW)


# On the disk and over the wire


@pytest.mark.skipif(os.name != "posix", reason="the modes of files are those of POSIX")
def test_nobody_else_can_read_the_keys(addin: Path) -> None:
    assert stat.S_IMODE((addin / "private").stat().st_mode) == 0o700
    for path in (addin / "private").iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    for path in [*addin.glob("served/*"), *addin.glob("catalog/*"), addin / "dampcell-ca.crt"]:
        assert b"PRIVATE KEY" not in path.read_bytes()


def _get(server: Server, path: str, **headers: str) -> http.client.HTTPResponse:
    context = ssl.create_default_context(cafile=str(server.addin / "dampcell-ca.crt"))
    port = int(server.origin.rpartition(":")[2])
    connection = http.client.HTTPSConnection("localhost", port, context=context, timeout=60)
    connection.request("GET", path, headers=headers)
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return answer


def test_the_pane_loads_over_https_and_may_be_framed_by_excel_alone(server: Server) -> None:
    pane = _get(server, "/excel")
    assert pane.status == 200
    policy = pane.headers["content-security-policy"]
    assert "frame-ancestors 'self' https://*.officeapps.live.com" in policy
    assert "script-src 'self' https://appsforoffice.microsoft.com;" in policy
    assert pane.headers["x-frame-options"] is None
    for path in ("/", "/v1/health"):
        assert _get(server, path).headers["x-frame-options"] == "DENY"


@pytest.mark.parametrize("path", ["/excel/functions.json", "/excel/icon-32.png"])
def test_excel_in_a_browser_may_load_the_list_and_the_icons(server: Server, path: str) -> None:
    headers = {"Origin": "https://excel.example", "Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "cors"}
    answer = _get(server, path, **headers)
    assert answer.status == 200
    assert answer.headers["access-control-allow-origin"] == "*"


@pytest.mark.parametrize("path", ["/excel", "/excel/functions.js", "/excel/pane.js", "/v1/health", "/"])
def test_pages_of_other_servers_get_nothing_else(server: Server, path: str) -> None:
    headers = {"Origin": "https://excel.example", "Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "cors"}
    answer = _get(server, path, **headers)
    assert answer.status == 403
    assert answer.headers["access-control-allow-origin"] is None


@pytest.mark.parametrize(
    "path",
    ["/excel/private/ca.key", "/excel/../private/ca.key", "/private/server.key", "/excel/", "/excel/x"],
)
def test_no_other_file_of_the_folder_is_served(server: Server, path: str) -> None:
    assert _get(server, path).status == 404


def test_a_foreign_name_is_refused_for_open_files_too(server: Server) -> None:
    assert _get(server, "/excel/functions.json", Host="rebound.example").status == 403
