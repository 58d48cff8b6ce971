"""The page that begins a trial: the files of `colscan plan`, nothing typed is lost, one trial a folder."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from pages import OURS, PORT, browser
from werkzeug.test import TestResponse

from colscan.app.cli.main import main
from colscan.app.web import Pairing, make_app
from colscan.app.web.begin_form import MOST_ROWS
from colscan.errors import ExitCode
from colscan.tables import format_header
from colscan.trial import load_trial
from colscan.trial.model import Bag

FIELDS: dict[str, Any] = {
    "name": "hornbeam",
    "question": "Does bran pay?",
    "zone": "America/New_York",
    "inoculated_at": "2026-03-02T06:00",
    "strain": ["PO-3", "PE-1", ""],
    "lots": ["L 1, L 2", "", ""],
    "supplement": "bran",
    "base": "main",
    "level": ["0", "7,5", ""],
    "replicates": "4",
    "accept": "12.5",
    "first_tag": "",
    "vessel": "10",
    "heat_runs": "",
    "blanks": "1",
    "mix_capacity": "3",
    "shelf": ["it's a rack", "", ""],
    "tiers": ["2", "", ""],
    "seed": "11",
}
SAME = (
    "--question", "Does bran pay?", "--zone", "America/New_York", "--inoculated-at", "2026-03-02T06:00",
    "--strain", "PO-3", "--strain", "PE-1", "--spawn-lot", "PO-3=L 1", "--spawn-lot", "PO-3=L 2",
    "--level", "0", "--level", "7.5", "--base", "main", "--replicates", "4", "--accept", "12.5",
    "--vessel", "10", "--blanks", "1", "--mix-capacity", "3", "--shelf", "it's a rack:2", "--seed", "11",
)  # fmt: skip
TRAVERSALS = ("../../etc/passwd", "/etc/passwd", "..\\..\\x", "..", "C:\\x")
HTML = "<script>alert(1)</script>"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where the trial will be; not there yet."""
    return tmp_path / "shelf" / "hornbeam"


@pytest.fixture
def page(folder: Path) -> FlaskClient:
    """A browser on it."""
    return browser(folder)


def get(page: FlaskClient, path: str = "/begin", fields: dict[str, Any] | None = None) -> TestResponse:
    """What a page answers."""
    return page.get(path, query_string=fields, headers={"Host": f"127.0.0.1:{PORT}"})


def token(page: FlaskClient) -> str:
    """The token that the form carries."""
    found = re.search(r'name="token" content="([^"]+)"', get(page).text)
    assert found
    return found[1]


def begin(
    page: FlaskClient, fields: dict[str, Any], *, sent: str | None = None, origin: str = OURS
) -> TestResponse:
    """Press the button, with these fields as a preview hands them on."""
    sent = token(page) if sent is None else sent
    headers = {"Host": f"127.0.0.1:{PORT}", "Origin": origin}
    return page.post("/begin", data=fields | {"token": sent}, headers=headers)


def typed(text: str) -> dict[str, list[str]]:
    """The form's fields as a page shows them, hidden ones apart."""
    form = text[text.index('<form method="get"') :]
    found: dict[str, list[str]] = {}
    for tag in re.findall(r"<input [^>]+>", form):
        name, value = re.search(r'name="(\w+)"', tag), re.search(r' value="([^"]*)"', tag)
        if name and value:
            found.setdefault(name[1], []).append(html.unescape(value[1]))
    found["base"] = re.findall(r'<option value="(\w+)" selected', form)
    return found


def kept(text: str, fields: dict[str, Any]) -> bool:
    """Whether a page shows all fields as they were sent; rows may be more."""
    shown = typed(text)
    rows = {name: value if isinstance(value, list) else [value] for name, value in fields.items()}
    return all([*filter(None, shown[name])] == [*filter(None, value)] for name, value in rows.items())


def test_every_page_leads_to_the_form(page: FlaskClient) -> None:
    """Until a trial is begun there is no other page; styles and scripts are there."""
    for path in ("/", "/patch?bag=B01&patch=p1", "/begun", "/cards.pdf", "/trial", "/nowhere"):
        answer = get(page, path)
        assert (answer.status_code, answer.headers["Location"]) == (302, "/begin")
    assert get(page, "/static/begin.js").status_code == 200
    assert get(page).status_code == 200


def test_phones_pair_before_a_trial_is_begun(folder: Path) -> None:
    """Whoever begins it on a phone has to get there first; the page of codes is there too."""
    pairing = Pairing(f"192.168.1.2:{PORT}", https=False, say=lambda line: None)
    page = make_app(folder, port=PORT, pairing=pairing).test_client()
    assert get(page, "/phones").status_code == 200
    assert get(page, "/pair").status_code == 200
    assert get(page, "/").headers["Location"] == "/begin"


def test_the_form_is_filled_where_something_is_known(page: FlaskClient, monkeypatch: Any) -> None:
    """The folder's name, this machine's zone, the default limit and a seed; three rows without a script."""
    monkeypatch.setenv("TZ", "Europe/Lisbon")
    shown = typed(get(page).text)
    assert shown["name"] == ["hornbeam"]
    assert shown["zone"] == ["Europe/Lisbon"]
    assert shown["accept"] == ["20"]
    assert shown["base"] == ["main"]
    assert shown["seed"][0].isdigit()
    assert [len(shown[name]) for name in ("strain", "level", "shelf")] == [3, 3, 3]


def test_begun_trials_are_those_of_the_command(page: FlaskClient, folder: Path, tmp_path: Path) -> None:
    """The same fields and options: the same bytes. Then the page of what comes next, and the site is open."""
    answer = begin(page, FIELDS)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/begun")
    assert main(["plan", str(tmp_path / "farm" / "hornbeam"), *SAME]) == ExitCode.DONE
    for name in ("trial.toml", "bags.csv"):
        assert (folder / name).read_bytes() == (tmp_path / "farm" / "hornbeam" / name).read_bytes()
    assert sorted(path.name for path in folder.iterdir()) == ["bags.csv", "trial.toml"]
    told = get(page, "/begun").text
    assert "18 bags" in told
    assert "100 mm" in told
    assert "/cards.pdf?paper=a4&amp;blind=yes" in told
    assert "the mixing sheet leaves the weights blank" in told
    assert get(page, "/").status_code == 200
    assert get(page).headers["Location"] == "/trial"


def test_a_look_shows_the_plan_and_writes_nothing(page: FlaskClient, folder: Path) -> None:
    """Bags, runs, mixes, tiers, what can't be told apart, what it can show; the fields are kept."""
    answer = get(page, fields=FIELDS)
    text = html.unescape(answer.text)
    assert answer.status_code == 200
    assert "The plan of hornbeam: 18 bags, 2 of them blanks" in text
    assert re.search(r"heat run H1: 9 bags \(M01 bran", text)
    assert "it's a rack, tier 2: 9 bags" in text
    assert "a bad mix shows only against the others" in text
    assert "To show that at most 12.5 % are lost (95 % sure)" in text
    assert "none is enough" in text
    assert "To find a difference in days between two levels" in text
    assert kept(answer.text, FIELDS)
    assert not folder.parent.exists()


def test_what_was_looked_at_is_begun(page: FlaskClient, folder: Path) -> None:
    """Seed and day left open are settled in the preview; its button begins just that."""
    looked = get(page, fields=FIELDS | {"seed": "", "inoculated_at": ""}).text
    hidden = looked[looked.index('<form method="post" action="/begin"') : looked.index('<form method="get"')]
    sent: dict[str, Any] = {}
    for name, value in re.findall(r'name="(\w+)" value="([^"]*)"', hidden):
        sent.setdefault(name, []).append(html.unescape(value))
    assert sent["seed"][0].isdigit()
    assert begin(page, sent, sent=sent.pop("token")[0]).status_code == 303
    trial = load_trial(folder)
    assert trial.plan in html.unescape(looked)
    assert trial.bags[0].inoculated_at.strftime("%Y-%m-%dT%H:%M") == sent["inoculated_at"][0]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"strain": ["PO-3", "PO-3"], "lots": ["", ""]}, "“Strain” PO-3 is given twice"),
        ({"strain": [], "lots": []}, "No “Strain” is given"),
        ({"strain": [""], "lots": ["L 1"]}, "“Spawn lots” 'L 1' has no strain"),
        ({"strain": [f"S-{n}" for n in range(MOST_ROWS + 1)], "lots": []}, f"{MOST_ROWS + 1} times"),
        ({"level": []}, "No “Level” is given"),
        ({"level": ["a lot"]}, "“Level” 'a lot' is not a number"),
        ({"level": ["nan"]}, "“Level” nan is no percentage"),
        ({"level": ["101"]}, "“Level” 101.0 is no percentage"),
        ({"supplement": "none"}, "“Supplement” none can't have a level of 7.5 %"),
        ({"replicates": ""}, "“Bags of each kind” is empty"),
        ({"replicates": "581"}, "“Bags of each kind” '581' is not a whole number from 1 to 580"),
        ({"replicates": "9" * 150}, "is not a whole number"),
        ({"replicates": "300"}, "1200 bags need 1200 tags"),
        ({"accept": "0"}, "“Accepted loss” 0 is no share of bags"),
        ({"zone": "Mars"}, "“Time zone” 'Mars' is not a known time zone"),
        ({"inoculated_at": "soon"}, "“Day 0” 'soon' is not a time"),
        ({"first_tag": "575"}, "16 bags need 16 tags"),
        ({"vessel": "1"}, "“Bags in one heat run” 1 leaves no room"),
        ({"vessel": "5", "heat_runs": "2"}, "“Heat runs” is 2"),
        ({"blanks": "3"}, "“Blanks in each heat run” '3' is not a whole number from 0 to 2"),
        ({"mix_capacity": "x"}, "“Bags from one mix” 'x' is not a whole number"),
        ({"shelf": ["cellar"], "tiers": [""]}, "“Shelf” 'cellar' has no number of tiers"),
        ({"shelf": [""], "tiers": ["2"]}, "“Tiers” 2 have no shelf"),
        ({"shelf": ["cellar", "cellar"], "tiers": ["1", "2"]}, "cellar"),
        ({"seed": "-1"}, "“Seed” '-1' is not a whole number"),
        ({"question": "why" * 80}, "“Question” has 240 letters"),
    ],
)
def test_errors_keep_what_was_typed(
    wrong: dict[str, Any], said: str, page: FlaskClient, folder: Path
) -> None:
    """What is wrong is said in the form's words, all fields are as sent, and nothing is written."""
    fields = FIELDS | wrong
    for answer in (get(page, fields=fields), begin(page, fields)):
        assert answer.status_code == 400
        alert = html.unescape(answer.text.partition('role="alert"')[2].partition("</div>")[0])
        assert said in alert
        assert "--" not in alert
        assert kept(answer.text, fields)
    assert not folder.parent.exists()


def test_an_unknown_base_is_refused(page: FlaskClient, folder: Path) -> None:
    """It can't come from the form."""
    assert begin(page, FIELDS | {"base": "MAIN "}).status_code == 400
    assert not folder.exists()


def test_the_rows_in_question_are_marked(page: FlaskClient) -> None:
    """Those that the error names, and no other."""
    text = get(page, fields=FIELDS | {"strain": ["PO-3", "PE-1", "PO-3"]}).text
    marked = re.findall(r'<input name="strain" value="([^"]*)"[^>]* aria-invalid="true"', text)
    assert marked == ["PO-3", "PO-3"]


def test_a_folder_that_cant_be_written_keeps_the_fields(tmp_path: Path) -> None:
    """A file where the folder's parent should be: said, with all that was typed."""
    (tmp_path / "shelf").write_text("a file")
    page = make_app(tmp_path / "shelf" / "hornbeam", port=PORT).test_client()
    answer = begin(page, FIELDS)
    assert answer.status_code >= 400
    assert "can&#39;t be written" in answer.text
    assert kept(answer.text, FIELDS)


def test_who_comes_second_is_told(page: FlaskClient, folder: Path) -> None:
    """Eight begin at once, each with a seed of their own: one trial, seven told which it is, fields kept."""
    app, known = page.application, token(page)

    def press(seed: int) -> TestResponse:
        return begin(app.test_client(), FIELDS | {"seed": str(seed)}, sent=known)

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(press, range(8)))
    assert sorted(answer.status_code for answer in answers) == [303] + [400] * 7
    winner = next(seed for seed, answer in enumerate(answers) if answer.status_code == 303)
    assert load_trial(folder).plan.endswith(f"--seed {winner}")
    assert sorted(path.name for path in folder.iterdir()) == ["bags.csv", "trial.toml"]
    for seed, answer in enumerate(answers):
        if seed != winner:
            assert "A trial was begun here meanwhile: hornbeam, 18 bags" in answer.text
            assert kept(answer.text, FIELDS | {"seed": str(seed)})


def test_pressed_twice_is_begun_once(page: FlaskClient, folder: Path) -> None:
    """The very same plan leads on to what comes next, and is not written again."""
    assert begin(page, FIELDS).status_code == 303
    before = {path: path.stat().st_mtime_ns for path in folder.iterdir()}
    known = re.search(r'name="token" content="([^"]+)"', get(page, "/begun").text)
    assert known
    answer = begin(page, FIELDS, sent=known[1])
    assert (answer.status_code, answer.headers["Location"]) == (303, "/begun")
    assert {path: path.stat().st_mtime_ns for path in folder.iterdir()} == before


@pytest.mark.parametrize("origin", ["http://elsewhere.example", "null", "http://127.0.0.1:9999"])
def test_a_foreign_origin_is_refused(origin: str, page: FlaskClient, folder: Path) -> None:
    """Another page can't begin a trial."""
    assert begin(page, FIELDS, origin=origin).status_code == 403
    assert not folder.exists()


def test_a_wrong_token_is_refused(page: FlaskClient, folder: Path) -> None:
    """Nor can a form of another start."""
    assert begin(page, FIELDS, sent="x" * 43).status_code == 403
    assert not folder.exists()


@pytest.mark.parametrize("name", TRAVERSALS)
def test_no_name_becomes_a_path(name: str, page: FlaskClient, folder: Path, tmp_path: Path) -> None:
    """Names in every field: the trial is in its folder, and nothing is anywhere else."""
    fields = FIELDS | {
        "name": name, "question": name, "strain": [name], "lots": [name], "supplement": name, "shelf": [name],
        "tiers": ["2"],
    }  # fmt: skip
    assert begin(page, fields).status_code == 303
    assert load_trial(folder).name == name
    there = sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*") if path.is_file())
    assert there == [Path("shelf/hornbeam/bags.csv"), Path("shelf/hornbeam/trial.toml")]


def test_html_in_names_is_text(page: FlaskClient) -> None:
    """On the form, in an error, on the plan and after."""
    fields = FIELDS | {"name": HTML, "question": HTML, "strain": [HTML], "lots": [HTML], "shelf": [HTML]}
    for text in (
        get(page, fields=fields).text,
        get(page, fields=fields | {"zone": HTML, "supplement": HTML}).text,
        begin(page, fields | {"replicates": HTML}).text,
    ):
        assert HTML not in text
        assert html.escape(HTML) in text
    assert begin(page, fields).status_code == 303
    assert HTML not in get(page, "/begun").text


def test_a_mistyped_name_is_noticed(tmp_path: Path, trial: Path) -> None:
    """The trials beside the folder are named; and what else is in it is counted."""
    folder = tmp_path / "hornbaem"
    folder.mkdir()
    (folder / "notes.txt").write_text("mine")
    text = get(browser(folder)).text
    assert f"Trials beside it: {trial.name}." in text
    assert "1 other file or folder" in text


def run_review(folder: Path, monkeypatch: pytest.MonkeyPatch) -> int:
    """Call the command with a server that ends at once."""
    monkeypatch.setattr("colscan.app.web.serve", lambda trial_dir, listening, **others: None)
    return main(["review", str(folder), "--port", "0", "--no-browser"])


def _farm(folder: Path) -> None:
    assert main(["plan", str(folder / "spring"), *SAME]) == ExitCode.DONE


def _file(folder: Path) -> None:
    folder.write_text("a file")


def _bag_list(folder: Path) -> None:
    folder.mkdir()
    (folder / "bags.csv").write_bytes(format_header(Bag))


@pytest.mark.parametrize(
    ("make", "said"),
    [(_farm, "is no trial, but holds some: spring"), (_file, "is a file"), (_bag_list, "no trial with it")],
)
def test_what_can_take_no_trial_is_refused(
    make: Callable[[Path], None],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A farm, a file, a lost plan's bag list: no page, exit 2, and what to do."""
    make(tmp_path / "place")
    assert run_review(tmp_path / "place", monkeypatch) == ExitCode.TRIAL
    assert said in capsys.readouterr().err


def test_the_records_of_a_lost_plan_are_refused(
    trial: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A ledger without trial.toml: another plan would give its bags to others."""
    assert main(["mix", str(trial), "M01", "--water", "1 l"]) == ExitCode.DONE
    (trial / "trial.toml").unlink()
    (trial / "bags.csv").unlink()
    assert run_review(trial, monkeypatch) == ExitCode.TRIAL
    assert "holds a trial with records" in capsys.readouterr().err
    assert begin(browser(trial), FIELDS).status_code == 400
    assert not (trial / "trial.toml").exists()


def test_a_new_folder_is_said(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The terminal says that the page begins it; starting makes no folder."""
    assert run_review(folder, monkeypatch) == ExitCode.DONE
    assert f"there is no trial in {folder} yet: begin it on the page" in capsys.readouterr().err
    assert not folder.parent.exists()
