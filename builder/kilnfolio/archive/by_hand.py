"""Explains how to check a bag by hand, with exact commands of common tools, for its README.

``tests/archive/test_by_hand.py`` runs every command as printed.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from kilnfolio.archive.entries import line_of
from kilnfolio.archive.proofs import ENTRIES, PROOF, BagLedger

#: Width of a line of text in a bag [characters].
WIDTH = 92
_ENTRIES, _PROOF = f"data/{ENTRIES.as_posix()}", f"data/{PROOF.as_posix()}"


def wrapped(text: str, indent: str = "") -> list[str]:
    """Return a paragraph as wrapped lines, followed by an empty line."""
    return [
        *textwrap.wrap(
            text,
            WIDTH,
            initial_indent=indent,
            subsequent_indent=indent,
            break_long_words=False,
            break_on_hyphens=False,
        ),
        "",
    ]


def heading(text: str) -> list[str]:
    """Return an underlined heading, followed by an empty line."""
    return [text, "-" * len(text), ""]


def checking(part: BagLedger) -> Iterator[str]:
    """Yield the part of the README on checking that nothing was changed."""
    yield from heading("Checking that nothing was changed")
    yield from wrapped(
        "Run common tools (sha256sum, jq, openssl, xxd) in the folder of this file; what they "
        "pass on goes into a scratch folder. Check every file against the manifests, as any "
        "BagIt tool does (RFC 8493):"
    )
    yield "  t=$(mktemp -d)"
    yield "  sha256sum -c --quiet manifest-sha256.txt && sha256sum -c --quiet tagmanifest-sha256.txt"
    yield ""
    yield from wrapped(
        "Manifests alone prove nothing: anybody who changes a file can rewrite them. The "
        "seal is the proof. The dossier's digest must be the one its entry names, so these two "
        "commands must print the same line:"
    )
    yield f"  sed -n {_line(part)}p {_ENTRIES} > $t/entry"
    yield "  sha256sum < data/dossier.json | cut -d' ' -f1"
    yield "  jq -r .dossier $t/entry"
    yield ""
    yield from wrapped("The digest of every file the record is based on must match too:")
    yield "  jq -r '.inputs + (.supporting // []) | .[] | .sha256 + \"  \" + .path' $t/entry > $t/files"
    yield "  (cd data && sha256sum -c --quiet $t/files)"
    yield ""
    yield from _signature()
    if part.proof:
        yield from _proof(len(part.lines))
    yield from wrapped(
        "Without these tools: verify.html, in the auditor edition and in the source of kilnfolio, "
        "does all of this in a browser. With kilnfolio: 'kilnfolio audit .' here does it too, "
        "computes every figure again from the raw files, and names each file, entry and number "
        "that differs."
    )


def _line(part: BagLedger) -> int:
    """Return the number of the line in ``entries.jsonl`` with the charge's last entry."""
    return part.lines.index(line_of(part.entries[-1])) + 1


def _signature() -> Iterator[str]:
    yield from wrapped(
        "The signature of that entry (Ed25519, RFC 8032) covers its line without the key "
        "'signature'. Lines are canonical JSON (RFC 8785), which jq -cjS writes for these "
        "entries; openssl wants the key in the form of RFC 8410:"
    )
    yield "  jq -cjS 'del(.signature)' $t/entry > $t/signed"
    yield "  jq -r .signature $t/entry | xxd -r -p > $t/signature"
    yield "  (printf 302a300506032b6570032100; jq -r .public_key $t/entry) | xxd -r -p > $t/key"
    yield "  openssl pkeyutl -verify -rawin -pubin -keyform DER -inkey $t/key \\"
    yield "    -in $t/signed -sigfile $t/signature"
    yield ""
    yield from wrapped(
        "Get the mill's public key another way, by telephone or on paper, and compare: a list of "
        "keys that came with the bag proves nothing on its own."
    )


def _proof(lines: int) -> Iterator[str]:
    yield from wrapped(
        f"The ledger: {ENTRIES.name} holds the {lines} entries of this charge, of the lots drawn "
        f"from it, and of the keys. {PROOF.name} holds the signed head of the whole ledger, a "
        "Merkle tree hash (RFC 9162), and for each entry the digests that lead from it to the "
        "head. Check the signature of the head like that of the entry:"
    )
    yield f"  jq -cjS '.head | del(.signature)' {_PROOF} > $t/signed"
    yield f"  jq -r .head.signature {_PROOF} | xxd -r -p > $t/signature"
    yield f"  (printf 302a300506032b6570032100; jq -r .head.public_key {_PROOF}) \\"
    yield "    | xxd -r -p > $t/key"
    yield "  openssl pkeyutl -verify -rawin -pubin -keyform DER -inkey $t/key \\"
    yield "    -in $t/signed -sigfile $t/signature"
    yield ""
    yield from wrapped(
        "The path from the entry to the head (RFC 9162, 2.1.3.2); the two lines printed last must "
        "be the same:"
    )
    yield from (
        "  hash() { xxd -r -p | sha256sum | cut -d' ' -f1; }",
        "  n=$(jq .number $t/entry)",
        f"  place=$((n - 1)) last=$(($(jq .head.size {_PROOF}) - 1))",
        "  digest=$( (printf 00; tr -d '\\n' < $t/entry | xxd -p | tr -d '\\n') | hash)",
        f'  for step in $(jq -r ".inclusions[] | select(.number == $n) | .path[]" \\\n      {_PROOF})',
        "  do",
        "    if [ $((place % 2)) = 1 ] || [ $place = $last ]; then",
        "      digest=$(printf 01$step$digest | hash)",
        "      while [ $place != 0 ] && [ $((place % 2)) = 0 ]; do",
        "        place=$((place / 2)) last=$((last / 2))",
        "      done",
        "    else",
        "      digest=$(printf 01$digest$step | hash)",
        "    fi",
        "    place=$((place / 2)) last=$((last / 2))",
        "  done",
        f"  echo $digest; jq -r .head.root {_PROOF}",
        "",
    )
    yield from wrapped(
        "Keep the head: with it you can tell later whether entries were dropped or changed."
    )
