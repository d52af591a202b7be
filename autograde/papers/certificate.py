"""A certificate of completion: an OpenBadgeCredential of Open Badges 3.0, secured as a JSON Web Token, and its check.

What must be in the token and what a reader must compare: 1EdTech, Open Badges 3.0, section 8.2 "JSON Web Token Proof
Format" (seen); the classes of the credential: its data model (from memory, after its basic example, seen).
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import jwt
from jwt.algorithms import RSAAlgorithm

from autograde.papers import signing
from autograde.trouble import Trouble, reason

__all__ = ["Award", "credential", "payload", "read", "verify"]

CONTEXT = (
    "https://www.w3.org/ns/credentials/v2",
    "https://purl.imsglobal.org/spec/ob/v3p0/context-3.0.3.json",
)
_CLAIMS = ("iss", "sub", "jti", "nbf")
_HEADERS = {"alg", "typ", "jwk"}
_LARGEST_BYTES = 2**20


@dataclass(frozen=True)
class Award:
    """Who finished which course, with what share of the points, under which rule, and from when until when it counts."""

    learner: str
    name: str
    course: str
    percent: float
    rule: str
    issued: datetime
    until: datetime | None = None


def credential(award: Award, jwk: Mapping) -> dict:
    """The OpenBadgeCredential of ``award``, issued by whoever holds the private half of ``jwk``."""
    issuer = signing.issuer_id(jwk)
    points = _urn(issuer, award.course, "points")
    found = {
        "@context": list(CONTEXT),
        "id": _urn(issuer, award.course, award.learner, _time(award.issued)),
        "type": ["VerifiableCredential", "OpenBadgeCredential"],
        "name": f"{award.course}: certificate of completion",
        "issuer": {"id": issuer, "type": ["Profile"], "name": award.course},
        "validFrom": _time(award.issued),
        "credentialSubject": {
            "id": _urn(issuer, award.learner),
            "type": ["AchievementSubject"],
            "identifier": [
                {"type": "IdentityObject", "hashed": False, "identityHash": award.name, "identityType": "name"}
            ],
            "achievement": _achievement(award, issuer, points),
            "result": [{"type": ["Result"], "resultDescription": points, "value": f"{award.percent:.0f}"}],
        },
    }
    return found | ({"validUntil": _time(award.until)} if award.until else {})


def _achievement(award: Award, issuer: str, points: str) -> dict:
    return {
        "id": _urn(issuer, award.course),
        "type": ["Achievement"],
        "achievementType": "CertificateOfCompletion",
        "name": award.course,
        "description": f"All lessons of the course {award.course} worked through and marked.",
        "criteria": {"narrative": award.rule},
        "resultDescription": [
            {"id": points, "type": ["ResultDescription"], "name": "Share of the points", "resultType": "Percent"}
        ],
    }


def _urn(*names: str) -> str:
    return uuid.uuid5(uuid.NAMESPACE_URL, "|".join(names)).urn


def _time(when: datetime) -> str:
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def payload(found: Mapping) -> dict:
    """The claims of the token: the credential itself, and what a reader of any JWT looks for.

    >>> award = Award("amara", "Amara Okafor", "Library", 92.0, "All of it.", datetime(2026, 3, 2, tzinfo=UTC))
    >>> told = payload(credential(award, {"kty": "RSA", "n": "AQAB", "e": "AQAB"}))
    >>> told["nbf"], told["iss"] == told["issuer"]["id"], "exp" in told
    (1772409600, True, False)
    """
    claims = {
        "iss": found["issuer"]["id"],
        "jti": found["id"],
        "sub": found["credentialSubject"]["id"],
        "nbf": _seconds(found["validFrom"]),
    }
    return {**found, **claims, **({"exp": _seconds(found["validUntil"])} if "validUntil" in found else {})}


def _seconds(text: str) -> int:
    return int(datetime.fromisoformat(text).timestamp())


def read(path: Path) -> str:
    """The token in the file at ``path``, or one sentence."""
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
        text = data.decode("ascii").strip()
    except OSError as error:
        raise Trouble(f"The certificate {path} cannot be read ({reason(error)}); check the name.") from error
    except UnicodeDecodeError:
        text = ""
    if text.count(".") != 2 or len(data) > _LARGEST_BYTES:
        raise Trouble(f"{path} is not a certificate (a compact JWS of three parts); ask for the .jwt file itself.")
    return text


def verify(token: str, jwk: Mapping) -> dict:
    """The credential in ``token`` if it was signed with the private half of ``jwk``, is whole and counts today; else one sentence."""
    try:
        header = jwt.get_unverified_header(token)
        if header.get("alg") != signing.ALGORITHM:
            raise Trouble(f"NOT valid: it is not signed with {signing.ALGORITHM}.")
        key = RSAAlgorithm.from_jwk(dict(jwk))
        found = jwt.decode(token, key, algorithms=[signing.ALGORITHM], options={"require": list(_CLAIMS)})
    except jwt.ExpiredSignatureError:
        raise Trouble("NOT valid: its time is over.") from None
    except jwt.ImmatureSignatureError:
        raise Trouble("NOT valid: its time has not begun.") from None
    except jwt.InvalidSignatureError:
        raise Trouble("NOT valid: it was changed after it was signed, or signed with another key.") from None
    except jwt.PyJWTError as error:
        raise Trouble(f"NOT valid: it is no certificate ({error}).") from None
    _compare(header, found, jwk)
    return found


def _compare(header: Mapping, found: Mapping, jwk: Mapping) -> None:
    """What the standard asks to be compared once the signature is found good."""
    if set(header) - _HEADERS or header.get("typ", "JWT") != "JWT":
        raise Trouble("NOT valid: its header holds what the standard does not allow.")
    if "jwk" in header and header["jwk"] != dict(jwk):
        raise Trouble("NOT valid: it names another key than the one it is signed with.")
    if found["iss"] != signing.issuer_id(jwk):
        raise Trouble("NOT valid: its issuer is not the owner of the key.")
    try:
        same = payload(found) == found and {"VerifiableCredential", "OpenBadgeCredential"} <= set(found["type"])
    except (KeyError, TypeError, ValueError, AttributeError):
        same = False
    if not same:
        raise Trouble("NOT valid: its parts contradict each other.")
