"""The review page: what needs eyes, shown in a browser of this machine, and what is said of it recorded.

Takes a trial's folder; gives a Flask application and a loop that serves it on the loopback address alone.
What is said goes through `app.calls`, `app.happenings` and `app.harvests` into the ledger, as on the
command line. Flags nothing. Flask and waitress are imported here only.
"""

from colscan.app.web.server import listen, make_app, serve

__all__ = ["make_app", "listen", "serve"]
