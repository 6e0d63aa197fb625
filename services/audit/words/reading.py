"""Where the park's events were sent to, in words."""

from contracts.reading import DeadLetterReplayed, WebhookClosed, WebhookOpened
from services.audit.words.scene import Scene, Words


def _opened(data: WebhookOpened, _: Scene) -> str:
    chosen = [f"of the types {', '.join(data.types)}"] if data.types else []
    chosen += [f"about {', '.join(data.tags)}"] if data.tags else []
    what = f"Events {' and '.join(chosen)}" if chosen else "All events"
    begins = "" if data.after is None else f", those behind position {data.after} too"
    return f"{what} are sent to the webhook {data.webhook} at {data.host} from now on{begins}."


WORDS: Words = {
    WebhookOpened: _opened,
    WebhookClosed: lambda d, _: f"Nothing more is sent to the webhook {d.webhook}; its secret was destroyed.",
    DeadLetterReplayed: lambda d, _: (
        f"A letter that the webhook {d.webhook} had not taken was to be sent again: the events from position {d.first} to {d.last}."
    ),
}
