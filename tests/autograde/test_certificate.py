"""Certificates: whole ones are believed, and nothing else is.

What is compared, and what must be there: 1EdTech, Open Badges 3.0, section 8.2 "JSON Web Token Proof Format" (seen).
"""

import base64
import json
import subprocess
from datetime import UTC, datetime, timedelta

import jwt
import pytest

from autograde.cli import main
from autograde.papers import certificate, signing
from autograde.trouble import Trouble

NOW = datetime.now(UTC).replace(microsecond=0)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("key") / "certificates"
    signing.private_key(place)
    return place


@pytest.fixture(scope="module")
def stranger(tmp_path_factory):
    place = tmp_path_factory.mktemp("other") / "certificates"
    return signing.private_key(place), signing.read_jwk(place / signing.PUBLIC)


@pytest.fixture(scope="module")
def key(folder):
    return signing.private_key(folder)


@pytest.fixture(scope="module")
def jwk(folder):
    return signing.read_jwk(folder / signing.PUBLIC)


def award(**changes):
    told = {"learner": "amara", "name": "Amara Okafor", "course": "Fennel Street Library", "percent": 91.6}
    return certificate.Award(**told | {"rule": "Every lesson.", "issued": NOW} | changes)


def made(jwk, **changes):
    return certificate.payload(certificate.credential(award(**changes), jwk))


def part(value):
    return base64.urlsafe_b64encode(json.dumps(value).encode()).decode().rstrip("=")


def test_a_whole_one_says_who_and_what(key, jwk):
    found = certificate.verify(signing.sign(made(jwk), key), jwk)
    subject = found["credentialSubject"]
    assert subject["identifier"][0]["identityHash"] == "Amara Okafor"
    assert subject["achievement"]["name"] == "Fennel Street Library" and subject["result"][0]["value"] == "92"


def test_it_has_what_the_standard_s_basic_example_has(key, jwk):
    """Open Badges 3.0, appendix A, the basic OpenBadgeCredential (seen): these members, contexts and types."""
    token = signing.sign(made(jwk), key)
    header, found = jwt.get_unverified_header(token), certificate.verify(token, jwk)
    assert found["@context"] == [
        "https://www.w3.org/ns/credentials/v2",
        "https://purl.imsglobal.org/spec/ob/v3p0/context-3.0.3.json",
    ]
    assert found["type"] == ["VerifiableCredential", "OpenBadgeCredential"] and found["name"]
    assert found["issuer"]["type"] == ["Profile"] and found["issuer"]["name"]
    assert datetime.fromisoformat(found["validFrom"]) == NOW
    achievement = found["credentialSubject"]["achievement"]
    assert (
        achievement["type"] == ["Achievement"] and achievement["description"] and achievement["criteria"]["narrative"]
    )
    assert {
        "iss": found["issuer"]["id"],
        "jti": found["id"],
        "sub": found["credentialSubject"]["id"],
    }.items() <= found.items()
    assert header == {"alg": "RS256", "typ": "JWT", "jwk": jwk} and "d" not in header["jwk"]


def test_the_signature_is_good_to_openssl_too(key, folder, tmp_path):
    """An independent reader of RSASSA-PKCS1-v1_5 with SHA-256 (RFC 7518, section 3.3)."""
    head, body, signature = signing.sign(made(signing.read_jwk(folder / signing.PUBLIC)), key).split(".")
    (tmp_path / "signature").write_bytes(base64.urlsafe_b64decode(signature + "=="))
    (tmp_path / "told").write_text(f"{head}.{body}")
    subprocess.run(
        ["openssl", "pkey", "-in", folder / signing.PRIVATE, "-pubout", "-out", tmp_path / "public"], check=True
    )
    command = ["openssl", "dgst", "-sha256", "-verify", tmp_path / "public", "-signature", tmp_path / "signature"]
    assert subprocess.run([*command, tmp_path / "told"]).returncode == 0
    (tmp_path / "told").write_text(f"{head}.{body}x")
    assert subprocess.run([*command, tmp_path / "told"], capture_output=True).returncode != 0


def test_the_thumbprint_is_that_of_the_published_example():
    """RFC 7638, section 3.1: the key there and its thumbprint (from memory; a wrong digit would not fit the other)."""
    n = (
        "0vx7agoebGcQSuuPiLJXZptN9nndrQmbXEps2aiAFbWhM78LhWx4cbbfAAtVT86zwu1RK7aPFFxuhDR1L6tSoc_BJECPebWKRXjBZCiFV4n3oknjhMs"
        "tn64tZ_2W-5JsGY4Hc5n9yBXArwl93lqt7_RN5w6Cf0h4QyQ5v-65YGjQR0_FDW2QvzqY368QQMicAtaSqzs8KJZgnYb9c7d0zgdAZHzu6qMQvRL5haj"
        "rn1n91CbOpbISD08qNLyrdkt-bFTWhAI4vMQFh6WeZu0fM4lFd2NcRwr3XPksINHaQ-G_xBniIqbw0Ls1jF44-csFCur-kEgU8awapJzKnqDKgw"
    )
    key = {"kty": "RSA", "n": n, "e": "AQAB", "alg": "RS256", "kid": "2011-04-29"}
    assert signing.thumbprint(key) == "NzbLsXh8uDCcd-6MNwXF4W_7noWXFZAfHkxZsRGC9Xs"


def test_any_changed_letter_is_found_out(key, jwk):
    token = signing.sign(made(jwk), key)
    for at in range(0, len(token) - 1, 97):  # the last letter carries bits that no one reads
        other = "A" if token[at] != "A" else "B"
        with pytest.raises(Trouble, match="NOT valid"):
            certificate.verify(token[:at] + other + token[at + 1 :], jwk)


def test_a_changed_result_is_found_out(key, jwk):
    head, _, signature = signing.sign(made(jwk), key).split(".")
    better = part(made(jwk, percent=100.0))
    with pytest.raises(Trouble, match="changed after it was signed"):
        certificate.verify(f"{head}.{better}.{signature}", jwk)


@pytest.mark.parametrize("name", ["none", "None", "NONE", "HS256", "RS512", "ES256", "", None, 5])
def test_another_algorithm_is_refused(key, jwk, name):
    _, body, signature = signing.sign(made(jwk), key).split(".")
    for ending in ("", signature):
        with pytest.raises(Trouble, match="NOT valid"):
            certificate.verify(f"{part({'alg': name, 'typ': 'JWT', 'jwk': jwk})}.{body}.{ending}", jwk)


def test_the_public_key_is_not_taken_for_a_shared_secret(jwk):
    """The old trick: sign with HMAC, and with the published key as the secret."""
    import hashlib
    import hmac

    told = f"{part({'alg': 'HS256', 'typ': 'JWT'})}.{part(made(jwk))}"
    signature = hmac.new(json.dumps(jwk).encode(), told.encode(), hashlib.sha256).digest()
    with pytest.raises(Trouble, match="not signed with RS256"):
        certificate.verify(f"{told}.{base64.urlsafe_b64encode(signature).decode().rstrip('=')}", jwk)


def test_another_key_is_found_out_even_if_the_token_brings_it_along(jwk, stranger):
    own, other = stranger
    for told in (made(jwk), made(other)):
        with pytest.raises(Trouble, match="another key"):
            certificate.verify(signing.sign(told, own), jwk)
    assert certificate.verify(signing.sign(made(other), own), other)


def test_a_header_that_names_another_key_is_refused(key, jwk, stranger):
    token = jwt.encode(made(jwk), key, algorithm="RS256", headers={"jwk": stranger[1]})
    with pytest.raises(Trouble, match="names another key"):
        certificate.verify(token, jwk)
    with pytest.raises(Trouble, match="does not allow"):
        certificate.verify(jwt.encode(made(jwk), key, algorithm="RS256", headers={"x5u": "a"}), jwk)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"issued": NOW + timedelta(days=2)}, "has not begun"),
        ({"issued": NOW - timedelta(days=9), "until": NOW - timedelta(days=1)}, "is over"),
    ],
)
def test_dates_are_kept(key, jwk, changes, words):
    with pytest.raises(Trouble, match=words):
        certificate.verify(signing.sign(made(jwk, **changes), key), jwk)
    assert certificate.verify(signing.sign(made(jwk, until=NOW + timedelta(days=1)), key), jwk)["exp"]


@pytest.mark.parametrize("claim", ["iss", "sub", "jti", "nbf"])
def test_claims_that_are_missing_or_contradict_are_refused(key, jwk, claim):
    told = made(jwk)
    other = 1 if claim == "nbf" else "urn:uuid:other"
    for wrong in ({name: value for name, value in told.items() if name != claim}, {**told, claim: other}):
        with pytest.raises(Trouble, match="NOT valid"):
            certificate.verify(signing.sign(wrong, key), jwk)


def test_another_issuer_is_refused_though_the_signature_is_good(key, jwk):
    told = made(jwk)
    other = "urn:ietf:params:oauth:jwk-thumbprint:sha-256:NzbLsXh8uDCcd-6MNwXF4W_7noWXFZAfHkxZsRGC9Xs"
    with pytest.raises(Trouble, match="issuer is not the owner"):
        certificate.verify(signing.sign({**told, "iss": other, "issuer": {**told["issuer"], "id": other}}, key), jwk)


@pytest.mark.parametrize("gone", ["type", "issuer", "credentialSubject", "id", "validFrom"])
def test_half_a_credential_is_refused(key, jwk, gone):
    told = {name: value for name, value in made(jwk).items() if name != gone}
    with pytest.raises(Trouble, match="NOT valid"):
        certificate.verify(signing.sign(told, key), jwk)
    with pytest.raises(Trouble, match="NOT valid"):
        certificate.verify(signing.sign({**told, gone: "x"}, key), jwk)


def test_the_private_key_is_its_owner_s_alone_and_made_once(folder, tmp_path):
    assert (folder / signing.PRIVATE).stat().st_mode & 0o777 == 0o600
    before = (folder / signing.PRIVATE).read_bytes()
    signing.private_key(folder)
    assert (folder / signing.PRIVATE).read_bytes() == before
    assert "d" not in json.loads((folder / signing.PUBLIC).read_text())
    place = tmp_path / "certificates"
    signing.private_key(place)
    (place / signing.PRIVATE).chmod(0o644)
    with pytest.raises(Trouble, match="chmod 600"):
        signing.private_key(place)
    (place / signing.PRIVATE).write_text("x")
    with pytest.raises(Trouble, match="is damaged"):
        signing.private_key(place)
    (place / signing.PRIVATE).unlink()
    with pytest.raises(Trouble, match="is missing but"):
        signing.private_key(place)
    assert not (place / signing.PRIVATE).exists()


def test_a_key_of_another_course_is_named(folder, tmp_path, stranger):
    place = tmp_path / "certificates"
    signing.private_key(place)
    (place / signing.PUBLIC).write_text(json.dumps(stranger[1]))
    with pytest.raises(Trouble, match="does not belong"):
        signing.private_key(place)


def test_the_command_verifies_without_a_course(key, jwk, folder, tmp_path, capsys):
    (tmp_path / "good.jwt").write_text(signing.sign(made(jwk), key) + "\n")
    assert main(["verify", str(tmp_path / "good.jwt"), "--key", str(folder / signing.PUBLIC)]) == 0
    said = capsys.readouterr().out
    assert "Amara Okafor" in said and "Fennel Street Library" in said and signing.thumbprint(jwk) in said


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("nothing.jwt", None, "cannot be read"),
        ("text.jwt", "hello", "not a certificate"),
        ("bytes.jwt", "é.é.é", "not a certificate"),
        ("dots.jwt", "a.b.c", "NOT valid"),
    ],
)
def test_what_is_no_certificate_is_one_sentence(name, content, words, folder, tmp_path, capsys):
    if content is not None:
        (tmp_path / name).write_text(content, encoding="utf-8")
    assert main(["verify", str(tmp_path / name), "--key", str(folder / signing.PUBLIC)]) == 2
    said = capsys.readouterr().err
    assert words in said and said.count("\n") == 1


@pytest.mark.parametrize(
    "content", ["", "[]", "{}", '{"kty": "RSA", "n": 5, "e": "AQAB"}', '{"kty": "RSA", "d": "x"}', "\x00"]
)
def test_what_is_no_key_is_one_sentence(content, tmp_path, capsys):
    (tmp_path / "key.json").write_text(content)
    (tmp_path / "a.jwt").write_text("a.b.c")
    assert main(["verify", str(tmp_path / "a.jwt"), "--key", str(tmp_path / "key.json")]) == 2
    said = capsys.readouterr().err
    assert "key" in said and said.count("\n") == 1
