"""Reading along: the events as lines and as a stream, for whoever builds on the park's record."""

from services.core.service import Service
from services.reading.events import events, events_stream, tails

SERVICE = Service("reading", (), (events, events_stream), (tails,))
