"""Reading a JSON body strictly: what two readers could take for two things is refused."""

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request, Response
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException

from app.domain.json_text import read_json

LONGEST_BODY_BYTES = 8 * 1024 * 1024


class StrictRequest(Request):
    """A request whose JSON is not too long and has no repeated names, no NaN, no stray bytes."""

    async def body(self) -> bytes:
        """The body.

        Raises:
            HTTPException: 413, it is too long.
        """
        if not hasattr(self, "_body"):
            taken = bytearray()
            async for piece in self.stream():
                taken += piece
                if len(taken) > LONGEST_BODY_BYTES:
                    raise HTTPException(413)
            self._body = bytes(taken)
        return self._body

    async def json(self) -> Any:
        """The body's value.

        Raises:
            HTTPException: 400, it is not such JSON.
        """
        try:
            return read_json((await self.body()).decode("utf-8"), _object)
        except UnicodeDecodeError:
            raise HTTPException(400, "The body is not UTF-8.") from None
        except ValueError as error:
            raise HTTPException(400, f"The body is not JSON: {error}.") from None


class StrictRoute(APIRoute):
    """A route that takes JSON, said to be JSON, and reads it strictly."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The route's handler behind the check of what was sent."""
        handle = super().get_route_handler()

        async def handle_strictly(request: Request) -> Response:
            if self.body_field is not None:
                _check_media_type(request.headers.get("content-type", ""))
            return await handle(StrictRequest(request.scope, request.receive))

        return handle_strictly


def _check_media_type(sent: str) -> None:
    media_type, _, parameters = sent.partition(";")
    charset = parameters.partition("charset=")[2].strip("\"' ").lower()
    if media_type.strip().lower() != "application/json" or charset not in ("", "utf-8", "utf8"):
        raise HTTPException(415, "Send JSON in UTF-8, as Content-Type: application/json.")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name appears twice in one object")
    return found
