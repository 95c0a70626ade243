"""Confirmation of a state of the ledger by somebody outside the mill.

A witness signs a head's size and root with an Ed25519 key, or a time-stamping service issues a
token for them (RFC 3161). Either later proves that the ledger had this state then, whatever the
mill's clock showed and whoever holds its key.

References
----------
.. [1] RFC 3161, Time-Stamp Protocol (TSP), 2001.
.. [2] RFC 5652, Cryptographic Message Syntax (CMS), 2009, section 5.
"""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
from typing import Any, Literal

from pydantic import ValidationError

from kilnfolio.archive.canonical import canonical, read_canonical
from kilnfolio.archive.entries import Head, Hex64, WitnessEntry
from kilnfolio.archive.keyring import Hex32
from kilnfolio.archive.keys import Keys, is_signed_by
from kilnfolio.records.model import Name
from kilnfolio.review.dossier import Part

TYPE_CHECKING = False  # few mills have time stamps: load their libraries on demand
if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes

#: Digests that a token may use.
_HASHES = ("sha256", "sha384", "sha512")


class NoWitnessError(ValueError):
    """A countersignature or token cannot be read, or does not confirm this head."""


class Countersignature(Part):
    """A countersignature of a head by a witness."""

    kind: Literal["ledger-witness"] = "ledger-witness"
    """What the file is."""
    head: Head
    """The state confirmed."""
    witness: Name
    """Who confirms it."""
    public_key: Hex32
    """The witness's key."""
    signature: Hex64
    """Ed25519 over the canonical JSON of the head's size and root."""

    @property
    def is_valid(self) -> bool:
        """Whether the signature is valid."""
        return is_signed_by(self.public_key, self.head.text, self.signature)


def countersign(head: Head, witness: str, keys: Keys) -> Countersignature:
    """Return the countersignature of a head with a witness's own key."""
    return Countersignature(
        head=Head(size=head.size, root=head.root),
        witness=witness.strip(),
        public_key=keys.public,
        signature=keys.sign(head.text),
    )


def read_countersignature(data: bytes) -> Countersignature:
    """Return a countersignature after verifying it.

    Raises
    ------
    NoWitnessError
        It is not a countersignature, or is invalid.
    """
    try:
        found = Countersignature.model_validate(read_canonical(data.strip()))
    except (ValueError, ValidationError):
        raise NoWitnessError("it is no countersignature of a ledger's head") from None
    if not found.is_valid:
        raise NoWitnessError("the countersignature does not fit the head it names")
    return found


def countersignature_text(found: Countersignature) -> bytes:
    """Return the text of a countersignature's file."""
    return canonical(found) + b"\n"


def unconfirmed(entry: WitnessEntry) -> str:
    """Return why an entry's witness does not confirm the head it names; empty if it does."""
    if entry.token:
        try:
            read_time_stamp(base64.b64decode(entry.token, validate=True), entry.head)
        except ValueError as error:
            return str(error)
        return ""
    if not (entry.witness_key and entry.witness_signature):
        return "has neither a countersignature nor a time-stamp token"
    return (
        ""
        if is_signed_by(entry.witness_key, entry.head.text, entry.witness_signature)
        else "does not fit the witness's signature"
    )


# --- time stamps ----------------------------------------------------------------------------------


class TimeStamp(Part):
    """The content of a time-stamp token."""

    at: dt.datetime
    """The service's time."""
    service: str
    """The name in its certificate."""


def read_time_stamp(token: bytes, head: Head) -> TimeStamp:
    """Check a time-stamp token against a head, without a network.

    The token's signature is checked with the certificate it contains. Whether that is the service's
    certificate can be checked by ``openssl ts -verify -CAfile`` with the service's own root.

    Parameters
    ----------
    token : bytes
        An RFC 3161 response or token, DER.
    head : Head
        The state that it must cover.

    Raises
    ------
    NoWitnessError
        It is not a token, covers something else, or has an invalid signature.
    """
    try:
        signed = _signed_data(token)
        info: Any = signed["encap_content_info"]["content"].parsed
        imprint = info["message_imprint"]
        algorithm = imprint["hash_algorithm"]["algorithm"].native
        covered = imprint["hashed_message"].native
        at = info["gen_time"].native
        certificate = _signer_fits(signed)
    except NoWitnessError:
        raise
    except Exception as error:  # whatever a parser of foreign bytes raises, it is not a token
        raise NoWitnessError(f"it is no RFC 3161 time-stamp token: {error}") from None
    if algorithm not in _HASHES or hashlib.new(algorithm, head.text).digest() != covered:
        raise NoWitnessError(f"the token does not cover the head of {head.size} entries")
    return TimeStamp(at=at, service=certificate.subject.rfc4514_string())


def _signed_data(token: bytes) -> Any:
    from asn1crypto import cms, tsp

    try:
        response = tsp.TimeStampResp.load(token, strict=True)
        content = response["time_stamp_token"]
        if content["content_type"].native == "signed_data":
            return content["content"]
    except (ValueError, TypeError, KeyError):
        pass
    content = cms.ContentInfo.load(token, strict=True)
    if content["content_type"].native != "signed_data":
        raise NoWitnessError("it is no signed time-stamp token")
    return content["content"]


def _signer_fits(signed: Any) -> x509.Certificate:
    """Return the certificate of a token's signer after checking its signature (RFC 5652, 5.4)."""
    from cryptography import x509

    [signer] = signed["signer_infos"]
    attributes = {item["type"].native: item["values"][0].native for item in signer["signed_attrs"]}
    digest = signer["digest_algorithm"]["algorithm"].native
    content = signed["encap_content_info"]["content"].contents
    if hashlib.new(digest, content).digest() != attributes["message_digest"]:
        raise NoWitnessError("the token's content is not the one it was signed over")
    message = signer["signed_attrs"].untag().dump(force=True)
    serial = signer["sid"].chosen["serial_number"].native
    for choice in signed["certificates"]:
        certificate = x509.load_der_x509_certificate(choice.chosen.dump())
        if certificate.serial_number == serial:
            _verify(certificate, signer["signature"].native, message, _hash(digest))
            return certificate
    raise NoWitnessError("the token does not carry its signer's certificate")


def _hash(name: str) -> hashes.HashAlgorithm:
    from cryptography.hazmat.primitives import hashes

    if name not in _HASHES:
        raise NoWitnessError(f"the token is signed over a digest that is not known here: {name}")
    found: hashes.HashAlgorithm = getattr(hashes, name.upper())()
    return found


def _verify(
    certificate: x509.Certificate, signature: bytes, message: bytes, digest: hashes.HashAlgorithm
) -> None:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric import ec, padding, rsa
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    key = certificate.public_key()
    try:
        if isinstance(key, rsa.RSAPublicKey):
            key.verify(signature, message, padding.PKCS1v15(), digest)
        elif isinstance(key, ec.EllipticCurvePublicKey):
            key.verify(signature, message, ec.ECDSA(digest))
        elif isinstance(key, Ed25519PublicKey):
            key.verify(signature, message)
        else:
            raise NoWitnessError("the token is signed with a kind of key that is not known here")
    except InvalidSignature:
        raise NoWitnessError("the token does not fit its signature") from None
