"""How many functions of the package stand between what was read and what is said of it.

Counted are different functions of `photolab`, by file and line, entered while two readings of a folder become a
sentence, and while one warm-up record becomes a figure; generators and comprehensions are not functions, and what runs
on import does not count.
Run: ``python tests/benchmarks/functions_between.py [FOLDER]``
"""

import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import photolab
from photolab.bench.folder.records import read_bench
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.heat import warm_up_runs
from photolab.publication.figures import records
from photolab.publication.figures.common import new_figure
from photolab.publication.sentences.words_lamp import lamp_sentence
from photolab.publication.words import say

ROOT = Path(photolab.__file__).parent


def entered(run: Callable[[], object]) -> Counter[str]:
    """Return the different functions of the package that a call enters, by room."""
    found: set[tuple[str, str, int]] = set()

    def note(frame: FrameType, event: str, _: object) -> None:
        code = frame.f_code
        if event == "call" and code.co_filename.startswith(str(ROOT)) and not code.co_name.startswith("<"):
            found.add((code.co_filename, code.co_name, code.co_firstlineno))

    sys.setprofile(note)
    try:
        run()
    finally:
        sys.setprofile(None)
    return Counter(Path(file).relative_to(ROOT).parts[0] for file, *_ in found)


def main(folder: Path) -> None:
    """Print the counts."""
    evaluated = evaluate(read_bench(folder))  # what is loaded when first used is loaded
    lamp, housing = next(name[:2] for name in evaluated.compared())
    lamp_sentence(evaluated, lamp, housing)
    bench = read_bench(folder)
    record = next(iter(warm_up_runs(bench))).record
    t, lux = record["elapsed_s"].to_numpy(float), record["illuminance_lx"].to_numpy(float)
    meter = photolab.Meter("meter", reading_percent=(3.0,))

    def drawn() -> None:
        _, (axes,) = new_figure()
        records.draw_curve(axes, t, lux, photolab.fit_warm_up(t, lux), at_s=2400.0)

    drawn()
    ways = {
        "two typed readings to their sentence": lambda: say(
            photolab.compare(318, 334, meter, technology="led")
        ),
        "reading a folder": lambda: read_bench(folder),
        "readings to the sentence on one lamp": lambda: lamp_sentence(evaluate(bench), lamp, housing),
        "a record to what is left of its light": lambda: say(photolab.fit_warm_up(t, lux).remaining(2400.0)),
        "a record to its figure": drawn,
    }
    for what, run in ways.items():
        told = entered(run)
        print(f"{what}: {sum(told.values())} functions; {dict(told)}")


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "data/demo"))
