"""The course's own key: made once, kept in the course folder, its public half published beside the certificates.

RS256 (RFC 7518, section 3.3) is the algorithm that every reader of Open Badges 3.0 must know (section 8.2.3 of that
standard). The key is known by its thumbprint (RFC 7638), and that thumbprint as a URI (RFC 9278) is the issuer's id: no
web address is needed, and a certificate that names another issuer than its key is found out without a network.
"""

from __future__ import annotations

import base64
import hashlib
import json
import os
from collections.abc import Mapping
from pathlib import Path

import jwt
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey, generate_private_key
from jwt.algorithms import RSAAlgorithm

from autograde.files import write_whole
from autograde.trouble import Trouble, reason

__all__ = ["ALGORITHM", "PRIVATE", "PUBLIC", "issuer_id", "private_key", "public_jwk", "read_jwk", "sign", "thumbprint"]

ALGORITHM = "RS256"
PRIVATE, PUBLIC = "private-key.pem", "key.json"
_BITS = 3072  # NIST SP 800-57 Part 1, table 2: as strong as 128 bits
_OWNER_ONLY = 0o600


def private_key(folder: Path) -> RSAPrivateKey:
    """The key in ``folder``, made on first use: only its owner can read it, and its public half is written beside it."""
    path = folder / PRIVATE
    if not path.exists():
        _make(folder)
    key = _read(path)
    published = json.dumps(public_jwk(key), indent=1) + "\n"
    if not (folder / PUBLIC).exists():
        write_whole(folder / PUBLIC, published)
    elif read_jwk(folder / PUBLIC) != _bare(public_jwk(key)):
        raise Trouble(
            f"{folder / PUBLIC} does not belong to {path}; put the right one of the two back, or move both away."
        )
    return key


def _make(folder: Path) -> None:
    if (folder / PUBLIC).exists():
        raise Trouble(
            f"{folder / PRIVATE} is missing but {folder / PUBLIC} is published; put it back, or move {PUBLIC} away to begin a new key."
        )
    pem = generate_private_key(public_exponent=65537, key_size=_BITS).private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    write_whole(folder / PRIVATE, pem, _OWNER_ONLY)


def _read(path: Path) -> RSAPrivateKey:
    try:
        others_too = os.name == "posix" and path.stat().st_mode & 0o077
        key = serialization.load_pem_private_key(path.read_bytes(), password=None)
    except OSError as error:
        raise Trouble(f"{path} cannot be read ({reason(error)}); make it readable.") from error
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise Trouble(f"{path} is damaged; put back the copy that you kept.") from error
    if others_too:
        raise Trouble(f"{path} can be read by other people on this computer; run: chmod 600 {path}")
    if not isinstance(key, RSAPrivateKey):
        raise Trouble(f"{path} is not an RSA key; put back the one that was made here.")
    return key


def public_jwk(key: RSAPrivateKey) -> dict[str, str]:
    """The public half of ``key`` as a JSON Web Key (RFC 7517), with its thumbprint as ``kid``."""
    bare = _bare(RSAAlgorithm.to_jwk(key.public_key(), as_dict=True))
    return {**bare, "alg": ALGORITHM, "use": "sig", "kid": thumbprint(bare)}


def _bare(jwk: Mapping) -> dict[str, str]:
    return {name: jwk[name] for name in ("kty", "n", "e")}


def thumbprint(jwk: Mapping) -> str:
    """The SHA-256 thumbprint of an RSA key (RFC 7638, section 3), base64url without padding.

    >>> thumbprint({"kty": "RSA", "n": "AQAB", "e": "AQAB"}) == thumbprint({"e": "AQAB", "n": "AQAB", "kty": "RSA", "kid": "x"})
    True
    """
    told = json.dumps({name: jwk[name] for name in ("e", "kty", "n")}, separators=(",", ":"))
    return base64.urlsafe_b64encode(hashlib.sha256(told.encode()).digest()).decode().rstrip("=")


def issuer_id(jwk: Mapping) -> str:
    """Whoever holds the private half of ``jwk``, as a URI (RFC 9278)."""
    return f"urn:ietf:params:oauth:jwk-thumbprint:sha-256:{thumbprint(jwk)}"


def read_jwk(path: Path) -> dict[str, str]:
    """The public RSA key published at ``path``, or one sentence."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(found, dict):
            raise ValueError("no object")
        if "d" in found:
            raise Trouble(f"{path} holds a private key, which nobody may be given; use the published {PUBLIC}.")
        RSAAlgorithm.from_jwk(json.dumps(found))
        return _bare(found)
    except OSError as error:
        raise Trouble(f"The key {path} cannot be read ({reason(error)}); check the name.") from error
    except (ValueError, KeyError, TypeError, jwt.InvalidKeyError) as error:
        raise Trouble(f"{path} holds no public RSA key; use the {PUBLIC} that the course publishes.") from error


def sign(payload: Mapping, key: RSAPrivateKey) -> str:
    """``payload`` as a compact JWS (RFC 7515); its header holds ``alg``, ``typ`` and ``jwk``, and nothing else."""
    header = {"jwk": _bare(public_jwk(key))}
    return jwt.encode(dict(payload), key, algorithm=ALGORITHM, headers=header)
