"""A group's way in: desk, briefing, gear counter, chronograph."""

from datetime import timedelta
from typing import Final

from contracts.equipment import InspectGear, IssueGear, RegisterBottle, RegisterMarker, RegisterMask
from contracts.registration import (
    AssignRotation,
    GiveConsent,
    HoldBriefing,
    RecordPayment,
    RegisterGroup,
    RegisterPerson,
    RegisterPlayer,
    SignWaiver,
)
from deploy.demo.bench import BENCHES, Bench
from deploy.demo.cast import Group, Player
from deploy.demo.clock import RunningClock
from deploy.demo.markers import hired_markers
from deploy.demo.opening import RULES
from deploy.demo.passes import Printer
from deploy.demo.station import Station

ENTRY: Final = 2500
WORDING: Final = RULES.waiver.accepted[0]
TOO_HOT: Final = 15.0
"""How much too high, in ft/s, the markers are set that the bench has to turn down first."""


class Arrival:
    """The stations that a group passes before it plays."""

    def __init__(self, desk: Station, printer: Printer, gear: Station, bench: Bench, clock: RunningClock) -> None:
        self.desk, self.gear, self.bench = desk, gear, bench
        self._printer = printer
        self._clock = clock
        self._hired = {calibre: hired_markers(calibre) for calibre in (".68", ".50")}
        self._masks = 0

    async def receive(self, group: Group, *, paid: bool = True) -> None:
        """From the car park to staging. A group that is not paid for finds out at the gate."""
        await self._desk(group)
        if paid:
            await self.pay(group)
        names = tuple(player.name for player in group.players)
        await self._printer.print(names)
        await self.desk.do(
            HoldBriefing(briefing=f"briefing-{group.name}", version=RULES.briefing.version, players=names)
        )
        await self.desk.do(AssignRotation(rotation=group.rotation, field=group.field, players=names))
        for player in group.players:
            await (self._own_gear(player) if player.own_gear else self.hire(player, group.field))

    async def _desk(self, group: Group) -> None:
        await self.desk.do(RegisterGroup(group=group.name, size=len(group.players)))
        for player in group.players:
            await self.desk.do(RegisterPerson(person=player.person, age_band=player.band))  # type: ignore[arg-type]
            await self.desk.do(SignWaiver(person=player.person, wording=WORDING))
            await self.desk.do(
                RegisterPlayer(
                    player=player.name,
                    person=player.person,
                    group=group.name,
                    day_pass=f"pass-{player.armband:03}",
                    armband=player.armband,
                )
            )
        registered: set[str] = set()
        for player in (one for one in group.players if one.guardian is not None):
            await self._consent(player, group, registered)

    async def _consent(self, player: Player, group: Group, registered: set[str]) -> None:
        """Each child's own guardian signs; who does not stay names the adult of the group."""
        guardian = str(player.guardian)
        if guardian not in registered:
            await self.desk.do(RegisterPerson(person=guardian, age_band=18))
            registered.add(guardian)
        stays = group.kind.guardians_stay
        await self.desk.do(
            GiveConsent(
                person=player.person,
                guardian=guardian,
                relationship="parent",
                wording=WORDING,
                on_site=stays,
                responsible=None if stays else group.adult.person,
            )
        )

    async def pay(self, group: Group) -> None:
        await self.desk.do(
            RecordPayment(
                payment=f"pay-{group.name}",
                players=tuple(player.name for player in group.players),
                purpose="entry",
                means="card",
                amount_minor=ENTRY * len(group.players),
            )
        )

    async def hire(self, player: Player, field: str) -> None:
        player.marker = self._hired[".50" if field == "fern" else ".68"].pop(0)
        self._masks += 1
        player.mask = f"K{self._masks:03}"
        await self.gear.do(IssueGear(player=player.name, marker=player.marker, mask=player.mask))

    def spare(self, calibre: str) -> str:
        """The fleet's next marker on the rack."""
        return self._hired[calibre].pop(0)

    async def _own_gear(self, player: Player) -> None:
        """Own marker, mask and bottle are entered and inspected; now and then the bench has to turn one down first."""
        player.marker, player.mask = f"own-{player.armband}", f"own-mask-{player.armband}"
        bottle = f"own-bottle-{player.armband}"
        due = self._clock.now().date() + timedelta(days=200)
        await self.gear.do(RegisterMarker(marker=player.marker, owner=player.name, model="Own"))
        await self.gear.do(RegisterMask(mask=player.mask, owner=player.name, model="Own"))
        await self.gear.do(RegisterBottle(bottle=bottle, owner=player.name, test_due=due))
        await self.gear.do(
            InspectGear(player=player.name, marker=player.marker, mask=player.mask, bottle=bottle, barrel_cover=True)
        )
        self.bench.markers.set_up(player.marker)
        if player.armband % 3 == 0:
            self.bench.markers.turn_up(player.marker, TOO_HOT)
        await self.bench.measure(player.marker, BENCHES[player.armband % 2])
