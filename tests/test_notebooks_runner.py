"""The runner of notebooks and their stored form. Oracle: toy notebooks, outputs as their cells say."""

import asyncio
import time
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

import photolab
from photolab.errors import MethodError, NotInFolder
from photolab.publication.report import kernels, notebooks
from photolab.publication.report.kernels import Kernel
from photolab.publication.report.notebooks import (
    bench_folder,
    canonical_text,
    fill_answer,
    inject,
    notebooks_folder,
    run,
    run_notebook,
    settings_of,
    write_notebook,
)


def cell(source, *tags):
    return new_code_cell(source, metadata={"tags": list(tags)} if tags else {})


def store(path, *cells):
    write_notebook(new_notebook(cells=list(cells)), path)
    return path


def shown(notebook):
    """Return the plain text of every output."""
    outputs = [o for c in notebook.cells if c.cell_type == "code" for o in c.outputs]
    return [o.get("text") or o["data"]["text/plain"] for o in outputs]


# ---- where the bench is


def test_injected_wins_over_environment_over_demo(monkeypatch, tmp_path):
    """Oracle: the order in which the three are named in the notebooks."""
    demo = tmp_path / "data" / "demo"
    demo.mkdir(parents=True)
    monkeypatch.setattr(notebooks, "repository_root", lambda: tmp_path)
    monkeypatch.delenv("PHOTOLAB_BENCH", raising=False)
    assert bench_folder() == demo
    assert bench_folder(" ") == demo
    monkeypatch.setenv("PHOTOLAB_BENCH", "from-environment")
    assert bench_folder() == Path("from-environment")
    assert bench_folder("typed") == Path("typed")


def test_no_bench_at_all_is_said(monkeypatch, tmp_path):
    """Oracle: an install without data."""
    monkeypatch.setattr(notebooks, "repository_root", lambda: tmp_path)
    monkeypatch.delenv("PHOTOLAB_BENCH", raising=False)
    with pytest.raises(ValueError, match="bench must be named in the settings cell or by PHOTOLAB_BENCH"):
        bench_folder()


def test_root_is_beside_the_package():
    """Oracle: the place of the package."""
    assert notebooks.repository_root() == Path(photolab.__file__).resolve().parents[1]


def test_missing_notebooks_are_said(tmp_path):
    """Oracle: a folder that does not exist."""
    with pytest.raises(ValueError, match="notebooks must be a folder; got 'none'"):
        notebooks_folder(tmp_path / "none")
    assert notebooks_folder(tmp_path) == tmp_path


# ---- the stored form


def test_stored_form_leaves_out_what_differs_between_runs():
    """Oracle: two notebooks that differ only in times, ids, counts and machine metadata."""
    one = new_notebook(cells=[new_markdown_cell("# A\n\n"), cell("1 + 1  ", "keep")])
    two = new_notebook(cells=[new_markdown_cell("# A"), cell("1 + 1", "keep")])
    one.cells[1].outputs = [new_output("execute_result", data={"text/plain": "2"}, execution_count=7)]
    two.cells[1].outputs = [new_output("execute_result", data={"text/plain": "2"}, execution_count=1)]
    one.cells[1].metadata["execution"] = {"iopub.status.busy": "2020-01-01"}
    one.cells[0].id, two.cells[0].id = "one", "two"
    one.metadata["language_info"] = {"name": "python", "version": "3.12.1"}
    assert canonical_text(one) == canonical_text(two)
    assert '"keep"' in canonical_text(one)
    assert canonical_text(one).endswith("}\n")
    assert '"execution_count": 1' in canonical_text(one)


def test_content_stays_in_the_stored_form():
    """Oracle: two notebooks that differ in one output."""
    one, two = (new_notebook(cells=[cell("x")]) for _ in range(2))
    one.cells[0].outputs = [new_output("execute_result", data={"text/plain": "2"})]
    two.cells[0].outputs = [new_output("execute_result", data={"text/plain": "3"})]
    assert canonical_text(one) != canonical_text(two)


def test_words_of_an_image_stay():
    """Oracle: the label typed here."""
    one = new_notebook(cells=[cell("x")])
    data = {"image/png": "AAAA", "text/plain": "words"}
    metadata = {"image/png": {"alt": "words"}, "needs_background": "light"}
    one.cells[0].outputs = [new_output("display_data", data=data, metadata=metadata)]
    text = canonical_text(one)
    assert '"alt": "words"' in text
    assert "needs_background" not in text


def test_no_part_is_left_beside_a_notebook(tmp_path):
    """Oracle: the folder after writing."""
    store(tmp_path / "a.ipynb", cell("1"))
    assert [path.name for path in tmp_path.iterdir()] == ["a.ipynb"]


# ---- settings


def test_settings_are_injected_into_the_settings_cell():
    """Oracle: the cells typed here; what follows in the cell sees the new value; no cell changes its place."""
    notebook = new_notebook(cells=[cell("a = 1  # note\nb = a == 1\nab = 2", "parameters"), cell("a")])
    changed = inject(notebook, {"a": "it's \\1", "c": None})
    assert [c.source for c in changed.cells] == ['a = "it\'s \\\\1"\nb = a == 1\nab = 2\nc = None', "a"]
    assert notebook.cells[0].source.startswith("a = 1  # note")


def test_the_settings_of_a_notebook_are_told_but_for_the_folder(tmp_path):
    """Oracle: the cell typed here."""
    typed = 'bench = None  # a folder\na, b = 1.50, ("K1", None)\nplans = {"x": 1}'
    nbformat.write(new_notebook(cells=[cell(typed, "parameters"), cell("c = 2")]), tmp_path / "n.ipynb")
    found = settings_of(tmp_path / "n.ipynb")
    assert found == {"a": "1.5", "b": "('K1', None)", "plans": "{'x': 1}"}


@pytest.mark.parametrize("count", [0, 2])
def test_one_settings_cell_is_needed(count):
    """Oracle: none and two."""
    notebook = new_notebook(cells=[cell("a = 1", "parameters") for _ in range(count)])
    with pytest.raises(ValueError, match=f"exactly one cell tagged parameters; got {count}"):
        inject(notebook, {"a": 2})


@pytest.mark.parametrize("parameters", [{"a b": 1}, {"a": [1]}])
def test_only_plain_settings_are_injected(parameters):
    """Oracle: a name that is none, a value without a plain literal."""
    with pytest.raises(ValueError, match=r"parameters\['a"):
        inject(new_notebook(cells=[cell("a = 1", "parameters")]), parameters)


# ---- running


def test_run_injects_and_never_writes_over_the_source(tmp_path, monkeypatch):
    """Oracle: the sums typed in the cells; the bytes of the sources before; no warning is an error for a person."""
    monkeypatch.delenv("PYTHONWARNINGS")
    sources = [
        store(
            tmp_path / f"{name}.ipynb",
            cell("a = 1", "parameters"),
            cell(f"a + {number}"),
            cell("import sys\nsys.warnoptions"),
        )
        for name, number in (("x", 10), ("y", 20))
    ]
    before = [path.read_bytes() for path in sources]
    lines: list[str] = []
    ran = run(sources, parameters={"a": 5}, jobs=2, progress=lines.append)
    assert [shown(notebook) for notebook in ran] == [["15", "[]"], ["25", "[]"]]
    assert [path.read_bytes() for path in sources] == before
    assert sorted(line.split(":")[0] for line in lines) == ["x", "y"]


def test_one_process_is_needed(tmp_path):
    """Oracle: none."""
    with pytest.raises(ValueError, match="jobs must be 1 or more; got 0"):
        run([store(tmp_path / "x.ipynb", cell("1"))], jobs=0)


def test_a_loop_that_runs_already_is_not_in_the_way():
    """Oracle: the number returned; a notebook's own cell calls from inside a loop."""

    async def inner():
        return 7

    async def outer():
        return notebooks._wait_for(inner())

    assert asyncio.run(outer()) == 7


def test_kernel_starts_beside_the_notebook_with_warnings_as_errors(tmp_path, monkeypatch, capfd):
    """Oracle: the folder, the variables and the filter as they were set; nothing on stderr."""
    monkeypatch.setenv("PHOTOLAB_BENCH", "not-for-this-run")
    source = store(
        tmp_path / "x.ipynb",
        cell("import os, sys\nfrom pathlib import Path\nPath.cwd().name == " + repr(tmp_path.name)),
        cell("os.environ.get('PHOTOLAB_BENCH'), os.environ['OMP_NUM_THREADS'], sys.warnoptions[0]"),
    )
    assert shown(run_notebook(source)) == ["True", "(None, '1', 'error')"]
    assert capfd.readouterr().err == ""


def test_nothing_is_left_from_one_notebook_to_the_next(tmp_path):
    """Oracle: a name, a folder and a count set by the first notebook; one process runs both."""
    leave = "import os\nos.chdir('/')\nleft = os.getpid()\nPath = None\nlen(str(left)) > 0"
    look = "import os\n'left' in globals(), 'Path' in globals(), os.path.basename(os.getcwd())"
    sources = [store(tmp_path / "x.ipynb", cell(leave)), store(tmp_path / "y.ipynb", cell(look))]
    first, second = run(sources, jobs=1, progress=list)
    assert shown(first) == ["True"]
    assert shown(second) == [f"(False, False, {tmp_path.name!r})"]


def test_a_kernel_that_cannot_start_says_why(tmp_path, monkeypatch):
    """Oracle: a module of that name that refuses, in place of the one a kernel is."""
    monkeypatch.setattr(kernels, "_ATTEMPTS", 1)
    (tmp_path / "ipykernel.py").write_text("raise ImportError('not today')", encoding="utf-8")
    source = store(tmp_path / "x.ipynb", cell("1"))
    with pytest.raises(MethodError, match=r"no kernel could be started: ImportError: not today$"):
        run_notebook(source, environment={"PYTHONPATH": str(tmp_path)})


def first_die(monkeypatch, count):
    """Let the first processes end before they answer, as one does that finds its port taken."""
    launch, processes = Kernel._launch, []

    async def dying(self):
        await launch(self)
        processes.append(self._manager)
        if len(processes) <= count:
            await self._manager.shutdown_kernel(now=True)

    monkeypatch.setattr(Kernel, "_launch", dying)
    return processes


def test_kernel_that_dies_at_once_is_started_again(tmp_path, monkeypatch):
    """Oracle: a first process that ends before it answers."""
    processes = first_die(monkeypatch, 1)
    source = store(tmp_path / "x.ipynb", cell("2 + 3"))
    assert shown(run_notebook(source)) == ["5"]
    assert len(processes) == 2


def test_no_kernel_at_all_is_said_of_every_notebook(tmp_path, monkeypatch):
    """Oracle: processes that all end before they answer."""
    monkeypatch.setattr(kernels, "_ATTEMPTS", 1)
    first_die(monkeypatch, 9)
    sources = [store(tmp_path / f"{name}.ipynb", cell("1")) for name in "ab"]
    for name, stopped in zip("ab", run(sources, jobs=1, progress=list), strict=True):
        assert str(stopped).startswith(
            f"{name}.ipynb: stopped before its first cell: no kernel could be star"
        )
        assert (stopped.code, stopped.known["cell"]) == ("no_kernel", 0)


def test_a_notebook_that_stops_costs_no_other(tmp_path):
    """Oracle: for one process an error, its end, no settings cell, a sum, its end after the last cell, a sum.

    The end of the process is noticed within two seconds, long before the ten minutes that a cell may take.
    """
    died = tmp_path / "died"
    end = f"import os, time\nopen({str(died)!r}, 'w').write(str(time.time()))\nos.kill(os.getpid(), 9)"
    settings = cell("a = 1", "parameters")
    cells = {
        "a": [settings, new_markdown_cell("words"), cell("1 / 0"), cell("2")],
        "b": [settings, cell(end), cell("2")],
        "c": [cell("2")],
        "d": [settings, cell("a + 3")],
        "e": [settings, cell("import os, threading\nthreading.Timer(0.05, os._exit, [0]).start()")],
        "f": [settings, cell("a + 4")],
    }
    sources = [store(tmp_path / f"{name}.ipynb", *those) for name, those in cells.items()]
    times = {}
    ran = run(
        sources, parameters={"a": 2}, jobs=1, progress=lambda line: times.setdefault(line[:10], time.time())
    )
    assert [str(stopped) for stopped in ran[:3]] == [
        "a.ipynb: cell 3 stopped: ZeroDivisionError: division by zero",
        "b.ipynb: cell 2 stopped: its Python process ended by signal 9 before the notebook did; "
        "memory may have run out",
        "c.ipynb: stopped before its first cell: "
        "notebook must have exactly one cell tagged parameters; got 0",
    ]
    assert [shown(ran[n]) for n in (3, 5)] == [["5"], ["6"]]
    assert times["b: stopped"] - float(died.read_text(encoding="utf-8")) < 2
    # a process that has ended is not waited for; one that does not answer is, for two minutes
    assert times["f: done in"] - times["e: done in"] < 60


def test_what_libraries_write_to_stderr_is_shown_once_and_not_published(tmp_path, capfd):
    """Oracle: a warning and words typed in two notebooks; what each process says at its start of a variable."""
    loud = "import os, sys, warnings\nprint('old way', file=sys.stderr)\nprint(4)"
    warn = (
        "print('\\x1b[31mred', file=sys.stderr)\n"
        "warnings.showwarning = lambda text, *_, **__: print(text, file=sys.stderr)\n"
        "warnings.warn('soon gone')"
    )
    sources = [store(tmp_path / f"{name}.ipynb", cell(loud), cell(warn), cell("5")) for name in "ab"]
    lines: list[str] = []
    ran = run(sources, environment={"PYTHONWARNINGS": "none such"}, progress=lines.append)
    assert [shown(notebook) for notebook in ran] == [["4\n", "5"]] * 2
    title, *said = lines[2].split("\n  ")
    assert title == "Written to stderr by the notebooks, not published:"
    assert said[:3] == ["old way", r"\x1b[31mred", "soon gone"]
    assert said[3:].count("Invalid -W option ignored: invalid action: 'none such'") == 1
    assert lines[3:] == []
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    ("source", "reason"),
    [
        ("1 / 0", "cell 2 stopped: ZeroDivisionError: division by zero"),
        ("import warnings\nwarnings.warn('careful')", "cell 2 stopped: UserWarning: careful"),
        ("import sys\nsys.stderr.write('noise') and None", "cell 2 wrote to stderr: noise"),
    ],
)
def test_a_notebook_that_stops_is_named(tmp_path, source, reason):
    """Oracle: the cell typed to stop."""
    path = store(tmp_path / "bad.ipynb", cell("1"), cell(source))
    with pytest.raises(MethodError, match=f"bad.ipynb: {reason}") as caught:
        run_notebook(path)
    assert caught.value.known["notebook"] == "bad.ipynb"
    assert caught.value.known["cell"] == 2


def test_committed_notebooks_are_renewed_in_place(tmp_path, capsys):
    """Oracle: the sum typed in the cell; a second run changes no byte; a bad one is left as it was."""
    path = store(tmp_path / "x.ipynb", cell("2 + 3"))
    unrun = path.read_bytes()
    assert notebooks.main([str(path), "--check"]) == 1
    assert path.read_bytes() == unrun
    assert notebooks.main([str(path)]) == 0
    assert shown(nbformat.read(path, 4)) == ["5"]
    assert notebooks.main([str(path), "--check"]) == 0
    bad = store(tmp_path / "bad.ipynb", cell("1 / 0"))
    before = bad.read_bytes()
    assert notebooks.main([str(bad)]) == 2
    assert bad.read_bytes() == before
    assert "bad.ipynb: cell 1 stopped" in capsys.readouterr().err


# ---- the answer at the top


def test_answer_at_the_top_is_what_the_working_found():
    """Oracle: the words and the image typed here; a second time changes nothing."""
    top = new_markdown_cell(
        "# Q?\n\n<!-- answer -->\nold\n<!-- end -->\n\nrest", metadata={"tags": ["answer"]}
    )
    words, figure = cell("w", "answer-source"), cell("f", "answer-source")
    words.outputs = [new_output("execute_result", data={"text/markdown": "5 % more", "text/plain": "x"})]
    figure.outputs = [new_output("execute_result", data={"image/png": "AAAA\n", "text/plain": "bars [1]"})]
    notebook = fill_answer(new_notebook(cells=[top, words, figure]))
    expected = (
        "# Q?\n\n<!-- answer -->\n\n5 % more\n\n![bars (1)](attachment:answer1.png)\n\n<!-- end -->\n\nrest"
    )
    assert notebook.cells[0].source == expected
    assert notebook.cells[0].attachments == {"answer1.png": {"image/png": "AAAA"}}
    assert fill_answer(notebook).cells[0].source == expected


def test_notebook_without_an_answer_cell_stays():
    """Oracle: the notebook itself."""
    notebook = new_notebook(cells=[cell("1", "answer-source")])
    assert fill_answer(notebook) is notebook
    assert notebook.cells[0].source == "1"


def test_a_notebook_that_nothing_feeds_stops_with_its_sentence_and_its_process_goes_on(tmp_path):
    """Oracle: the sentence typed here, and a sum in the notebook after it."""
    settings = cell("a = 1", "parameters")
    stop = "from photolab.errors import NotInFolder\nraise NotInFolder('No beam here: add beam.csv.')"
    sources = [
        store(tmp_path / "a.ipynb", settings, cell(stop), cell("1 / 0")),
        store(tmp_path / "b.ipynb", settings, cell("a + 4")),
    ]
    lines = []
    unfed, done = run(sources, jobs=1, progress=lines.append)
    assert isinstance(unfed, NotInFolder)
    assert str(unfed) == "a.ipynb: cell 2 stopped: No beam here: add beam.csv."
    assert lines[0].startswith("a: not fed by this folder, ")
    assert shown(done) == ["5"]
