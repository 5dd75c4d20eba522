"""Pages read as a person reads them: the space that keeps a figure with its unit is a space.

What a test of that space itself looks at are the bytes of an answer, or the page in the browser by
a script.
"""

from typing import Any

from starlette.testclient import httpx

KEEPER = "\N{NO-BREAK SPACE}"


def _plain(found: Any) -> Any:
    if isinstance(found, list):
        return [_plain(one) for one in found]
    return found.replace(KEEPER, " ") if isinstance(found, str) else found


def _reading_plainly(read: Any) -> Any:
    def plainly(self: Any, *args: Any, **kwargs: Any) -> Any:
        return _plain(read(self, *args, **kwargs))

    return plainly


def read_plainly() -> None:
    """From now on answers to a test's client, and texts of a browser's pages, have plain spaces."""
    text = httpx.Response.text.fget  # type: ignore[attr-defined]
    httpx.Response.text = property(  # type: ignore[misc,assignment]
        lambda self: (
            _plain(text(self)) if "html" in self.headers.get("content-type", "") else text(self)
        )
    )
    try:
        from playwright.sync_api import ElementHandle, Locator, Page
    except ImportError:  # the tests of a browser are skipped then
        return
    for sort in (Locator, Page, ElementHandle):
        for name in ("inner_text", "text_content", "all_inner_texts", "all_text_contents"):
            if hasattr(sort, name):
                setattr(sort, name, _reading_plainly(getattr(sort, name)))
