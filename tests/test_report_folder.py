"""The folder of a report. Oracle: files and links laid there on purpose; a second process."""

import os
import re
import signal
import subprocess
import sys
import types
from pathlib import Path

import pytest

from photolab.errors import MethodError
from photolab.publication.report import report_folder
from photolab.publication.report.report_folder import held, partial_folder, put_in_place, remove

HOLD = """
import sys, time
from pathlib import Path
from photolab.publication.report.report_folder import held
with held(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""


def test_links_are_replaced_and_not_followed(tmp_path):
    """Oracle: links at the final place, at a dangling one, and at the name that earlier versions used."""
    victim, out = tmp_path / "victim", tmp_path / "out"
    victim.write_text("mine", encoding="utf-8")
    out.mkdir()
    (out / "a.csv").symlink_to(victim)
    (out / "b.csv").symlink_to(tmp_path / "nothing")
    (out / ".a.csv.part").symlink_to(victim)
    (out / "old.csv").symlink_to(tmp_path / "gone")
    (out / "older.csv").symlink_to(victim)
    put_in_place({"a.csv": b"a", "b.csv": b"b"}, out, instead_of=["a.csv", "old.csv", "older.csv"])
    assert victim.read_text(encoding="utf-8") == "mine"
    assert not (tmp_path / "nothing").exists()
    assert {path.name for path in out.iterdir() if path.is_symlink()} == {".a.csv.part"}
    assert [(out / name).read_bytes() for name in ("a.csv", "b.csv")] == [b"a", b"b"]


def test_a_folder_of_a_report_that_is_a_link_is_replaced_and_not_followed(tmp_path):
    """Oracle: a link in the place of the folder of figures; names that lead out of the report."""
    out, victim = tmp_path / "out", tmp_path / "victim"
    out.mkdir()
    victim.mkdir()
    (victim / "a.png").write_text("mine", encoding="utf-8")
    (out / "figures").symlink_to(victim)
    remove(out, ["figures/a.png", "figures/../../victim/a.png", "../victim/a.png", str(victim / "a.png")])
    assert (victim / "a.png").read_text(encoding="utf-8") == "mine"
    put_in_place({"figures/a.png": b"a"}, out)
    assert (victim / "a.png").read_text(encoding="utf-8") == "mine"
    assert (out / "figures" / "a.png").read_bytes() == b"a"
    (out / "figures" / "my.png").touch()
    put_in_place({"b": b""}, out, instead_of=["figures/a.png"])
    assert [path.name for path in (out / "figures").iterdir()] == ["my.png"]
    put_in_place({}, out, instead_of=["figures/my.png"])
    assert not (out / "figures").exists()


def test_temporary_names_cannot_be_guessed(tmp_path, monkeypatch):
    """Oracle: the names that are put in place; 128 bits each, none twice."""
    names = []
    replace = Path.replace
    monkeypatch.setattr(Path, "replace", lambda self, place: names.append(self.name) or replace(self, place))
    for _ in range(2):
        put_in_place({"a.csv": b"a", "b.csv": b"b"}, tmp_path)
    assert len(set(names)) == 4
    assert all(re.fullmatch(r"\.[0-9a-f]{32}\.part", name) for name in names)


def test_a_link_under_a_guessed_name_is_not_followed(tmp_path, monkeypatch):
    """Oracle: a name that is no secret, and a link laid there."""
    monkeypatch.setattr(report_folder.secrets, "token_hex", lambda _: "guessed")
    (tmp_path / ".guessed.part").symlink_to(tmp_path / "victim")
    with pytest.raises(FileExistsError):
        put_in_place({"a.csv": b"a"}, tmp_path)
    assert not (tmp_path / "victim").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="modes of files")
def test_files_get_the_modes_that_the_user_gives_new_files(tmp_path):
    """Oracle: a file made by the shell's own way."""
    (tmp_path / "usual").touch()
    (place,) = put_in_place({"a.csv": b"a"}, tmp_path)
    assert place.stat().st_mode == (tmp_path / "usual").stat().st_mode


def test_a_folder_is_held_by_one_process_and_as_long_as_it_lives(tmp_path):
    """Oracle: a second process that holds it, and is then killed."""
    out = tmp_path / "reports" / "out"
    with subprocess.Popen([sys.executable, "-c", HOLD, str(out)], stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout.readline() == "held\n"
        with (
            pytest.raises(MethodError, match=r"^out: another run is writing its report there; wait until"),
            held(out),
        ):
            pass
        assert out.is_dir()
        os.kill(other.pid, signal.SIGTERM if sys.platform == "win32" else signal.SIGKILL)
    with held(out):
        assert list(out.iterdir()) == [] or sys.platform == "win32"


def test_where_no_folder_can_be_locked_a_file_in_it_is(tmp_path, monkeypatch):
    """Oracle: locks of an open file, as Windows has them, in place of the one on the folder."""
    fcntl = pytest.importorskip("fcntl")

    def locking(descriptor, mode, size):
        assert (mode, size) == (2, 1)
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)

    monkeypatch.setitem(sys.modules, "msvcrt", types.SimpleNamespace(locking=locking, LK_NBLCK=2))
    monkeypatch.setattr(report_folder, "sys", types.SimpleNamespace(platform="win32"))
    for _ in range(2):
        with held(tmp_path):
            for _ in range(2):  # the one refused first must not free the folder for the next
                with pytest.raises(MethodError, match="another run is writing"), held(tmp_path):
                    pass
        assert list(tmp_path.iterdir()) == []
    (tmp_path / report_folder.HOLD).touch()  # of a run that was killed
    with held(tmp_path):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_folder_made_for_nothing_is_taken_away(tmp_path):
    """Oracle: folders that were there before, and one in which a file was written."""
    with held(tmp_path / "a" / "b"):
        pass
    assert not (tmp_path / "a").exists()
    with held(tmp_path / "a" / "b"):
        put_in_place({"x": b""}, tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b" / "x").exists()
    (tmp_path / "mine").mkdir()
    with held(tmp_path / "mine"):
        pass
    assert (tmp_path / "mine").is_dir()


def test_the_partial_report_stands_beside(tmp_path, monkeypatch):
    """Oracle: names typed here."""
    monkeypatch.chdir(tmp_path)
    assert partial_folder(Path("reports/demo")) == Path("reports/demo.partial")
    assert partial_folder(Path()) == tmp_path.with_name(f"{tmp_path.name}.partial")
