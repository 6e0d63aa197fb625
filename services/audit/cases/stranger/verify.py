"""Verify a case file with the Python standard library alone: python3 -I verify.py [--key KEY] [FILE.zip or its unpacked folder].

Written from RFC 9162 (Merkle tree), RFC 8032 (Ed25519) and the C2SP texts signed-note and tlog-checkpoint. Exit 0: nothing was changed.
"""

import sys

if __name__ == "__main__" and not sys.flags.isolated:
    sys.exit("Run it as python3 -I verify.py: else Python would run what somebody may have put beside it.")
import base64
import hashlib
import itertools
import json
import struct
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path

P = 2**255 - 19  # RFC 8032 section 5.1: the field, the order of the base point, the curve's d
L = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P
Point = tuple[int, int, int, int]


def add(p: Point, q: Point) -> Point:  # section 5.1.4, extended coordinates
    a, b = (p[1] - p[0]) * (q[1] - q[0]) % P, (p[1] + p[0]) * (q[1] + q[0]) % P
    c, d = 2 * p[3] * q[3] * D % P, 2 * p[2] * q[2] % P
    e, f, g, h = b - a, d - c, d + c, b + a
    return e * f % P, g * h % P, f * g % P, e * h % P


def times(n: int, p: Point) -> Point:
    q: Point = (0, 1, 1, 0)
    while n:
        q, p, n = add(q, p) if n & 1 else q, add(p, p), n >> 1
    return q


def point(data: bytes) -> Point | None:  # section 5.1.3
    y, sign = int.from_bytes(data, "little") & (1 << 255) - 1, data[31] >> 7
    x2 = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(x2, (P + 3) // 8, P)
    x = x * pow(2, (P - 1) // 4, P) % P if (x * x - x2) % P else x
    if y >= P or (x * x - x2) % P or (x == 0 and sign):
        return None
    x = P - x if x & 1 != sign else x
    return x, y, 1, x * y % P


def ed25519(key: bytes, text: bytes, signature: bytes) -> bool:  # section 5.1.7
    a, r, s = point(key), point(signature[:32]), int.from_bytes(signature[32:], "little")
    base = point((4 * pow(5, P - 2, P) % P).to_bytes(32, "little"))
    if not (a and r and base) or len(signature) != 64 or s >= L:
        return False
    k = int.from_bytes(hashlib.sha512(signature[:32] + key + text).digest(), "little") % L
    left, right = times(s, base), add(r, times(k, a))
    return not ((left[0] * right[2] - right[0] * left[2]) % P or (left[1] * right[2] - right[1] * left[2]) % P)


def signed_by(note: bytes, vkey: str) -> bool:  # C2SP signed-note: text, empty line, one line a signature
    name, _, material = vkey.split("+", 2)
    public = base64.b64decode(material)
    key_id = hashlib.sha256(f"{name}\n".encode() + public).digest()[:4]
    text, _, lines = note.rpartition(b"\n\n")
    *whole, rest = lines.decode().split("\n")
    for line in whole if rest == "" else ():
        dash, signer, encoded = line.split(" ")
        raw = base64.b64decode(encoded)
        if (dash, signer, raw[:4], base64.b64encode(raw).decode()) == ("\u2014", name, key_id, encoded):
            return ed25519(public[1:], text + b"\n", raw[4:])
    return False


def root(leaf: bytes, index: int, size: int, hashes: list[bytes]) -> bytes:  # RFC 9162 section 2.1.3.2
    fn, sn, r = index, size - 1, leaf
    for p in hashes:
        if sn == 0:
            return b""
        if fn & 1 or fn == sn:
            r = hashlib.sha256(b"\x01" + p + r).digest()
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            r = hashlib.sha256(b"\x01" + r + p).digest()
        fn, sn = fn >> 1, sn >> 1
    return r if sn == 0 and index < size else b""


def wrong_about(event: dict, files: dict[str, bytes], park: str, size: int, top: bytes) -> str:  # type: ignore[type-arg]  # noqa: PLR0911
    position, claimed = event["position"], bytes.fromhex(event["leaf_sha256"])
    leaf, view = files.get(f"events/{position}.leaf"), files.get(f"events/{position}.view.json")
    if event["withheld"]:
        if leaf is not None or view is None or not (shown := json.loads(view))["withheld"]:
            return "it is withheld, so there must be a view that says so, and no leaf."
        if (shown["position"], shown["leaf_sha256"]) != (position, claimed.hex()):
            return f"events/{position}.view.json speaks of another event."
    elif leaf is None or view is not None:
        return f"events/{position}.leaf is missing, or there is a view beside it."
    elif hashlib.sha256(b"\x00" + leaf).digest() != claimed:
        return f"events/{position}.leaf was changed: its hash is not the one that was proven."
    elif leaf.split(b"\n")[:2] + leaf.split(b"\n")[3:4] != [b"fieldledger leaf 1", park.encode(), b"%d" % position]:
        return f"events/{position}.leaf is the leaf of another park or position."
    if (
        event["index"] != position - 1
        or root(claimed, position - 1, size, [*map(bytes.fromhex, event["hashes"])]) != top
    ):
        return "its proof does not lead to the checkpoint's root."
    return ""


def vouched(rotation: bytes, old: str, new: str) -> bool:  # the old key signed a log in which the new one is adopted
    proof = json.loads(rotation or b'{"proof": null}')["proof"]
    if proof is None:
        return False
    note, leaf = proof["checkpoint"].encode(), proof["leaf"].encode()
    origin, size, top = proof["checkpoint"].split("\n")[:3]
    event = proof | {"withheld": False}
    wrong = wrong_about(
        event, {f"events/{event['position']}.leaf": leaf}, origin.split("/")[1], int(size), base64.b64decode(top)
    )
    adopts = json.loads(leaf.split(b"\n", 5)[5])
    told = adopts["type"], adopts["data"]["vkey"], adopts["data"]["replaces"]
    return told == ("evidence.key_adopted", new, old) and signed_by(note, old) and signed_by(note, new) and not wrong


def verify(files: dict[str, bytes], trusted: str) -> Iterator[str]:
    listed = {line[66:]: line[:64] for line in files["MANIFEST"].decode().splitlines()}
    apart = {"MANIFEST", "MANIFEST.sig"}
    held = {name: hashlib.sha256(data).hexdigest() for name, data in files.items() if name not in apart}
    yield from (f"{name} is in the manifest, but missing." for name in listed.keys() - held.keys())
    yield from (f"{name} is not in the manifest." for name in held.keys() - listed.keys())
    yield from (f"{name} was changed." for name in listed.keys() & held.keys() if listed[name] != held[name])
    text, _, signatures = files["MANIFEST.sig"].rpartition(b"\n\n")
    if text + b"\n" != files["MANIFEST"] or signatures.count(b"\n") != 1:
        yield "MANIFEST is not the one that MANIFEST.sig is over, or that bears other signatures beside the park's."
    keys = files["keys.txt"].decode().split()
    if trusted not in {"", *keys}:
        yield "keys.txt does not name the key that you gave: it is another park's file, or a forged key."
    for number, (old, new) in enumerate(itertools.pairwise(keys), 1):
        if not vouched(files.get(f"rotations/{number}.json", b""), old, new):
            yield f"rotations/{number}.json does not prove that the newer key was adopted: nothing vouches for it."
    for name in ("checkpoint.txt", "MANIFEST.sig"):
        if not signed_by(files[name], keys[-1]):
            yield f"{name} is not signed by the park's key."
    origin, size, top = files["checkpoint.txt"].decode().split("\n")[:3]
    if origin != keys[-1].split("+")[0]:
        yield "checkpoint.txt is of another log than the key's."
    events = json.loads(files["proofs.json"])["events"]
    for event in events:
        sentence = wrong_about(event, files, origin.split("/")[1], int(size), base64.b64decode(top))
        if sentence:
            yield f"Event {event['position']}: {sentence}"
    proven = {f"events/{event['position']}.{'view.json' if event['withheld'] else 'leaf'}" for event in events}
    yield from (f"{name} has no proof." for name in held if name.startswith("events/") and name not in proven)


def packed(
    files: Mapping[str, bytes],
) -> bytes:  # the one ZIP of these files without a byte beside them, as the park makes it
    bodies, central = bytearray(), bytearray()
    for name, data in sorted(files.items()):
        fields = struct.pack("<5H3L2H", 20, 0, 0, 0, 33, zlib.crc32(data), len(data), len(data), len(name.encode()), 0)
        place = struct.pack("<3H2L", 0, 0, 0, 0o644 << 16, len(bodies))
        central += b"PK\1\2\x14\3" + fields + place + name.encode()
        bodies += b"PK\3\4" + fields + name.encode() + data
    ends = struct.pack("<4H2LH", 0, 0, len(files), len(files), len(central), len(bodies), 0)
    return bytes(bodies + central + b"PK\5\6" + ends)


def unpacked(where: Path) -> dict[str, bytes]:
    if where.is_dir():
        return {path.relative_to(where).as_posix(): path.read_bytes() for path in where.rglob("*") if path.is_file()}
    with zipfile.ZipFile(where) as archive:
        if len(set(archive.namelist())) != len(archive.namelist()):
            raise ValueError("two files have the same name")
        if sum(entry.file_size for entry in archive.infolist()) > where.stat().st_size:
            raise ValueError("it is compressed")
        return {name: archive.read(name) for name in archive.namelist()}


def main(arguments: list[str]) -> str | None:
    trusted = arguments.pop(arguments.index("--key") + 1) if "--key" in arguments else ""
    rest = [argument for argument in arguments if argument != "--key"]
    where, files, wrong = Path(rest[0]) if rest else Path(__file__).parent, dict[str, bytes](), list[str]()
    try:
        files = unpacked(where)
        if where.is_file() and packed(files) != where.read_bytes():
            wrong.append("The ZIP was packed anew or added to: it holds bytes that the park did not write.")
        for sentence in verify(files, trusted):
            wrong.append(sentence)
    except Exception as error:  # noqa: BLE001 - whatever it is, this is no case file as the park made it
        wrong.append(f"{where} is not a whole case file: {error!r}")
    if wrong:
        return "\n".join(["NOT VERIFIED", *sorted(wrong)])
    print(f"Verified: {len(files)} files, as the park signed them; every event lies under its checkpoint.")  # noqa: T201
    print("The views of withheld events, the story and the report are the park's own statement about it.")  # noqa: T201
    key = files["keys.txt"].decode().split()[-1]
    print("With the key that you gave." if trusted else f"Compare the key with one from elsewhere: {key}")  # noqa: T201
    return None


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
