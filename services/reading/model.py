"""The rules of webhooks: where the park's events may be sent to, and what may be sent again."""

import ipaddress
import re
from collections.abc import Iterable
from typing import Final
from urllib.parse import urlsplit

from contracts.envelope import Data
from contracts.problems import InvalidBody, RuleForbids
from contracts.reading import (
    MOST_OPEN,
    CloseWebhook,
    DeadLetterReplayed,
    OpenWebhook,
    ReplayDeadLetter,
    WebhookClosed,
    WebhookOpened,
)
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given
from services.reading.places import read_place
from services.reading.states import OPENINGS
from services.reading.wanted import no_such_subject, no_such_type

_PLAIN: Final = re.compile(r"[!-~]+")
"""Printable ASCII without a space: anything else in an address is read differently by different programs."""
_HOST: Final = re.compile(r"(\[[0-9a-f:.]+\]|[a-z0-9.-]{1,253})(:[0-9]{1,5})?")


def open_webhook(command: OpenWebhook, given: Given, _: Moment) -> Iterable[Data]:
    open_now = given.of(OPENINGS, "").open
    host = host_of(command.url)
    _must_be_known(map(no_such_type, command.types), "$.types")
    _must_be_known(map(no_such_subject, command.tags), "$.tags")
    must_be_new(command.webhook in open_now, f"webhook:{command.webhook}")
    if len(open_now) >= MOST_OPEN:
        raise RuleForbids(f"{MOST_OPEN} webhooks are open, and no more may be. Close one that nobody needs.")
    after = None if command.after is None else read_place(command.after).position
    return [WebhookOpened(webhook=command.webhook, host=host, types=command.types, tags=command.tags, after=after)]


def _must_be_known(whys: Iterable[str], where: str) -> None:
    for at, why in enumerate(whys):
        if why:
            raise InvalidBody(f"That does not fit: {why}. Nothing was recorded.", where=f"{where}[{at}]")


def close_webhook(command: CloseWebhook, given: Given, _: Moment) -> Iterable[Data]:
    must_know(command.webhook in given.of(OPENINGS, "").open, f"webhook:{command.webhook}")
    return [WebhookClosed(webhook=command.webhook)]


def replay_dead_letter(command: ReplayDeadLetter, given: Given, _: Moment, last: int | None) -> Iterable[Data]:
    """`last`: of the letter's events, as the list of dead letters has it; None where that has none."""
    must_know(command.webhook in given.of(OPENINGS, "").open, f"webhook:{command.webhook}")
    must_know(last is not None, f"webhook:{command.webhook}, letter from position {command.first}")
    return [DeadLetterReplayed(webhook=command.webhook, first=command.first, last=last or command.first)]


def host_of(url: str) -> str:
    """The host and port of an address that the park may send to; raises InvalidBody, which repeats nothing of it.

    https only, since the events tell of people's day; or http on this very machine, where nothing goes over a network.
    """
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise _unfit("it cannot be read as an address") from None
    if not _PLAIN.fullmatch(url) or "\\" in url:
        raise _unfit("it holds a space or a letter that no address may hold")
    if parts.scheme not in {"https", "http"} or not parts.hostname:
        raise _unfit("it is no https address")
    if parts.username is not None or parts.password is not None:
        raise _unfit(
            "it holds a name or password, which every proxy on the way may keep; the signature proves who sends"
        )
    if parts.fragment:
        raise _unfit("it has a part behind #, which is never sent")
    if port == 0:
        raise _unfit("nobody listens at port 0")
    if parts.scheme == "http" and not _is_loopback(parts.hostname):
        raise _unfit(
            "over plain http everybody on the way could read what happened to whom; only this very machine may be sent to like that"
        )
    host = parts.netloc.lower()
    if not _HOST.fullmatch(host):
        raise _unfit("its host is none; one with other letters is written in ASCII (xn--…)")
    return host


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _unfit(why: str) -> InvalidBody:
    return InvalidBody(
        f"Events cannot be sent to that url: {why}. Nothing was recorded; give an address such as https://office.larchmoor.example/hooks/park.",
        where="url",
    )
