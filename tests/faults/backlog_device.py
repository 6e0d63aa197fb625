"""A device that sends what lies on its disk, a life a line of its input: `python -m tests.faults.backlog_device KEY FACTS`.

Its program is read in once and forked for each life, so that a life begins within milliseconds. It tells each life's process, then how it ended.
"""

import os
import sys

import stamina

from contracts.client import Park, Queue

PATIENCE = 60.0
LINES = 25


def main(key: str, facts: str) -> None:
    stamina.instrumentation.set_on_retry_hooks([])
    for _ in sys.stdin:
        life = os.fork()
        if life == 0:
            live(key, facts)
        tell(life)
        tell(os.waitstatus_to_exitcode(os.waitpid(life, 0)[1]))


def live(key: str, facts: str) -> None:
    try:
        Park.open(key, patience=PATIENCE).send(Queue(facts, most_lines=LINES))
    except BaseException as error:  # noqa: BLE001 - a forked life goes back nowhere
        sys.stderr.write(f"{error!r}\n")
        os._exit(1)
    os._exit(0)


def tell(number: int) -> None:
    sys.stdout.write(f"{number}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main(*sys.argv[1:])
