"""A stand-in for an object storage: the few calls of S3 that the program makes, with faults.

After the documentation of S3's API (PutObject, GetObject, HeadObject, DeleteObject, ListObjectsV2),
from memory; requests must be signed, but no signature is worked out anew.
"""

import gzip
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from email.utils import format_datetime
from hashlib import md5
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, ClassVar
from urllib.parse import parse_qs, unquote, urlsplit
from xml.sax.saxutils import escape

from app.config import PhotoStorage

BUCKET = "photos-of-rooms"
KEY = "AKEYOFTHETEST"


class ObjectStorage:
    """One bucket in memory.

    Attributes:
        objects: content and moment by key.
        fault: what goes wrong: "down" (no answer), "slow" (nothing for `slow_s`), "cut" (ends in
            the middle of an upload or answer), "half" (keeps half of what it is given and says
            it kept all), "denied" (403), "full" (507), "drip" (byte by byte, without an end).
        after: how many requests are answered well before the fault begins.
    """

    def __init__(self) -> None:
        self.objects: dict[str, tuple[bytes, datetime]] = {}
        self.fault, self.after, self.slow_s = "", 0, 60.0
        self.asked: list[str] = []
        self.lock = threading.Lock()
        handler = type("Handler", (_Handler,), {"storage": self})
        self.server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
        self.server.daemon_threads = True
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.05,), daemon=True)
        self.thread.start()

    @property
    def where(self) -> PhotoStorage:
        """As the program is told of it."""
        endpoint = f"http://127.0.0.1:{self.server.server_port}"
        return PhotoStorage(f"s3://{BUCKET}/rooms", endpoint, KEY, "a secret of the test")

    def break_down(self, fault: str, after: int = 0) -> None:
        """From now on, or after so many more requests, this goes wrong."""
        self.fault, self.after = fault, after

    def fault_now(self) -> str:
        """The fault that this request meets."""
        with self.lock:
            if self.fault and self.after > 0:
                self.after -= 1
                return ""
            return self.fault

    def close(self) -> None:
        """Stop listening."""
        self.fault = ""
        self.server.shutdown()
        self.server.server_close()


class _Handler(BaseHTTPRequestHandler):
    storage: ClassVar[ObjectStorage]
    protocol_version = "HTTP/1.1"

    def do_PUT(self) -> None:
        self._answer()

    do_GET = do_HEAD = do_DELETE = do_PUT  # noqa: N815 - the library looks for these names

    def log_message(self, *_: Any) -> None:
        """Nothing is printed."""

    def _answer(self) -> None:
        self.storage.asked.append(f"{self.command} {self.path}")
        fault = self.storage.fault_now()
        if fault == "down" or (fault == "cut" and self.command == "PUT"):
            self.rfile.read1(1024)
            self._hang_up()
            return
        if fault == "slow":
            time.sleep(self.storage.slow_s)
        body = self._body()
        if fault in ("denied", "full"):
            code, name = (
                (403, "AccessDenied") if fault == "denied" else (507, "InsufficientStorage")
            )
            self._say(code, f"<Error><Code>{name}</Code><Message>{name}</Message></Error>".encode())
            return
        if f"Credential={KEY}/" not in self.headers.get("Authorization", ""):
            self._say(403, b"<Error><Code>InvalidAccessKeyId</Code></Error>")
            return
        self._do(fault, body)

    def _do(self, fault: str, body: bytes) -> None:
        address = urlsplit(self.path)
        bucket, _, key = unquote(address.path).lstrip("/").partition("/")
        asked = {name: values[0] for name, values in parse_qs(address.query).items()}
        objects = self.storage.objects
        if bucket != BUCKET:
            self._say(404, b"<Error><Code>NoSuchBucket</Code></Error>")
        elif self.command == "PUT":
            objects[key] = (body[: len(body) // 2] if fault == "half" else body, datetime.now(UTC))
            self._say(200, ETag=f'"{md5(body).hexdigest()}"')
        elif self.command == "DELETE":
            objects.pop(key, None)
            self._say(204)
        elif not key:
            self._say(200, _listed(objects, asked))
        elif key not in objects:
            self._say(404, b"<Error><Code>NoSuchKey</Code></Error>")
        else:
            content, at = objects[key]
            moment = format_datetime(at, usegmt=True)
            self._say(
                200, content, fault, Last_Modified=moment, ETag=f'"{md5(content).hexdigest()}"'
            )

    def _body(self) -> bytes:
        if "chunked" in self.headers.get("Transfer-Encoding", ""):
            blocks = []
            while size := int(self.rfile.readline().split(b";")[0], 16):
                blocks.append(self.rfile.read(size))
                self.rfile.readline()
            self.rfile.readline()
            body = b"".join(blocks)
        else:
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        if "aws-chunked" in self.headers.get("Content-Encoding", ""):
            body = _unwrapped(body)
        elif self.headers.get("Content-Encoding") == "gzip":
            body = gzip.decompress(body)
        return body

    def _say(self, status: int, content: bytes = b"", fault: str = "", **headers: str) -> None:
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        if status != 204:
            self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        if self.command == "HEAD":
            return
        if fault == "cut":
            self.wfile.write(content[: len(content) // 2])
            self._hang_up()
        elif fault == "drip":
            for number in range(len(content)):
                self.wfile.write(content[number : number + 1])
                self.wfile.flush()
                time.sleep(0.5)
        else:
            self.wfile.write(content)

    def _hang_up(self) -> None:
        self.close_connection = True
        with suppress(OSError):
            self.connection.shutdown(socket.SHUT_RDWR)

    def handle(self) -> None:
        """Whoever went away is gone."""
        with suppress(ConnectionError, ValueError):
            super().handle()


def _unwrapped(body: bytes) -> bytes:
    """The content of an upload in signed or summed parts (`aws-chunked`)."""
    found, rest = [], body
    while rest:
        head, _, rest = rest.partition(b"\r\n")
        size = int(head.split(b";")[0], 16)
        if not size:
            break
        found.append(rest[:size])
        rest = rest[size + 2 :]
    return b"".join(found)


def _listed(objects: dict[str, tuple[bytes, datetime]], asked: dict[str, str]) -> bytes:
    """A page of the list: objects below a prefix, and folders where a delimiter is given."""
    prefix, delimiter = asked.get("prefix", ""), asked.get("delimiter", "")
    most, after = int(asked.get("max-keys", 1000)), asked.get("continuation-token", "")
    keys, folders = [], set[str]()
    for key in sorted(one for one in list(objects) if one.startswith(prefix)):
        head, found, _ = key[len(prefix) :].partition(delimiter) if delimiter else ("", "", "")
        if found:
            folders.add(prefix + head + delimiter)
        else:
            keys.append(key)
    keys = [key for key in keys if key > after]
    page = keys[:most]
    more = ""
    if len(keys) > most:
        more = f"<NextContinuationToken>{escape(page[-1])}</NextContinuationToken>"
    rows = [
        f"<Contents><Key>{escape(key)}</Key><Size>{len(objects[key][0])}</Size>"
        f"<LastModified>{objects[key][1].isoformat()}</LastModified><ETag>x</ETag></Contents>"
        for key in page
    ]
    rows += [f"<CommonPrefixes><Prefix>{escape(one)}</Prefix></CommonPrefixes>" for one in folders]
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><ListBucketResult><KeyCount>{len(rows)}'
        f"</KeyCount><IsTruncated>{'true' if more else 'false'}</IsTruncated>{more}{''.join(rows)}"
        "</ListBucketResult>"
    ).encode()


@contextmanager
def object_storage() -> Iterator[ObjectStorage]:
    """A storage that listens on a free port of this machine."""
    storage = ObjectStorage()
    try:
        yield storage
    finally:
        storage.close()
