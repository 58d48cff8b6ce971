"""Help: complete, narrow, quick, and its examples run."""

import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest

from colscan.app.cli.main import COMMANDS, colscan, main

# Their examples need a photo or an empty folder, or run on; their own tests run them.
NEED_MORE = ("new", "practice", "map", "watch", "review", "demo")


def command(name: str) -> click.Command:
    """The command of a name."""
    found = colscan.get_command(click.Context(colscan), name)
    assert found is not None
    return found


def help_of(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """What a command line with --help prints."""
    assert main([*arguments, "--help"]) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize("name", COMMANDS)
def test_list_says_what_the_command_says(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The line in the list of commands is the first line of the command's own help."""
    first = (command(name).help or "").splitlines()[0]
    assert first == COMMANDS[name]
    assert f"{name} " in help_of(capsys)
    assert first in help_of(capsys)


@pytest.mark.parametrize("arguments", [(), *((name,) for name in COMMANDS)])
def test_help_fits_the_screen(arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    """No line of help is wider than 80 columns."""
    said = help_of(capsys, *arguments)
    assert max(map(len, said.splitlines())) <= 80


@pytest.mark.parametrize("name", COMMANDS)
def test_no_number_of_an_option_is_nan(name: str) -> None:
    """It lies in no range, and click's own ranges let it pass."""
    ranges = [one for one in command(name).params if isinstance(one.type, click.FloatRange)]
    assert ranges or name not in ("watch", "yield")
    for option in ranges:
        for text in ("nan", "inf"):
            with pytest.raises(click.BadParameter):
                option.type.convert(text, option, None)


def example_of(name: str) -> list[str]:
    """The words of the example at the end of a command's help."""
    *_, title, line = (command(name).help or "").rstrip().splitlines()
    assert title.strip() == "Example:", f"the help of {name} doesn't end with an example"
    words = shlex.split(line)
    assert words[:2] == ["colscan", name]
    return words[1:]


@pytest.mark.parametrize("name", [name for name in COMMANDS if name not in NEED_MORE])
def test_example_runs(name: str, scanned: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The example at the end of each help runs, beside a trial of that name."""
    monkeypatch.chdir(scanned.parent)
    assert main(example_of(name)) == 0


def test_examples_begin_a_trial(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The example of `new` begins a trial; those that run on are run by their own tests."""
    monkeypatch.chdir(tmp_path)
    assert main(example_of("new")) == 0
    assert (tmp_path / "hornbeam" / "trial.toml").exists()
    assert example_of("demo") == ["demo"]


def test_no_arguments(
    scanned: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Inside a trial `colscan` prints its status, elsewhere its help."""
    monkeypatch.chdir(tmp_path)
    assert main([]) == 0
    assert "Usage: colscan" in capsys.readouterr().out
    monkeypatch.chdir(scanned)
    assert main([]) == 0
    assert "colonized" in capsys.readouterr().out


def test_unknown_command(capsys: pytest.CaptureFixture[str]) -> None:
    """A command that isn't there: 2, with the one that was meant; nothing where none is near."""
    assert main(["scna"]) == 2
    assert "No such command 'scna'. Did you mean 'scan'?" in capsys.readouterr().err
    assert main(["zzz"]) == 2
    assert capsys.readouterr().err.endswith("No such command 'zzz'.\n")


def test_help_is_quick() -> None:
    """`colscan --help` takes at most twice the processor's time of importing click (best of nine runs)."""
    script = shutil.which("colscan", path=str(Path(sys.executable).parent))
    assert script, "the console script is not installed"

    def best(*words: str) -> float:
        times = []
        for _ in range(9):
            before = os.times()
            subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
            after = os.times()
            took = after.children_user + after.children_system - before.children_user - before.children_system
            times.append(took)
        return min(times)

    assert best(script, "--help") <= 2 * best(sys.executable, "-c", "import click")
