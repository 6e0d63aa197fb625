"""Become a server process: `child.py PARENT UID GID SIGNAL PROGRAM ARGUMENT…`.

A program of its own, because a fork of a process with threads must not run Python before it executes. It drops root,
asks the kernel for SIGNAL when the launcher dies even by kill -9, and executes PROGRAM under the same process id.
"""

import ctypes
import os
import signal
import sys

PR_SET_PDEATHSIG = 1


def become(parent: int, uid: int, gid: int, signal_at_death: int, command: list[str]) -> None:
    if os.geteuid() == 0 and uid != 0:
        os.setgroups([])
        os.setgid(gid)
        os.setuid(uid)
    os.umask(0o077)
    os.chdir("/")
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal_at_death, 0, 0, 0)  # a change of user would have cleared it
    if os.getppid() != parent:
        os.kill(os.getpid(), signal.SIGKILL)
    os.execv(command[0], command)  # noqa: S606


if __name__ == "__main__":
    launcher, user, group, death_signal = map(int, sys.argv[1:5])
    become(launcher, user, group, death_signal, sys.argv[5:])
