"""What goes wrong on the invented Saturday, so that the record has something to say."""

import msgspec

from contracts.discipline import (
    Caution,
    ConfirmEjection,
    DecideAppeal,
    RaiseAppeal,
    ResolveCaution,
    VoidCaution,
)
from contracts.equipment import ReturnGear, SwapMarker
from contracts.first_aid import TellOfIncident
from contracts.incidents import (
    DeclareFit,
    NameWitness,
    PassCustody,
    RecordIncident,
    RecordInjury,
    RecordOutcome,
    RecordScene,
    RecordTreatment,
    RecordUnfit,
    TakeCustody,
)
from contracts.park import RecordFlash, RecordThunder
from contracts.registration import HandOverMinor, RecordLeft, Refund
from contracts.velocity import ChangeSetUp, SpotCheckMarker
from deploy.demo.arrival import ENTRY, Arrival
from deploy.demo.cast import Player
from deploy.demo.field import FieldDay, Hook
from deploy.demo.markers import CREEPS
from deploy.demo.station import DemoError, Station


class Stories:
    """The day's events out of the ordinary, each bound to a rotation's game."""

    def __init__(
        self, fields: dict[str, FieldDay], arrival: Arrival, head: Station, first_aid: Station, lone: Station
    ) -> None:
        self.fields = fields
        self.arrival = arrival
        self.head = head
        self.first_aid = first_aid
        self.lone = lone
        """The handheld that loses the network."""
        self.marked: dict[str, Player] = {}
        self._written = 0
        self.storm = ""
        """The hold that the first thunder asked for."""

    def plan(self) -> None:
        """Which game each of them happens in."""
        birch, quarry, fern = (self.fields[name] for name in ("birch", "quarry", "fern"))
        birch.hooks = {
            ("birch-1", 1): self._swap,
            ("birch-1", 2): self._first_caution("overshooter", "overshooting"),
            ("birch-1", 3): self._spot_check,
            ("birch-1", 4): self._second_caution,
            ("birch-2", 1): self._first_caution("disputed", "playing-on"),
            ("birch-2", 3): self._disputed,
            ("birch-2", 5): self._first_caution("wiper", "wiping"),
        }
        quarry.hooks = {
            ("quarry-1", 2): self._contact,
            ("quarry-1", 3): self._hurt,
            ("quarry-1", 4): self._first_caution("talker", "abuse"),
            ("quarry-2", 2): self._out_of_reach,
            ("quarry-2", 5): self._unwell,
        }
        fern.hooks = {
            ("fern-1", 2): self._same_act_twice,
            ("fern-2", 3): self._first_caution("lifter", "mask-lifted"),
        }

    def _pick(self, players: list[Player], *, minor: bool = False, hired: bool = False) -> Player:
        """Somebody who has no part in another story yet."""
        taken = {player.name for player in self.marked.values()}
        for player in players:
            spoken_for = player.name in taken or player.marker == CREEPS
            if not spoken_for and player.minor == minor and not (hired and player.own_gear):
                return player
        raise DemoError("nobody is left for this story")

    def _caution(self, field: FieldDay, player: Player, violation: str) -> Caution:
        self._written += 1
        return Caution(
            caution=f"c{self._written:02}",
            violation=violation,
            player=player.name,
            field=field.name,
            game=field.game,
        )

    def _first_caution(self, role: str, violation: str) -> Hook:
        async def happen(field: FieldDay, players: list[Player]) -> None:
            player = self.marked[role] = self._pick(players)
            await field.handheld.do(self._caution(field, player, violation), actor="ref-01")
            await field.out(player, "sent_off")

        return happen

    async def _second_caution(self, field: FieldDay, _: list[Player]) -> None:
        """The second of the day ejects: no refund of the entry, and off the park."""
        player = self.marked["overshooter"]
        await field.handheld.do(self._caution(field, player, "close-shot"), actor="ref-04")
        await field.out(player, "sent_off")
        field.agenda.at(field.agenda.minute + 20, lambda: self._asks_refund(field, player))

    async def _asks_refund(self, field: FieldDay, player: Player) -> None:
        refund = Refund(
            refund=f"refund-{player.name}", payment=f"pay-{player.group}", player=player.name, amount_minor=ENTRY
        )
        status, answer = await self.arrival.desk.ask(refund)
        if status != 409 or answer["refusal"]["reasons"][0]["code"] != "refund_forfeited":
            raise DemoError(f"an ejected player's refund was answered {answer}")
        await self.arrival.gear.do(ReturnGear(player=player.name, marker=player.marker, mask=player.mask))
        await self.arrival.desk.do(RecordLeft(player=player.name))
        field.gone.add(player.name)

    async def _contact(self, field: FieldDay, players: list[Player]) -> None:
        """Physical contact by a minor: stood down at once, ejected by the head referee, supervised until handed over."""
        player = self.marked["contact"] = self._pick(players, minor=True)
        caution = self._caution(field, player, "physical-contact")
        await field.handheld.do(caution, actor="ref-02")
        await field.out(player, "sent_off")

        async def confirm() -> None:
            await self.head.do(ConfirmEjection(player=player.name, caution=caution.caution), actor="head-1")

        async def hand_over() -> None:
            await self.arrival.desk.do(HandOverMinor(player=player.name, adult=str(player.guardian)))
            field.gone.add(player.name)

        field.agenda.at(field.agenda.minute + 8, confirm)
        field.agenda.at(field.agenda.minute + 55, hand_over)

    async def _disputed(self, field: FieldDay, _: list[Player]) -> None:
        """A second caution by colour and number would eject him; on appeal it proves to be another man's, and he plays again."""
        player = self.marked["disputed"]
        caution = Caution(
            caution="c-disputed",
            violation="close-shot",
            field=field.name,
            game=field.game,
            colour="red",
            armband=player.armband,
        )
        await field.handheld.do(caution, actor="ref-07")
        await field.staging.do(ResolveCaution(caution="c-disputed", player=player.name))
        await field.out(player, "sent_off")
        await self.head.do(RaiseAppeal(appeal="a1", caution="c-disputed", player=player.name))

        async def decide() -> None:
            await self.head.do(
                DecideAppeal(appeal="a1", caution="c-disputed", player=player.name, upheld=True), actor="head-1"
            )

        field.agenda.at(field.agenda.minute + 30, decide)

    async def _same_act_twice(self, field: FieldDay, players: list[Player]) -> None:
        """Two referees write down the same act; the head referee withdraws the second entry."""
        player = self.marked["twice"] = self._pick(players)
        await field.handheld.do(self._caution(field, player, "blind-fire"), actor="ref-03")
        again = self._caution(field, player, "blind-fire")
        await field.handheld.do(again, actor="ref-06")
        await field.out(player, "sent_off")

        async def withdraw() -> None:
            await self.head.do(
                VoidCaution(caution=again.caution, player=player.name, cause="recorded_twice"), actor="head-1"
            )

        field.agenda.at(field.agenda.minute + 6, withdraw)

    async def _out_of_reach(self, field: FieldDay, players: list[Player]) -> None:
        """The far handheld loses the network; five minutes on its referee writes down what he sees, forty later it delivers.

        The player is on the field again by then: an alert, and he leaves that game.
        """
        player = self.marked["late"] = self._pick(players)
        game = field.game
        self.lone.unplug()

        async def write_down() -> None:
            self.lone.keep(msgspec.structs.replace(self._caution(field, player, "out-of-bounds"), game=game))
            field.agenda.at(field.agenda.minute + 40, back_in_reach)

        async def back_in_reach() -> None:
            await self.lone.deliver()
            if player in field.playing:
                await field.out(player, "sent_off")

        field.agenda.at(field.agenda.minute + 5, write_down)

    async def _swap(self, field: FieldDay, players: list[Player]) -> None:
        """A jam: his marker is swapped for one off the rack whose adjuster was turned since its test; the next start stops it, then it is tested."""
        player = self.marked["swapped"] = self._pick(players, hired=True)
        spare = self.arrival.spare(".68")
        await self.arrival.gear.do(ChangeSetUp(marker=spare, change="adjuster"))
        await self.arrival.gear.do(SwapMarker(player=player.name, returned=player.marker, marker=spare))
        player.marker = spare
        await field.out(player, "walked_off")

    async def _spot_check(self, field: FieldDay, players: list[Player]) -> None:
        """Over the stop limit on the field: cover on, off. No caution: nobody tampered. The next start stops it, then it is adjusted and tested."""
        player = self.marked["spot"] = self._pick(players, hired=True)
        await field.handheld.do(
            SpotCheckMarker(
                check="over-the-stop-limit",
                marker=player.marker,
                field=field.name,
                game=field.game,
                player=player.name,
                speed_fps=304.5,
            ),
            actor="ref-01",
        )
        self.arrival.bench.fastest.pop(player.marker, None)
        await field.out(player, "walked_off")

    async def _unwell(self, field: FieldDay, players: list[Player]) -> None:
        """Asking for help is a note, never a caution; the first aider says when he may play again."""
        player = self.marked["unwell"] = self._pick(players)
        await field.handheld.do(self._caution(field, player, "asking-for-help"), actor="ref-05")
        await field.out(player, "walked_off")
        await self.first_aid.do(RecordUnfit(player=player.name, cause="medical"), actor="aid-1")

        async def declare() -> None:
            await self.first_aid.do(DeclareFit(player=player.name), actor="aid-1")

        field.agenda.at(field.agenda.minute + 35, declare)

    async def _hurt(self, field: FieldDay, players: list[Player]) -> None:
        """He falls over a root. First aid comes first, then the record: the incident, and that he may not play until he is seen to."""
        player = self.marked["hurt"] = self._pick(players, hired=True)
        await field.out(player, "injured")
        await self.first_aid.do(
            RecordIncident(
                incident="incident-1",
                kind="injury",
                field=field.name,
                game=field.game,
                players=(player.name,),
                markers=(player.marker,),
                masks=(player.mask,),
            ),
            actor="aid-2",
        )

        for told in first_aid_of(player):
            await self.first_aid.do(told, actor="aid-2")

        async def declare() -> None:
            await self.first_aid.do(DeclareFit(player=player.name), actor="aid-2")
            await self.first_aid.do(
                RecordOutcome(incident="incident-1", player=player.name, outcome="rested"), actor="aid-2"
            )

        evidence = PassCustody(
            incident="incident-1", marker=player.marker, mask=player.mask, giver="aid-2", taker="head-1", kept="safe"
        )

        async def pass_on() -> None:
            await self.arrival.gear.do(evidence, actor="head-1")

        field.agenda.at(field.agenda.minute + 45, declare)
        field.agenda.at(field.agenda.minute + 60, pass_on)

    async def thunder(self) -> None:
        """First thunder: everything stops. Birch Wood gives its game up, the others wait and play on."""
        staging = self.fields["birch"].staging
        _, asked = (await staging.do(RecordThunder(flash_to_bang_s=22.0)))["events"]
        self.storm = asked["data"]["hold"]
        for field in self.fields.values():
            await field.hold(self.storm)
        if self.fields["birch"].playing:
            await self.fields["birch"].abandon()

    async def passing(self) -> None:
        """It moves off: thunder once more, then a flash that nobody hears. Each begins the wait anew."""
        await self.fields["birch"].staging.do(RecordThunder(flash_to_bang_s=41.0))
        await self.head.do(RecordFlash(), actor="head-1")

    async def clear_sky(self) -> None:
        """Half an hour after the last flash each field is swept and resumed by a person."""
        for field in self.fields.values():
            await field.resume(self.storm)


def first_aid_of(player: Player) -> tuple[TellOfIncident, ...]:
    """What the first aider tells of the fall, once he is seen to. The record stays open: nobody has asked for the paint yet."""
    incident = "incident-1"
    return (
        RecordInjury(incident=incident, player=player.name, part="ankle", side="left", injury="sprain"),
        RecordTreatment(incident=incident, player=player.name, treatment="cooled", staff="aid-2"),
        RecordScene(incident=incident, place="open_ground", sky="dry"),
        NameWitness(incident=incident, staff="ref-05"),
        TakeCustody(incident=incident, marker=player.marker, mask=player.mask, staff="aid-2", kept="first_aid_room"),
    )
