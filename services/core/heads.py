"""HEAD is answered like GET, without the body (RFC 9110, 9.1 and 9.3.2): the same route, the same rights, the same status and headers."""

from typing import Any

from litestar import Request
from litestar.types import ASGIApp, Message, Receive, Scope, Send


def answering_heads(app: ASGIApp) -> ASGIApp:
    """The application, which is handed a GET for a HEAD. The answer is over with its headers, and so is a stream: it is told that nobody is there."""

    async def answer(scope: Scope, receive: Receive, send: Send) -> None:
        if scope.get("method") != "HEAD":
            await app(scope, receive, send)
            return

        async def send_head(message: Message) -> None:
            if message["type"] == "http.response.start":
                await send(message)
                await send({"type": "http.response.body", "body": b"", "more_body": False})

        scope["state"]["head"] = True
        got: Any = {**scope, "method": "GET"}  # the web server goes on by its own, and sends no body after it
        await app(got, receive, send_head)

    return answer


def patience(request: Request[Any, Any, Any], seconds: float) -> float:
    """For how long whoever asks for something newer waits: whoever wants no more than the headers does not."""
    return 0.0 if getattr(request.state, "head", False) else seconds
