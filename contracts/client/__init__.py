"""A device's own program against the park: enrol it, ask and tell, keep facts on disk while the network is away, read along.

`Park` and `AsyncPark` are two thin shells over what `wire`, `batch` and `following` say without a socket. GUIDE.md begins with a kiosk of 30 lines.
"""

from contracts.client.asyncpark import AsyncPark
from contracts.client.clock import SystemClock
from contracts.client.enrolling import enrol
from contracts.client.following import ParkEvent, Restored
from contracts.client.park import Park
from contracts.client.queue import Queue, RefusedFact
from contracts.client.wire import Unreachable, reasons

__all__ = [
    "AsyncPark",
    "Park",
    "ParkEvent",
    "Queue",
    "RefusedFact",
    "Restored",
    "SystemClock",
    "Unreachable",
    "enrol",
    "reasons",
]
