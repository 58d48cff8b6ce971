"""The loop that serves an application by HTTP or HTTPS: a thread a connection, a request a connection.

Built on the standard library's `socketserver`. Whatever a client does, or doesn't do, holds up its own thread
alone: half a TLS handshake, half a header, a body that never ends, an answer that it doesn't read. Each
connection has a time by which it must have asked and one by which it must be answered, and no address may
have many. A body is read by the page that wants it, so a refused one is never kept.

Why not a server from elsewhere: waitress has no TLS, and stores a body before the application can refuse it;
cheroot waits for TLS handshakes in the loop that accepts connections, so one that hangs stops all.
"""

from __future__ import annotations

import socket
import ssl
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from socketserver import BaseServer, TCPServer, ThreadingMixIn
from threading import Lock, Semaphore, Thread
from types import TracebackType
from typing import IO, Any, TypeAlias, cast
from wsgiref.handlers import SimpleHandler
from wsgiref.simple_server import WSGIRequestHandler

App: TypeAlias = Callable[..., Iterable[bytes]]
LONGEST_LINE_BYTES = 64 * 1024
SILENT_S = 30.0
"""How long a client may let a read or a write wait."""
ASK_WITHIN_S = 20.0
"""For the TLS handshake and all headers."""
DONE_WITHIN_S = 600.0
"""For the rest: 64 MB take as long by a slow wireless network, 1 Mbit/s."""
LINGER_S = 2.0
"""How long what a client still sends is thrown away, so that it gets to read why it was refused."""
MOST_OPEN = 64
MOST_OPEN_OF_ONE = 16
"""By address: a browser opens 6 at once."""
PAGES_AT_ONCE = 4
"""A page shows up to six pictures; a home machine decodes no more photos than this at once."""
FINISH_S = 5.0
"""After ctrl-C, for requests that are being answered: a call that was sent is recorded."""


def serve_app(app: App, listening: Sequence[socket.socket], *, tls: ssl.SSLContext | None = None) -> None:
    """Serve an application on sockets until ctrl-C.

    Parameters
    ----------
    app : callable
        A WSGI application.
    listening : sequence of socket
        Each has its own share of connections: what comes to one doesn't fill another.
    tls : SSLContext or None
        For HTTPS.
    """
    gated = _gate(app)
    first, *others = (_Server(gated, one, tls) for one in listening)
    for other in others:
        Thread(target=other.serve_forever, daemon=True).start()
    with suppress(KeyboardInterrupt):
        first.serve_forever()
    for other in others:
        other.shutdown()
    until = time.monotonic() + FINISH_S
    while any(server.answers for server in (first, *others)) and time.monotonic() < until:
        time.sleep(0.05)


def _gate(app: App) -> App:
    """The application, which makes few pages at once; reading a body or sending an answer counts for none."""
    places = Semaphore(PAGES_AT_ONCE)

    def answer(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        if environ["REQUEST_METHOD"] not in ("GET", "HEAD"):
            return app(environ, start_response)
        with places:
            return app(environ, start_response)

    return answer


@dataclass(frozen=True, slots=True, kw_only=True)
class _Open:
    """A connection: whose it is, when it ends at the latest, and whether it has asked."""

    address: str
    until_s: float
    asked: bool = False


class _Server(ThreadingMixIn, TCPServer):
    """Serves one socket."""

    daemon_threads = True
    block_on_close = False

    def __init__(self, app: App, listening: socket.socket, tls: ssl.SSLContext | None) -> None:
        # TCPServer would make a socket of its own.
        BaseServer.__init__(self, listening.getsockname(), _Request)
        listening.settimeout(1.0)  # for a client that is gone again before it is accepted
        self.socket, self.app, self.tls = listening, app, tls
        host, port = self.server_address[:2]
        self.base_environ = {
            "SERVER_NAME": str(host),
            "SERVER_PORT": str(port),
            "SCRIPT_NAME": "",
            "CONTENT_LENGTH": "",
            "HTTPS": "on" if tls else "off",
        }
        self._open: dict[socket.socket, _Open] = {}
        self._lock = Lock()

    @property
    def answers(self) -> bool:
        """Whether a request is being answered."""
        with self._lock:
            return any(one.asked for one in self._open.values())

    def get_request(self) -> tuple[socket.socket, Any]:
        connection, address = self.socket.accept()
        if self.tls is None:
            return connection, address
        try:
            # The handshake waits for the client: that is for the connection's own thread.
            return self.tls.wrap_socket(connection, server_side=True, do_handshake_on_connect=False), address
        except OSError:
            connection.close()
            raise

    def verify_request(self, request: Any, client_address: Any) -> bool:
        address = client_address[0]
        with self._lock:
            own = sum(one.address == address for one in self._open.values())
            if own >= MOST_OPEN_OF_ONE or len(self._open) >= MOST_OPEN:
                return False
            self._open[request] = _Open(address=address, until_s=time.monotonic() + ASK_WITHIN_S)
        return True

    def begin_answer(self, request: socket.socket) -> None:
        """Note that a connection has asked, which gives it time to send its body and read the answer."""
        with self._lock:
            until_s = time.monotonic() + DONE_WITHIN_S
            self._open[request] = replace(self._open[request], asked=True, until_s=until_s)

    def service_actions(self) -> None:
        now = time.monotonic()
        with self._lock:
            late = [request for request, one in self._open.items() if one.until_s < now]
        for request in late:
            with suppress(OSError):  # wakes its thread, which ends it
                socket.socket.shutdown(request, socket.SHUT_RDWR)

    def shutdown_request(self, request: Any) -> None:
        if request in self._open:
            _linger(request)
        self.close_request(request)
        with self._lock:
            self._open.pop(request, None)

    def handle_error(self, request: Any, client_address: Any) -> None:
        error = sys.exception()
        if not isinstance(error, OSError):  # that is a client that left, or was too slow
            _tell_fault(error)


class _Request(WSGIRequestHandler):
    """Reads a request and lets the application answer it."""

    timeout = SILENT_S
    server: _Server
    server_version = "colscan"
    sys_version = ""

    def handle(self) -> None:
        if isinstance(self.connection, ssl.SSLSocket):
            self.connection.do_handshake()
        self.raw_requestline = self.rfile.readline(LONGEST_LINE_BYTES)
        if not self.raw_requestline.endswith(b"\n") or not self.parse_request():
            return
        self.server.begin_answer(self.connection)
        streams = self.rfile, cast("IO[bytes]", self.wfile), sys.stderr
        answer = _Answer(*streams, self.get_environ(), multithread=True)
        answer.os_environ = {}  # nothing of a request comes from the process's environment
        answer.run(self.server.app)

    def log_message(self, format: str, *args: object) -> None:
        """Nothing: the terminal says what matters to who runs it."""


class _Answer(SimpleHandler):
    """Sends an answer, without the name of the software."""

    server_software = None

    def log_exception(self, exc_info: tuple[type[BaseException], BaseException, TracebackType] | Any) -> None:
        if not isinstance(exc_info[1], OSError):
            _tell_fault(exc_info[1])


def _linger(connection: socket.socket) -> None:
    """End a connection so that the client can read the answer even while it still sends.

    Closed with unread bytes it would be reset, and the answer lost with it. All on the plain socket: a TLS
    client knows by the declared length that the answer is whole.
    """
    until = time.monotonic() + LINGER_S
    with suppress(OSError):
        socket.socket.shutdown(connection, socket.SHUT_WR)
        while (left := until - time.monotonic()) > 0:
            connection.settimeout(left)
            if not socket.socket.recv(connection, 64 * 1024):
                return


def _tell_fault(error: BaseException | None) -> None:
    print(
        f"a fault in colscan itself, in answering a request ({type(error).__name__}: {error})",
        file=sys.stderr,
    )
