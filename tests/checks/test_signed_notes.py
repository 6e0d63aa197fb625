"""Keys, notes and checkpoints against the standards that describe them. The source stands beside each check."""

from base64 import b64decode
from hashlib import sha256

from services.evidence import note
from services.evidence.checkpoint import Checkpoint
from services.evidence.note import SigningKey, VerifierKey

# RFC 8032 §7.1, test 1: the secret key, the public key, and the signature over the empty message.
SEED = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
PUBLIC = bytes.fromhex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")
SIGNATURE = bytes.fromhex(
    "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
)
NAME = "fieldledger/larchmoor/1"

# C2SP tlog-checkpoint, the example at its head, as it stands there.
EXAMPLE = """\
example.com/behind-the-sofa
20852163
CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=

— example.com/behind-the-sofa Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=
"""


def test_a_key_signs_and_verifies_as_in_test_1_of_rfc_8032():
    key = SigningKey(NAME, SEED)
    assert key.verifier.public == PUBLIC
    assert key.sign("") == SIGNATURE
    key.verifier.verify("", SIGNATURE)


def test_a_keys_id_and_text_are_made_as_signed_note_says():
    """C2SP signed-note, "Ed25519 signatures": key ID = SHA-256(key name || 0x0A || 0x01 || 32-byte public key)[:4].

    The standard gives no example with its key. The value is of the key above, worked out apart from this project
    with `sha256sum` and `base64` over those very bytes.
    """
    key = VerifierKey(NAME, PUBLIC)
    assert key.id.hex() == "1a7ffa8f" == sha256(NAME.encode() + b"\x0a\x01" + PUBLIC).hexdigest()[:8]
    assert key.text == f"{NAME}+1a7ffa8f+AddamAGCsQq31Uv+08lkBzoO4XLz2qYjJa8CGmj3B1Ea"
    assert VerifierKey.parse(key.text) == key


def test_a_signed_note_has_the_lines_that_the_standard_describes():
    """C2SP signed-note, "Format": text, an empty line, then em dash, space, key name, space, base64 of key id and signature, line feed."""
    key = SigningKey(NAME, SEED)
    text, empty, line, end = note.sign("One line.\n", [key]).split("\n")
    assert (text, empty, end) == ("One line.", "", "")
    dash, name, encoded = line.split(" ")
    assert (dash, name) == ("\u2014", NAME)
    raw = b64decode(encoded)
    assert raw == key.verifier.id + key.sign("One line.\n")
    assert len(raw) == 4 + 64


def test_the_example_of_tlog_checkpoint_is_read_as_the_standard_explains_it_and_written_again_as_it_stands():
    """C2SP tlog-checkpoint, "Note text": origin, size, root in base64. Whose public key it is, the standard does not say, so none can verify it."""
    found = note.read(EXAMPLE)
    checkpoint = Checkpoint.parse(found.text)
    assert checkpoint.origin == "example.com/behind-the-sofa" == found.signatures[0].name
    assert checkpoint.size == 20_852_163
    assert checkpoint.root.hex() == "0ac5186a91863e8e1d90c808014aa89bf5da8e3ee1d9f07630f0378f68f1ab62"
    assert checkpoint.text + "\n" == EXAMPLE[: EXAMPLE.index("\u2014")]
    assert (found.signatures[0].id.hex(), len(found.signatures[0].signature)) == ("033de0ae", 64)


def test_sixteen_signatures_are_read_as_the_standard_asks():
    """C2SP signed-note, "Format": verifiers must accept at least up to 16 signatures."""
    keys = [SigningKey(f"witness-{number}", SEED) for number in range(16)]
    opened = note.read(note.sign("One line.\n", keys)).open([key.verifier for key in keys])
    assert [key.name for key in opened] == [key.name for key in keys]
