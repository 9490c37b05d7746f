"""The command as a shell sees it: exit code, standard output, standard error."""

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from sample_reports import validator

from model.carfile import demo_car_path, read_car
from model.cli import DONE, REFUSED, main

ROOT = Path(__file__).parents[2]
CARS = ("coupe", "pickup")


@pytest.fixture(autouse=True)
def in_an_empty_folder(tmp_path, monkeypatch):
    """Run every command in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def run(capsys):
    """Return a function that carries out a command line: exit code, output, errors."""

    def run(*words):
        code = main(list(words))
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def assert_refused(result, *words):
    """Hold a result against the rule: code 2, nothing on output, one message with these words."""
    code, out, err = result
    assert code == REFUSED
    assert out == ""
    assert err.count("\n") == 1 and err.strip(), err
    assert "Traceback" not in err
    for word in words:
        assert word in err, err


@pytest.mark.parametrize("car", CARS)
def test_check_says_what_was_measured(run, car):
    code, out, err = run("check", car)
    assert (code, err) == (DONE, "")
    assert "hoops" in out and "It holds together." in out
    for head in ("READINGS AGAINST THE FAIR SURFACE", "LEFT AGAINST RIGHT", "FINDINGS"):
        assert head in out
    assert max(map(len, out.splitlines())) <= 100


@pytest.mark.parametrize("car", CARS)
def test_check_as_json_keeps_the_contract(run, car):
    code, out, err = run("check", car, "--json")
    assert (code, err) == (DONE, "")
    validator("check").validate(json.loads(out))


@pytest.mark.parametrize("car", CARS)
def test_report_of_the_demo_plan(run, car):
    code, out, err = run("report", car, "--plan", f"{car}-plan")
    assert (code, err) == (DONE, "")
    for head in ("BEFORE AND AFTER", "POSTS: WHAT TO CUT", "SEAMS", "TOTALS", "FINDINGS"):
        assert head in out
    assert max(map(len, out.splitlines())) <= 100


@pytest.mark.parametrize("car", CARS)
def test_report_as_json_keeps_the_contract(run, car):
    code, out, err = run("report", car, "--plan", f"{car}-plan", "--json")
    assert (code, err) == (DONE, "")
    validator("report").validate(json.loads(out))


def test_settings_are_shop_lengths_over_the_stock_car(run):
    code, out, _ = run("report", "coupe", "--set", "front_drop=2-1/4", "--set", "rear_drop=2-1/4", "--json")
    report = json.loads(out)
    assert code == DONE
    assert report["totals"]["front_drop_mm"] == pytest.approx(57.15, abs=1e-6)
    assert report["plan"]["name"] == "front_drop=2-1/4, rear_drop=2-1/4"


def test_a_setting_goes_over_a_plan(run):
    _, before, _ = run("report", "coupe", "--plan", "coupe-plan", "--json")
    code, after, _ = run("report", "coupe", "--plan", "coupe-plan", "--set", "cut=square", "--json")
    assert code == DONE
    assert {post["cut"] for post in json.loads(after)["posts"]} == {"square"}
    assert json.loads(before)["totals"]["front_drop_mm"] == json.loads(after)["totals"]["front_drop_mm"]


def test_compare(run, in_an_empty_folder):
    code, out, _ = run("compare", "coupe", "coupe-plan", "coupe-plan")
    assert code == DONE and "side by side" in out
    code, out, _ = run("compare", "coupe", "coupe-plan", "coupe-plan", "--json")
    reports = json.loads(out)["reports"]
    assert code == DONE and len(reports) == 2 and reports[0] == reports[1]


def test_hoop_table_comes_back_as_the_car_it_was(run):
    from model.hooptable import car_with_hoop_table

    code, out, _ = run("hoops", "coupe", "-o", "hoops.csv")
    assert (code, out) == (DONE, "wrote hoops.csv\n")
    assert run("hoops", "coupe", "-o", "hoops.csv")[1] == "replaced hoops.csv\n"
    text = Path("hoops.csv").read_text(encoding="utf-8")
    assert next(csv.reader(text.splitlines())) == ["hoop", "row", "side", "x", "y", "z"]
    car = read_car(demo_car_path("coupe"))
    again = car_with_hoop_table(car, text)
    for old, new in zip(car.hoops, again.hoops, strict=True):
        for a, b in zip(old.right_mm, new.right_mm, strict=True):
            assert a == pytest.approx(b, abs=1e-9)


@pytest.mark.parametrize(
    ("words", "named"),
    [
        ((), "Dray pickup (stock)"),
        (("--plan", "pickup-plan", "--stock"), "Dray pickup (stock)"),
        (("--plan", "pickup-plan"), "Dray pickup (chopped)"),
    ],
)
def test_step_of_plan_and_stock(run, words, named):
    assert run("step", "pickup", *words, "-o", "pickup.step") == (DONE, "wrote pickup.step\n", "")
    text = Path("pickup.step").read_text()
    assert text.startswith("ISO-10303-21;") and text.rstrip().endswith("END-ISO-10303-21;")
    assert f"PRODUCT('{named}'" in text


def test_glb_of_plan_and_stock(run):
    for words, state in (((), "stock"), (("pickup-plan",), "chopped")):
        said = run("glb", "pickup", *words, "-o", "pickup.glb")
        assert said[0] == DONE and said[1].split()[1] == "pickup.glb" and said[2] == ""
        content = Path("pickup.glb").read_bytes()
        assert content[:4] == b"glTF" and f"Dray pickup ({state})".encode() in content


def test_pictures_of_the_stock_car(run):
    code, out, err = run("pictures", "pickup", "-o", "views")
    assert (code, err) == (DONE, "") and out.startswith("wrote 14 pictures into views: drivers-eye-before,")
    assert len(list(Path("views").iterdir())) == 14


def test_review_writes_one_page_and_says_so(run):
    assert run("review", "pickup", "pickup-plan", "-o", "owner.html") == (DONE, "wrote owner.html\n", "")
    assert Path("owner.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert run("review", "pickup", "pickup-plan", "-o", "owner.html")[1] == "replaced owner.html\n"


def test_demo_leaves_report_step_and_json(run):
    code, out, err = run("demo")
    assert (code, err) == (DONE, "")
    assert "FINDINGS" in out and "wrote plumbdrop-demo.step" in out
    assert out.rstrip().endswith("plumbdrop notebook")
    assert json.loads(Path("plumbdrop-demo.json").read_text())["car"]
    assert sorted(p.name for p in Path.cwd().iterdir()) == ["plumbdrop-demo.json", "plumbdrop-demo.step"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), ("COMMAND", "--help")),
        (("lower",), ("lower", "report", "compare")),
        (("report",), ("CAR",)),
        (("report", "coupe", "--pla", "x"), ("--pla",)),
        (("report", "nowhere.toml"), ("nowhere.toml",)),
        (("report", "coupe", "--plan", "nowhere.toml"), ("nowhere.toml",)),
        (("report", "coupe", "--set", "front_drop"), ("front_drop", "name=value")),
        (("report", "coupe", "--set", "front_drop=much"), ("front_drop", "much")),
        (("report", "coupe", "--set", "frontdrop=2"), ("frontdrop", "front_drop")),
        (("report", "coupe", "--set", "front_drop=nan"), ("front_drop",)),
        (("report", "coupe", "--set", "front_drop=30", "--set", "rear_drop=30"), ("mm",)),
        (("report", "pickup", "--plan", "coupe-plan"), ("pickup", "coupe")),
        (("compare", "coupe", "coupe-plan"), ("two",)),
        (("step", "coupe"), ("-o",)),
        (("step", "coupe", "-o", "chop.iges"), ("chop.iges", ".step")),
        (("step", "coupe", "-o", "no/such/folder/a.step"), ("folder",)),
        (("hoops", "coupe", "-o", "no/such/folder/a.csv"), ("folder",)),
        (("glb", "coupe", "coupe-plan", "-o", "chop.gltf"), ("chop.gltf", ".glb")),
        (("pictures", "coupe", "-o", "no/such/folder"), ("folder",)),
        (("review", "coupe", "coupe-plan", "-o", "page.pdf"), ("page.pdf", ".html")),
        (("review", "coupe", "-o", "page.html"), ("PLAN",)),
        (("review", "coupe", "pickup-plan", "-o", "page.html"), ("coupe", "pickup")),
        (("glb", "pickup", "coupe-plan", "-o", "chop.glb"), ("pickup", "coupe")),
    ],
)
def test_refusals_are_one_message_and_leave_nothing(run, in_an_empty_folder, words, said):
    assert_refused(run(*words), *said)
    assert list(in_an_empty_folder.iterdir()) == []


def test_a_file_that_is_not_text_is_refused(run, in_an_empty_folder):
    (in_an_empty_folder / "car.toml").write_bytes(b"\x89PNG\r\n\x1a\n\x00\x01")
    assert_refused(run("check", "car.toml"), "car.toml", "text")


def test_demo_in_a_folder_it_cannot_write_to(run, in_an_empty_folder):
    (in_an_empty_folder / "plumbdrop-demo.json").mkdir()
    assert_refused(run("demo"), "plumbdrop-demo.json", "folder")


def test_a_car_file_of_ones_own_comes_before_the_one_that_ships(run, in_an_empty_folder):
    (in_an_empty_folder / "coupe").write_text("not a car", encoding="utf-8")
    assert_refused(run("check", "coupe"), "coupe")


def test_ctrl_c_is_a_refusal_without_a_traceback(run, monkeypatch):
    def interrupted(name):
        raise KeyboardInterrupt

    monkeypatch.setattr("model.clifiles.named_car", interrupted)
    assert_refused(run("hoops", "coupe", "-o", "a.csv"), "Stopped")


def test_help_and_version_end_well(capsys):
    for words in (["--help"], ["--version"], ["report", "--help"]):
        with pytest.raises(SystemExit) as ended:
            main(words)
        assert ended.value.code == 0
    assert "front_drop" in capsys.readouterr().out


def test_notebook_opens_the_one_in_the_checkout(run, monkeypatch):
    opened, searched, threads = [], [], []

    class Jupyter:
        def __init__(self, command, env):
            opened.append(command)
            searched.append((env or {}).get("JUPYTER_PATH", ""))
            threads.append(env["OPENBLAS_NUM_THREADS"])

        def __enter__(self):
            return self

        def __exit__(self, *_):
            return False

        def wait(self):
            return 1 if "--break" in opened[-1] else 0

    monkeypatch.setattr("model.clinotebook.subprocess.Popen", Jupyter)
    if not (ROOT / "notebooks" / "chop.ipynb").is_file():
        pytest.skip("the notebook is not here yet")
    assert run("notebook", "--", "--no-browser")[0] == DONE
    assert opened[0][1:3] == ["-m", "jupyterlab"] and opened[0][-1] == "--no-browser"
    assert Path(opened[0][3]) == ROOT / "notebooks" / "chop.ipynb"
    code, _, err = run("notebook", "--", "--break")
    assert code == REFUSED and "code 1" in err
    assert run("app", "--", "--no-browser")[0] == DONE
    assert opened[-1][1:3] == ["-m", "voila"] and opened[-1][3] == opened[0][3]
    assert "--Voila.ip=127.0.0.1" in opened[-1] and "--Voila.auto_token=True" in opened[-1]
    assert set(threads) == {
        os.environ.get("OPENBLAS_NUM_THREADS", "1")
    }  # one, but where another is asked for
    assert searched[0] == "" and (Path(searched[-1].split(os.pathsep)[0]) / "voila").is_dir()


def test_a_reader_that_stops_reading_is_no_error(in_an_empty_folder):
    """As ``plumbdrop check coupe | head -1`` where the reader goes first."""
    code = (
        "import os, sys; from model.cli import main\n"
        "read, write = os.pipe(); os.close(read); os.dup2(write, 1)\n"
        "sys.exit(main(['hoops', 'coupe', '-o', 'a.csv']))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert (ran.returncode, ran.stderr) == (DONE, "")
