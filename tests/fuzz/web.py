"""The web pages: any request to any address, of this machine's browser or a paired phone."""

from __future__ import annotations

import filecmp
import json
import shutil
from base64 import urlsafe_b64encode
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from urllib.parse import quote_from_bytes

from flask import Flask
from nasty import WORDS, decode, encode, spoil
from pages import OURS, PORT
from pictures import plain, saved

from colscan.app.opinions import measured_faces
from colscan.app.web import Pairing, make_app
from colscan.app.web.opinion import box_of
from colscan.ledger import read_ledger
from colscan.trial import load_trial

_PHONE = "127.0.0.3"
_NAMES = (
    "bag", "patch", "photo", "width", "kind", "sheet", "paper", "blind", "id", "shelf", "name",
    "said_bag", "said_patch", "said", "line", "found", "again", "box", "flush", "taken_at", "seed",
    "strain", "level", "zone", "then", "scope", "what", "at", "mark", "outlines", "how", "coverage_pct",
    "by", "code", "call", "note", "action", "where", "other", "to_shelf", "fresh_g", "saleable_g",
    "marks", "more", "said_row", "said_at", "kept", "lots", "supplement", "base", "replicates",
    "accept", "heat_runs", "vessel", "blanks", "mix_capacity", "first_tag", "inoculated_at", "question",
    "tiers", "begin", "check", "token", "stood",
)  # fmt: skip
_CALL = "bag=B05&patch=p1&call=contaminated&action=watched&where=front&note=seen"
_BEGIN = (
    "name=oak&zone=UTC&inoculated_at=2026-03-02T06:00&strain=PO-3&lots=L1&strain=PE-1&lots="
    "&supplement=bran&level=0&level=5&replicates=3&heat_runs=1&vessel=20&blanks=1&mix_capacity=5&shelf=A&tiers=2&seed=1&base=main"
)
DICTIONARY = (*_NAMES, "GET ", "POST ", "HEAD ", "phone\n", "new\n", "Origin: null", "Host: x", "Cookie: ")


class Target:
    """Asks one request of a trial's site, and puts the trial back as it was.

    An input is lines: ``GET /path?query`` (after ``phone`` or ``new`` on a line of its own: from a phone, or
    to a folder without a trial), headers, an empty line, the body.

    Parameters
    ----------
    trial : Path
        A scanned trial's folder.
    """

    def __init__(self, trial: Path) -> None:
        self._trial, self._kept, self._new = trial, trial.parents[1] / "kept", trial.with_name("new")
        shutil.copytree(trial, self._kept)
        self._new.mkdir()
        pairing = Pairing(f"127.0.0.2:{PORT}", https=False, say=lambda _: None)
        self._site = make_app(trial, port=PORT, pairing=pairing)
        self._empty = make_app(self._new, port=PORT)
        self._site.testing = self._empty.testing = True  # a fault is raised, not told

    def seeds(self) -> Iterator[bytes]:
        """Each address asked for in earnest, and each form filled in."""
        ledger = read_ledger(self._trial)
        photo = ledger.photos[-1].photo_sha256
        face = measured_faces(load_trial(self._trial), ledger)[-1]
        query = f"bag=B05&patch=p1&photo={photo}&width=480&kind=curves&id={photo}"
        for path in self._paths("GET"):
            yield f"GET {path}?{query}\n\n".encode()
        outlines = json.dumps([[[10, 10], [200, 10], [200, 200], [10, 200]]])
        form = f"bag=B05&photo={photo}&box={box_of(face)}&how=number&coverage_pct=12"
        marks = urlsafe_b64encode(bytes((face.marks[0] * face.marks[1] * 2 + 7) // 8)).decode()
        for path, body in (
            ("/verdict", f"{_CALL}&photo={photo}"), ("/verdict", "bag=B05&call=withdrawn&stood=unsure"),
            ("/verdict", "bag=B05&call=harmless"), ("/who", "by=someone&then=/bag"),
            ("/event", "scope=bag&name=B05&what=shaken&at=2026-03-05T10:00&note=x"),
            ("/event", "scope=room&what=other&other=cleaned"),
            ("/event", "scope=bag&name=B05&what=moved&to_shelf=A"),
            ("/harvest", "bag=B05&flush=1&fresh_g=410.5&saleable_g=400&at=2026-03-20T10:00&note=x"),
            ("/opinion", form), ("/opinion", form.replace("number", "painting") + f"&marks={marks}"),
            ("/map/keep", f"photo={photo}&shelf=shelf&mark=none&outlines={outlines}&bag=B05"),
            ("/unblind", ""),
            ("/pair", "code=123456"), ("/phones/code", ""), ("/phones/unpair", "id=x"),
        ):  # fmt: skip
            yield f"POST {path}\n\ntoken=TOKEN&{body}".encode()
        yield b"phone\nGET /\n\n"
        yield b"phone\nPOST /pair\n\ncode=123456"
        yield b"new\nGET /begin\n\n"
        for button in ("begin=1", "check=1", ""):
            yield f"new\nPOST /begin\n\ntoken=TOKEN&{_BEGIN}&{button}".encode()
        sent = b"X-Colscan-Token: TOKEN\n\n"
        for kind in ("JPEG", "PNG"):
            yield b"POST /photos?name=IMG_20260304_100500.jpg\n" + sent + saved(plain(), kind)[:1000]
            yield b"POST /map/photo?name=../a.jpg&taken_at=2026-03-04T10:00\n" + sent + saved(plain(), kind)
        multipart = (
            '--x\r\nContent-Disposition: form-data; name="token"; filename="../a"\r\n\r\nTOKEN\r\n--x--\r\n'
        )
        yield f"POST /event\nContent-Type: multipart/form-data; boundary=x\n\n{multipart}".encode()

    def __call__(self, data: bytes) -> None:
        """Ask it; the answer may be a page, a refusal, or what is wrong with a file, but no fault."""
        head, _, body = data.partition(b"\n\n")
        lines = decode(head).split("\n")
        phone, new = (word in lines[:-1] and lines.remove(word) is None for word in ("phone", "new"))
        app = self._empty if new else self._site
        try:
            self._ask(app, lines, body, remote=_PHONE if phone else "127.0.0.1")
        finally:
            self._put_back()

    def mutate(self, data: bytes, rng: Random, mutate: Callable[[bytes], bytes]) -> bytes:
        """Change a field of the query or the form, the address, or anything."""
        how = rng.random()
        if how < 0.2:
            return mutate(data)
        head, _, body = decode(data).partition("\n\n")
        first, _, rest = head.partition("\n")
        path, _, query = first.partition("?")
        if how < 0.3:
            path = rng.choice(("GET ", "POST ", "HEAD ", "PUT ")) + rng.choice([*self._paths("GET"), path])
        elif how < 0.6 or not body:
            query = _spoil_fields(query, rng)
        elif len(body) < 20_000:
            body = _spoil_fields(body, rng)
        if how > 0.95:
            rest = rng.choice(
                ("Origin: null", "Content-Length: 99999999", "Content-Type: text/plain", "Range: bytes=5-")
            )
        head = f"{path}?{query}" + (f"\n{rest}" if rest else "")
        return encode(f"{head}\n\n{body}")

    def _paths(self, method: str) -> list[str]:
        names = {"sheet": "cards", "name": "site.css"}
        with self._site.test_request_context(base_url=OURS):
            built = [
                rule.build({name: names[name] for name in rule.arguments})
                for rule in self._site.url_map.iter_rules()
                if method in (rule.methods or ())
            ]
        return [one[1].partition("?")[0] for one in built if one]

    def _ask(self, app: Flask, lines: list[str], body: bytes, *, remote: str) -> None:
        method, _, path = lines[0].partition(" ")
        token = str(app.jinja_env.globals["token"])
        headers = {"Origin": OURS} | dict(line.split(": ", 1) for line in lines[1:] if ": " in line)
        kind = headers.pop("Content-Type", "application/x-www-form-urlencoded")
        headers = {
            name.replace("\0", ""): value.replace("TOKEN", token).replace("\r", "").replace("\n", "")
            for name, value in headers.items()
        }
        where, _, query = path.partition("?")
        answer = app.test_client().open(
            "/" + quote_from_bytes(encode(where.lstrip("/")), safe="/"),
            method=method if method.isalpha() and method.isascii() else "GET",
            base_url=OURS,
            query_string=quote_from_bytes(encode(query), safe="=&%+"),
            data=body.replace(b"TOKEN", token.encode()),
            content_type=kind.encode("ascii", "replace").decode(),
            headers={
                name: value.encode("latin-1", "replace").decode("latin-1") for name, value in headers.items()
            },
            environ_base={"REMOTE_ADDR": remote},
        )
        assert answer.status_code < 500, f"{answer.status_code} {answer.text}"
        assert b"Traceback" not in answer.data

    def _put_back(self) -> None:
        for path in self._trial.rglob("*"):
            if path.is_file() and "cache" not in path.parts:
                before = self._kept / path.relative_to(self._trial)
                if not before.exists():
                    path.unlink()
                elif not filecmp.cmp(before, path):
                    shutil.copy2(before, path)
        for path in self._new.iterdir():
            shutil.rmtree(path) if path.is_dir() else path.unlink()


def _spoil_fields(text: str, rng: Random) -> str:
    fields = [field.partition("=")[::2] for field in text.split("&")]
    at = rng.randrange(len(fields))
    name, value = fields[at]
    how = rng.random()
    if how < 0.15:
        del fields[at]
    elif how < 0.3:
        fields.insert(at, (rng.choice(_NAMES), rng.choice(WORDS)))
    elif how < 0.4:
        fields.append((name, value))
    else:
        fields[at] = (name, rng.choice(WORDS) if how < 0.8 else spoil(value, rng))
    return "&".join(f"{name}={value}" for name, value in fields)
