"""Is the process alive, can it do its work, and how does it fare: /health, /ready, /metrics."""

from typing import Any

from litestar import Request, Response, get
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest

from contracts.words import Role
from services.core.pool import LOST

WATCHERS: frozenset[Role] = frozenset({"manager", "auditor", "integrator", "board"})


@get("/health", opt={"public": True})
async def health() -> dict[str, str]:
    """The process answers."""
    return {"status": "alive"}


@get("/ready", opt={"public": True})
async def ready(request: Request[Any, Any, Any]) -> Response[dict[str, Any]]:
    """503 unless every park's log can be read. The bus may be down without harm: that is said, not failed."""
    parks: dict[str, Any] = {}
    readable = True
    for name, park in request.app.state.parks.items():
        try:
            head = await park.log.head()
        except LOST as error:
            readable = False
            parks[name] = {"log": f"cannot be read: {type(error).__name__}"}
            continue
        projector = request.app.state.projectors[name]
        relay = request.app.state.relays[name]
        parks[name] = {
            "log": {"epoch": head.epoch, "position": head.position},
            "projections": {
                "position": projector.position(),
                "from_bus": projector.connected,
                "failed": projector.failures,
            },
            "relay": {"state": relay.state, "why": relay.why, "position": relay.position},
        }
    return Response({"ready": readable, "parks": parks}, status_code=200 if readable else 503)


@get("/parks/{park:str}/metrics", opt={"roles": WATCHERS})
async def metrics() -> Response[bytes]:
    """Prometheus text format."""
    return Response(generate_latest(), media_type=CONTENT_TYPE_LATEST)
