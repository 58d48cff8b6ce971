"""`colscan review`: what needs eyes, on a page in this machine's browser."""

from __future__ import annotations

from pathlib import Path

import click

from colscan.app.cli.options import trial_dir_argument


@click.command()
@trial_dir_argument
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=8750,
    show_default=True,
    help="Where the page is served; 0 takes a free port.",
)
@click.option("--no-browser", is_flag=True, help="Only print the address.")
def review(trial_dir: Path, port: int, no_browser: bool) -> None:
    """Judge suspect patches on a page in the browser, until ctrl-C.

    The page shows each suspect patch beside the same place on earlier photos;
    what you say of it is a row in verdicts.csv, as by `colscan verdict`.
    Events and harvests are said by tap, as by `colscan event` and `harvest`.
    Only this machine can open it. Ctrl-C ends it, with exit code 0.

    \b
    Example:
      colscan review hornbeam
    """  # noqa: D301 - click's mark for a paragraph that keeps its lines
    from colscan.app.web import listen, serve
    from colscan.trial import load_trial

    load_trial(trial_dir)
    with listen(port) as listening:
        address = f"http://127.0.0.1:{listening.getsockname()[1]}/"
        click.echo(f"reviewing at {address} ; ctrl-C ends it", err=True)
        if not no_browser:
            _open_browser(address)
        serve(trial_dir, listening)
    click.echo("ended; all that was said is in the trial's folder", err=True)


def _open_browser(address: str) -> None:
    """Ask for the page beside the server, which answers once it runs; without a browser nothing happens."""
    import threading
    import webbrowser

    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
