"""RFC 9457 problem details: one class for each way a request can be refused. `type` is stable; `detail` says what, where and what to do."""

from typing import Any, ClassVar


class Refused(Exception):  # noqa: N818 - it is no error of ours
    """A request was refused, and nothing was written."""

    status: ClassVar[int] = 422
    title: ClassVar[str] = "The request was refused"

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


class InvalidBody(Refused):
    status = 422
    title = "The body does not fit its schema"


class InvalidParameter(Refused):
    status = 400
    title = "A parameter or header is missing or does not fit"


class IdempotencyKeyMissing(Refused):
    status = 400
    title = "Idempotency-Key is missing or is no UUID in quotes"


class IdempotencyKeyReused(Refused):
    status = 422
    title = "This Idempotency-Key was used for another request"


class NotAuthenticated(Refused):
    status = 401
    title = "No valid device key"


class NotAllowed(Refused):
    status = 403
    title = "This device may not do that"


class NotFound(Refused):
    status = 404
    title = "There is no such thing here"


class MethodNotAllowed(Refused):
    status = 405
    title = "This path does not take that method"


class BodyTooLarge(Refused):
    status = 413
    title = "The body is too large"


class UnsupportedMediaType(Refused):
    status = 415
    title = "The body must be application/json"


class ImpossibleTime(Refused):
    status = 422
    title = "A command cannot have happened at that time"


class UnknownSubject(Refused):
    status = 404
    title = "It names something that the record does not know"


class AlreadyRecorded(Refused):
    status = 409
    title = "That name is already taken by something else"


class NotInThatState(Refused):
    status = 409
    title = "The state of things does not allow it"


class NotCleared(Refused):
    """A command was refused on the record: the refusal is itself an event."""

    status = 409
    title = "Not cleared"


class RuleForbids(Refused):
    status = 422
    title = "The park rules forbid it"


class Contended(Refused):
    status = 409
    title = "Others were changing the same things: send the same again"


class PositionAhead(Refused):
    status = 422
    title = "The log has no such epoch or position"


class NotCaughtUp(Refused):
    status = 503
    title = "The read tables have not reached that position in time"


class Unavailable(Refused):
    status = 503
    title = "The log, or what else this needs, cannot be reached: not cleared until it can"


class Broken(Refused):
    status = 500
    title = "Something broke on our side"


def every() -> list[type[Refused]]:
    return Refused.__subclasses__()
