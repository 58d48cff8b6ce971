"""`colscan review`: what needs eyes, on a page in this machine's browser and on paired phones."""

from __future__ import annotations

import os
import signal
import sys
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from colscan.app.cli.options import WholeRange, trial_dir_argument

if TYPE_CHECKING:
    from colscan.app.web import Pairing

OPEN_NETWORK = (
    "anyone on the same network who listens can read along and take over: use a network of your own,\n"
    "  or give --cert and --key for HTTPS"
)


@click.command()
@trial_dir_argument
@click.option(
    "--port",
    metavar="N",
    type=WholeRange(0, 65535),
    default=8750,
    show_default=True,
    help="Where the page is served; 0 takes a free port.",
)
@click.option("--no-browser", is_flag=True, help="Only print the address.")
@click.option(
    "--lan", is_flag=True, help="Serve it on the local network (IPv4) too, to phones that you pair."
)
@click.option(
    "--cert",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A certificate (PEM), to serve it by HTTPS.",
)
@click.option(
    "--key", type=click.Path(path_type=Path), metavar="FILE", help="The certificate's private key (PEM)."
)
def review(
    trial_dir: Path, port: int, no_browser: bool, lan: bool, cert: Path | None, key: Path | None
) -> None:
    """Judge suspect patches on a page in the browser, until ctrl-C.

    The page shows each suspect patch beside the same place on earlier photos;
    what you say of it is a row in verdicts.csv, as by `colscan verdict`.
    Events and harvests are said by tap, as by `colscan event` and `harvest`.
    In a folder without a trial, there or not, it begins one, as by
    `colscan plan`. Ctrl-C ends it, with exit code 0.

    Only this machine can open it. With --lan a phone on the same network can
    too, once it has sent a code, which the terminal shows to scan. A code is
    good for one phone and 10 minutes; Enter, or the page “Phones”, shows
    another one.

    \b
    Example:
      colscan review hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.plan import holds_trial
    from colscan.app.web import Pairing, lan_address, listen, serve, tls_context
    from colscan.trial import load_trial

    if holds_trial(trial_dir):
        load_trial(trial_dir)
    else:
        click.echo(f"there is no trial in {trial_dir} yet: begin it on the page", err=True)
    tls = tls_context(cert, key)
    network = lan_address(https=tls is not None) if lan else None
    # Asked to end by a service it ends as by ctrl-C, too: photos that wait lie in a temporary folder.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    # Ctrl-C ends it, also while the first page is still being readied.
    with suppress(KeyboardInterrupt), ExitStack() as sockets:
        listening = [sockets.enter_context(listen(port))]
        port = listening[0].getsockname()[1]
        address = f"http{'s' if tls else ''}://127.0.0.1:{port}/"
        click.echo(f"reviewing at {address} ; ctrl-C ends it", err=True)
        pairing = None
        if network is not None:
            listening.append(sockets.enter_context(listen(port, network)))
            pairing = Pairing(f"{network}:{port}", https=tls is not None, say=_say)
            _invite_phones(pairing)
        if not no_browser:
            _open_browser(address)
        serve(trial_dir, listening, tls=tls, pairing=pairing)
    click.echo("ended; all that was said is in the trial's folder", err=True)


def _open_browser(address: str) -> None:
    """Ask for the page beside the server, which answers once it runs; without a browser nothing happens."""
    import threading
    import webbrowser

    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


def _say(line: str) -> None:
    click.echo(line, err=True)


def _invite_phones(pairing: Pairing) -> None:
    """Show a code now, and another one at each press of Enter."""
    import threading

    if not pairing.https:
        _say(OPEN_NETWORK)
    _show_code(pairing)
    if sys.stdin.isatty():
        if os.name == "posix":  # put into the background, who reads the terminal would be stopped whole
            signal.signal(signal.SIGTTIN, signal.SIG_IGN)
        _say("Enter shows a code for another phone")
        threading.Thread(target=_show_more_codes, args=(pairing,), daemon=True).start()


def _show_more_codes(pairing: Pairing) -> None:
    # Not sys.stdin.readline, which would hold a lock that the interpreter wants at its end.
    with suppress(OSError):  # the terminal is another program's now, or gone
        while os.read(sys.stdin.fileno(), 1024):
            _show_code(pairing)


def _show_code(pairing: Pairing) -> None:
    from colscan.app.web import qr_letters

    code = pairing.new_code()
    scan = ""
    if sys.stderr.isatty():
        _say(qr_letters(pairing.link(code)))
        scan = "scan this, or "
    _say(f"a phone on the same network: {scan}open {pairing.page} and type {code.shown}")
