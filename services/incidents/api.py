"""The commands about incidents and fitness, and the subjects that each rests on."""

from contracts.incidents import CloseIncident, DeclareFit, RecordIncident, RecordUnfit, WithdrawEntry
from services.core.command import Handler
from services.core.service import Service
from services.incidents import facts, model
from services.incidents.reading import incidents
from services.incidents.states import FITNESS

SERVICE = Service(
    "incidents",
    (
        Handler(RecordUnfit, lambda c, _: {(FITNESS, c.player)}, model.record_unfit),
        Handler(DeclareFit, lambda c, _: {(FITNESS, c.player)}, model.declare_fit),
        Handler(RecordIncident, lambda c, _: {(FITNESS, player) for player in c.players}, model.record_incident),
        *(Handler(command, lambda c, _: facts.players_of(c), facts.tell) for command in facts.TELLING),
        Handler(WithdrawEntry, facts.withdrawing, facts.withdraw),
        Handler(CloseIncident, facts.closing, facts.close),
    ),
    (incidents,),
)
