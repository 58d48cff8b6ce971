"""The review page: what needs eyes, shown in a browser of this machine, and what is said of it recorded.

Takes a trial's folder; gives a Flask application and a loop that serves it: on the loopback address, and if
asked for on the local network to phones that are paired. What is said goes through `app.calls`,
`app.happenings` and `app.harvests` into the ledger, as on the command line. Flags nothing. Flask and segno
are imported here only.
"""

from colscan.app.web.listening import lan_address, listen, tls_context
from colscan.app.web.pairing import Code, Pairing
from colscan.app.web.qr import qr_letters
from colscan.app.web.server import make_app, serve
from colscan.app.web.serving import serve_app

__all__ = [
    "make_app",
    "serve",
    "serve_app",
    "listen",
    "lan_address",
    "tls_context",
    "Pairing",
    "Code",
    "qr_letters",
]
