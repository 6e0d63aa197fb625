"""A case file as bytes: one ZIP, its manifest in the form of `sha256sum`, and the manifest's signature."""

import zipfile
from collections.abc import Callable, Mapping
from hashlib import sha256
from io import BytesIO

MANIFEST = "MANIFEST"
SIGNATURE = "MANIFEST.sig"
LARGEST = 256 * 1024 * 1024
"""No case file holds more bytes than this: a ZIP that claims to is not unpacked."""
_STAMP = (1980, 1, 1, 0, 0, 0)


class NotACaseFile(ValueError):  # noqa: N818 - it says what the bytes are
    """These bytes cannot be read as a case file."""


def manifest(files: Mapping[str, bytes]) -> str:
    """The SHA-256 of every file, by name, as `sha256sum -c` reads it."""
    return "".join(f"{sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files))


def packed(files: Mapping[str, bytes], sign: Callable[[str], bytes]) -> bytes:
    """The ZIP over these files with their signed manifest."""
    listed = manifest(files)
    return zipped(dict(files) | {MANIFEST: listed.encode(), SIGNATURE: sign(listed)})


def zipped(files: Mapping[str, bytes]) -> bytes:
    """The one ZIP that the park makes of these files: any other holds bytes that no manifest covers."""
    made = BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, _STAMP)
            entry.external_attr = 0o644 << 16
            entry.create_system = 3
            archive.writestr(entry, files[name])
    return made.getvalue()


def unpacked(data: bytes) -> dict[str, bytes]:
    """Every file of a ZIP by name; raises NotACaseFile with a sentence."""
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            entries = archive.infolist()
            if sum(entry.file_size for entry in entries) > LARGEST:
                raise NotACaseFile("It claims to hold more than any case file does, so it was not unpacked.")
            if any(entry.compress_type != zipfile.ZIP_STORED for entry in entries):
                raise NotACaseFile(
                    "It is compressed, and no park compresses a case file. Ask for it as the park made it."
                )
            files = {entry.filename: archive.read(entry) for entry in entries}
    except zipfile.BadZipFile as error:
        raise NotACaseFile(f"It is no whole ZIP: {error}. Ask for the file again.") from error
    except (NotImplementedError, RuntimeError, EOFError, OSError, UnicodeDecodeError, ValueError) as error:
        if isinstance(error, NotACaseFile):
            raise
        raise NotACaseFile(f"It cannot be unpacked: {error}. Ask for the file again.") from error
    if len(files) != len(entries):
        raise NotACaseFile("It holds two files of the same name, so nobody can say which one is meant.")
    if missing := [name for name in (MANIFEST, SIGNATURE) if name not in files]:
        raise NotACaseFile(f"It has no {' and no '.join(missing)}: it is no case file, or part of it was taken out.")
    return files
