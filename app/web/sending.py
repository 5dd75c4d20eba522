"""Forms that a page's own script sends: told where to go on instead of being sent there.

A redirect that a script follows hides two things from it: that the form was taken, when the page
after it fails to come; and the place on that page. So the script gets the address by itself.
"""

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

ASKED_BY = "X-Sent-By"
SCRIPT = "script"
GO_ON_AT = "X-Go-On-At"
SEE_OTHER = 303


class ScriptForms:
    """Turns "see other" into an answer with the address in a header, for forms sent by script."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or Headers(scope=scope).get(ASKED_BY) != SCRIPT:
            await self.app(scope, receive, send)
            return

        async def send_address(message: Message) -> None:
            if message["type"] == "http.response.start" and message["status"] == SEE_OTHER:
                headers = MutableHeaders(scope=message)
                headers[GO_ON_AT] = headers["Location"]
                del headers["Location"]
                message["status"] = 200
            await send(message)

        await self.app(scope, receive, send_address)
