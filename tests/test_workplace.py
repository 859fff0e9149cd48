"""`photolab open`: working copies.

Oracle: the committed notebooks' bytes; a person's own copy is never written over.
"""

from pathlib import Path

import pytest

from photolab.errors import PhotolabError, RecordError
from photolab.publication import workplace
from photolab.publication.notebooks import notebooks_folder

DATA = Path(__file__).parent.parent / "data"


def test_copies_stand_in_a_folder_of_their_own(tmp_path):
    place = workplace.working_copies(DATA / "two-readings", tmp_path / "mine")
    first = place / workplace.FIRST
    assert first.read_bytes() == (notebooks_folder() / workplace.FIRST).read_bytes()


def test_a_persons_own_copy_is_left_as_it_is(tmp_path):
    place = workplace.working_copies(DATA / "two-readings", tmp_path / "mine")
    (place / workplace.FIRST).write_text("my notes", encoding="utf-8")
    workplace.working_copies(DATA / "two-readings", tmp_path / "mine")
    assert (place / workplace.FIRST).read_text(encoding="utf-8") == "my notes"


def test_a_faulty_bench_is_refused_before_anything_is_copied(tmp_path):
    bad = tmp_path / "bad"
    bad.mkdir()
    with pytest.raises(RecordError, match=r"\[fault 3\]"):
        workplace.working_copies(bad, tmp_path / "mine")
    assert not (tmp_path / "mine").exists()


def test_lab_is_started_on_the_bench_with_the_address_of_this_machine_only(tmp_path, monkeypatch):
    calls = {}

    class Done:
        returncode = 0

    def start(command, *, env, check):
        calls.update(command=command, bench=env["PHOTOLAB_BENCH"], check=check)
        return Done()

    monkeypatch.setattr(workplace.subprocess, "run", start)
    assert workplace.open_lab(DATA / "two-readings", work=tmp_path / "mine", browser=False) == 0
    assert calls["bench"] == str((DATA / "two-readings").resolve())
    assert "--ServerApp.ip=127.0.0.1" in calls["command"]
    assert str(tmp_path / "mine" / workplace.FIRST) in calls["command"]


def test_without_jupyterlab_it_says_what_to_type(tmp_path, monkeypatch):
    monkeypatch.setattr(workplace, "find_spec", lambda name: None)
    with pytest.raises(PhotolabError, match="JupyterLab is not installed; type: pip install"):
        workplace.open_lab(DATA / "two-readings", work=tmp_path)
