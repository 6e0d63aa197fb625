"""Day passes against what stands outside this house: RFC 8032, RFC 4648, ISO/IEC 18004, and another program that reads the codes."""

import re
import struct
import zlib
from base64 import b32encode
from datetime import date
from io import BytesIO

import numpy as np
import pytest
import segno
import zxingcpp
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from scipy import ndimage

from contracts.passes import PREFIX, pass_key, read_pass, write_pass
from services.registration.passes.printing import ERROR_LEVEL, QUIET, code, svg

PARK, DAY, CODE = "larchmoor", date(2026, 5, 9), "7Q4M-K2XW"
PRIVATE = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
TEXT = write_pass(PRIVATE, PARK, DAY, CODE)
PIXELS = 8
"""A module's side in the pictures below."""

RFC_8032 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]
"""RFC 8032 §7.1, tests 1 to 3: seed, public key, message, signature (from memory; they hold, or this file fails)."""


@pytest.mark.parametrize(("seed", "public", "message", "signature"), RFC_8032)
def test_the_signatures_are_ed25519_as_in_rfc_8032(seed, public, message, signature):
    private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(seed))
    assert private.public_key().public_bytes_raw().hex() == public
    assert private.sign(bytes.fromhex(message)).hex() == signature
    Ed25519PublicKey.from_public_bytes(bytes.fromhex(public)).verify(bytes.fromhex(signature), bytes.fromhex(message))


def test_a_pass_is_signed_by_the_key_that_is_handed_out_over_what_the_format_says():
    """With the seed of RFC 8032's test 1 the key that is handed out is its public key, and a verifier of our own finds the signature good."""
    private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(RFC_8032[0][0]))
    key = pass_key(private, PARK, DAY)
    text = write_pass(private, PARK, DAY, CODE)
    digits = text.removeprefix("FLDP")
    bits = "".join(f"{'ABCDEFGHIJKLMNOPQRSTUVWXYZ234567'.index(one):05b}" for one in digits)
    whole = bytes(int(bits[at : at + 8], 2) for at in range(0, len(bits) // 8 * 8, 8))
    public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(RFC_8032[0][1]))
    public.verify(whole[-64:], b"fieldledger day pass 1\nlarchmoor\n" + whole[:-64])
    assert whole[:7] == b"\x01" + bytes.fromhex(key.id) + (DAY - date(1970, 1, 1)).days.to_bytes(2, "big")
    assert whole[7:-64] == CODE.encode()


@pytest.mark.parametrize(
    ("plain", "encoded"),
    [
        (b"", ""), (b"f", "MY"), (b"fo", "MZXQ"), (b"foo", "MZXW6"), (b"foob", "MZXW6YQ"), (b"fooba", "MZXW6YTB"),
        (b"foobar", "MZXW6YTBOI"),
    ],
)  # fmt: skip
def test_the_alphabet_is_base32_of_rfc_4648_without_its_padding(plain, encoded):
    """RFC 4648 §10 (from memory)."""
    assert b32encode(plain).decode().rstrip("=") == encoded


CAPACITY = {
    "L": [25, 47, 77, 114, 154, 195, 224, 279, 335, 395],
    "M": [20, 38, 61, 90, 122, 154, 178, 221, 262, 311],
    "Q": [16, 29, 47, 67, 87, 108, 125, 157, 189, 221],
    "H": [10, 20, 35, 50, 64, 84, 93, 122, 143, 174],
}
"""ISO/IEC 18004, table of capacities: characters of the alphanumeric mode in versions 1 to 10 by level of correction (from memory)."""


@pytest.mark.parametrize("level", CAPACITY)
@pytest.mark.parametrize("version", range(1, 11))
def test_a_code_holds_as_many_characters_as_iso_18004_says_and_not_one_more(level, version):
    most = CAPACITY[level][version - 1]
    made = segno.make_qr("A" * most, error=level, boost_error=False)
    assert (made.version, made.mode) == (version, "alphanumeric")
    assert segno.make_qr("A" * (most + 1), error=level, boost_error=False).version == version + 1


@pytest.mark.parametrize(("length", "version"), [(1, 7), (9, 8), (24, 8), (25, 9), (64, 10)])
def test_a_pass_fits_the_version_that_its_length_needs_by_those_figures(length, version):
    """4 characters of prefix and 8 for each 5 bytes; the bytes are 71 and the code's own."""
    text = write_pass(PRIVATE, PARK, DAY, "p" * length)
    assert len(text) == 4 + -(-(71 + length) * 8 // 5)
    made = code(text)
    assert made.mode == "alphanumeric"
    assert made.error in {ERROR_LEVEL, "H"}
    assert made.version == version == 1 + next(at for at, most in enumerate(CAPACITY["Q"]) if most >= len(text))


def drawn(text):
    """The code as a PNG with its white border, and that as grey values."""
    out = BytesIO()
    code(text).save(out, kind="png", scale=PIXELS, border=QUIET)
    return grey(out.getvalue())


def grey(png):
    """The pixels of a PNG of one bit a pixel, by the W3C's specification: chunks IHDR and IDAT, filters 0 (none) and 2 (up)."""
    width, height, depth, kind = struct.unpack(">IIBB", png[16:26])
    assert (depth, kind) in {(1, 0), (1, 3)}
    data, at = b"", 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        data += png[at + 8 : at + 8 + length] if png[at + 4 : at + 8] == b"IDAT" else b""
        at += 12 + length
    rows = np.frombuffer(zlib.decompress(data), np.uint8).reshape(height, -1)
    whole = np.zeros((height + 1, rows.shape[1] - 1), np.uint8)
    for at, row in enumerate(rows):
        whole[at + 1] = row[1:] + {0: np.uint8(0), 2: whole[at]}[int(row[0])]
    bits = np.unpackbits(whole[1:], axis=1)[:, :width]
    white = bits[0, 0]
    return np.where(bits == white, 255, 0).astype(np.uint8)


def read(picture):
    return [one.text for one in zxingcpp.read_barcodes(np.ascontiguousarray(picture))]


def test_another_program_reads_the_pass_off_its_picture_and_its_keys_verify_it():
    (text,) = read(drawn(TEXT))
    assert text == TEXT
    assert read_pass(text, PARK, DAY, [pass_key(PRIVATE, PARK, DAY)]) == CODE


@pytest.mark.parametrize("angle", [7, 45, 90, 133, 180, 270, 311])
def test_it_is_read_however_the_pass_is_held(angle):
    assert read(ndimage.rotate(drawn(TEXT), angle, order=1, cval=255)) == [TEXT]


def test_it_is_read_small_blurred_and_in_a_mirror():
    small = ndimage.gaussian_filter(drawn(TEXT), PIXELS / 3)[:: PIXELS // 3, :: PIXELS // 3]
    assert read(small) == [TEXT]
    assert read(small[:, ::-1]) == [TEXT]


def muddied(share, seed):
    """One spot of mud over so much of the data's modules, clear of the three finders and the lines of timing."""
    picture = drawn(TEXT)
    modules = code(TEXT).symbol_size(scale=1, border=0)[0]
    side = round((share * modules * modules) ** 0.5)
    draw = np.random.default_rng(seed)
    at = draw.integers(9, modules - 9 - side, 2) + QUIET
    rows, columns = (slice(one * PIXELS, (one + side) * PIXELS) for one in at)
    picture[rows, columns] = draw.choice([0, 255])
    return picture


@pytest.mark.parametrize("seed", range(8))
def test_it_is_read_with_a_tenth_of_it_under_one_spot_of_mud(seed):
    """ISO/IEC 18004: level Q restores about a quarter of the codewords (from memory). A spot wrongs some of its words only by half, and no finder."""
    assert read(muddied(0.10, seed)) == [TEXT]


def test_with_a_third_of_it_under_mud_nothing_is_read_rather_than_something_wrong():
    assert read(muddied(0.35, 1)) == []


def test_scattered_damage_is_restored_up_to_the_level_and_what_is_beyond_is_never_read_as_another_pass():
    """Modules flipped one by one: each wrongs a word of eight, so a share p of modules wrongs 1 - (1 - p)^8 of the words. A quarter is reached at 3.5 %."""
    clean = drawn(TEXT)
    seen = {}
    for share in (0.01, 0.02, 0.10, 0.20):
        flipped = [_flipped(clean, share, seed) for seed in range(6)]
        seen[share] = [read(picture) for picture in flipped]
        assert all(texts in ([], [TEXT]) for texts in seen[share])
    assert seen[0.01] == [[TEXT]] * 6
    assert seen[0.20] == [[]] * 6


def _flipped(picture, share, seed):
    modules = picture.shape[0] // PIXELS
    wrong = np.random.default_rng(seed).random((modules, modules)) < share
    inside = np.zeros_like(wrong)
    inside[QUIET + 9 : -QUIET - 9, QUIET + 9 : -QUIET - 9] = True
    spots = np.kron(wrong & inside, np.ones((PIXELS, PIXELS), dtype=bool))
    return np.where(spots, 255 - picture, picture)


def test_the_picture_for_print_is_the_same_code_module_by_module():
    """The SVG's path, walked by its own commands, gives the matrix of the code."""
    made, text = code(TEXT), svg(TEXT).decode()
    size = made.symbol_size(scale=1, border=QUIET)[0]
    found = np.zeros((size, size), dtype=int)
    x = y = 0.0
    for command, numbers in re.findall(r"([Mmh])([-0-9. ]+)", re.search(r' d="([^"]+)"', text)[1]):
        told = [float(one) for one in numbers.split()]
        if command == "M":
            x, y = told
        elif command == "m":
            x, y = x + told[0], y + told[1]
        else:
            found[int(y), int(x) : int(x + told[0])] = 1
            x += told[0]
    expected = np.array([list(row) for row in made.matrix]) > 0
    assert (found[QUIET:-QUIET, QUIET:-QUIET] == expected).all()
    assert found.sum() == expected.sum()


def test_the_prefix_is_letters_of_the_alphanumeric_mode():
    assert PREFIX.isalpha()
    assert PREFIX.isupper()
