"""A server on the loopback that answers as told: well, or with a fault of the open web."""

from __future__ import annotations

import gzip
import socket
import struct
import threading
from collections import deque
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

HTML = b"<!DOCTYPE html><html><body>Please sign in to use this network</body></html>"


@dataclass(frozen=True)
class Reply:
    """What is sent back; `how` is "" or one of hang, reset, cut (half the body, then the end)."""

    body: bytes = b""
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=dict)
    how: str = ""


@dataclass(frozen=True)
class Request:
    """What was asked."""

    path: str
    headers: Mapping[str, str]


class WeatherServer:
    """Answers GET by path. `now` is the clock of the test, `skew_s` how far the server's is off.

    Files put with `put` carry Date, Last-Modified and Expires and are answered with 304 where
    If-Modified-Since is the exact Last-Modified. `fault` replies are used up one by one first.
    """

    def __init__(self, now: datetime) -> None:
        self.now = now
        self.skew = now - now
        self.requests: list[Request] = []
        self._files: dict[str, tuple[bytes, dict[str, str]]] = {}
        self._faults: deque[Reply] = deque()
        self._lasting: Reply | None = None
        self.released = threading.Event()
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(self))
        self._server.daemon_threads = True
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True
        )
        self._thread.start()
        self.url = f"http://127.0.0.1:{self._server.server_address[1]}"

    def put(
        self,
        path: str,
        body: bytes,
        *,
        modified_at: datetime | None = None,
        expires_in_s: float | None = None,
        content_type: str = "application/octet-stream",
        **headers: str,
    ) -> None:
        """Serve `body` at `path` from now on."""
        sent = {"Content-Type": content_type, **headers}
        if modified_at is not None:
            sent["Last-Modified"] = format_datetime(modified_at, usegmt=True)
        if expires_in_s is not None:
            sent["X-Expires-In"] = str(expires_in_s)
        self._files[path] = (body, sent)

    def body_of(self, path: str) -> bytes:
        """What is served at `path`."""
        return self._files[path][0]

    def remove(self, path: str) -> None:
        """Serve `path` no longer."""
        self._files.pop(path, None)

    def fault(self, *replies: Reply) -> None:
        """Send these replies, in this order, before anything else."""
        self._faults.extend(replies)

    def lasting_fault(self, reply: Reply | None) -> None:
        """Send this reply to everything until told otherwise."""
        self._lasting = reply

    def reply(self, request: Request) -> Reply:
        """The reply to one request."""
        self.requests.append(request)
        if self._faults:
            return self._faults.popleft()
        if self._lasting is not None:
            return self._lasting
        if request.path not in self._files:
            return Reply(b"not found", 404, {"Content-Type": "text/plain"})
        body, headers = self._files[request.path]
        sent = dict(headers)
        expires_in_s = sent.pop("X-Expires-In", None)
        clock = self.now + self.skew
        sent["Date"] = format_datetime(clock, usegmt=True)
        if expires_in_s is not None:
            expires = datetime.fromtimestamp(clock.timestamp() + float(expires_in_s), clock.tzinfo)
            sent["Expires"] = format_datetime(expires, usegmt=True)
        modified = sent.get("Last-Modified")
        if modified is not None and request.headers.get("if-modified-since") == modified:
            return Reply(b"", 304, sent)
        return Reply(body, 200, sent)

    def close(self) -> None:
        """Stop answering and let go of the port."""
        self.released.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


def _handler(server: WeatherServer) -> type[BaseHTTPRequestHandler]:
    """The class the standard library wants, bound to one server."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            named = {name.lower(): value for name, value in self.headers.items()}
            reply = server.reply(Request(self.path, named))
            self.close_connection = True
            if reply.how == "hang":
                server.released.wait(30)
                return
            if reply.how == "reset":
                linger = struct.pack("ii", 1, 0)
                self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
                self.connection.close()
                return
            self.send_response_only(reply.status)
            for name, value in reply.headers.items():
                self.send_header(name, value)
            if reply.status != 304:
                self.send_header("Content-Length", str(len(reply.body)))
            self.send_header("Connection", "close")
            self.end_headers()
            if reply.status != 304:
                half = len(reply.body) // 2
                self.wfile.write(reply.body[:half] if reply.how == "cut" else reply.body)

        def log_message(self, format: str, *args: Any) -> None:
            """Say nothing."""

        def finish(self) -> None:
            with suppress(OSError, ValueError):
                super().finish()

    return Handler


@contextmanager
def weather_server(now: datetime) -> Iterator[WeatherServer]:
    """A running server, stopped in the end."""
    server = WeatherServer(now)
    try:
        yield server
    finally:
        server.close()


def faults(good: bytes) -> dict[str, Reply]:
    """Every fault by name; `good` is the body that should have come."""
    truncated = gzip.compress(good)[:-20] if good[:2] != b"\x1f\x8b" else good[:-20]
    csv = {"Content-Type": "text/csv"}
    return {
        "403": Reply(b"forbidden", 403),
        "404": Reply(b"not found", 404),
        "429": Reply(b"slow down", 429, {"Retry-After": "3600"}),
        "500": Reply(b"oops", 500),
        "hang": Reply(how="hang"),
        "reset": Reply(how="reset"),
        "cut": Reply(good, how="cut"),
        "truncated gzip": Reply(truncated, 200, csv),
        "html": Reply(HTML, 200, {"Content-Type": "text/html"}),
        "wrong type": Reply(b"\x89PNG\r\n\x1a\n0000", 200, {"Content-Type": "image/png"}),
        "empty json": Reply(b"{}", 200, {"Content-Type": "application/json"}),
        "empty": Reply(b"", 200, csv),
    }
