"""Who could play next: everybody who is in the park and on no field, with what stands in his way. What was found of each is the board's own."""

from contracts.staging import AtStaging, Staging
from services.board.at_hand import AtHand
from services.board.heads import unaccounted
from services.board.verdicts import called_to
from services.discipline.states import RECORD
from services.registration.states import PLAYER


def at_staging(at_hand: AtHand, park: str, epoch: int) -> Staging:
    """In order of armband. Whom a head-count lacks may still be on his field: he is not ready."""
    called, sought, moment = called_to(at_hand.given), unaccounted(at_hand), at_hand.moment
    here = (player for player, found in at_hand.verdicts.items() if found.whereabouts in {"cleared", "not_cleared"})
    people = [
        _player(at_hand, player, called.get(player))
        for player in here
        if player not in sought and at_hand.given.of(PLAYER, player).part == "player"
    ]
    return Staging(
        park=park,
        day=moment.day,
        as_of=moment.now,
        epoch=epoch,
        position=moment.position,
        players=tuple(sorted(people, key=lambda one: (one.armband, one.player))),
    )


def _player(at_hand: AtHand, player: str, called: str | None) -> AtStaging:
    who, verdict = at_hand.given.of(PLAYER, player), at_hand.verdict(player)
    rotations = at_hand.given.of(RECORD, player).rotations
    return AtStaging(
        player=player,
        armband=who.armband,
        group=who.group,
        rotation=rotations[-1][1] if rotations else None,
        cleared=not verdict.reasons,
        field=verdict.field,
        called=called,
        reasons=verdict.reasons,
        minor=verdict.minor,
    )
