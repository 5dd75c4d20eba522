"""What pages load beside themselves: few files, named by their content, kept by browsers for good.

Style sheets are put together into one, scripts into another, when the first page is made. Files in
`static/` stay small and separate; a file that changes has another name on the pages.
"""

import base64
import gzip
import hashlib
import re
import tomllib
from collections.abc import Mapping, Sequence
from functools import cached_property
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

STYLES, SCRIPTS, FONT, ICON = "pages.css", "pages.js", "font.woff2", "icon.svg"
STEPS = "steps.js"  # what the pages of swaps, inspections and problems bring in beside it
PAGE_SHEETS = (
    "tokens", "base", "components", "board", "needs", "charts", "forms", "pages", "floor",
    "swaps", "waste", "ready", "safety", "inspections", "people", "contrast", "print",
)  # fmt: skip
LAST_SHEETS = ("contrast", "print")  # again behind what comes later, which they have to outdo
STYLES_OF = {
    STYLES: PAGE_SHEETS,
    "plan.css": ("plan", *LAST_SHEETS),
    "curing.css": ("curing", *LAST_SHEETS),
    "shifts.css": ("shifts", *LAST_SHEETS),
    "supplies.css": ("supplies", *LAST_SHEETS),
    "spend.css": ("spend", "whatif", *LAST_SHEETS),
    "wall.css": ("wall",),
}
"""Style sheets by bundle: all pages load the first, some pages another beside it."""
SHEETS = tuple(dict.fromkeys(sheet for sheets in STYLES_OF.values() for sheet in sheets))
VENDORED_SCRIPTS = ("htmx.min.js", "hx-sse.min.js")
OWN_SCRIPTS = (
    "sitepath", "theme", "servertime", "once", "menu", "foot", "calm", "keypad", "outbox",
    "courier", "copies", "sending", "waiting", "connection", "upload", "pin", "idle", "paper",
    "zone", "filter",
)  # fmt: skip
STEP_SCRIPTS = ("photos", "touched", "ahead")
VENDORED_FONT = "atkinson-hyperlegible-next-latin-wght-normal.woff2"
MEDIA_TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".woff2": "font/woff2",
}
PICTURES = (".svg", ".png")
COMPRESSED = (".css", ".js", ".svg")
FOR_GOOD = "public, max-age=31536000, immutable"
DIGITS = 12  # of the content's digest
NAMED = re.compile(rf"(.+)-([0-9a-f]{{{DIGITS}}})(\.\w+)")
COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
LINE_COMMENT = re.compile(r"^\s*//.*\n|[ \t]+// [^\n'\"`]*$", re.MULTILINE)
AROUND = re.compile(r"\s*([{};])\s*|(?<=[a-z0-9-]:) (?=[^{}]*[;}])|(?<=,)\s+")
INDENT = re.compile(r"^[ \t]+|\n(?=\n)", re.MULTILINE)


class Asset:
    """A file as it is sent.

    Attributes:
        address: its place among the pages, with its content's digest in the name.
    """

    def __init__(self, name: str, content: bytes) -> None:
        stem, dot, ending = name.rpartition(".")
        self.content = content
        self.digest = hashlib.sha256(content).hexdigest()[:DIGITS]
        self.address = f"/static/{stem}-{self.digest}{dot}{ending}"
        self.media_type = MEDIA_TYPES[dot + ending]
        self.is_compressed = dot + ending in COMPRESSED

    @cached_property
    def gzipped(self) -> bytes:
        """The content compressed, once."""
        return gzip.compress(self.content, mtime=0)


class Assets:
    """The files of a folder `static`, by name; also an application that serves them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._made: dict[str, Asset] = {}

    def address(self, name: str) -> str:
        """Where a page finds a file: one of the bundles, or of the pictures."""
        return self.find(name).address

    def find(self, name: str) -> Asset:
        """A file by its name.

        Raises:
            KeyError: there is none.
        """
        if name not in self._made:
            self._made[name] = Asset(name, self._content(name))
        return self._made[name]

    @cached_property
    def version(self) -> str:
        """What changes with any style sheet or script."""
        return "".join(self.find(name).digest for name in (*STYLES_OF, SCRIPTS, STEPS))

    @cached_property
    def vendored(self) -> Mapping[str, Path]:
        """The files of others by name, each held against the digest it was published with.

        Raises:
            RuntimeError: one is not as it was published.
        """
        listed = tomllib.loads((self.folder / "vendor/VENDORED.toml").read_text("utf-8"))
        found = {}
        for package in listed["package"]:
            for name, published in package["files"].items():
                path = self.folder / "vendor" / package["folder"] / name
                if _sha384(path.read_bytes()) != published:
                    raise RuntimeError(f"{path} is not as it was published.")
                found[name] = path
        return found

    def _content(self, name: str) -> bytes:
        if name in STYLES_OF:
            return self._styles(STYLES_OF[name])
        if name == SCRIPTS:
            vendored = [self.vendored[name].read_text("utf-8") for name in VENDORED_SCRIPTS]
            return self._scripts(OWN_SCRIPTS, vendored)
        if name == STEPS:
            return self._scripts(STEP_SCRIPTS)
        if name == FONT:
            return self.vendored[VENDORED_FONT].read_bytes()
        path = (self.folder / name).resolve()
        is_picture = path.suffix in PICTURES and path.is_relative_to(self.folder.resolve())
        if not is_picture or not path.is_file():
            raise KeyError(name)
        return path.read_bytes()

    def _styles(self, sheets: Sequence[str]) -> bytes:
        text = "\n".join(self._text(f"css/{sheet}.css") for sheet in sheets)
        text = text.replace(
            'url("font.woff2")', f'url("{self.address(FONT).rpartition("/")[2]}")'
        )  # beside it
        text = INDENT.sub("", COMMENT.sub("", text))
        return AROUND.sub(r"\1", text).encode()

    def _scripts(self, names: Sequence[str], before: Sequence[str] = ()) -> bytes:
        own = [LINE_COMMENT.sub("", self._text(f"js/{name}.js")) for name in names]
        return ";\n".join([*before, *(INDENT.sub("", text) for text in own)]).encode()

    def _text(self, name: str) -> str:
        return (self.folder / name).read_text("utf-8")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve a file at its address; another digest than the file's is another file."""
        request = Request(scope)
        if request.method not in ("GET", "HEAD"):
            raise HTTPException(405, headers={"Allow": "GET, HEAD"})
        asset = self._at(scope["path"])
        if asset is None:
            raise HTTPException(404)
        await _answer(asset, request)(scope, receive, send)

    def _at(self, path: str) -> Asset | None:
        named = NAMED.fullmatch(path.removeprefix("/static/"))
        if named is None:
            return None
        try:
            asset = self.find(named[1] + named[3])
        except (KeyError, ValueError):
            return None
        return asset if asset.address == path else None


def accepts_gzip(header: str) -> bool:
    """Whether an Accept-Encoding header takes gzip (RFC 9110, section 12.5.3)."""
    for part in header.lower().split(","):
        coding, *parameters = (text.strip() for text in part.split(";"))
        if coding in ("gzip", "*"):
            return not any(re.fullmatch(r"q=0(\.0*)?", text) for text in parameters)
    return False


def _answer(asset: Asset, request: Request) -> Response:
    headers = {"Cache-Control": FOR_GOOD}
    content = asset.content
    if asset.is_compressed:
        headers["Vary"] = "Accept-Encoding"
        if accepts_gzip(request.headers.get("accept-encoding", "")):
            headers["Content-Encoding"] = "gzip"
            content = asset.gzipped
    headers["Content-Length"] = str(len(content))
    body = b"" if request.method == "HEAD" else content
    return Response(body, headers=headers, media_type=asset.media_type)


def _sha384(content: bytes) -> str:
    return f"sha384-{base64.b64encode(hashlib.sha384(content).digest()).decode()}"
