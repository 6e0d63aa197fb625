"""The bus: NATS JetStream as the relay and the projectors need it. Only this module and `consumer` know its client.

A connection is used until it breaks; then a new one is made. Whoever asked is told at once and looks again, instead
of waiting on a client that reconnects by itself and forgets what it had asked for.
"""

import asyncio
from collections.abc import Sequence
from contextlib import suppress
from uuid import uuid4

import msgspec
import nats
import structlog
from nats.aio.client import Client
from nats.errors import Error as NatsError
from nats.js.api import AckPolicy, ConsumerConfig, DeliverPolicy, StorageType, StreamConfig
from nats.js.errors import APIError, NotFoundError

from services.core.consumer import Consumer, translated
from services.core.stream import BATCH, BusUnavailable, End, LaterEpoch, Stream, WrongSequence

_PATIENCE = 5.0
_FORGET_READER_AFTER = 24 * 3600.0
_SUBJECTS_OVERLAP = 10065
_WRONG_LAST_SEQUENCE = (10070, 10071)
_logger = structlog.get_logger()


async def _note(error: Exception) -> None:
    await _logger.adebug("bus connection", error=repr(error))


class Bus:
    """One account's connection to the bus, made when first needed and again after it broke."""

    def __init__(self, url: str) -> None:
        self._url = url
        self._client: Client | None = None
        self._connecting = asyncio.Lock()

    async def close(self) -> None:
        if self._client is not None:
            with suppress(NatsError, OSError, TimeoutError):
                await self._client.close()

    async def _connected(self) -> Client:
        async with self._connecting:
            if self._client is None or not self._client.is_connected:
                await self.close()
                self._client = await nats.connect(
                    self._url,
                    allow_reconnect=False,
                    max_reconnect_attempts=1,
                    reconnect_time_wait=0.05,
                    connect_timeout=2,
                    ping_interval=5,
                    error_cb=_note,
                )
            return self._client

    async def end(self, stream: Stream) -> End | None:
        """Where the stream ends, None when there is no such stream."""
        with translated():
            jetstream = (await self._connected()).jetstream()
            try:
                state = (await jetstream.stream_info(stream.name)).state
                if not state.messages:
                    return End(state.last_seq, None)
                return End(state.last_seq, (await jetstream.get_msg(stream.name, seq=state.last_seq)).data)
            except NotFoundError:
                return None

    async def newest(self, park: str) -> Stream | None:
        """The stream that holds a park's subjects, None when there is none."""
        wanted = Stream(park, 1)
        with translated():
            jetstream = (await self._connected()).jetstream()
            try:
                name = await jetstream.find_stream_name_by_subject(wanted.subjects)
            except NotFoundError:
                return None
        return Stream(park, int(name.rpartition("_")[2]))

    async def make(self, stream: Stream, first: int = 1) -> None:
        """Make the stream, its first sequence to be `first`; the stream of an earlier epoch stands aside.

        Raises LaterEpoch when a later epoch's stream holds the park's subjects.
        """
        config = StreamConfig(
            name=stream.name,
            subjects=[stream.subjects],
            storage=StorageType.FILE,
            allow_atomic=True,
            deny_delete=True,
            deny_purge=True,
            first_seq=first if first > 1 else None,
        )
        with translated():
            jetstream = (await self._connected()).jetstream()
            try:
                await jetstream.add_stream(config)
            except APIError as error:
                if error.err_code != _SUBJECTS_OVERLAP:
                    raise
                await self._retire(stream)
                await jetstream.add_stream(config)

    async def _retire(self, successor: Stream) -> None:
        jetstream = (await self._connected()).jetstream()
        name = await jetstream.find_stream_name_by_subject(successor.subjects)
        holder = Stream(successor.park, int(name.rpartition("_")[2]))
        if holder.epoch > successor.epoch:
            raise LaterEpoch(f"{name} holds {successor.subjects}, but the log is in epoch {successor.epoch}")
        config = (await jetstream.stream_info(holder.name)).config
        await jetstream.update_stream(config.evolve(subjects=[holder.retired_subjects]))

    async def publish(self, stream: Stream, leaves: Sequence[bytes], after: int) -> int:
        """Publish all the leaves (1 to BATCH) or none, behind sequence `after`; the last one's sequence.

        Raises WrongSequence, nothing published, when the stream ends elsewhere; BusUnavailable, outcome unknown.
        """
        batch = {"Nats-Batch-Id": uuid4().hex}
        headers = [batch | {"Nats-Batch-Sequence": str(number)} for number in range(1, len(leaves) + 1)]
        headers[0] |= {"Nats-Expected-Last-Sequence": str(after), "Nats-Expected-Stream": stream.name}
        headers[-1] |= {"Nats-Batch-Commit": "1"}
        subjects = [stream.subject(leaf) for leaf in leaves]
        with translated():
            client = await self._connected()
            for to, leaf, header in zip(subjects[:-1], leaves, headers, strict=False):
                await client.publish(to, leaf, headers=header)
            reply = await client.request(subjects[-1], leaves[-1], _PATIENCE, headers=headers[-1])
        answer = msgspec.json.decode(reply.data)
        if error := answer.get("error"):
            refusal = WrongSequence if error.get("err_code") in _WRONG_LAST_SEQUENCE else BusUnavailable
            raise refusal(error.get("description", ""))
        return int(answer["seq"])

    async def consume(self, stream: Stream, name: str, after: int) -> Consumer:
        """A durable reader of the stream that begins behind `after`; one of the same name is replaced."""
        with translated():
            client = await self._connected()
            jetstream = client.jetstream()
            with suppress(NotFoundError):
                await jetstream.delete_consumer(stream.name, name)
            await jetstream.add_consumer(
                stream.name,
                ConsumerConfig(
                    durable_name=name,
                    deliver_policy=DeliverPolicy.BY_START_SEQUENCE,
                    opt_start_seq=after + 1,
                    ack_policy=AckPolicy.ALL,
                    max_ack_pending=4 * BATCH,
                    inactive_threshold=_FORGET_READER_AFTER,
                ),
            )
            consumer = Consumer(client, f"$JS.API.CONSUMER.MSG.NEXT.{stream.name}.{name}")
            await consumer.open()
            return consumer
