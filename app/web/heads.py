"""HEAD wherever GET is: the same answer without its content (RFC 9110, section 9.3.2)."""

from starlette.types import ASGIApp, Message, Receive, Scope, Send


class Heads:
    """Asks for the whole answer and sends its head; one without an end, as of events, is left."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return
        is_sent = False

        async def send_head(message: Message) -> None:
            nonlocal is_sent
            if message["type"] == "http.response.start":
                await send(message)
                await send({"type": "http.response.body", "body": b""})
                is_sent = True

        async def receive_until_sent() -> Message:
            return {"type": "http.disconnect"} if is_sent else await receive()

        await self.app({**scope, "method": "GET"}, receive_until_sent, send_head)
