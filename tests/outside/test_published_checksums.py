"""Hashes, checksums and names of the store against published values."""

from __future__ import annotations

import unicodedata
import zlib
from pathlib import Path

import pytest

from darklib.store import journal
from darklib.store.durable import hash_file, publish
from darklib.store.names import folder_name
from darklib.store.seam import Seam

# FIPS 180-4 "Secure Hash Standard"; NIST "Examples with Intermediate Values", SHA-256: "abc" and the two-block message,
# and the long message of a million "a" (NIST SHA test vectors). Values from memory; the empty message likewise.
SHA256 = {
    b"": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    b"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": (
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    ),
    b"a" * 1_000_000: "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
}


@pytest.mark.parametrize(("message", "digest"), SHA256.items(), ids=["empty", "abc", "two blocks", "million"])
def test_a_stored_file_has_the_published_hash(message: bytes, digest: str, tmp_path: Path) -> None:
    done = publish(Seam(), message, tmp_path, "message")
    assert done.sha256 == digest
    assert hash_file(Seam(), done.path) == (digest, len(message))


def test_the_journals_checksum_is_the_crc_of_zip_and_png() -> None:
    """CRC-32 of ISO 3309 and RFC 1952 section 8: its check value over "123456789" is CBF43926 (from memory).

    The bitwise algorithm of RFC 1952's sample code, written out here, must agree with a line's own checksum.
    """

    def crc(data: bytes) -> int:
        value = 0xFFFFFFFF
        for byte in data:
            value ^= byte
            for _ in range(8):
                value = (value >> 1) ^ (0xEDB88320 if value & 1 else 0)
        return value ^ 0xFFFFFFFF

    assert crc(b"123456789") == 0xCBF43926
    body = journal.canonical({"b": [1.5, None, True], "a": "\u00e9"})
    assert zlib.crc32(body) == crc(body)
    assert journal.line_of({"b": [1.5, None, True], "a": "\u00e9"}).endswith(b'"crc32":%d}\n' % crc(body))


def test_canonical_entries_are_sorted_and_without_blanks() -> None:
    """RFC 8785 (JSON Canonicalization Scheme) section 3.2: no whitespace, keys sorted, literals null true false.

    The key order agrees for names of the Basic Multilingual Plane; numbers follow Python, not ECMAScript.
    """
    entry = {"peach": None, "p\u00e9ch\u00e9": True, "literals": [None, True, False], "1": '\u20ac$\u000f\nA\'B"\\"/'}
    assert journal.canonical(entry) == (
        '{"1":"\u20ac$\\u000f\\nA\'B\\"\\\\\\"/","literals":[null,true,false],"peach":null,"p\u00e9ch\u00e9":true}'.encode()
    )


@pytest.mark.parametrize(
    "name",
    "CON PRN AUX NUL COM1 COM2 COM3 COM4 COM5 COM6 COM7 COM8 COM9 LPT1 LPT2 LPT3 LPT4 LPT5 LPT6 LPT7 LPT8 LPT9".split(),
)
def test_names_that_windows_keeps_for_itself(name: str) -> None:
    """Microsoft, "Naming Files, Paths, and Namespaces", Naming Conventions: these, with any extension, in any case."""
    for text in (name, name.lower(), f"{name}.fits", f"{name}.tar.gz", f"{name} .txt"):
        assert folder_name(text).split(".")[0].strip().upper() != name


def test_characters_that_windows_refuses() -> None:
    """The same page: < > : " / \\ | ? *, the numbers 0 to 31, and no blank or full stop at the end."""
    refused = '<>:"/\\|?*' + "".join(map(chr, range(32)))
    assert not set(folder_name(f"a{refused}b. .")) & set(refused)
    assert folder_name("a. .") == "a"


def test_composed_and_decomposed_names_are_one() -> None:
    """Unicode Standard Annex 15, figure 4 (singletons and composites): Angstrom sign, A with ring, and A + ring."""
    names = {folder_name(text) for text in ("\u212b", "\u00c5", "A\u030a")}
    assert names == {"\u00c5"}
    assert unicodedata.is_normalized("NFC", names.pop())
