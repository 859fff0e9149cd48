"""Thin commands: parse, call, print. Every heavy import happens inside the command that needs it."""

import argparse
import gc
import io
import os
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

from photolab.errors import PhotolabError, RecordError


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program's name.

    Returns
    -------
    int
        0 done, 2 the input was refused, 1 a part of the report is missing, or a defect, 130 stopped by Ctrl-C.
    """
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a sign that one side lacks is given by its number
    # one thread, as every kernel has: small products wait longer for a second one than it helps
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    try:
        return _run(list(sys.argv[1:] if argv is None else argv))
    except KeyboardInterrupt:
        gc.freeze()  # the process ends: to look through what the libraries hold would take a second
        print("Stopped by Ctrl-C.", file=sys.stderr)
        return 130


def _run(argv: list[str]) -> int:
    """Run a command, print its lines or say in words why it was refused, and return the exit status."""
    for_jupyterlab: list[str] = []
    if argv[:1] == ["open"] and "--" in argv:
        cut = argv.index("--")
        argv, for_jupyterlab = argv[:cut], argv[cut + 1 :]
    args = _parser().parse_args(argv, argparse.Namespace(for_jupyterlab=for_jupyterlab))
    try:
        done: int | Iterable[str] = args.command(args)
        if isinstance(done, int):
            return done
        for line in done:
            print(_plain(line))
    except BrokenPipeError:  # the reader of our output closed it, as `| head` does
        sys.stderr.close()
    except (PhotolabError, ValueError, OSError) as refused:
        said = str(refused)
        if isinstance(refused, RecordError) and args.command in (_check, _take):
            from photolab.publication.report import readiness

            said = "\n".join(readiness.refusal(Path(args.folder), refused))
        elif isinstance(refused, OSError) and refused.filename:
            said = f"{Path(str(refused.filename)).name}: {refused.strerror}"
        _tell(said)
        return 2
    return 0


def _plain(text: str) -> str:
    """Return text with control characters escaped."""
    return "".join(c if c == "\n" or c.isprintable() else repr(c)[1:-1] for c in text)


def _tell(line: str) -> None:
    """Write a line beside the output, at once."""
    print(_plain(line), file=sys.stderr, flush=True)


def _compare(args: argparse.Namespace) -> Iterable[str]:
    from photolab.publication.commands.compare_command import run

    return run(args)


def _check(args: argparse.Namespace) -> Iterable[str]:
    from photolab.publication.report import readiness

    return readiness.report(Path(args.folder), say=_tell)


def _new(args: argparse.Namespace) -> Iterable[str]:
    from photolab.bench.folder.write import new_folder, write_files

    folder = args.folder
    if args.demo:
        from photolab.publication.report.notebooks import demo_folder

        files = {file.name: file.read_bytes() for file in demo_folder().iterdir() if file.is_file()}
        write_files(files, Path(folder))
        return [f"{folder}: a copy of the invented demo bench. Next: photolab check {folder}"]
    new_folder(Path(folder), workbook=args.workbook)
    if args.workbook:
        return [
            f"{folder}: bench.xlsx is written. Fill in the meter's accuracy line (sheet bench) and your lamps "
            "(sheet lamps).",
            f"Then type readings (sheet readings), and: photolab check {folder}; plan and take want CSV files.",
        ]
    return [
        f"{folder}: written. Fill in the meter's accuracy line (bench.toml) and your lamps (lamps.csv).",
        f"Then: photolab plan {folder}; or type readings and: photolab check {folder}",
    ]


def _columns(args: argparse.Namespace) -> Iterable[str]:
    from photolab.bench.terms.schema import listing

    return listing(args.file, markdown=args.markdown)


def _plan(args: argparse.Namespace) -> Iterable[str]:
    from photolab.publication.commands.plan_sheet import run

    return run(args)


def _open(args: argparse.Namespace) -> int:
    from photolab.publication.commands.workplace import open_lab

    how = {"run": args.run, "browser": not args.no_browser, "options": args.for_jupyterlab}
    return open_lab(Path(args.folder), work=Path(args.work) if args.work else None, **how)


def _appendix(args: argparse.Namespace) -> int:
    from photolab.publication.report.appendix import publish

    folder = Path(args.folder)
    out = Path(args.out) if args.out else Path("reports") / folder.resolve().name
    published = publish(folder, out, jobs=args.jobs)
    names = dict.fromkeys(file.relative_to(published.out).parts[0] for file in published.files)
    print(f"{published.out}: {', '.join(names)}")
    for sentence in published.missing:
        _tell(sentence)
    if published.out != out:
        _tell(f"The complete report in {out} stays as it was.")
    return 1 if published.missing else 0


def _defend(args: argparse.Namespace) -> Iterable[str]:
    from photolab.bench.folder.records import read_bench
    from photolab.bench.results.evaluation import evaluate
    from photolab.publication.commands.defend import answer
    from photolab.publication.report.tables import results

    campaign = evaluate(read_bench(args.folder))
    for head, lines in answer(campaign, results(campaign), args.lamp).items():
        yield "\n".join([f"{head}:", *(f"  {line}" for line in lines), ""])


def _take(args: argparse.Namespace) -> Iterable[str]:
    from photolab.publication.commands import take_screen

    return [take_screen.run(Path(args.folder))]


def _rehearse(args: argparse.Namespace) -> Iterable[str]:
    from photolab.bench.drawn.redraw_tables import World
    from photolab.bench.drawn.rehearse import Plan
    from photolab.publication.commands import rehearsal
    from photolab.publication.commands.plan_sheet import refuse_only_planned

    try:
        differences = tuple(float(one) for one in args.differences.split(","))
    except ValueError:
        message = f"--differences must be percentages apart by commas: 0,3,5,10; got {args.differences}"
        raise ValueError(message) from None
    true: dict[str, Any] = {name.removeprefix("true_"): value for name, value in vars(args).items()}
    lamps, out = tuple(args.lamps.split(",")) if args.lamps else (), Path(args.out) if args.out else None
    plan = Plan(seed=args.seed, differences=differences, lamps=lamps)
    world = World(**{one.name: true[one.name] for one in fields(World)})
    how = {name: true[name] for name in ("benches", "jobs", "whole")} | {"tell": rehearsal.show_progress}
    try:
        found = rehearsal.rehearse(Path(args.folder), plan=plan, world=world, out=out, **how)
    except RecordError:
        refuse_only_planned(Path(args.folder))
        raise
    return rehearsal.words(found)


def _simulate(args: argparse.Namespace) -> Iterable[str]:
    from photolab.bench.drawn.demo import demo_truth
    from photolab.bench.drawn.simulation import simulate, write_simulation

    write_simulation(simulate(demo_truth(), seed=args.seed), Path(args.out))
    return [f"{args.out}: an invented bench, seed {args.seed}. Next: photolab check {args.out}"]


FOLDER = ("folder", None)
FROM_ONE = {"type": int, "default": 1}
TRUE_SD = {"type": float}
UNTRUE = {"type": float, "default": 0.0}
COMMANDS: dict[Callable[[argparse.Namespace], int | Iterable[str]], tuple[Any, ...]] = {
    _check: ("every fault and caution of a bench folder, and what it can and cannot say", "", FOLDER),
    _new: (
        "write a smallest bench folder to fill in",
        "",
        FOLDER,
        ("--workbook", "one bench.xlsx instead of CSV files"),
        ("--demo", "a copy of the invented demo bench"),
    ),
    _columns: (
        "every file, column and key of a bench folder, what it is and an example",
        "",
        ("file", "one of them: readings.csv, bench.toml, meter, …", {"nargs": "?", "default": ""}),
        ("--markdown", "as Markdown tables"),
    ),
    _plan: (
        "what fits one evening: plan.csv and a page to print and write on",
        "Before the first reading as after the tenth: it reads [[question]] first and touches no reading.",
        FOLDER,
        ("--hours H", "time there is (default: 3)"),
        ("--lamps A,B", "these lamps only, and the baseline"),
        ("--housings X,Y", "these housings only"),
        ("--date YYYY-MM-DD", "day of the evening (default: today)"),
        ("--seed S", "seed of the random order and of the benches drawn (default: 1)"),
        ("--benches N", "benches drawn to rehearse what it will show; 0: by formula alone (default: 60)"),
    ),
    _open: (
        "JupyterLab at the first notebook on a bench folder, in working copies",
        "What follows -- is passed on to JupyterLab: photolab open mybench -- --port=9999",
        FOLDER,
        ("--work WORK", "folder for the working copies (default: <folder name>-notebooks)"),
        ("--run", "run the new copies first"),
        ("--no-browser", "do not open a browser window"),
    ),
    _compare: (
        "two readings: how much more light, and is that within meter error",
        "",
        ("a", "first reading, or a lamp of --bench", {"metavar": "A", "nargs": "?"}),
        ("b", "second reading, or a lamp of --bench; the ratio is B/A", {"metavar": "B", "nargs": "?"}),
        (
            "--bench BENCH",
            "take meter, range, technology and seating from a bench folder; its lamps may be named",
        ),
        ("--reading-percent N", "percent of reading, from the accuracy line of the meter's manual"),
        ("--range-percent N", "percent of range (of full scale), from the accuracy line"),
        ("--digits N", "digits (counts), from the accuracy line"),
        ("--mismatch-percent N", "spectral mismatch index f1'"),
        ("--mounting-sd-percent N", "SD of seating a lamp once"),
        ("--specimen-sd-percent N", "SD between specimens: the answer is then for the models"),
        ("--mountings N", "how often each lamp was seated"),
        ("--coverage N", "coverage probability of the interval"),
        ("--range R[,R2]", "top of the meter's range, one value serves both"),
        ("--resolution S[,S2]", "last figure that can change on that range"),
        ("--technology T[,T2]", "filament, led, discharge or other"),
        ("--unit", None, {"choices": ("lx", "fc"), "default": "lx"}),
        ("--json", "print JSON"),
    ),
    _defend: (
        "a lamp's figures for somebody who doubts them, and what would change them",
        "[[their_figure]] and [[our_earlier]] in bench.toml set somebody else's figure, a maker's reply, or your "
        "results.csv of last year beside it.",
        FOLDER,
        ("--lamp LAMP", "the lamp that is doubted, as lamps.csv names it", {"required": True}),
    ),
    _appendix: (
        "the methods appendix of a bench folder",
        "A part that fails is left out and named on page one, on stderr and by photolab check; a complete report from "
        "before then stays, and the new one goes to the same name with .partial.",
        FOLDER,
        ("--out OUT", "where to (default: reports/<folder name>)"),
        ("--jobs JOBS", "processes for the notebooks", {"type": int, "default": 2}),
    ),
    _take: (
        "type the readings of a test day while the bench is hot",
        "Figures, Enter and the words undo, skip, swap (this step and the next), note TEXT, keep (what was asked "
        "about), stop. It follows plan.csv, or any lamp whose code is typed. Figures between the marks become a record "
        "of warm_up.csv; watts are asked for where electrical.csv is there. Everything is kept at once in "
        "take-YYYY-MM-DD.journal, whole seatings are appended to readings.csv, a new date to days.csv where days are "
        "called by their dates, and no row is changed. Of what is measured it says only how wide the interval is.",
        FOLDER,
    ),
    _rehearse: (
        "the protocol of a bench folder on drawn benches: what it will be able to show",
        "Benches of the same seatings, specimens and meters are drawn with known truth and evaluated as readings are. "
        "Counted, each with its standard error and lamp by lamp in the CSV file: how many intervals hold the truth, "
        "false claims, with what chance a true difference is shown, half-widths. Stopped, the same line goes on where "
        "it was. --true-seating-percent 4 tells what a wrong declaration would cost. Light that is modulated is not "
        "drawn.",
        FOLDER,
        ("--benches BENCHES", "how many are drawn (default: 1000)", {"type": int, "default": 1000}),
        ("--jobs JOBS", "processes; the result does not hang on them", FROM_ONE),
        ("--lamps A,B", "B against A alone (default: every lamp against the baseline)"),
        ("--differences P,P", "true differences in percent", {"default": "0,3,5,10"}),
        ("--whole", "every other file too: watts, temperatures, runs, records, beams"),
        ("--seed SEED", None, FROM_ONE),
        ("--out OUT", "CSV file (default: <folder name>-rehearsal.csv)"),
        ("--true-seating-percent N", "true SD of a seating, if not as the folder says", TRUE_SD),
        ("--true-specimen-percent N", "true SD of a specimen, if not as the folder says", TRUE_SD),
        ("--true-day-percent N", "true SD of a day, if not as the folder says", TRUE_SD),
        (
            "--seats",
            "true law of seatings",
            {"choices": ("normal", "rectangular", "skewed"), "default": "normal"},
        ),
        (
            "--meter",
            "limit: at one end of its limits",
            {"choices": ("anywhere", "limit"), "default": "anywhere"},
        ),
        (
            "--true-aim-percent N",
            "mean loss of light of a seating whose hot spot misses the meter; in no folder",
            UNTRUE,
        ),
        (
            "--true-near-field-m N",
            "with --whole: a source that is not small; runs lose (N / distance) squared",
            UNTRUE,
        ),
    ),
    _simulate: (
        "write an invented bench with known truth",
        "",
        ("out", None),
        ("--seed SEED", None, FROM_ONE),
    ),
}
"""Of each command what it is, what is said below its options, and its arguments: name, what it is, what else is told.

An option that names no value is a switch.
"""


def _parser() -> argparse.ArgumentParser:
    """Return the parser of all commands."""
    about = "A methods workbench for bench tests of headlamp light sources."
    parser = argparse.ArgumentParser(prog="photolab", description=about, allow_abbrev=False)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for run, (text, below, *arguments) in COMMANDS.items():
        name = run.__name__.removeprefix("_")
        command = commands.add_parser(name, help=text, description=text, epilog=below, allow_abbrev=False)
        command.set_defaults(command=run)
        options = command.add_mutually_exclusive_group() if run is _new else command
        for named, told, *more in arguments:
            flag, _, value = named.partition(" ")
            optional = flag.startswith("-")
            usual = {"metavar": value} if value else {"action": "store_true"} if optional and not more else {}
            (options if optional else command).add_argument(flag, help=told, **usual, **dict(*more))
    return parser
