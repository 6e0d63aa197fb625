"""RFC 9457 problem details: one class for each way a request can be refused. `type` is stable; `detail` says what, where and what to do."""

from typing import Any, ClassVar


class Refused(Exception):  # noqa: N818 - it is no error of ours
    """A request was refused, and nothing was written."""

    status: ClassVar[int] = 422
    title: ClassVar[str] = "The request was refused"
    remedy: ClassVar[str] = ""
    """What whoever is answered so should do: the same whatever the request was."""
    sample: ClassVar[str] = ""
    """A `detail` as it may be read."""
    passing: ClassVar[bool] = False
    """Nobody knows yet what becomes of it: the very same is sent again, under the same key."""

    def __init__(self, detail: str, **extensions: Any) -> None:
        super().__init__(detail)
        self.detail = detail
        self.extensions = extensions

    @classmethod
    def type_uri(cls) -> str:
        words = "".join(f"-{letter.lower()}" if letter.isupper() else letter for letter in cls.__name__)
        return f"/problems/{words.strip('-')}"


class MalformedBody(Refused):
    status = 400
    title = "The body is not JSON in UTF-8"
    remedy = "Send JSON in UTF-8. The same bytes will be refused again, so correct the program that made them."
    sample = "Input data was truncated. Nothing was recorded; send JSON in UTF-8."


class InvalidBody(Refused):
    status = 422
    title = "The body does not fit its schema"
    remedy = "Correct what `where` names, by the schema of the command, and send it under the same Idempotency-Key. Never drop what has happened: what cannot be sent is put on paper."
    sample = "armband must be a whole number from 1 to 9999. Nothing was recorded; correct the body and send it again."


class InvalidParameter(Refused):
    status = 400
    title = "A parameter or header is missing or does not fit"
    remedy = "Correct the parameter or header that `where` names; leave out one that the route does not take, and send each once unless it may be given several times."
    sample = "field is missing. Add it to the query."


class IdempotencyKeyMissing(Refused):
    status = 400
    title = "Idempotency-Key is missing, is there twice, or is no UUID in quotes"
    remedy = "Make a new UUIDv7 for each write, keep it with the write, and send it in quotes each time that this write is sent."
    sample = 'Send the header Idempotency-Key: "<a new UUIDv7>" with every write, and the same one whenever you send that write again.'


class IdempotencyKeyReused(Refused):
    status = 422
    title = "This Idempotency-Key was used for another request"
    remedy = "A key names one write for ever. Send this write under a new key, and look for the fault in the program: the first write stays as it was recorded."
    sample = "This Idempotency-Key was used for another request. Nothing was recorded; use a new key."


class NotAuthenticated(Refused):
    status = 401
    title = "No valid device key"
    remedy = "Send `Authorization: Bearer <device>.<secret>`. A key that was revoked, or is of another park, opens nothing: keep what the device recorded and ask a manager."
    sample = "Send the device's key in the header: Authorization: Bearer <device>.<secret>."


class KeyRevoked(Refused):
    status = 401
    title = "This device's key has been revoked"
    remedy = "Keep what the device recorded, and ask a manager. What it sends in batches is set aside for a person to judge; an invitation enrols it anew."
    sample = "The key of gate-1 has been revoked. Keep what it recorded, and ask a manager."


class TooManyTries(Refused):
    status = 429
    title = "Too many wrong keys or codes"
    remedy = "Wait as long as Retry-After says, and look at the key or code before it is sent again. A right key of another device goes on."
    sample = "There were too many wrong keys from here or for this device. Wait a minute, and check the key."


class TooManyStreams(Refused):
    status = 429
    title = "Too many streams are open"
    remedy = "Close one, or have fewer: one stream may name several types and tags, and hands on to any number. One that was cut off is free again once the park has noticed, mostly at once; try again after Retry-After."
    sample = "This key has 64 streams of events open, and may have no more. Close one, or read with fewer, and try again shortly."


class CodeNotKnown(Refused):
    status = 422
    title = "That code enrols no device"
    remedy = "Type it as it is shown, or have a manager make a new one. A code is of one park."
    sample = "That code enrols no device of this park: it is mistyped, or of another park. Type it again, or ask a manager for a new one."


class CodeUsed(Refused):
    status = 409
    title = "That code has been used"
    remedy = "A code enrols once, and the key is shown once. If the answer was lost, a manager invites the device anew: that replaces the key that nobody has."
    sample = "That code has been used. If you never saw its key, ask a manager to invite the device anew."


class CodeExpired(Refused):
    status = 422
    title = "That code has expired"
    remedy = "Ask a manager for a new one, and type it before it expires."
    sample = "That code worked until 13:27. Ask a manager for a new one."


class CodeReplaced(Refused):
    status = 409
    title = "That code was replaced or withdrawn"
    remedy = (
        "Only the newest code of a device works, and none after the device was revoked. Ask a manager for a new one."
    )
    sample = "That code was replaced by a newer one, or the device was revoked since. Ask a manager."


class NotAllowed(Refused):
    status = 403
    title = "This device may not do that"
    remedy = "Use a device with one of the roles that `detail` names, or let somebody do it who may. Sending it again changes nothing."
    sample = (
        "This device's key is for desk; this takes one of head referee, referee. Use such a device, or ask a manager."
    )


class NotFound(Refused):
    status = 404
    title = "There is no such thing here"
    remedy = "Check the path, the park's name in it first."
    sample = "This server keeps no park of that name. Check the path: /parks/<park>/…"


class MethodNotAllowed(Refused):
    status = 405
    title = "This path does not take that method"
    remedy = "Commands take POST, reads take GET and HEAD."
    sample = "Reads take GET and HEAD, commands take POST."


class BodyTooLarge(Refused):
    status = 413
    title = "The body is too large"
    remedy = "Send less in one request."
    sample = "A body may have 1000000 bytes. Send less in one request."


class UnsupportedMediaType(Refused):
    status = 415
    title = "The body is of a type that this route does not take"
    remedy = "Send the media type that the route takes, not compressed: application/json unless it says another."
    sample = "Content-Type is text/plain; send application/json."


class ImpossibleTime(Refused):
    status = 422
    title = "A command cannot have happened at that time"
    remedy = "Set the device's clock, send Device-Time with each request, and ask again now: what is asked for is decided now."
    sample = "A command cannot have happened in 1900. Nothing was recorded; set the clock and ask again."


class UnknownSubject(Refused):
    status = 404
    title = "It names something that the record does not know"
    remedy = "Check the spelling of what `where` names, or register it first; then send the same again."
    sample = "The record knows no marker marker-99. Check the spelling, or register it first."


class AlreadyRecorded(Refused):
    status = 409
    title = "That name is already taken by something else"
    remedy = (
        "If it is the same thing, it is recorded and there is nothing to do. If it is another, choose another name."
    )
    sample = "caution caution-5 is already recorded. Choose another name."


class NotInThatState(Refused):
    status = 409
    title = "The state of things does not allow it"
    remedy = "Look at how things stand now: somebody else may have done it meanwhile. Ask again once `detail` no longer applies."
    sample = "birch-3 has not been briefed. Brief it, then start it."


class NotCleared(Refused):
    """A command was refused on the record: the refusal is itself an event."""

    status = 409
    title = "Not cleared"
    remedy = "Nobody enters. Clear each reason of `refusal` at the place that it names, or start without those players; then ask anew, under a new Idempotency-Key. The refusal is on record, with its receipt."
    sample = "The marker has not been measured in its present set-up. (chronograph)"


class RuleForbids(Refused):
    status = 422
    title = "The park rules forbid it"
    remedy = "The park's own rules say no. A manager can adopt other rules; eye protection no rule can waive."
    sample = "Only a manager may refund the entry of somebody who was ejected. Nothing was recorded."


class Contended(Refused):
    status = 409
    passing = True
    title = "Others were changing the same things: send the same again"
    remedy = "Send the very same again, under the same Idempotency-Key, after a moment."
    sample = "Others were changing the same things at the same time. Nothing was recorded; send the same again."


class PositionAhead(Refused):
    status = 422
    title = "The log has no such epoch or position"
    remedy = "Send the epoch and position of a receipt or an answer of this park. After a restore the log is shorter: send again what you kept, and read from where the log ends."
    sample = "at_least=1:9000, but the log stands at 1:4711. Send the epoch and position of a receipt; after a restore, send again what you kept."


class PositionLost(Refused):
    status = 410
    title = "A restore has cut off what lay there"
    remedy = "The log was brought back from a backup, and lacks some of what you have read. Set aside what you keep from behind the position in `resume`, and read on from there: what was recorded anew comes under a new epoch."
    sample = "A restore has cut off what lay behind 4600: you have read 111 events that this log lacks. Read on with after=1:4600; what was recorded anew comes from there."


class InFlight(Refused):
    status = 409
    passing = True
    title = "The first request with this Idempotency-Key is still at work"
    remedy = "Send the very same again, under the same Idempotency-Key, after Retry-After: it is then recorded once, and answered as the first was."
    sample = "The first request with this Idempotency-Key is still at work. Send the same again in a second."


class NotOffline(Refused):
    status = 422
    title = "That is asked for, and no batch takes it"
    remedy = "Ask for it alone, while somebody waits for the answer. What is decided without the park is not cleared."
    sample = "games/start-game is asked for and decided now, so no batch takes it. Ask for it at its own path, and wait for the answer."


class LineCut(Refused):
    status = 400
    title = "The last line has no end"
    remedy = "Send the line again, whole and ended by a line feed: nothing of it was recorded."
    sample = "The last line ends without a line feed, so it may have been cut. Nothing of it was recorded; send it again whole."


class DeviceRevoked(Refused):
    status = 403
    title = "The device was revoked: what it sends waits for a person's judgement"
    remedy = "Keep what the device recorded. A manager or the head referee accepts or dismisses each line that was set aside."
    sample = "This device's key has been revoked. The line is set aside; a manager or the head referee decides on it."


class SetAsideFull(Refused):
    status = 503
    passing = True
    title = "Too many lines of this device wait for a person's judgement"
    remedy = "Keep what the device recorded, and have a manager or the head referee accept or dismiss what was set aside; then send again from `resume`."
    sample = "10000 lines of this device are set aside already. Keep the rest, have them judged, and send again from this line."


class NotCaughtUp(Refused):
    status = 503
    passing = True
    title = "The read tables have not reached that position in time"
    remedy = "Your write is recorded. Ask again after Retry-After; for a clearance that cannot wait ask about one player, which is read from the log itself."
    sample = "The read tables stand at 4702, not yet at 4711. Ask again shortly."


class Unavailable(Refused):
    status = 503
    passing = True
    title = "The log, or what else this needs, cannot be reached: not cleared until it can"
    remedy = "Nobody is cleared until it can be reached: use the printed list and paper cards. Send the same again, under the same Idempotency-Key, after Retry-After."
    sample = "The log cannot be reached. Nobody is cleared until it can; send the same again shortly."


class Broken(Refused):
    status = 500
    title = "Something broke on our side"
    remedy = "Send the same again, under the same Idempotency-Key: it is then recorded once, whatever became of the first. If it happens again, report the request id."
    sample = "Nothing of this request is known to be recorded; send the same again. If it happens again, report the request id 3f0c2b9e5d1a4c7f8e6b0a9d2c4e1f73."


class PassNotGenuine(Refused):
    status = 422
    title = "This is no genuine day pass"
    remedy = "Nobody is let in on it. Wipe it and scan it once more; then find the player by the armband, and have the desk print the pass anew."
    sample = "This is no genuine pass: its signature does not hold. Wipe it and scan it once more; then ask the desk to look the player up by the armband and print the pass anew."


class PassKeyUnknown(Refused):
    status = 422
    title = "No key that is known here signed this day pass"
    remedy = "Nobody is let in on it. Fetch the park's pass keys anew and scan it again; if it is still unknown, it is of another park or forged: send the player to the desk."
    sample = "No key that is known here signed this pass (its key is 5f1c09ae): it is of another park, or newer than the keys of this device. Do not let it pass; fetch the pass keys anew and scan again, or send the player to the desk."


class PassOfAnotherPark(Refused):
    status = 422
    title = "This day pass is of another park"
    remedy = "Nobody is let in on it. Send the player to the desk for a pass of this park."
    sample = "This is a pass of the park larchmoor-north, not of larchmoor. Send the player to the desk for a pass of this park."


class PassExpired(Refused):
    status = 422
    title = "This day pass was for an earlier day"
    remedy = "Nobody is let in on it. The player is registered at the desk for today, and gets a pass of today."
    sample = "This pass was for 2026-05-08; today is 2026-05-09. Send the player to the desk, where he is registered for today."


class PassNotYetValid(Refused):
    status = 422
    title = "This day pass is for a later day"
    remedy = (
        "Nobody is let in on it. Look at the day on this device first; if that is right, send the player to the desk."
    )
    sample = "This pass is for 2026-05-10; today is 2026-05-09. Send the player to the desk, and have the day on this device looked at."


class PassReplaced(Refused):
    status = 409
    title = "This day pass was replaced"
    remedy = (
        "Nobody is let in on it. Take the old pass away and ask for the newer one; whoever has none goes to the desk."
    )
    sample = "This pass of player-014 was replaced by a newer one. Take it away and ask for the newer one; whoever has none goes to the desk."


def every() -> list[type[Refused]]:
    return Refused.__subclasses__()
