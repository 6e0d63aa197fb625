"""The commands of fields and games, and the subjects that each rests on."""

from contracts.games import (
    AbandonGame,
    AdmitPlayer,
    AnswerFirstAid,
    AskHold,
    BookSession,
    BriefGame,
    CallFirstAid,
    CallGame,
    CancelSession,
    CheckPaint,
    ConfigureField,
    ConfirmHold,
    CountHeads,
    EndGame,
    FindPlayer,
    InspectField,
    LiftHold,
    PublishRotation,
    RecordEntry,
    RecordOut,
    StartGame,
    SweepField,
    VoidOut,
    VoidPaintCheck,
)
from contracts.park import OpenDay, RecordFlash, RecordThunder, RecordWeather
from services.clearance.field import FIELD, FIELDS
from services.clearance.presence import PRESENCE
from services.core.command import Handler
from services.core.fold import Given, Subject
from services.core.following import bells
from services.core.service import Service
from services.games import (
    admission,
    entries,
    first_aid,
    handheld_routes,
    heads,
    holds,
    mistakes,
    model,
    opening,
    weather,
)
from services.games.rotation import booking, publishing
from services.games.rotation.published import SESSIONS
from services.games.states import GAME
from services.games.teams import calling, routes


def _game_and_field(command: EndGame, given: Given) -> set[Subject]:
    called = given.of(GAME, command.game).called
    wanted: set[Subject] = {(GAME, command.game)}
    return wanted | {(FIELD, called.field)} if called else wanted


def _out_subjects(command: RecordOut, _: Given) -> set[Subject]:
    wanted: set[Subject] = {(PRESENCE, command.player), (FIELD, command.field)}
    return wanted | {(GAME, command.game)} if command.game else wanted


def _hold_subjects(command: AskHold, _: Given) -> set[Subject]:
    return {(FIELDS, "")} if command.field is None else {(FIELD, command.field)}


SERVICE = Service(
    "games",
    (
        Handler(OpenDay, opening.subjects, opening.open_day),
        Handler(ConfigureField, lambda c, _: {(FIELD, c.field)}, model.configure_field),
        Handler(InspectField, lambda c, _: {(FIELD, c.field)}, model.inspect_field),
        Handler(CallGame, calling.call_subjects, calling.call_game),
        Handler(BriefGame, lambda c, _: {(GAME, c.game)}, model.brief_game),
        Handler(StartGame, admission.start_subjects, admission.start_game),
        Handler(AdmitPlayer, admission.admission_subjects, admission.admit_player),
        Handler(RecordEntry, admission.admission_subjects, entries.record_entry),
        Handler(RecordOut, _out_subjects, model.record_out),
        Handler(VoidOut, lambda c, _: {(mistakes.NOTES, c.player)}, mistakes.void_out),
        Handler(CheckPaint, mistakes.paint_subjects, mistakes.check_paint),
        Handler(VoidPaintCheck, lambda c, _: {(mistakes.NOTES, c.player)}, mistakes.void_paint_check),
        Handler(CallFirstAid, lambda c, _: {(FIELD, c.field), (first_aid.CALLS, "")}, first_aid.call),
        Handler(AnswerFirstAid, lambda _c, _g: {(first_aid.CALLS, "")}, first_aid.answer),
        Handler(AskHold, _hold_subjects, holds.ask_hold),
        Handler(ConfirmHold, lambda c, _: {(FIELD, c.field)}, holds.confirm_hold),
        Handler(LiftHold, holds.lift_subjects, holds.lift_hold),
        Handler(RecordThunder, weather.subjects, weather.record_thunder),
        Handler(RecordFlash, lambda _c, _g: set(), weather.record_flash),
        Handler(RecordWeather, weather.subjects, weather.record_weather),
        Handler(EndGame, _game_and_field, model.end_game),
        Handler(AbandonGame, lambda c, _: {(GAME, c.game)}, model.abandon_game),
        Handler(CountHeads, heads.count_subjects, heads.count_heads),
        Handler(FindPlayer, heads.find_subjects, heads.find_player),
        Handler(PublishRotation, lambda _c, _g: {(FIELDS, "")}, publishing.publish_rotation),
        Handler(BookSession, booking.booking_subjects, booking.book_session),
        Handler(CancelSession, lambda c, _: {(SESSIONS, c.of.isoformat())}, booking.cancel_session),
        Handler(SweepField, lambda c, _: {(GAME, c.game)}, heads.sweep_field),
    ),
    (*routes.ROUTES, *handheld_routes.ROUTES),
    (bells,),
)
