"""What happened on the fields, in words. In a player's own story only his own part is told; the others are counted."""

from contracts.games import (
    AdmissionRefused,
    Entrant,
    EntryRecorded,
    FieldCarried,
    FieldConfigured,
    FieldInspected,
    FieldSwept,
    FirstAidAnswered,
    FirstAidCalled,
    GameAbandoned,
    GameBriefed,
    GameCalled,
    GameEnded,
    GameStarted,
    HeadsCounted,
    HoldAsked,
    HoldConfirmed,
    HoldLifted,
    Offender,
    OutVoided,
    PaintChecked,
    PaintCheckVoided,
    PlayerAdmitted,
    PlayerFound,
    PlayerOut,
    StartRefused,
    TeamsCalled,
)
from services.audit.words.judging import stated
from services.audit.words.scene import (
    Scene,
    Words,
    because,
    begun,
    count,
    in_game,
    listed,
    spoken,
    together,
)

_FOUND = {"hit": "had a hit", "clean": "was clean"}
_AT = {"on_field": "on field", "gate": "to the gate of field"}
_OUT = {
    "eliminated": "was eliminated and came off",
    "walked_off": "walked off",
    "injured": "came off injured from",
    "sent_off": "was sent off",
}


def _limits(data: FieldConfigured) -> str:
    further = f" and {words}" if (words := stated(data.limit)) else ""
    return (
        f"limit {data.limit_fps:g} ft/s{further}, stop limit {data.stop_limit_fps:g} ft/s, from {data.age_floor} years, "
        f"calibre {together(data.calibres)}, {together(data.firing_modes)}, {data.capacity} players"
    )


def _called(data: GameCalled, scene: Scene) -> str:
    listing = f"with {count(len(data.entrants), 'player')} on its list"
    mine = _entrant(data.entrants, scene)
    if mine:
        listing = (
            f"with player {mine.player} on its list in {mine.colour}, and {count(len(data.entrants) - 1, 'other')}"
        )
    return f"Game {data.game} ({data.format}, {data.minutes:g} minutes) was called for field {data.field} {listing}."


def _teams(data: TeamsCalled, scene: Scene) -> str:
    changed = count(len(data.overruled), "player")
    told = f"Game {data.game} was called from proposal {data.proposal}" + (
        f", with {changed} put elsewhere" if data.overruled else ", as it was proposed"
    )
    mine = next((one for one in data.overruled if one.player == scene.player), None)
    if mine:
        told += f"; player {mine.player} was proposed {_side(mine.proposed)} and called {_side(mine.called)}"
    before, after = (sum(one.points for one in balance) for balance in (data.proposed, data.called))
    return f"{told}: the teams lay {after} points apart, as proposed {before}."


def _side(colour: str | None) -> str:
    return f"in {colour}" if colour else "for no team"


def _started(data: GameStarted, scene: Scene) -> str:
    mine = _entrant(data.entrants, scene)
    if mine:
        others = count(len(data.entrants) - 1, "other")
        return f"Game {data.game} started on field {data.field}: player {mine.player} went on in {mine.colour}, with {others}."
    left_out = _offender(data.left_out, scene)
    if left_out:
        return because(
            f"Game {data.game} started on field {data.field} without player {left_out.player}", left_out.reasons
        )
    names = [one.player for one in data.left_out]
    without = f"; left out: {listed(names, 'player')}" if names else ""
    return f"Game {data.game} started on field {data.field} with {count(len(data.entrants), 'player')}{without}."


def _refused(data: StartRefused, scene: Scene) -> str:
    """The field's own reasons concern everybody on the list."""
    told = because(f"Game {data.game} was not let onto field {data.field}", data.reasons)
    mine = _offender(data.offenders, scene)
    offenders = data.offenders if mine is None else (mine,)
    each = [because(f"Player {one.player} was not cleared", one.reasons) for one in offenders]
    others = len(data.offenders) - len(offenders)
    also = [f"{count(others, 'other')} {'was' if others == 1 else 'were'} not cleared either."] if others else []
    return " ".join((told, *each, *also))


def _entrant(entrants: tuple[Entrant, ...], scene: Scene) -> Entrant | None:
    return next((one for one in entrants if one.player == scene.player), None)


def _offender(offenders: tuple[Offender, ...], scene: Scene) -> Offender | None:
    return next((one for one in offenders if one.player == scene.player), None)


def _admitted(data: PlayerAdmitted, _: Scene) -> str:
    who = "Player" if data.part == "player" else begun(data.part)
    colour = f", in {data.colour}" if data.colour else ""
    return f"{who} {data.player} was let onto field {data.field}{in_game(data.game)}{colour}."


def _entered(data: EntryRecorded, _: Scene) -> str:
    who = "Player" if data.part == "player" else begun(data.part)
    answer = "cleared" if data.answer == "cleared" else "not cleared, and he went in all the same"
    old = ", too old by the rules" if data.stale else ""
    told = (
        f"{who} {data.player} went onto field {data.field}{in_game(data.game)} while the gate had no network. It answered: {answer}; "
        f"it knew the record up to position {data.knew.position}, {count(round(data.age_minutes), 'minute')} old{old}"
    )
    return because(told, data.reasons)


def _out(data: PlayerOut, _: Scene) -> str:
    return f"Player {data.player} {_OUT[data.cause]} field {data.field}{in_game(data.game)}."


def _painted(data: PaintChecked, _: Scene) -> str:
    return f"Player {data.player} was looked over for paint on field {data.field}{in_game(data.game)} and {_FOUND[data.finding]} (check {data.check})."


def _answered(data: FirstAidAnswered, _: Scene) -> str:
    how = "a first aider came" if data.came else "it was called by mistake"
    return f"The call for first aid to field {data.field} was answered: {how} (call {data.call})."


def _asked(data: HoldAsked, _: Scene) -> str:
    where = "everywhere" if data.whole_park else f"on field {together(data.fields)}"
    return f"Play was to stop {where} at once (hold {data.hold}): {spoken(data.cause)}."


def _ended(data: GameEnded, scene: Scene) -> str:
    won = f"; {data.winner} won" if data.winner else ""
    full = "a full game" if data.full else "not a full game"
    listing = f" Player {scene.player} was on its list." if scene.player in data.players else ""
    played = count(round(data.played_minutes), "minute")
    return f"Game {data.game} on field {data.field} ended after {played} of play, {full}{won}.{listing}"


def _abandoned(data: GameAbandoned, scene: Scene) -> str:
    listing = f" Player {scene.player} was on its list." if scene.player in data.players else ""
    return f"Game {data.game} on field {data.field} was given up: {spoken(data.cause)}.{listing}"


def _counted(data: HeadsCounted, scene: Scene) -> str:
    told = f"After game {data.game} {count(data.counted, 'head')} came off field {data.field}; {data.expected} were expected."
    if data.accounted:
        told += f" Seen elsewhere: {scene.players(data.accounted)}."
    return told + (f" Missing: {scene.players(data.missing)}." if data.missing else "")


def _swept(data: FieldSwept, _: Scene) -> str:
    search = "the search for whoever is missing goes on" if data.search_open else "nobody is being searched for"
    return f"A referee walked field {data.field} after game {data.game} and signed that it is empty; {search}."


def _found(data: PlayerFound, _: Scene) -> str:
    where = "off the park" if data.place == "off_site" else f"at: {spoken(data.place)}"
    return f"Player {data.player}, whom the head-count after game {data.game} on field {data.field} could have lacked, was seen {where}."


WORDS: Words = {
    FieldConfigured: lambda d, _: f"Field {d.field} ({d.title}) was set up: {_limits(d)}.",
    FieldCarried: lambda d, _: f"A new day began on field {d.field} ({d.title}), set up as before: {_limits(d)}.",
    FieldInspected: lambda d, _: f"Field {d.field} {'passed' if d.passed else 'did not pass'} the day's inspection.",
    GameCalled: _called,
    TeamsCalled: _teams,
    GameBriefed: lambda d, _: f"The teams of game {d.game} were briefed at the gate of field {d.field}.",
    GameStarted: _started,
    StartRefused: _refused,
    PlayerAdmitted: _admitted,
    EntryRecorded: _entered,
    AdmissionRefused: lambda d, _: because(
        f"Player {d.player} was not let onto field {d.field}{in_game(d.game)}", d.reasons
    ),
    PlayerOut: _out,
    OutVoided: lambda d, _: (
        f"That player {d.player} was out on field {d.field}{in_game(d.game)} was withdrawn: it was recorded by mistake."
    ),
    PaintChecked: _painted,
    PaintCheckVoided: lambda d, _: (
        f"The paint check {d.check} of player {d.player} on field {d.field} was withdrawn: it was recorded by mistake."
    ),
    FirstAidCalled: lambda d, _: f"First aid was called {_AT[d.place]} {d.field} (call {d.call}).",
    FirstAidAnswered: _answered,
    HoldAsked: _asked,
    HoldConfirmed: lambda d, _: f"Field {d.field} was confirmed stopped with barrel covers on (hold {d.hold}).",
    HoldLifted: lambda d, _: f"Hold {d.hold} on field {d.field} was lifted by a person, after a sweep.",
    GameEnded: _ended,
    GameAbandoned: _abandoned,
    HeadsCounted: _counted,
    FieldSwept: _swept,
    PlayerFound: _found,
}
