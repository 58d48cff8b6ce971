"""Which phones may ask: each sends once a code that the terminal or our own page shows, and gets a cookie.

Nothing of it is written to a file: it ends with the process.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from threading import Lock

from colscan import units

GOOD_FOR_S = 600.0
MOST_WRONG = 10
"""With so many tries a typed code of 8 letters is hit once in 8e10 codes, and a person slips less often."""
LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
"""Without those that are taken for others: 0 and O, 1, I and L."""
TYPED_LETTERS = 8
SILENCE_S = 60.0
"""Between two lines about refused requests: who knocks on and on mustn't fill the terminal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """Lets one phone in, once.

    Parameters
    ----------
    scanned : str
        What the QR code holds, 192 random bits.
    typed : str
        The same for a phone that can't scan or runs no script, 39 random bits.
    until_s : float
        When it ends, on the clock of the `Pairing`.
    wrong : int
        How many wrong codes were sent while it was good.
    """

    scanned: str
    typed: str
    until_s: float
    wrong: int = 0

    @property
    def shown(self) -> str:
        """The code to type, in two groups."""
        half = TYPED_LETTERS // 2
        return f"{self.typed[:half]}-{self.typed[half:]}"

    def fits(self, sent: str) -> bool:
        """Whether a text is this code, scanned or typed; takes as long whatever is wrong with it."""
        typed = "".join(letter for letter in sent.upper() if letter in LETTERS)
        scanned_fits = hmac.compare_digest(sent.encode(), self.scanned.encode())
        return hmac.compare_digest(typed.encode(), self.typed.encode()) or scanned_fits


@dataclass(frozen=True, slots=True, kw_only=True)
class Phone:
    """A phone that was let in.

    Parameters
    ----------
    address : str
        Where it asked from.
    at : datetime
        When, aware.
    """

    address: str
    at: datetime


class Pairing:
    """The one code that is good now, and the phones that are paired.

    Parameters
    ----------
    host : str
        Where phones find this machine: address and port.
    https : bool
        Whether it is served by HTTPS.
    say : callable
        Takes a line for the terminal.
    clock : callable
        Gives seconds that only grow.
    """

    def __init__(
        self,
        host: str,
        *,
        https: bool,
        say: Callable[[str], object],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.host = host
        self.https = https
        self.page = f"http{'s' if https else ''}://{host}/pair"
        """Where a phone sends its code."""
        self._say, self._clock = say, clock
        self._code: Code | None = None
        self._phones: dict[bytes, Phone] = {}
        self._quiet_until_s = -SILENCE_S
        self._lock = Lock()

    def new_code(self) -> Code:
        """Return a new code; the one before, if still good, is void from now on."""
        code = Code(
            scanned=secrets.token_urlsafe(24),
            typed="".join(secrets.choice(LETTERS) for _ in range(TYPED_LETTERS)),
            until_s=self._clock() + GOOD_FOR_S,
        )
        with self._lock:
            self._code = code
        return code

    def link(self, code: Code) -> str:
        """Return the address that a QR code holds; what follows # stays in the browser, out of any log."""
        return f"{self.page}#{code.scanned}"

    @property
    def code(self) -> Code | None:
        """The code that is good now."""
        with self._lock:
            return self._good()

    @property
    def phones(self) -> Sequence[Phone]:
        """The phones that are paired, in the order of their pairing."""
        with self._lock:
            return tuple(self._phones.values())

    def pair(self, sent: str, address: str) -> str | None:
        """Return a cookie for a phone that sent the code, which is void then; None when the code isn't good.

        Parameters
        ----------
        sent : str
            What the phone sent.
        address : str
            Where from.
        """
        with self._lock:
            code = self._good()
            if code is None:
                return None
            if not code.fits(sent):
                self._count_wrong(code, address)
                return None
            self._code = None
            cookie = secrets.token_urlsafe(32)
            self._phones[_digest(cookie)] = Phone(address=address, at=units.now())
        self._say(f"paired a phone: {address}")
        return cookie

    def knows(self, cookie: str) -> bool:
        """Whether a cookie is that of a paired phone."""
        with self._lock:
            return _digest(cookie) in self._phones

    def unpair_all(self) -> int:
        """Let no phone in any more, nor the code that is good now; return how many phones were paired."""
        with self._lock:
            gone, self._phones, self._code = len(self._phones), {}, None
        self._say(f"unpaired {units.count_of(gone, 'phone')}")
        return gone

    def refused(self, address: str) -> None:
        """Tell the terminal, at most once a minute, that somebody asked who isn't paired."""
        with self._lock:
            now = self._clock()
            if now < self._quiet_until_s:
                return
            self._quiet_until_s = now + SILENCE_S
        self._say(f"refused {address}, which isn't paired (said once a minute at most)")

    def _good(self) -> Code | None:
        if self._code is not None and self._clock() >= self._code.until_s:
            self._code = None
        return self._code

    def _count_wrong(self, code: Code, address: str) -> None:
        if code.wrong + 1 < MOST_WRONG:
            self._code = replace(code, wrong=code.wrong + 1)
            return
        self._code = None
        self._say(
            f"{MOST_WRONG} wrong codes were sent, the last from {address}: the code is void, make a new one"
        )


def _digest(cookie: str) -> bytes:
    """What is kept of a cookie: looking it up takes no time that tells of the cookie itself."""
    return hashlib.sha256(cookie.encode()).digest()
