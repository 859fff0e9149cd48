"""Thin commands: parse, call, print. Every heavy import happens inside the command that needs it."""

import argparse
import gc
import io
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any


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
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a terminal that lacks a sign gets its number
    # one thread, as every kernel has: small products wait longer for a second one than it helps
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    try:
        return _run(list(sys.argv[1:] if argv is None else argv))
    except KeyboardInterrupt:
        gc.freeze()  # the process ends: to look through what the libraries hold would take a second
        print("Stopped by Ctrl-C.", file=sys.stderr)
        return 130


def _run(argv: list[str]) -> int:
    """Run a command and say in words why it was refused."""
    from photolab.errors import PhotolabError

    for_jupyterlab: list[str] = []
    if argv[:1] == ["open"] and "--" in argv:
        cut = argv.index("--")
        argv, for_jupyterlab = argv[:cut], argv[cut + 1 :]
    args = _parser().parse_args(argv, argparse.Namespace(for_jupyterlab=for_jupyterlab))
    command: Callable[[argparse.Namespace], int] = args.run
    try:
        return command(args)
    except BrokenPipeError:  # the reader of our output closed it, as `| head` does
        sys.stderr.close()
        return 0
    except (PhotolabError, ValueError, OSError) as refused:
        if isinstance(refused, OSError) and refused.filename:
            print(_plain(f"{Path(str(refused.filename)).name}: {refused.strerror}"), file=sys.stderr)
        else:
            print(_plain(str(refused)), file=sys.stderr)
        return 2


def _plain(text: str) -> str:
    """Return text with control characters escaped."""
    return "".join(c if c == "\n" or c.isprintable() else repr(c)[1:-1] for c in text)


def _parser() -> argparse.ArgumentParser:
    """Return the parser of all commands."""
    parser = argparse.ArgumentParser(
        prog="photolab",
        description="A methods workbench for bench tests of headlamp light sources.",
        allow_abbrev=False,
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    def add(
        name: str, run: Callable[[argparse.Namespace], int], text: str, more: str = ""
    ) -> argparse.ArgumentParser:
        command = commands.add_parser(name, help=text, description=text, epilog=more, allow_abbrev=False)
        command.set_defaults(run=run)
        return command

    check = add("check", _check, "every fault and caution of a bench folder, and what it can and cannot say")
    check.add_argument("folder")
    new = add("new", _new, "write a smallest bench folder to fill in")
    new.add_argument("folder")
    shape = new.add_mutually_exclusive_group()
    shape.add_argument("--workbook", action="store_true", help="one bench.xlsx instead of CSV files")
    shape.add_argument("--demo", action="store_true", help="a copy of the invented demo bench")
    columns = add(
        "columns", _columns, "every file, column and key of a bench folder, what it is and an example"
    )
    columns.add_argument(
        "file", nargs="?", default="", help="one of them: readings.csv, bench.toml, meter, …"
    )
    columns.add_argument("--markdown", action="store_true", help="as Markdown tables")
    plan = add(
        "plan",
        _plan,
        "what fits one evening: plan.csv and a page to print and write on",
        "Before the first reading as after the tenth: it reads [[question]] first and touches no reading.",
    )
    plan.add_argument("folder")
    for name, value, text in (
        ("--hours", "H", "time there is (default: 3)"),
        ("--lamps", "A,B", "these lamps only, and the baseline"),
        ("--housings", "X,Y", "these housings only"),
        ("--date", "YYYY-MM-DD", "day of the evening (default: today)"),
        ("--seed", "S", "seed of the random order and of the benches drawn (default: 1)"),
        ("--benches", "N", "benches drawn to rehearse what it will show; 0: by formula alone (default: 60)"),
    ):
        plan.add_argument(name, metavar=value, help=text)
    opened = add(
        "open",
        _open,
        "JupyterLab at the first notebook on a bench folder, in working copies",
        "What follows -- is passed on to JupyterLab: photolab open mybench -- --port=9999",
    )
    opened.add_argument("folder")
    opened.add_argument("--work", help="folder for the working copies (default: <folder name>-notebooks)")
    opened.add_argument("--run", dest="run_copies", action="store_true", help="run the new copies first")
    opened.add_argument("--no-browser", action="store_true", help="do not open a browser window")
    _add_compare(
        add("compare", _compare, "two readings: how much more light, and is that within meter error")
    )
    defend = add(
        "defend",
        _defend,
        "a lamp's figures for somebody who doubts them, and what would change them",
        "[[their_figure]] and [[our_earlier]] in bench.toml set somebody else's figure, a maker's reply, or your "
        "results.csv of last year beside it.",
    )
    defend.add_argument("folder")
    defend.add_argument("--lamp", required=True, help="the lamp that is doubted, as lamps.csv names it")
    appendix = add(
        "appendix",
        _appendix,
        "the methods appendix of a bench folder",
        "A part that fails is left out and named on page one, on stderr and by photolab check; a complete report from "
        "before then stays, and the new one goes to the same name with .partial.",
    )
    appendix.add_argument("folder")
    appendix.add_argument("--out", help="where to (default: reports/<folder name>)")
    appendix.add_argument("--jobs", type=int, default=2, help="processes for the notebooks")
    take = add(
        "take",
        _take,
        "type the readings of a test day while the bench is hot",
        "Figures, Enter and the words undo, skip, swap (this step and the next), note TEXT, keep (what was asked "
        "about), stop. It follows plan.csv, or any lamp whose code is typed. Figures between the marks become a record "
        "of warm_up.csv; watts are asked for where electrical.csv is there. Everything is kept at once in "
        "take-YYYY-MM-DD.journal, whole seatings are appended to readings.csv, a new date to days.csv where days "
        "are called by their dates, and no row is changed. Of what is "
        "measured it says only how wide the interval is.",
    )
    take.add_argument("folder")
    _add_rehearse(
        add(
            "rehearse",
            _rehearse,
            "the protocol of a bench folder on drawn benches: what it will be able to show",
            "Benches of the same seatings, specimens and meters are drawn with known truth and evaluated as readings "
            "are. Counted, each with its standard error and lamp by lamp in the CSV file: how many intervals hold the "
            "truth, false claims, with what chance a true difference is shown, half-widths. Stopped, the same line "
            "goes on where it was. --true-seating-percent 4 tells what a wrong declaration would cost. Light that is "
            "modulated is not drawn.",
        )
    )
    simulate = add("simulate", _simulate, "write an invented bench with known truth")
    simulate.add_argument("out")
    simulate.add_argument("--seed", type=int, default=1)
    return parser


def _add_compare(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of compare."""
    parser.add_argument("a", metavar="A", nargs="?", help="first reading, or a lamp of --bench")
    parser.add_argument(
        "b", metavar="B", nargs="?", help="second reading, or a lamp of --bench; the ratio is B/A"
    )
    parser.add_argument(
        "--bench",
        help="take meter, range, technology and seating from a bench folder; its lamps may be named",
    )
    for name, text in (
        ("--reading-percent", "percent of reading, from the accuracy line of the meter's manual"),
        ("--range-percent", "percent of range (of full scale), from the accuracy line"),
        ("--digits", "digits (counts), from the accuracy line"),
        ("--mismatch-percent", "spectral mismatch index f1'"),
        ("--mounting-sd-percent", "SD of seating a lamp once"),
        ("--specimen-sd-percent", "SD between specimens: the answer is then for the models"),
        ("--mountings", "how often each lamp was seated"),
        ("--coverage", "coverage probability of the interval"),
    ):
        parser.add_argument(name, metavar="N", help=text)
    parser.add_argument("--range", metavar="R[,R2]", help="top of the meter's range, one value serves both")
    parser.add_argument("--resolution", metavar="S[,S2]", help="last figure that can change on that range")
    parser.add_argument("--technology", metavar="T[,T2]", help="filament, led, discharge or other")
    parser.add_argument("--unit", choices=("lx", "fc"), default="lx")
    parser.add_argument("--json", action="store_true", help="print JSON")


def _add_rehearse(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of rehearse."""
    parser.add_argument("folder")
    parser.add_argument("--benches", type=int, default=1000, help="how many are drawn (default: 1000)")
    parser.add_argument("--jobs", type=int, default=1, help="processes; the result does not hang on them")
    parser.add_argument(
        "--lamps", metavar="A,B", help="B against A alone (default: every lamp against the baseline)"
    )
    parser.add_argument(
        "--differences", metavar="P,P", default="0,3,5,10", help="true differences in percent"
    )
    parser.add_argument(
        "--whole", action="store_true", help="every other file too: watts, temperatures, runs, records, beams"
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", help="CSV file (default: <folder name>-rehearsal.csv)")
    for what in ("seating", "specimen", "day"):
        parser.add_argument(
            f"--true-{what}-percent",
            type=float,
            metavar="N",
            help=f"true SD of a {what}, if not as the folder says",
        )
    parser.add_argument(
        "--seats", choices=("normal", "rectangular", "skewed"), default="normal", help="true law of seatings"
    )
    parser.add_argument(
        "--meter", choices=("anywhere", "limit"), default="anywhere", help="limit: at one end of its limits"
    )
    for name, text in (
        (
            "--true-aim-percent",
            "mean loss of light of a seating whose hot spot misses the meter; in no folder",
        ),
        ("--true-near-field-m", "with --whole: a source that is not small; runs lose (N / distance) squared"),
    ):
        parser.add_argument(name, type=float, default=0.0, metavar="N", help=text)


def _compare(args: argparse.Namespace) -> int:
    from photolab.publication.compare_command import run

    for line in run(args):
        print(line)
    return 0


def _check(args: argparse.Namespace) -> int:
    from photolab.errors import RecordError
    from photolab.publication import readiness

    try:
        lines = readiness.report(Path(args.folder), say=lambda line: print(line, file=sys.stderr, flush=True))
    except RecordError as refused:
        print("\n".join(readiness.refusal(Path(args.folder), refused)), file=sys.stderr)
        return 2
    print("\n".join(lines))
    return 0


def _new(args: argparse.Namespace) -> int:
    if args.demo:
        from photolab.bench.write import write_files
        from photolab.publication.notebooks import demo_folder

        files = {file.name: file.read_bytes() for file in demo_folder().iterdir() if file.is_file()}
        write_files(files, Path(args.folder))
        print(f"{args.folder}: a copy of the invented demo bench. Next: photolab check {args.folder}")
        return 0
    from photolab.bench.records import new_folder

    options: dict[str, Any] = {"workbook": True} if args.workbook else {}
    new_folder(Path(args.folder), **options)
    print(
        f"{args.folder}: written. Fill in the meter's accuracy line (bench.toml) and your lamps (lamps.csv)."
    )
    print(f"Then: photolab plan {args.folder}; or type readings and: photolab check {args.folder}")
    return 0


def _columns(args: argparse.Namespace) -> int:
    from photolab.bench.schema import listing

    print("\n".join(listing(args.file, markdown=args.markdown)))
    return 0


def _plan(args: argparse.Namespace) -> int:
    from photolab.publication.plan_sheet import run

    for line in run(args):
        print(_plain(line))
    return 0


def _open(args: argparse.Namespace) -> int:
    from photolab.publication.workplace import open_lab

    work = Path(args.work) if args.work else None
    return open_lab(
        Path(args.folder),
        work=work,
        run=args.run_copies,
        browser=not args.no_browser,
        options=args.for_jupyterlab,
    )


def _appendix(args: argparse.Namespace) -> int:
    from photolab.publication.appendix import publish

    folder = Path(args.folder)
    out = Path(args.out) if args.out else Path("reports") / folder.resolve().name
    published = publish(folder, out, jobs=args.jobs)
    names = dict.fromkeys(file.relative_to(published.out).parts[0] for file in published.files)
    print(f"{published.out}: {', '.join(names)}")
    for sentence in published.missing:
        print(_plain(sentence), file=sys.stderr)
    if published.out != out:
        print(f"The complete report in {out} stays as it was.", file=sys.stderr)
    return 1 if published.missing else 0


def _defend(args: argparse.Namespace) -> int:
    from photolab.bench.evaluation import evaluate
    from photolab.bench.records import read_bench
    from photolab.publication.defend import answer
    from photolab.publication.tables import results

    campaign = evaluate(read_bench(args.folder))
    for head, lines in answer(campaign, results(campaign), args.lamp).items():
        print(_plain("\n".join([f"{head}:", *(f"  {line}" for line in lines), ""])))
    return 0


def _take(args: argparse.Namespace) -> int:
    from photolab.errors import RecordError
    from photolab.publication import readiness, take_screen

    try:
        print(_plain(take_screen.run(Path(args.folder))))
    except RecordError as refused:
        print("\n".join(readiness.refusal(Path(args.folder), refused)), file=sys.stderr)
        return 2
    return 0


def _rehearse(args: argparse.Namespace) -> int:
    from photolab.bench.redraw import World
    from photolab.bench.rehearse import Plan
    from photolab.errors import RecordError
    from photolab.publication import rehearsal
    from photolab.publication.plan_sheet import refuse_only_planned

    try:
        differences = tuple(float(one) for one in args.differences.split(","))
    except ValueError:
        message = f"--differences must be percentages apart by commas: 0,3,5,10; got {args.differences}"
        raise ValueError(message) from None
    lamps = tuple(args.lamps.split(",")) if args.lamps else ()
    try:
        found = rehearsal.rehearse(
            Path(args.folder),
            benches=args.benches,
            jobs=args.jobs,
            plan=Plan(seed=args.seed, differences=differences, lamps=lamps),
            world=World(
                args.true_seating_percent,
                args.true_specimen_percent,
                args.true_day_percent,
                args.seats,
                args.meter,
                args.true_aim_percent,
                args.true_near_field_m,
            ),
            whole=args.whole,
            out=Path(args.out) if args.out else None,
            tell=rehearsal.show_progress,
        )
    except RecordError:
        refuse_only_planned(Path(args.folder))
        raise
    print(_plain("\n".join(rehearsal.words(found))))
    return 0


def _simulate(args: argparse.Namespace) -> int:
    from photolab.bench.demo import demo_truth
    from photolab.bench.simulation import simulate_with_truth, write_simulation

    write_simulation(simulate_with_truth(demo_truth(), seed=args.seed), Path(args.out))
    print(f"{args.out}: an invented bench, seed {args.seed}. Next: photolab check {args.out}")
    return 0
