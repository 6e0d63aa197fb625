"""The command line: `python -m deploy.main`, or `fieldledger` where it is installed. A command's module is read when it is asked for."""

import sys

from cyclopts import App

from services.core.settings import SettingsError

app = App(name="fieldledger", help="One trustworthy record of a paintball park's day.")
for where, what in {
    "run:run": "Serve a park until it is told to stop.",
    "audit:AUDIT": "Replay, question and prove the record.",
    "verify:verify": "Examine a case file, offline and without a database: exit 0 only if nothing in it was changed.",
    "tables:check": "Hold every read table against its log, while the park runs; exit 1 at a difference, which is named.",
    "tables:rebuild": "Make every read table again from the log alone, beside the live one, while the park runs.",
    "bench:bench": "Record what a chronograph sends on standard input, a reading a line such as `281.4 fps`, and tell each string's verdict.",
    "fleet:fleet": "Tell which hired markers, and which models, creep, spread or stop, from their history across days.",
    "integrators:INTEGRATORS": "Tell, add and remove who reads along on the bus.",
    "restore:restore": "Tell what a database that was brought back from a backup has lost and, with --yes, begin a new epoch of its log; the park may be running.",
}.items():
    app.command(f"deploy.commands.{where}", help=what)


def main() -> None:
    try:
        app(sys.argv[1:])
    except SettingsError as failure:
        sys.exit(f"fieldledger: {failure}")
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
