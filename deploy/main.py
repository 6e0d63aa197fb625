"""The command line: `python -m deploy.main`."""

import os
import signal
import sys
import threading

from cyclopts import App

from deploy.embedded import servers
from deploy.processes import ServerFailedError
from deploy.state import StateInUseError
from services.core.settings import SettingsError, read

app = App(name="fieldledger", help="One trustworthy record of a paintball park's day.")


@app.command
def run() -> None:
    """Start the servers and wait."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # both end by KeyboardInterrupt, in order
    with servers(read(os.environ)) as up:
        sys.stdout.write(f"database {up.database_url}\nbus {up.bus.service}\n")
        sys.stdout.flush()
        threading.Event().wait()


def main() -> None:
    try:
        app()
    except (SettingsError, StateInUseError, ServerFailedError) as failure:
        sys.exit(str(failure))
    except KeyboardInterrupt:
        sys.exit(0)


if __name__ == "__main__":
    main()
