"""`colscan watch`: each photo of a synced folder once, when it is complete."""

import csv
import os
import shlex
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest
from demo_trial import contents, corner

from colscan.app.batch.watch import Watched
from colscan.app.cli.main import main
from colscan.app.cli.watch import watch as command

Capture = pytest.CaptureFixture[str]
COLSCAN = [sys.executable, "-c", "from colscan.app.cli.main import run; run()"]


def names(paths: tuple[Path, ...]) -> list[str]:
    """The files' names."""
    return [path.name for path in paths]


def photos(trial: Path) -> list[str]:
    """The names of the recorded photos."""
    path = trial / "photos.csv"
    if not path.exists():
        return []
    with path.open(newline="", encoding="utf-8") as file:
        return [row["photo"] for row in csv.DictReader(file)]


@pytest.fixture
def phone(tmp_path: Path) -> Path:
    """The folder that a phone is synced to."""
    (tmp_path / "phone").mkdir()
    return tmp_path / "phone"


class Running:
    """A watch in a process of its own, and what it says."""

    def __init__(self, process: subprocess.Popen[str], log: Path) -> None:
        self.process = process
        self._log = log

    @property
    def said(self) -> str:
        """All of its stderr so far."""
        return self._log.read_text(encoding="utf-8")

    def wait(self, is_so: Callable[[], bool]) -> None:
        """Wait until something is so; what was said until then is the failure's message."""
        deadline = time.monotonic() + 90
        while not is_so():
            assert time.monotonic() < deadline, self.said
            assert self.process.poll() is None, self.said
            time.sleep(0.05)

    def wait_said(self, text: str) -> None:
        """Wait until it has said something."""
        self.wait(lambda: text in self.said)


@contextmanager
def watching(trial: Path, folder: Path) -> Iterator[Running]:
    """A running watch; ended by ctrl-C, with 130 and without a traceback."""
    log = trial.parent / "watch.log"
    words = [*COLSCAN, "watch", str(trial), str(folder), "--every", "0.3", "--jobs", "1"]
    with log.open("w", encoding="utf-8") as stderr:
        process = subprocess.Popen(words, stderr=stderr, start_new_session=True, text=True)
    running = Running(process, log)
    try:
        running.wait_said("watching")
        yield running
        os.killpg(process.pid, signal.SIGINT)
        assert process.wait(timeout=20) == 130
        assert "Traceback" not in running.said
        assert "whole photos are kept" in running.said
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()


# ---- what is complete


def test_a_photo_is_named_when_it_stops_changing(phone: Path) -> None:
    """Not at the first look, not while it grows or its time changes; and once it is done with, no more."""
    watched, photo = Watched(phone), phone / "a.jpg"
    photo.write_bytes(b"half")
    assert watched.look() == ()
    photo.write_bytes(b"half and more")
    assert watched.look() == ()
    os.utime(photo, ns=(1, 1))
    assert watched.look() == ()
    assert names(watched.look()) == ["a.jpg"]
    watched.done([photo])
    assert watched.look() == ()


def test_a_photo_that_changes_is_named_again(phone: Path) -> None:
    """Also when it changed while it was scanned, or went away and came back changed."""
    watched, photo = Watched(phone), phone / "a.jpg"
    photo.write_bytes(b"first")
    watched.look()
    watched.look()
    photo.write_bytes(b"changed while scanned")
    watched.done([photo])
    assert watched.look() == ()
    assert names(watched.look()) == ["a.jpg"]
    watched.done([photo])
    photo.unlink()
    assert watched.look() == ()
    photo.write_bytes(b"came back as another")
    assert watched.look() == ()
    assert names(watched.look()) == ["a.jpg"]


@pytest.mark.parametrize(
    "name",
    [
        "a.jpg.part", "a.jpg.tmp", "a.jpg.crdownload", ".a.jpg", ".copying.a.jpg.tmp", "~a.jpg", "a.jpg~",
        "a.part.jpg", "a.JPG.PART", "a.txt", "jpg",
    ],
)  # fmt: skip
def test_unfinished_names_are_left(phone: Path, name: str) -> None:
    """Names that syncing and copying programs give to half files, and what is no photo."""
    (phone / name).write_bytes(b"half")
    watched = Watched(phone)
    assert (watched.look(), watched.look()) == ((), ())


def test_empty_files_and_folders_are_left(phone: Path) -> None:
    """An empty file is a place kept; a folder is no photo whatever its name."""
    (phone / "a.jpg").touch()
    (phone / "b.jpg").mkdir()
    (phone / "c.2026.HEIC").write_bytes(b"photo")
    watched = Watched(phone)
    watched.look()
    assert names(watched.look()) == ["c.2026.HEIC"]


def test_a_folder_that_is_away(phone: Path) -> None:
    """It is said by an OSError; back with the same files, those done with are not named again."""
    (phone / "a.jpg").write_bytes(b"one")
    (phone / "b.jpg").write_bytes(b"two")
    watched = Watched(phone)
    watched.look()
    assert names(watched.look()) == ["a.jpg", "b.jpg"]
    watched.done([phone / "a.jpg"])
    phone.rename(phone.parent / "away")
    with pytest.raises(FileNotFoundError):
        watched.look()
    (phone.parent / "away").rename(phone)
    watched.look()
    assert names(watched.look()) == ["b.jpg"]


# ---- once


def test_once(trial: Path, phone: Path, capsys: Capture) -> None:
    """What is complete is scanned with the scan's exit codes; again nothing is appended."""
    once = ["watch", str(trial), str(phone), "--once", "--every", "0.1", "--jobs", "1"]
    assert main(once) == 0
    assert "no complete photo is there" in capsys.readouterr().err
    shutil.copy(corner(0, trial.parent), phone)
    (phone / "text.jpg").write_bytes(b"not a photo")
    assert main(once) == 5
    assert photos(trial) == ["corner-d00.png"]
    before = contents(trial)
    capsys.readouterr()
    (phone / "text.jpg").unlink()
    assert main(once) == 0
    said = capsys.readouterr().err
    assert "scanned before" not in said
    assert "nothing appended; 1 photo passed over" in said
    assert contents(trial) == before


def test_wrong_arguments(trial: Path, phone: Path, capsys: Capture) -> None:
    """No trial, no such shelf: 2; no such folder: 3."""
    assert main(["watch", str(phone), str(phone), "--once"]) == 2
    assert "is no trial" in capsys.readouterr().err
    assert main(["watch", str(trial), str(phone), "--shelf", "attic"]) == 2
    assert "--shelf 'attic' is no shelf" in capsys.readouterr().err
    assert main(["watch", str(trial), str(phone / "gone")]) == 3
    assert "no such folder" in capsys.readouterr().err


# ---- look by look


def _look_on(trial: Path, phone: Path, monkeypatch: pytest.MonkeyPatch, *steps: Callable[[], object]) -> None:
    """A watch that, between two looks each, waits for a step to be done; after the last comes ctrl-C."""
    waits = iter(steps)

    def wait(_: float) -> None:
        step = next(waits, None)
        if step is None:
            raise KeyboardInterrupt
        step()

    monkeypatch.setattr("colscan.app.cli.watch.time", SimpleNamespace(sleep=wait))
    assert main(["watch", str(trial), str(phone), "--jobs", "1"]) == 130


def test_a_ledger_in_trouble(
    pair: Path, corners: Callable[[int], Path], phone: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    """While nothing can be kept a photo that is none is named once, and again when it has changed."""
    said: list[str] = []
    text, in_the_way = phone / "text.jpg", pair / "photos"

    def mark() -> None:
        said.append(capsys.readouterr().err)

    def change() -> None:
        mark()
        text.write_bytes(b"nor is this one")

    def mend() -> None:
        mark()
        in_the_way.unlink()

    in_the_way.write_bytes(b"")
    text.write_bytes(b"not a photo")
    shutil.copy(corners(0), phone)
    _look_on(pair, phone, monkeypatch, mark, mark, mark, change, mark, mark, mend, mark)
    named = [part.count("text.jpg: is not a readable") for part in said]
    assert named == [0, 1, 0, 0, 0, 1, 0, 0]
    assert [part.count("photo can't be kept") for part in said] == [0, 1, 0, 0, 0, 0, 0, 0]
    assert "1 photo recorded, 2 scores; 1 photo not used" in said[-1]
    assert photos(pair) == ["corner-d00.png"]


def test_a_farm_in_trouble(
    pair: Path, corners: Callable[[int], Path], phone: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    """Over a folder of trials nothing is said anew either."""
    (pair / "photos").write_bytes(b"")
    (phone / "text.jpg").write_bytes(b"not a photo")
    shutil.copy(corners(0), phone)
    _look_on(pair.parent, phone, monkeypatch, *[lambda: None] * 3)
    said = capsys.readouterr().err
    assert said.count("text.jpg: is not a readable") == 1
    assert "looking which of" not in said


# ---- as a process

posix = pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX")


@posix
def test_photos_as_they_come(trial: Path, phone: Path) -> None:
    """A photo written bit by bit, one renamed from a half name, one that is none: each said once."""
    first, second = corner(0, trial.parent), corner(3, trial.parent)
    raw = first.read_bytes()
    with watching(trial, phone) as running:
        (phone / "text.jpg").write_bytes(b"not a photo")
        with (phone / "first.png").open("wb") as file:
            for part in range(4):
                file.write(raw[part * len(raw) // 4 : (part + 1) * len(raw) // 4])
                file.flush()
                time.sleep(0.2)
        shutil.copy(second, phone / "second.png.part")
        running.wait(lambda: photos(trial) == ["first.png"])
        (phone / "second.png.part").rename(phone / "second.png")
        running.wait(lambda: photos(trial) == ["first.png", "second.png"])
        running.wait(lambda: running.said.count("1 photo recorded") == 2)
        time.sleep(1)
        assert running.said.count("text.jpg: is not a readable") == 1
        assert running.said.count("first.png") == 1
        shutil.copy(corner(6, trial.parent), phone / "text.jpg")
        running.wait_said("text.jpg  2026")
    assert photos(trial) == ["first.png", "second.png", "text.jpg"]
    assert main(["check", str(trial)]) == 0


@posix
def test_troubles_pass(trial: Path, phone: Path) -> None:
    """The folder goes and comes back, plan and ledger break for a while: each is said once, none is lost."""
    plan = (trial / "trial.toml").read_text(encoding="utf-8")
    with watching(trial, phone) as running:
        phone.rename(phone.parent / "away")
        running.wait_said("can't be looked into (No such file or directory); waiting for it")
        time.sleep(0.7)
        assert running.said.count("can't be looked into") == 1
        (phone.parent / "away").rename(phone)
        running.wait_said("going on")
        (trial / "trial.toml").write_text("nmae = 1\n" + plan, encoding="utf-8")
        shutil.copy(corner(0, trial.parent), phone)
        running.wait_said("trial.toml:1")
        time.sleep(0.7)
        assert running.said.count("trial.toml:1") == 1
        assert photos(trial) == []
        (trial / "scores.csv").write_text("nonsense\n", encoding="utf-8")
        (trial / "trial.toml").write_text(plan, encoding="utf-8")
        running.wait_said("scores.csv")
        time.sleep(0.7)
        assert running.said.count("scores.csv") == 1
        assert running.process.poll() is None
        (trial / "scores.csv").unlink()
        running.wait(lambda: photos(trial) == ["corner-d00.png"])


@posix
def test_beside_another_scan(trial: Path, phone: Path) -> None:
    """A scan of the same photos meanwhile: each is recorded once, by the one or the other."""
    paths = [corner(day, trial.parent) for day in (0, 3)]
    with watching(trial, phone) as running:
        for path in paths:
            shutil.copy(path, phone)
        scan = subprocess.run(
            [*COLSCAN, "scan", str(trial), *map(str, paths), "--jobs", "1"], capture_output=True, timeout=90
        )
        assert scan.returncode == 0
        running.wait(lambda: " recorded, " in running.said or "passed over" in running.said)
    assert sorted(photos(trial)) == ["corner-d00.png", "corner-d03.png"]
    assert main(["check", str(trial)]) == 0


@posix
def test_the_example(scanned: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The command line at the end of its help runs, until ctrl-C."""
    *_, line = (command.help or "").rstrip().splitlines()
    (scanned.parent / "Pictures").mkdir()
    monkeypatch.chdir(scanned.parent)
    words = [*COLSCAN, *shlex.split(line)[1:]]
    with subprocess.Popen(words, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        first = process.stderr.readline()
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)
    assert first == "watching Pictures every 10 s; ctrl-C ends it\n"
    assert process.returncode == 130
