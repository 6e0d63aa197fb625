"""Is the process alive, can it do its work, and how does it fare: /health, /ready, /metrics."""

from typing import Any

from litestar import Request, Response, get
from prometheus_client import generate_latest

from contracts.read import WATCHERS
from contracts.reads import Alive, EvidenceState, LogState, ParkState, ProjectionsState, Readiness, RelayState
from services.core.log import ParkNotOpen
from services.core.park import Park
from services.core.pool import LOST

_UNREADABLE: tuple[type[Exception], ...] = (*LOST, ParkNotOpen)


@get("/health", opt={"public": True})
async def health() -> Alive:
    """The process answers."""
    return Alive(status="alive")


@get("/ready", opt={"public": True})
async def ready(request: Request[Any, Any, Any]) -> Response[Readiness]:
    """503 unless every park's log can be read and written. The bus may be down without harm: that is said, not failed."""
    parks = {name: await _state(request, park) for name, park in request.app.state.parks.items()}
    able = all(isinstance(park.log, LogState) and not park.log.why for park in parks.values())
    return Response(Readiness(ready=able, parks=parks), status_code=200 if able else 503)


async def _state(request: Request[Any, Any, Any], park: Park) -> ParkState:
    try:
        head = await park.log.head()
    except _UNREADABLE as error:
        return ParkState(log=f"The log cannot be read: {type(error).__name__}.")
    projector = request.app.state.projectors[park.park]
    relay = request.app.state.relays.get(park.park)
    signer = request.app.state.signers.get(park.park)
    board = getattr(request.app.state, "boards", {}).get(park.park)
    return ParkState(
        log=LogState(epoch=head.epoch, position=head.position, why=park.log.behind),
        projections=ProjectionsState(
            position=projector.position(), from_bus=projector.connected, failed=projector.failures
        ),
        relay=relay and RelayState(state=relay.state, why=relay.why, position=relay.position),
        evidence=signer
        and EvidenceState(state=signer.state, why=signer.why, size=signer.size, signed_at=signer.signed_at),
        board=board and board.why,
    )


@get("/parks/{park:str}/metrics", opt={"roles": WATCHERS})
async def metrics() -> Response[bytes]:
    """Prometheus text format."""
    return Response(generate_latest(), media_type="text/plain; version=1.0.0")
