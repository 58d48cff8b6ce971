"""Where the page is served: sockets, this machine's address on its network, and the certificate for HTTPS."""

from __future__ import annotations

import os
import socket
import ssl
from ipaddress import ip_address
from pathlib import Path

from colscan.app.web.guard import LOOPBACK
from colscan.errors import TrialError

ELSEWHERE = ("192.0.2.1", 9)
"""An address for documentation (RFC 5737), which nobody has: it only makes the system choose its own."""


def listen(port: int, address: str = LOOPBACK) -> socket.socket:
    """Return a socket on an address of this machine; port 0 takes a free one.

    Raises
    ------
    TrialError
        When the port is taken or not allowed.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # elsewhere the option lets a second program take the same port
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((address, port))
        listening.listen(64)
    except OSError as error:
        listening.close()
        msg = f"--port {port} can't be used at {address} ({error.strerror})."
        hint = (
            "A colscan review may be running there already. Give another one, like --port 8751; 0 takes any."
        )
        raise TrialError(msg, hint) from error
    return listening


def lan_address(*, https: bool) -> str:
    """Return this machine's IPv4 address on its network: that by which it would reach other networks.

    Parameters
    ----------
    https : bool
        Whether it is to be served by HTTPS; else an address of the open internet is refused.

    Raises
    ------
    TrialError
        When it has none, or one of the open internet.
    """
    address = _own_address()
    if address is None:
        msg = "--lan: this machine has no address on a network (IPv4)."
        raise TrialError(msg, "Connect it to the phone's network and start again, or leave --lan out.")
    if ip_address(address).is_global and not https:
        msg = f"--lan: {address} is an address of the open internet, where anyone could listen."
        raise TrialError(msg, "Give --cert and --key for HTTPS, or use a network of your own.")
    return address


def _own_address() -> str | None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(ELSEWHERE)  # sends nothing
            found = [str(asking.getsockname()[0])]
        except OSError:  # a network without a way out
            found = _named_addresses()
    return next((address for address in found if not ip_address(address).is_loopback), None)


def _named_addresses() -> list[str]:
    try:
        return [str(entry[4][0]) for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    except OSError:
        return []


def tls_context(cert: Path | None, key: Path | None) -> ssl.SSLContext | None:
    """Return what serves HTTPS with a certificate; None without one.

    Parameters
    ----------
    cert : Path or None
        PEM file: the certificate, after it those that it is signed by.
    key : Path or None
        PEM file: its private key.

    Raises
    ------
    TrialError
        When one is given without the other, can't be read, or they don't belong together.
    """
    if cert is None or key is None:
        if cert is None and key is None:
            return None
        given, missing = ("--key", "--cert") if cert is None else ("--cert", "--key")
        msg = f"{given} is given without {missing}."
        raise TrialError(msg, "Give both for HTTPS, or neither.")
    for option, path in (("--cert", cert), ("--key", key)):
        _check_readable(option, path)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        # Without a word for the passphrase the terminal would be asked, by OpenSSL itself.
        context.load_cert_chain(cert, key, password="")
    except (ssl.SSLError, ValueError) as error:
        msg = f"--cert {cert} and --key {key} can't be used ({getattr(error, 'reason', None) or error})."
        hint = "Give PEM files that belong together; a key with a passphrase can't be used, take it off."
        raise TrialError(msg, hint) from error
    return context


def _check_readable(option: str, path: Path) -> None:
    try:
        path.read_bytes()
    except OSError as error:
        msg = f"{option} {path} can't be read ({error.strerror})."
        raise TrialError(msg, "Give the path of a PEM file.") from error
