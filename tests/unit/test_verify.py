"""``plumbdrop verify``: what it prints, writes and answers."""

import json

import pytest
from sample_reports import validator

from model import cli
from model.outside import verify
from model.outside.check import Check, carried_out, group


def check(what="take-out", ours=1.0, reference=1.0, allowed=0.1, kind="posts"):
    (made,) = group(kind, "in", "a table, p. 1", (what, lambda: ours, reference, allowed))
    return made


TWO = [check("a length"), check("a text", "2-1/4", "2-1/4", None, kind="units")]


@pytest.fixture
def run(capsys, monkeypatch, tmp_path):
    """Return a function that runs the command on a few checks: exit code, output, errors."""
    monkeypatch.chdir(tmp_path)

    def run(checks, *words):
        monkeypatch.setattr(verify, "all_checks", lambda: checks)
        code = cli.main(["verify", *words])
        return code, *capsys.readouterr()

    return run


def test_all_hold(run):
    code, out, err = run(TWO)
    assert (code, err) == (cli.DONE, "")
    assert out.count("All 2 checks hold.") == 2 and "a table, p. 1" in out and "NO" not in out
    assert max(map(len, out.splitlines())) <= 100


@pytest.mark.parametrize(
    "wrong",
    [
        check("the wrong one", 1.2),
        check("the wrong one", float("nan")),
        check("the wrong one", "2-1/8", "2-1/4", None),
    ],
)
def test_one_that_does_not_hold(run, wrong):
    code, out, err = run([*TWO, wrong])
    assert (code, err) == (cli.FAILED, "")
    assert "1 of 3 checks do not hold" in out and out.count("the wrong one") == 2 and out.count(" NO ") == 1
    code, out, _ = run([*TWO, wrong], "--json")
    assert code == cli.FAILED
    values = json.loads(out)
    validator("verify").validate(values)
    assert [row["holds"] for row in values["checks"]] == [True, True, False]
    code, _, _ = run([*TWO, wrong], "-o", "page.md")
    assert code == cli.FAILED


def test_json_keeps_the_contract(run):
    code, out, err = run(TWO, "--json")
    assert (code, err) == (cli.DONE, "")
    values = json.loads(out)
    validator("verify").validate(values)
    assert values["checks"][0] == {
        "kind": "posts",
        "what": "a length",
        "ours": 1.0,
        "reference": 1.0,
        "unit": "in",
        "source": "a table, p. 1",
        "difference": 0.0,
        "allowed": 0.1,
        "holds": True,
    }
    del values["checks"][0]["source"]
    assert not validator("verify").is_valid(values)


def test_page(run, tmp_path):
    code, out, _ = run(TWO, "-o", "page.md")
    assert code == cli.DONE and out == "wrote page.md\nAll 2 checks hold.\n"
    page = (tmp_path / "page.md").read_text(encoding="utf-8")
    assert "| a length | 1 | 1 | in | 0 | 0.1 | yes | a table, p. 1 |" in page
    assert "## Posts" in page and "## Units" in page
    code, out, err = run(TWO, "-o", "no folder/page.md")
    assert code == cli.REFUSED and "no folder" in err


def test_what_is_allowed_is_inclusive_and_two_sided():
    assert carried_out(check(ours=1.5, reference=1.0, allowed=0.5)).holds
    assert carried_out(check(ours=0.5, reference=1.0, allowed=0.5)).holds
    assert not carried_out(check(ours=0.4, reference=1.0, allowed=0.5)).holds


def test_a_number_needs_an_allowed_difference():
    with pytest.raises(ValueError, match="allowed difference"):
        Check(
            kind="posts", what="x", ours=lambda: 1.0, reference=1.0, allowed=None, unit="in", source="a table"
        )
