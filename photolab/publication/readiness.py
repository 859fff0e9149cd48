"""`photolab check`: every fault and caution, then what the folder can and cannot say, and the best next step."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from photolab.bench.campaign import Campaign
from photolab.bench.evaluation import evaluate
from photolab.bench.faults import Problem
from photolab.bench.model import Bench
from photolab.bench.pairs import variance_by_term
from photolab.bench.records import read_bench
from photolab.errors import RecordError
from photolab.metrology.reporting import decimal
from photolab.publication.findings import joined
from photolab.publication.provenance import report_state
from photolab.publication.report_folder import partial_folder
from photolab.publication.statements import ADVICE, finding_words

NOTICED = frozenset({"mounting_flagged", "readings_linked", "baseline_absent", "baseline_one_end"})
"""Findings that no caution of the reader says already."""
SHOWN = 50
"""So many faults are printed; the rest are counted."""


@dataclass(frozen=True)
class Ability:
    """One thing a folder can or cannot say.

    Attributes
    ----------
    what : str
        The question.
    answer : str
        How well, or what to add.
    notebook : str
        Number of the notebook that answers it; empty for none.
    able : bool
        True where it can be said.
    """

    what: str
    answer: str
    notebook: str
    able: bool


def count(n: int, one: str, many: str | None = None) -> str:
    """Return a number with its noun.

    Parameters
    ----------
    n : int
        How many.
    one, many : str
        Noun in the singular and plural (singular + "s").

    Returns
    -------
    str
        "1 fault", "2 faults".
    """
    return f"{n} {one if n == 1 else many or one + 's'}"


def refusal(folder: Path, refused: RecordError) -> list[str]:
    """Return the lines for a folder that was refused.

    Parameters
    ----------
    folder : Path
        The folder.
    refused : RecordError
        All its problems.

    Returns
    -------
    list of str
        Lines to print.
    """
    faults = [p for p in refused.problems if not p.is_caution]
    cautions = [p for p in refused.problems if p.is_caution]
    counted = count(len(faults), "fault") + (f", {count(len(cautions), 'caution')}" if cautions else "")
    lines = [f"{folder.name}: {counted}. Nothing was changed."]
    lines += [f"  {fault}" for fault in faults[:SHOWN]]
    if len(faults) > SHOWN:
        lines.append(f"  … and {len(faults) - SHOWN} more")
    return [*lines, *_caution_lines(cautions), "Correct these in the files, then run the same line again."]


def _caution_lines(cautions: Iterable[Problem]) -> list[str]:
    return [f"  caution  {caution}" for caution in cautions]


def report(folder: Path, *, published: Path | None = None) -> list[str]:
    """Return what `photolab check` prints for a sound folder.

    Parameters
    ----------
    folder : Path
        The bench folder.
    published : Path, optional
        Its report; where `photolab appendix` puts it, if not given.

    Returns
    -------
    list of str
        Lines to print.

    Raises
    ------
    RecordError
        If the folder is refused.
    """
    bench = read_bench(folder)
    campaign = evaluate(bench)
    abilities = list(list_abilities(bench, campaign))
    lines = [f"{folder.resolve().name}: readable. {inventory(bench)}"]
    lines += _caution_lines(bench.warnings)
    lines += [f"  noticed  {finding_words(f)}" for f in campaign.findings if f.code in NOTICED]
    lines += [f"  left out  {said}" for said in left_out_words(campaign)]
    for log in bench.logs:
        lines.append(f"  logger file {log.file}, first rows as understood:")
        lines += [f"    {row}" for row in log.preview.to_string(index=False).splitlines()]
    for able, title in ((True, "You can say"), (False, "You cannot say yet")):
        block = [a for a in abilities if a.able is able]
        lines += [title, *_table(block)] if block else []
    lines += _published_lines(folder, published or Path("reports") / folder.resolve().name)
    return [*lines, f"Best next step: {next_step(bench, campaign)}", f"Next: photolab open {folder}"]


def left_out_words(campaign: Campaign) -> list[str]:
    """Return which readings did not enter, with the reason.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.

    Returns
    -------
    list of str
        "12 readings of K1 and K2: …", one a reason; empty where every reading entered.
    """
    said = []
    for reason, block in campaign.selection.left_out.groupby("reason", sort=False):
        said.append(f"{count(len(block), 'reading')} of {joined(dict.fromkeys(block['lamp']))}: {reason}.")
    return said


def _published_lines(folder: Path, published: Path) -> list[str]:
    """Return whether the report of a bench, where there is one, still matches it."""
    lines = []
    for place in (published, partial_folder(published)):
        if not place.is_dir():
            continue
        state = report_state(place, folder)
        if state.complete:
            lines.append(f"{place.as_posix()} is complete and matches these files.")
            continue
        lines.append(f"Report {place.as_posix()}: incomplete; write it anew with photolab appendix {folder}")
        lines += [f"  {problem}" for problem in state.problems]
    return lines


def inventory(bench: Bench) -> str:
    """Return how much the folder holds.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    str
        "24 readings, 3 lamps, 2 housings, 2 days; meter M1."
    """
    readings = bench.tables["readings"]
    parts = [count(len(readings), "reading"), count(readings["lamp"].nunique(), "lamp")]
    for column in ("housing", "day"):
        n = readings.loc[readings[column] != "", column].nunique()
        parts += [count(n, column)] if n else []
    meters = sorted(set(readings["meter"]))
    return f"{', '.join(parts)}; {'meter' if len(meters) == 1 else 'meters'} {', '.join(meters)}."


def _table(abilities: Sequence[Ability]) -> list[str]:
    wide = max(len(a.what) for a in abilities)
    answer = max(len(a.answer) for a in abilities)
    return [
        f"  {a.what:<{wide}}   {a.answer:<{answer}}   {'notebook ' + a.notebook if a.notebook else ''}".rstrip()
        for a in abilities
    ]


def list_abilities(bench: Bench, campaign: Campaign) -> Iterable[Ability]:
    """Yield what the folder can and cannot say.

    Parameters
    ----------
    bench : Bench
        The bench.
    campaign : Campaign
        Its evaluation.

    Yields
    ------
    Ability
        One question each.
    """
    yield _comparison(campaign)
    yield _seating(campaign)
    yield from _colour(bench)
    yield from _optional(bench)
    specimens = int(campaign.weights.counts["n_specimens"].max())
    enough = bool(specimens >= 3)
    answer = f"yes, up to {specimens} specimens of one lamp" if enough else "test 3 or more specimens"
    yield Ability("anything about the model as sold", answer, "10" if enough else "", enough)


def _comparison(campaign: Campaign) -> Ability:
    table = campaign.table
    table = table[table["scope"] == "specimens"] if len(table) else table
    half = [x for x in table["ln_expanded_uncertainty"] if not math.isnan(x)] if len(table) else []
    if half:
        middle = sorted(half)[len(half) // 2]
        return Ability(
            "how lamps compare in one housing", f"yes, to about ±{decimal(100 * middle, 0)} %", "01", True
        )
    if len(table):
        return Ability("how lamps compare in one housing", "add technology in lamps.csv", "01", False)
    return Ability("how lamps compare in one housing", "read a second lamp in the same housing", "01", False)


def _seating(campaign: Campaign) -> Ability:
    spread = campaign.spreads.mounting
    seatings = len(campaign.seats.drop_duplicates(["lamp", "specimen", "housing", "day", "mounting"]))
    if spread.assumed:
        answer = f"seat lamps again; {100 * spread.sd:g} % is assumed"
        return Ability("how repeatable your seating is", answer, "02", False)
    return Ability("how repeatable your seating is", f"yes, {count(seatings, 'seating')}", "02", True)


def _colour(bench: Bench) -> Iterable[Ability]:
    technologies = {t for t in bench.tables["lamps"]["technology"] if t}
    if "filament" not in technologies or len(technologies) < 2:
        return
    meter = next(iter(bench.meters.values()))
    if bench.spectra:
        answer = "with spectra on file"
    elif meter.spectral_factors:
        answer = "with a stated spectral factor"
    else:
        origin = "" if "mismatch_index_percent" in meter.declared else "assumed "
        answer = f"with f1' {origin}{meter.mismatch_index_percent:g} %"
    yield Ability("LED against halogen", answer, "05", True)


def _optional(bench: Bench) -> Iterable[Ability]:
    minutes = f"{bench.settings.hold_minutes:g}"
    distances = any(not math.isnan(h.distance_m) for h in bench.housings.values())
    rows = (
        ("warm_up", f"how much light is left after {minutes} minutes", "08", "add warm_up.csv"),
        ("thermal", "how hot a surface is", "09", "add thermal.csv"),
        ("electrical", "watts at the lamp", "10", "add electrical.csv"),
        ("beam", "where the light goes", "07", "add beam.csv"),
    )
    for table, what, notebook, add in rows:
        able = len(bench.tables[table]) > 0
        yield Ability(what, "yes" if able else add, notebook, able)
    run = len(bench.tables["distance"]) > 0
    answer = (
        "yes, with a distance run"
        if run
        else "apparent candela only; add distance.csv"
        if distances
        else "add distance_m"
    )
    yield Ability("candela", answer, "06", run or distances)


def next_step(bench: Bench, campaign: Campaign) -> str:
    """Return the step that would help the comparisons most.

    Parameters
    ----------
    bench : Bench
        The bench.
    campaign : Campaign
        Its evaluation.

    Returns
    -------
    str
        One sentence.
    """
    lamps = bench.tables["lamps"]
    unknown = [lamp for lamp, t in zip(lamps["lamp"], lamps["technology"], strict=True) if not t]
    if unknown:
        return f"write the technology of {unknown[0]} in lamps.csv."
    if not campaign.selection.baseline_declared:
        return "give one lamp the role baseline in lamps.csv."
    if campaign.spreads.mounting.assumed:
        seated = campaign.seats.groupby("lamp")["n"].size()
        lamp = seated.idxmin()
        return f"seat {lamp} three more times."
    largest = largest_term(campaign)
    return f"{ADVICE.get(largest, 'publish: photolab appendix on this folder')}."


def largest_term(campaign: Campaign) -> str:
    """Return the kind of input that most often is the largest of a comparison with the baseline.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.

    Returns
    -------
    str
        Kind; empty where nothing is compared.
    """
    total: dict[str, float] = {}
    for lamp, housing, point, instant in campaign.compared():
        pair = campaign.ratio(lamp, campaign.baseline, housing=housing, point=point, instant=instant)
        if pair.result is None:
            continue
        for term, part in variance_by_term(pair.result).items():
            total[term] = total.get(term, 0.0) + (part / pair.result.u**2 if part else 0.0)
    return max(total, key=lambda k: total[k]) if total else ""
