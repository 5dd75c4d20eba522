"""A reverse proxy of HTTP on loopback that serves a program below a path, and nothing else.

It forwards message by message (RFC 9110, section 7.6): hop-by-hop fields end here, the host is
passed on, and a stream is passed on as it comes.
"""

import http.client
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import urlsplit

HOP_BY_HOP = {"connection", "keep-alive", "transfer-encoding", "te", "trailer", "upgrade"}


class Proxy:
    """Passes on what is asked for below `at`; all else gets 404 and is noted.

    Attributes:
        outside: addresses that were asked for outside of the path.
        port: where it listens on loopback.
    """

    def __init__(self, url: str, at: str, is_stripped: bool) -> None:
        self.outside: list[str] = []
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(self, url, at, is_stripped))
        self._server.daemon_threads = True
        self.port: int = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    @property
    def url(self) -> str:
        """Where it answers, without the path."""
        return f"http://127.0.0.1:{self.port}"

    def close(self) -> None:
        """Let go of the port."""
        self._server.shutdown()
        self._server.server_close()


def _handler(proxy: Proxy, url: str, at: str, is_stripped: bool) -> type[BaseHTTPRequestHandler]:
    host = urlsplit(url).netloc

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def _pass_on(self) -> None:
            if urlsplit(self.path).path != at and not self.path.startswith(f"{at}/"):
                proxy.outside.append(self.path)
                self.send_error(404)
                return
            headers = {n: v for n, v in self.headers.items() if n.lower() not in HOP_BY_HOP}
            path = self.path
            if is_stripped:
                path, headers["X-Forwarded-Prefix"] = path.removeprefix(at) or "/", at
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            upstream = http.client.HTTPConnection(host, timeout=60)
            try:
                upstream.request(self.command, path, body or None, headers)
                self._answer(upstream.getresponse())
            except OSError:  # either side went away
                self.close_connection = True
            finally:
                upstream.close()

        def _answer(self, answer: http.client.HTTPResponse) -> None:
            self.send_response_only(answer.status)
            for name, value in answer.getheaders():
                if name.lower() not in HOP_BY_HOP:
                    self.send_header(name, value)
            self.send_header("Connection", "close")
            self.end_headers()
            while part := answer.read1(65536):
                self.wfile.write(part)
                self.wfile.flush()
            self.close_connection = True

        do_GET = do_HEAD = do_POST = do_PUT = do_DELETE = _pass_on  # noqa: N815 - the library's

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    return Handler
