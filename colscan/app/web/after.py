"""Where a form leads: back to the page that it stood on."""

from __future__ import annotations

import re
from collections.abc import Mapping
from urllib.parse import urlencode

from flask import redirect
from werkzeug.wrappers import Response

FIRST = "/"
PAGES = (FIRST, "/event", "/bag")
"""Those with a form that can lead back to it: its field `then` says which."""
OF_A_BAG = "/bag"
PLACE = re.compile(r"[a-z]+\d?-\d{1,5}", re.ASCII)


def page_after(form: Mapping[str, str], *, bag: str | None, **said: str) -> Response:
    """Return the way back to a form's page, the first page for one that isn't known.

    Parameters
    ----------
    form : mapping of str to str
        Its field `then` has the page's path; `place`, where it stood in a list of the first page.
    bag : str or None
        The bag that the form was about.
    **said
        What the page is to say again, as parts of its address.
    """
    path = form.get("then", FIRST)
    if path not in PAGES or (path == OF_A_BAG and bag is None):
        path = FIRST
    own = {"bag": bag} if path == OF_A_BAG else {}
    place = form.get("place", "")
    if path != FIRST or not PLACE.fullmatch(place):
        return redirect(f"{path}?{urlencode(own | said)}", code=303)
    return redirect(f"{path}?{urlencode(said | {'at': place})}#{place}", code=303)
