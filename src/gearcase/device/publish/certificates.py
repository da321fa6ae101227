"""The OPC UA server's own certificate, made at its first start, and the list of client certificates it trusts.

A client is trusted by its very certificate, which a person has put into a folder as a file; nobody is trusted for having been
signed by somebody else.
"""

import datetime
import ipaddress
import os
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cryptography import x509

__all__ = ["is_trusted", "own_certificate"]

_YEARS = 20  # an edge computer is left alone for so long
_LARGEST = 65536  # bytes of a certificate's file


def own_certificate(folder: Path, *, uri: str, names: Sequence[str]) -> tuple[Path, Path]:
    """Paths of certificate and private key, made where they are not there yet.

    Parameters
    ----------
    folder : Path
        Readable by its owner alone once it is made.
    uri : str
        Of the application, as its certificate must have it (OPC 10000-6, 6.2.2).
    names : sequence of str
        Host names and addresses it is reached by.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import rsa
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    certificate, key = folder / "opcua-own.der", folder / "opcua-own-key.pem"
    if certificate.exists() and key.exists():
        return certificate, key
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    private = rsa.generate_private_key(public_exponent=65537, key_size=2048)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "gearcase")])
    now = datetime.datetime.now(datetime.UTC)
    usage = dict.fromkeys(("key_agreement", "crl_sign", "encipher_only", "decipher_only"), False)
    usage |= dict.fromkeys(
        ("digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_cert_sign"), True
    )
    purposes = [ExtendedKeyUsageOID.SERVER_AUTH, ExtendedKeyUsageOID.CLIENT_AUTH]
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=365 * _YEARS))
        .add_extension(x509.SubjectAlternativeName([x509.UniformResourceIdentifier(uri), *map(_name, names)]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.KeyUsage(**usage), critical=True)
        .add_extension(x509.ExtendedKeyUsage(purposes), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(private.public_key()), critical=False)
        .sign(private, hashes.SHA256())
    )
    plain = serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    _write(key, private.private_bytes(serialization.Encoding.PEM, *plain))
    _write(certificate, made.public_bytes(serialization.Encoding.DER))
    return certificate, key


def is_trusted(certificate: bytes | None, folder: Path) -> bool:
    """Whether a client's certificate (DER) lies in the folder, as ``.der``, ``.crt`` or ``.pem``, and has not expired."""
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding

    if certificate is None or not folder.is_dir():
        return False
    for path in sorted(folder.iterdir()):
        found = _read(path) if path.suffix.lower() in (".der", ".crt", ".pem") else None
        if found is not None and found.public_bytes(Encoding.DER) == certificate:
            return x509.load_der_x509_certificate(certificate).not_valid_after_utc > datetime.datetime.now(datetime.UTC)
    return False


def _read(path: Path) -> "x509.Certificate | None":
    """The certificate of a file, None where it holds none: one bad file must not lock the others out."""
    from cryptography import x509

    try:
        if path.stat().st_size > _LARGEST:
            return None
        content = path.read_bytes()
        return x509.load_pem_x509_certificate(content) if b"-----BEGIN" in content else x509.load_der_x509_certificate(content)
    except (OSError, ValueError):
        return None


def _name(name: str) -> "x509.GeneralName":
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _write(path: Path, content: bytes) -> None:
    """Whole or not at all, and readable by its owner alone from its first byte on."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".own-")
    with os.fdopen(handle, "wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
    Path(temporary).replace(path)
