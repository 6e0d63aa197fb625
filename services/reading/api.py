"""Reading along: the events as lines and as a stream, and sent to webhooks, for whoever builds on the park's record."""

from services.core.service import Service
from services.reading.events import events, events_stream, tails
from services.reading.hooks import ROUTES, senders

SERVICE = Service("reading", (), (events, events_stream, *ROUTES), (tails, senders()))
