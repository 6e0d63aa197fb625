"""The park's office: opening the day, adopting a version of the rules, and what visitors are told before they play.

No rule can waive eye protection. Local law, the insurer's rules and licensed practice come before any rule of the park.
"""

from collections import Counter
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Final

from contracts.envelope import Data
from contracts.park import (
    AdoptRules,
    Briefing,
    CloseDay,
    DayClosed,
    DayOpened,
    OpenDay,
    RulesAdopted,
)
from contracts.problems import AlreadyRecorded, NotInThatState, RuleForbids
from contracts.rules import Rules
from services.core.command import Moment
from services.core.fold import Given
from services.core.rules import NIGHT, operating_day
from services.park.states import TODAY, VERSIONS

CAUTIONS: Final = (
    "Eye protection made for paintball stays on, sealed, from the netting in until the netting out. No rule and nobody can waive it.",
    "The barrel is covered, and the safety on, wherever play is not live. Never look down a barrel.",
    "Bottles hold gas under high pressure: only trained staff fill, fit or open them.",
    "The referee on the field decides. Whoever is unsure of himself or of his gear does not play.",
    "In an emergency stop play, cover barrels, and call the emergency services first.",
    "This record takes no place of a look: local law, the insurer's rules and licensed practice come first.",
)
"""Common practice, no source."""


def open_day(command: OpenDay, given: Given, moment: Moment) -> Iterable[Data]:
    """Only the day that it is can be opened, once, by the park's own clock."""
    opened = given.of(TODAY, "").opened
    if opened == command.opened:
        raise AlreadyRecorded(f"{opened} is open already. Nothing is to be done.", where="park")
    if command.opened != moment.day:
        raise RuleForbids(
            f"By the park's clock ({moment.rules.time_zone}) it is the operating day {moment.day}, not {command.opened}; "
            f"a day begins at {NIGHT.seconds // 3600:02}:00. Open that one; where the time zone is wrong, adopt rules with the right "
            "one first.",
            where="$.opened",
        )
    if opened is not None and command.opened < opened:
        raise NotInThatState(f"{opened} is open, which is later than {command.opened}. Go on with it.", where="park")
    return [DayOpened(opened=command.opened)]


def close_day(command: CloseDay, here: tuple[int, int] | None) -> Iterable[Data]:
    """Nothing is barred by it: whoever is still on the park must be found, not shut out of the record.

    `here`: how many of the day's players have not left, and how many of these are minors; None where that could not be told.
    """
    still_here, minors_here = here or (None, None)
    return [DayClosed(closed=command.closed, still_here=still_here, minors_here=minors_here)]


def adopt_rules(command: AdoptRules, given: Given, _: Moment) -> Iterable[Data]:
    """A version's name stands for one content for ever; an earlier version may be adopted again as it was."""
    versions, wanted = given.of(VERSIONS, ""), command.rules
    known = versions.version(wanted.version)
    if known is not None and known != wanted:
        raise AlreadyRecorded(
            f"Version {wanted.version} of the rules is recorded with other content. Give the new one a name of its own.",
            where="$.rules.version",
        )
    if wanted.version == versions.in_force:
        raise NotInThatState(
            f"Version {wanted.version} is in force already. Nothing is to be done.", where="$.rules.version"
        )
    must_be_sound(wanted)
    return [RulesAdopted(rules=wanted)]


def must_be_sound(rules: Rules) -> None:
    """Raises RuleForbids for rules under which the park could not work at all."""
    try:
        operating_day(rules, datetime(2000, 1, 1, tzinfo=UTC))
    except (KeyError, ValueError, OSError):
        raise RuleForbids(
            f"There is no time zone {rules.time_zone}. Use an IANA name, such as Europe/London.",
            where="$.rules.time_zone",
        ) from None
    if rules.briefing.urgent_version > rules.briefing.version:
        raise RuleForbids(
            f"Everybody would have to hear version {rules.briefing.urgent_version} of the briefing, but arrivals hear "
            f"{rules.briefing.version}. Raise `version` or lower `urgent_version`.",
            where="$.rules.briefing.urgent_version",
        )
    _each_once(
        (one.code for one in rules.discipline.catalogue), "catalogue", "violation", "$.rules.discipline.catalogue"
    )
    _each_once((one.code for one in rules.duty.checks), "list of checks", "check", "$.rules.duty.checks")
    for check in rules.duty.checks:
        if check.play_waits and check.when == "closing":
            raise RuleForbids(
                f"Play cannot wait for {check.code}, which is done at closing. Make it a check at opening too, or let play not wait.",
                where="$.rules.duty.checks",
            )


def _each_once(codes: Iterable[str], whole: str, one: str, where: str) -> None:
    twice = [code for code, count in Counter(codes).items() if count > 1]
    if twice:
        raise RuleForbids(f"In the {whole} more than once: {', '.join(twice)}. Name each {one} once.", where=where)


def briefing(park: str, rules: Rules) -> Briefing:
    """What is read to visitors under these rules."""
    return Briefing(
        park=park,
        rules=rules.version,
        version=rules.briefing.version,
        urgent_version=rules.briefing.urgent_version,
        text=rules.briefing.text,
        cautions=CAUTIONS,
    )
