"""`fieldledger verify` examines a case file. It reads in no database, web or statistics, so that it answers at once."""

import sys
from pathlib import Path

from services.audit.cases.examination import examine


def verify(file: Path, *, key: str = "") -> None:
    """Examine a case file, offline and without a database: exit 0 only if nothing in it was changed.

    Parameters
    ----------
    file
        The ZIP.
    key
        The park's verifier key, if you have it from elsewhere: `<name>+<id>+<key>`.

    """
    try:
        found = examine(file.read_bytes(), key.strip())
    except OSError as error:
        sys.exit(f"fieldledger: {file} cannot be read: {error.strerror}.")
    if found.wrong:
        sys.exit("\n".join([f"{file} is NOT what the park signed:", *found.wrong]))
    sys.stdout.write("\n".join(found.proven) + "\n")
