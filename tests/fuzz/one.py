"""Fuzz one target in this process, until its time is over or an input fails: see run.py."""

from __future__ import annotations

import importlib
import os
import shutil
import sys
import tempfile
from pathlib import Path
from random import Random

import atheris

sys.dont_write_bytecode = True
sys.path.insert(0, str(Path(__file__).parents[1]))


def main() -> None:
    """Fuzz the target named first, with a scanned trial, a folder of inputs, and libFuzzer's options.

    Among the options may be a file: then that input alone is tried.
    """
    name, scanned, corpus, *options = sys.argv[1:]
    room = Path(tempfile.mkdtemp())
    trial, temporary = room / "outside" / "trial", room / "tmp"
    shutil.copytree(scanned, trial)
    (trial.parent / "beside").mkdir()
    temporary.mkdir()
    os.environ["TMPDIR"] = os.environ["MPLCONFIGDIR"] = tempfile.tempdir = str(temporary)
    os.chdir(trial.parent)
    with atheris.instrument_imports(include=["colscan"]):
        module = importlib.import_module(name)
        from watching import Watch, watched

        target = module.Target(trial)
    for number, seed in enumerate(target.seeds()):
        (Path(corpus) / f"seed-{number:03}").write_bytes(seed)
    words = Path(corpus).with_suffix(".dict")
    words.write_text("".join(f'"{_quoted(word)}"\n' for word in module.DICTIONARY), encoding="ascii")

    def mutate(data: bytes, most: int, seed: int) -> bytes:
        return bytes(target.mutate(data, Random(seed), lambda part: atheris.Mutate(part, most)))[:most]

    folders = tuple(trial.parent / one for one in ("trial", "hornbeam", "beside", "new"))
    watch = Watch((*folders, temporary), trial.parent)
    tried = [] if any(not option.startswith("-") for option in options) else [corpus]
    arguments = [sys.argv[0], *tried, f"-dict={words}", *options]
    atheris.Setup(arguments, watched(target, watch), custom_mutator=mutate)
    atheris.Fuzz()


def _quoted(word: str) -> str:
    return "".join(f"\\x{byte:02x}" for byte in word.encode("latin-1"))


if __name__ == "__main__":
    main()
