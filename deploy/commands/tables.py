"""`fieldledger check` and `fieldledger rebuild`: the read tables held against the log, or made again from it."""

import os
import sys

from deploy import serve, upkeep
from deploy.commands.asking import answered
from services.core.settings import read


def check() -> None:
    """Hold every read table against its log, while the park runs; exit 1 at a difference, which is named."""
    if not answered(upkeep.check_all(upkeep.database_of(read(os.environ)), serve.tell)):
        sys.exit("The read tables differ from the log. Make them again: fieldledger rebuild.")


def rebuild() -> None:
    """Make every read table again from the log alone, beside the live one, while the park runs."""
    answered(upkeep.rebuild_all(upkeep.database_of(read(os.environ)), serve.tell))
