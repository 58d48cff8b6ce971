"""Where a form leads: back to the page that it stood on."""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import urlencode

from flask import redirect
from werkzeug.wrappers import Response

FIRST = "/"
PAGES = (FIRST, "/event", "/say", "/bag")
"""Those with a form that can lead back to it: its field `then` says which."""
PAGES_OF_A_BAG = ("/say", "/bag")


def page_after(form: Mapping[str, str], *, bag: str | None, **said: str) -> Response:
    """Return the way back to a form's page, the first page for one that isn't known.

    Parameters
    ----------
    form : mapping of str to str
        Its field `then` has the page's path.
    bag : str or None
        The bag that the form was about.
    **said
        What the page is to say again, as parts of its address.
    """
    path = form.get("then", FIRST)
    if path not in PAGES or (path in PAGES_OF_A_BAG and bag is None):
        path = FIRST
    own = {"bag": bag} if path in PAGES_OF_A_BAG else {}
    return redirect(f"{path}?{urlencode(own | said)}", code=303)
