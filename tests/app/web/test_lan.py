"""`colscan review --lan` over real sockets: HTTP and HTTPS, clients that are stuck, bodies too large."""

from __future__ import annotations

import http.client
import os
import re
import select
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from threading import Thread

import pytest
from flask import Flask, request

from colscan.app.cli.main import main
from colscan.app.web import Pairing, lan_address, listen, listening, make_app, serve_app, serving, tls_context
from colscan.errors import TrialError

HOME, LAN = "127.0.0.1", "127.0.0.2"
"""The second stands for an address on a network: it is not the one that is exempt from pairing."""
TWO_LOOPBACKS = pytest.mark.skipif(
    sys.platform != "linux", reason="127.0.0.2 is this machine's on Linux alone"
)
MB = 1024 * 1024
CODE = rb"type ([A-Z2-9]{4}-[A-Z2-9]{4})\r"
PATIENCE_S = 120.0
"""Only what will never come is waited for so long: a busy machine takes half a minute to start a process."""


@dataclass(frozen=True)
class Running:
    """A review page that is served."""

    port: int
    app: Flask
    pairing: Pairing
    tls: ssl.SSLContext | None

    def connect(self, host: str = HOME) -> http.client.HTTPConnection:
        """A browser's connection, from the address that it goes to."""
        if self.tls is None:
            return http.client.HTTPConnection(host, self.port, timeout=20, source_address=(host, 0))
        return http.client.HTTPSConnection(
            host, self.port, timeout=20, source_address=(host, 0), context=ssl._create_unverified_context()
        )

    def get(self, path: str = "/", host: str = HOME, **headers: str) -> tuple[int, bytes]:
        """What a page answers."""
        connection = self.connect(host)
        connection.request("GET", path, headers=headers)
        answer = connection.getresponse()
        body = answer.read()
        connection.close()
        return answer.status, body


def run(app: Flask, sockets: list[socket.socket], tls: ssl.SSLContext | None) -> None:
    """Serve in a thread of its own."""
    Thread(target=serve_app, args=(app, sockets), kwargs={"tls": tls}, daemon=True).start()


def start(trial: Path, tls: ssl.SSLContext | None, *addresses: str) -> Running:
    """Serve a trial, and besides a page that no buffer takes whole; what is posted to /photos is counted."""
    sockets = [listen(0)]
    port = sockets[0].getsockname()[1]
    sockets += [listen(port, address) for address in addresses]
    pairing = Pairing(f"{LAN}:{port}", https=tls is not None, say=lambda line: None)
    app = make_app(trial, port=port, https=tls is not None, pairing=pairing)
    app.add_url_rule("/large", "large", lambda: b"x" * 20 * MB)
    app.view_functions["photos_upload"] = _count
    run(app, sockets, tls)
    return Running(port=port, app=app, pairing=pairing, tls=tls)


def _count() -> str:
    """How many bytes came, read piece by piece."""
    return str(sum(len(piece) for piece in iter(lambda: request.stream.read(MB), b"")))


@pytest.fixture
def running(trial: Path) -> Running:
    """A trial's page on the loopback address."""
    return start(trial, None)


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A certificate that signs itself, and its key."""
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("no openssl command to make a certificate with")
    folder = tmp_path_factory.mktemp("tls")
    cert, key = folder / "cert.pem", folder / "key.pem"
    words = [openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=colscan", "-days", "2"]
    subprocess.run([*words, "-out", str(cert), "-keyout", str(key)], check=True, capture_output=True)
    return cert, key


def token(running: Running) -> str:
    """The token of a form."""
    found = re.search(rb'name="token" content="([^"]+)"', running.get()[1])
    assert found
    return found[1].decode()


# ---- over the network


@TWO_LOOPBACKS
def test_a_phone_pairs_over_the_network(trial: Path) -> None:
    """Refused without its cookie, which it gets for the code and sends from then on."""
    running = start(trial, None, LAN)
    status, body = running.get("/", LAN)
    assert status == 403
    assert b"hornbeam" not in body
    assert running.get("/", LAN, **{"X-Forwarded-For": HOME})[0] == 403
    assert running.get("/")[0] == 200
    phone = running.connect(LAN)
    headers = {"Origin": f"http://{LAN}:{running.port}", "Content-Type": "application/x-www-form-urlencoded"}
    phone.request("POST", "/pair", f"code={running.pairing.new_code().scanned}", headers)
    answer = phone.getresponse()
    assert answer.status == 303
    cookie = (answer.headers["Set-Cookie"] or "").split(";")[0]
    status, body = running.get("/", LAN, Cookie=cookie)
    assert status == 200
    assert b"hornbeam" in body


@TWO_LOOPBACKS
def test_a_page_by_https(trial: Path, certificate: tuple[Path, Path]) -> None:
    """With the certificate that was given, on both addresses; a plain request gets nothing of the trial."""
    tls = tls_context(*certificate)
    running = start(trial, tls, LAN)
    trusting = ssl.create_default_context(cafile=certificate[0])
    trusting.check_hostname = False
    with (
        socket.create_connection((HOME, running.port), timeout=20) as plain,
        trusting.wrap_socket(plain) as known,
    ):
        known.sendall(f"GET / HTTP/1.1\r\nHost: {HOME}:{running.port}\r\n\r\n".encode())
        assert b"200 OK" in known.recv(1000)
    assert b"what needs eyes" in running.get()[1]
    assert running.get("/", LAN)[0] == 403
    assert running.get("/pair", LAN)[0] == 200
    with socket.create_connection((HOME, running.port), timeout=20) as plain:
        plain.sendall(f"GET / HTTP/1.1\r\nHost: {HOME}:{running.port}\r\n\r\n".encode())
        assert b"hornbeam" not in plain.recv(1000)
    assert running.get()[0] == 200


def test_a_host_with_a_line_break_changes_no_header(running: Running) -> None:
    """What follows is a header of the request at most; nothing of it comes back."""
    for host in (f"{HOME}:{running.port}\r\nX-Injected: 1", "evil\nSet-Cookie: a=1", "a\rX-Injected: 1"):
        with socket.create_connection((HOME, running.port), timeout=20) as sending:
            sending.sendall(f"GET / HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
            answer = b"".join(iter(lambda: sending.recv(65536), b""))
        head = answer.partition(b"\r\n\r\n")[0]
        assert b"Injected" not in head
        assert b"Set-Cookie" not in head
        assert b"evil" not in answer


def test_two_hosts_are_none(running: Running) -> None:
    """A second Host isn't taken for the first."""
    with socket.create_connection((HOME, running.port), timeout=20) as sending:
        sending.sendall(f"GET / HTTP/1.1\r\nHost: {HOME}:{running.port}\r\nHost: evil\r\n\r\n".encode())
        assert b" 403 " in sending.recv(100)


# ---- clients that are stuck


def stuck(running: Running, said: bytes, times: int, stack: ExitStack) -> None:
    """Open connections that begin to say something, and then neither go on nor end."""
    for _ in range(times):
        sending = stack.enter_context(socket.create_connection((HOME, running.port), timeout=20))
        sending.sendall(said)


@pytest.mark.parametrize(
    "said",
    [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: x\r\nX-Slow: ", "body", "deaf"],
    ids=["silent", "half a line", "half a header", "half a body", "deaf"],
)
def test_stuck_clients_hold_up_nobody(running: Running, said: bytes | str) -> None:
    """With nine of them, twice as many as pages are made at once, a page is there within seconds."""
    ours = f"Host: {HOME}:{running.port}\r\nOrigin: http://{HOME}:{running.port}"
    form = "Content-Type: application/x-www-form-urlencoded"
    if said == "body":
        said = f"POST /verdict HTTP/1.1\r\n{ours}\r\n{form}\r\nContent-Length: 500\r\n\r\nbag=B".encode()
    elif said == "deaf":
        said = f"GET /large HTTP/1.1\r\n{ours}\r\n\r\n".encode()
    assert isinstance(said, bytes)
    running.get()
    with ExitStack() as stack:
        stuck(running, said, 2 * serving.PAGES_AT_ONCE + 1, stack)
        time.sleep(0.3)
        begun = time.monotonic()
        assert running.get()[0] == 200
        assert time.monotonic() - begun < 5.0


def test_hung_handshakes_hold_up_nobody(trial: Path, certificate: tuple[Path, Path]) -> None:
    """Neither silent ones nor those that begin."""
    running = start(trial, tls_context(*certificate))
    running.get()
    with ExitStack() as stack:
        stuck(running, b"", 5, stack)
        stuck(running, b"\x16\x03\x01\x02\x00\x01", 5, stack)
        begun = time.monotonic()
        assert running.get()[0] == 200
        assert time.monotonic() - begun < 5.0


def test_who_drips_is_cut_off(running: Running, monkeypatch: pytest.MonkeyPatch) -> None:
    """A byte now and then doesn't keep a connection past the time for asking."""
    monkeypatch.setattr(serving, "ASK_WITHIN_S", 1.0)
    begun = time.monotonic()
    with socket.create_connection((HOME, running.port), timeout=0.2) as dripping:
        dripping.sendall(b"GET / HTTP/1.1\r\nX: ")
        ended = False
        while not ended and time.monotonic() - begun < 15:
            try:
                dripping.sendall(b"x")
                ended = dripping.recv(1) == b""
            except TimeoutError:
                continue
            except OSError:
                ended = True
    assert ended
    assert 1.0 <= time.monotonic() - begun < 10.0


def test_one_address_cannot_take_all(running: Running) -> None:
    """Further connections of an address that has its share are closed; when they end it is served again."""
    with ExitStack() as stack:
        stuck(running, b"G", serving.MOST_OPEN_OF_ONE, stack)
        time.sleep(0.3)
        with pytest.raises((OSError, http.client.HTTPException)):
            running.get()
        if sys.platform == "linux":
            sending = socket.create_connection((HOME, running.port), timeout=20, source_address=(LAN, 0))
            with sending:
                sending.sendall(f"GET /pair HTTP/1.1\r\nHost: {HOME}:{running.port}\r\n\r\n".encode())
                assert b" 200 " in sending.recv(100)
    time.sleep(0.5)
    assert running.get()[0] == 200


# ---- large bodies


def send(running: Running, path: str, head: str, body: bytes, times: int = 1) -> bytes:
    """The answer's beginning to a request that is sent on and on, whatever comes back."""
    ours = f"Host: {HOME}:{running.port}\r\nOrigin: http://{HOME}:{running.port}\r\n"
    said = f"POST {path} HTTP/1.1\r\n{ours}X-Colscan-Token: {token(running)}\r\n{head}\r\n\r\n"
    with socket.create_connection((HOME, running.port), timeout=20) as sending:
        sending.sendall(said.encode())
        for _ in range(times):
            sending.sendall(body)
        return b"".join(iter(lambda: sending.recv(65536), b""))


@pytest.mark.parametrize(
    ("path", "length"), [("/verdict", 64 * 1024 + 1), ("/photos", 1024 * MB), ("/", 10 * MB)]
)
def test_too_large_is_refused_by_its_length(running: Running, path: str, length: int) -> None:
    """Before any of it is sent; also to a client that first sends some."""
    head = f"Content-Length: {length}"
    for times in (0, 8):
        begun = time.monotonic()
        assert b" 413 " in send(running, path, head, b"x" * MB, times)[:20]
        assert time.monotonic() - begun < 5


def test_a_photo_may_be_larger(running: Running) -> None:
    """Up to 64 MB to the one endpoint, read as it comes; by other methods and without the token, not."""
    for length in (64 * 1024 + 1, 64 * MB):
        answer = send(running, "/photos", f"Content-Length: {length}", b"x" * length)
        assert answer.endswith(f"\r\n\r\n{length}".encode())
    assert b" 413 " in send(running, "/photos", f"Content-Length: {64 * MB + 1}", b"")[:20]
    head = "X-Colscan-Token: wrong\r\nContent-Length: 5000000"
    assert b" 403 " in send(running, "/photos", head, b"x" * MB)[:20]


@pytest.mark.parametrize("more", ["", "\r\nContent-Length: 5"])
def test_a_body_without_length_is_not_read(running: Running, more: str) -> None:
    """In pieces, without end: refused at once, whatever else it says."""
    head = f"Transfer-Encoding: chunked{more}"
    for path in ("/verdict", "/photos"):
        assert b" 411 " in send(running, path, head, b"5\r\nhello\r\n")[:20]


@pytest.mark.parametrize("length", ["-1", "x", "1, 2", ""])
def test_a_nonsense_length_reads_nothing(running: Running, length: str) -> None:
    """It is as none."""
    answer = send(running, "/photos", f"Content-Length: {length}", b"x" * 10)
    assert answer.endswith(b"\r\n\r\n0")


# ---- addresses, certificates, the command


def test_this_machines_address(monkeypatch: pytest.MonkeyPatch) -> None:
    """That by which it reaches others; without a way out, that of its name; without any, an error."""
    monkeypatch.setattr(listening, "ELSEWHERE", ("127.0.0.1", 9))
    with pytest.raises(TrialError, match="no address on a network"):
        lan_address(https=False)
    monkeypatch.setattr(listening, "_own_address", lambda: "192.168.1.5")
    assert lan_address(https=False) == "192.168.1.5"
    monkeypatch.undo()
    monkeypatch.setattr(listening, "ELSEWHERE", ("no.such.name.invalid", 9))
    found = [
        (socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, 0)) for address in ("127.0.1.1", "10.0.0.7")
    ]
    monkeypatch.setattr(socket, "getaddrinfo", lambda *asked: found)
    assert lan_address(https=False) == "10.0.0.7"


def test_the_open_internet_takes_https(monkeypatch: pytest.MonkeyPatch) -> None:
    """A public address isn't served in the clear."""
    monkeypatch.setattr(listening, "_own_address", lambda: "8.8.8.8")
    with pytest.raises(TrialError, match="open internet"):
        lan_address(https=False)
    assert lan_address(https=True) == "8.8.8.8"


def test_a_certificate_that_cannot_be_used(
    trial: Path, tmp_path: Path, certificate: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """One without the other, missing, no PEM, swapped, or with a passphrase: an error with what to do."""
    cert, key = map(str, certificate)
    nonsense, locked = tmp_path / "nonsense.pem", tmp_path / "locked.pem"
    nonsense.write_text("nonsense", encoding="utf-8")
    words = ["openssl", "rsa", "-aes128", "-passout", "pass:secret", "-in", key, "-out", str(locked)]
    subprocess.run(words, check=True, capture_output=True)
    for words, said in (
        (["--cert", cert], "--cert is given without --key"),
        (["--key", key], "--key is given without --cert"),
        (["--cert", cert, "--key", str(tmp_path / "none.pem")], "none.pem can't be read"),
        (["--cert", str(tmp_path), "--key", key], "can't be read"),
        (["--cert", str(nonsense), "--key", key], "belong together"),
        (["--cert", key, "--key", cert], "belong together"),
        (["--cert", cert, "--key", str(locked)], "passphrase"),
    ):
        assert main(["review", str(trial), "--port", "0", "--no-browser", *words]) == 2
        assert said in capsys.readouterr().err


def review_command(trial: Path) -> list[str]:
    """The command line of a review on what stands for the network, in a process of its own."""
    script = (
        "from colscan.app.web import listening\n"
        f"listening._own_address = lambda: {LAN!r}\n"
        "from colscan.app.cli.main import run; run()"
    )
    return [sys.executable, "-c", script, "review", str(trial), "--port", "0", "--no-browser", "--lan"]


@pytest.fixture
def command(trial: Path) -> Iterator[subprocess.Popen[str]]:
    """The command with --lan in a process of its own."""
    words = review_command(trial)
    process = subprocess.Popen(
        words, stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, start_new_session=True, text=True
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
        assert process.stderr
        process.stderr.close()


@TWO_LOOPBACKS
def test_enter_shows_another_code(trial: Path) -> None:
    """On a terminal: each press a new QR code with its code to type; ctrl-C still ends it with 0."""
    terminal, inner = os.openpty()
    process = subprocess.Popen(review_command(trial), stdin=inner, stderr=inner, start_new_session=True)
    os.close(inner)
    shown = b""

    def read_until(codes: int) -> None:
        nonlocal shown
        until = time.monotonic() + PATIENCE_S
        while len(re.findall(CODE, shown)) < codes:
            assert time.monotonic() < until, shown[-500:]
            if select.select([terminal], [], [], 1.0)[0]:
                shown += os.read(terminal, 65536)

    try:
        read_until(1)
        for presses in (1, 2):
            os.write(terminal, b"\n")
            read_until(1 + presses)
        assert len(set(re.findall(CODE, shown))) == 3
        assert shown.count("▀".encode()) > 1000
        # The codes come before the page is ready: it has to answer first, or ctrl-C falls among its imports.
        found = re.search(rb"reviewing at http://127\.0\.0\.1:(\d+)/", shown)
        assert found
        with socket.create_connection((HOME, int(found[1])), timeout=PATIENCE_S) as asking:
            asking.sendall(b"GET / HTTP/1.0\r\n\r\n")
            assert asking.recv(5) == b"HTTP/"
        os.kill(process.pid, signal.SIGINT)
        assert process.wait(PATIENCE_S) == 0
    finally:
        process.kill()
        process.wait()
        os.close(terminal)


@TWO_LOOPBACKS
def test_the_command(command: subprocess.Popen[str]) -> None:
    """It says where and with which code, warns of the open network, tells who was paired, and ends with 0."""
    assert command.stderr
    said = [command.stderr.readline() for _ in range(4)]
    port = int(said[0].split()[2].rstrip("/").rpartition(":")[2])
    assert "anyone on the same network" in said[1]
    found = re.search(
        rf"open (http://{LAN}:{port}/pair) and type ([A-Z2-9]{{4}}-[A-Z2-9]{{4}})$", said[3].strip()
    )
    assert found
    connection = http.client.HTTPConnection(LAN, port, timeout=20, source_address=(LAN, 0))
    headers = {"Origin": f"http://{LAN}:{port}", "Content-Type": "application/x-www-form-urlencoded"}
    connection.request("POST", "/pair", f"code={found[2]}", headers)
    assert connection.getresponse().status == 303
    assert command.stderr.readline() == f"paired a phone: {LAN}\n"
    with ExitStack() as stack:
        sending = stack.enter_context(socket.create_connection((HOME, port), timeout=20))
        sending.sendall(b"GET / HT")
        os.kill(command.pid, signal.SIGINT)
        assert command.wait(20) == 0
    rest = command.stderr.read()
    assert "ended" in rest
    assert "Traceback" not in rest
