"""`photolab check`: every fault and caution, then what the folder can and cannot say, and the best next step."""

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

import pandas as pd

from photolab.bench.folder.cautions import beside_initial, listed
from photolab.bench.folder.records import read_bench
from photolab.bench.folder.write import READINGS
from photolab.bench.inputs.corrections import spectral_factor
from photolab.bench.inputs.seats import SEATED
from photolab.bench.questions.review import causes
from photolab.bench.results.beams import evaluate_beams
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.evaluation import evaluate
from photolab.bench.terms.contents import CONTENTS
from photolab.bench.terms.faults import shown
from photolab.bench.terms.model import Bench
from photolab.bench.terms.schema import technology_name
from photolab.errors import RecordError
from photolab.metrology.reporting import decimal
from photolab.publication.report.provenance import report_state
from photolab.publication.report.report_folder import partial_folder
from photolab.publication.sentences import statements
from photolab.publication.sentences.findings import joined
from photolab.publication.sentences.statements import count, finding_words, in_housing, interval_words
from photolab.publication.sentences.words_lamp import family_sentence, lamp_sentence

NOTICED = frozenset(
    {"mounting_flagged", "readings_linked", "baseline_absent", "baseline_one_end", "record_apart"}
)
"""Findings that no caution of the reader says already."""
LONG_S = 60.0
"""What is expected to take longer is said first. [s]"""
SECONDS_PER_MB = {".csv": 0.2, ".xlsx": 12.0}
"""Time to read a file, by its size as it lies in the folder; measured once, for the order of size. [s/MB]"""
SECONDS_2000_SEATS = 3.0
"""Time to compare 2000 seatings jointly; grows as their number to the power 1.8. [s]"""
SHOWN = 50
"""So many faults are printed; the rest are counted."""


class Ability(NamedTuple):
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
    lines += [f"  caution  {one}" for one in cautions]
    lines.append("Correct these in the files, then run the same line again.")
    path = folder / "readings.csv"
    raw = path.read_bytes() if path.is_file() else b""
    # as it was written new, or its heads alone
    unfilled = raw == READINGS.encode() or len(raw.splitlines()) == 1
    if unfilled and any(fault.file == path.name for fault in faults):
        lines.append("readings.csv holds no figure yet: type your lamps there, or let photolab take fill it.")
    return lines


def report(
    folder: Path, *, published: Path | None = None, say: Callable[[str], None] = lambda _: None
) -> list[str]:
    """Return what `photolab check` prints for a sound folder.

    Parameters
    ----------
    folder : Path
        The bench folder.
    published : Path, optional
        Its report; where `photolab appendix` puts it, if not given.
    say : callable
        Takes a line at once: that a large folder will take more than a minute, and how far it is.

    Returns
    -------
    list of str
        Lines to print.

    Raises
    ------
    RecordError
        If the folder is refused.
    """
    name = folder.resolve().name
    sizes = [(path.suffix, path.stat().st_size / 2**20) for path in folder.glob("*") if path.is_file()]
    reading = sum(SECONDS_PER_MB.get(suffix, 0.0) * size for suffix, size in sizes)
    if reading > LONG_S:
        say(f"{name}: reading the files will take about {reading / 60:.0f} min.")
    bench = read_bench(folder)
    seats = len(bench.tables["readings"][[*SEATED, "point"]].drop_duplicates())
    comparing = SECONDS_2000_SEATS * (seats / 2000.0) ** 1.8
    if reading + comparing > LONG_S:
        say(f"{name}: read. Comparing {seats} seatings will take about {max(comparing / 60, 1):.0f} min.")
    campaign = evaluate(bench)
    if reading + comparing > LONG_S:
        say(f"{name}: compared.")
    abilities = list(list_abilities(bench, campaign))
    lines = [f"{name}: readable. {inventory(bench)}", *first_answer(campaign)]
    lines += [f"  caution  {one}" for one in bench.warnings]
    lines += [f"  noticed  {finding_words(f)}" for f in campaign.noticed if f.code in NOTICED]
    lines += [f"  left out  {said}" for said in left_out_words(campaign)]
    for log in bench.logs:
        units = f"units row skipped ({shown(log.units)}), " if log.units else ""
        into = f"{shown(log.file)} ({log.encoding}) into {log.into}"
        lines.append(f"  {into}, {units}first rows as understood:")
        figures = log.preview.map(lambda cell: f"{cell:.6g}" if isinstance(cell, float) else shown(cell))
        lines += [f"    {row}" for row in figures.to_string(index=False).splitlines()]
    if bench.photos:
        lamps = joined(dict.fromkeys(photo.lamp for photo in bench.photos))
        lines += [
            f"  {count(len(bench.photos), 'photo')} of {lamps} will be published: look for number plates, faces, "
            "addresses and papers in them. Place, date and camera are left out by photolab."
        ]
    for able, title in ((True, "You can say"), (False, "You cannot say yet")):
        block = [a for a in abilities if a.able is able]
        lines += [title, *_table(block)] if block else []
    lines += _published_lines(folder, published or Path("reports") / name)
    return [*lines, f"Best next step: {next_step(bench, campaign)}", f"Next: photolab open {folder}"]


def first_answer(campaign: Campaign) -> list[str]:
    """Return what the readings say of the first lamp that is compared with the baseline.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.

    Returns
    -------
    list of str
        One line at the initial time, one at the hold time if it was held; nothing where no lamp is compared.
    """
    settings, base = campaign.bench.settings, campaign.baseline
    ranges = f"ranges of {100.0 * settings.coverage:g} %"
    first = (name for name in campaign.compared() if name[2:] == ("hot_spot", "initial"))
    for lamp, housing, point, _ in first:
        place, when = in_housing(housing), f"{settings.initial_s:g} s after switch-on, {ranges}"
        said = [f"First answer{place}, {when}: {lamp_sentence(campaign, lamp, housing)}"]
        if (lamp, housing, point, "hold") in campaign.compared("hold"):
            late = campaign.ratio(lamp, base, housing=housing, instant="hold")
            if not late.missing:
                words = f"{interval_words(late)} light than {base}, {statements.SCOPE_WORDS['specimens']}."
                among = family_sentence(campaign, lamp, base, housing=housing, instant="hold")
                when = f"After {settings.hold_minutes:g} min{place}, {ranges}"
                said.append(f"{when}: {lamp}: {words} {among}".rstrip())
        return said
    return []


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
    left_out = campaign.selection.left_out.groupby("reason", sort=False)["lamp"]
    return [f"{count(len(of), 'reading')} of {joined(dict.fromkeys(of))}: {why}." for why, of in left_out]


def _published_lines(folder: Path, published: Path) -> list[str]:
    """Return whether the report of a bench, where there is one, still matches it."""
    lines = []
    for place in filter(Path.is_dir, (published, partial_folder(published))):
        state, said = report_state(place, folder), f"{place.as_posix()} is complete and matches these files."
        if not state.complete:
            said = f"Report {place.as_posix()}: incomplete; write it anew with photolab appendix {folder}"
        lines += [said, *(f"  {problem}" for problem in state.problems)]
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
    wide, answer = (max(len(getattr(a, name)) for a in abilities) for name in ("what", "answer"))
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
    yield from _remaining(bench, campaign)
    yield from _optional(campaign)
    specimens = int(campaign.weights.counts["n_specimens"].max())
    enough = bool(specimens >= 3)
    answer = f"yes, up to {specimens} specimens of one lamp" if enough else "test 3 or more specimens"
    yield Ability("anything about the model as sold", answer, "10" if enough else "", enough)


def _comparison(campaign: Campaign) -> Ability:
    table, half = campaign.table, list[float]()
    answer = "add technology in lamps.csv" if len(table) else CONTENTS["two lamps"].bring
    if len(table):
        half = sorted(table.loc[table["scope"] == "specimens", "ln_expanded_uncertainty"].dropna())
    if half:
        answer = f"yes, to about ±{decimal(100 * half[len(half) // 2], 0)} %"
    return Ability("how lamps compare in one housing", answer, "01", bool(half))


def _seating(campaign: Campaign) -> Ability:
    spread = campaign.spreads.mounting
    seatings = len(campaign.seats.drop_duplicates(SEATED))
    again = f"seat lamps again; {campaign.bench.settings.mounting_sd_percent:g} % is assumed"
    answer = again if spread.assumed else f"yes, {count(seatings, 'seating')}"
    return Ability("how repeatable your seating is", answer, "02", not spread.assumed)


def _colour(bench: Bench) -> Iterable[Ability]:
    first, *others = sorted({*bench.tables["lamps"]["technology"]} - {""}, reverse=True) or [""]
    if not others:
        return
    meter = next(iter(bench.meters.values()))
    origin = "" if "mismatch_index_percent" in meter.declared else "assumed "
    index = f"with f1' {origin}{meter.mismatch_index_percent:g} %"
    answer = "with a stated spectral factor" if meter.spectral_factors else index
    known = bench.technologies.items()
    found = (spectral_factor(bench, label, *one) for label in bench.meters for one in known)
    if any(one is not None and one[2] for one in found):
        answer = "with spectra on file"
    elif bench.spectra:
        answer += "; the spectra on file correct nothing: it takes a lamp's and its meter's responsivity"
    kinds = f"{technology_name(first)} against {joined(map(technology_name, others))}"
    yield Ability(kinds.replace("filament", "halogen"), answer, "05", True)


def _remaining(bench: Bench, campaign: Campaign) -> Iterable[Ability]:
    """Yield for which lamps it is known how much light is left at the hold time, and which lack a reading there."""
    minutes = bench.settings.hold_minutes
    what = f"how much light is left after {minutes:g} minutes"
    names = campaign.weights.names
    held = {name[:2] for name in names if name[3] == "hold" and (*name[:3], "initial") in names}
    records = bench.tables["warm_up"]
    records = records[~records["run"].isin(beside_initial(bench)["run"])]
    ends = records.groupby(["lamp", "housing"], sort=False)["elapsed_s"].max() / 60.0
    recorded = held | set(ends.index[ends >= minutes])
    known = {lamp for lamp, _ in recorded}
    short = {lamp: f"{ends[lamp, h]:.3g}" for lamp, h in ends.index[ends < minutes] if lamp not in known}
    said = [f"a bound only for {lamp}, whose record ends at {end} min" for lamp, end in short.items()]
    lamps = bench.tables["readings"]["lamp"].nunique()
    if known:
        said.insert(0, "yes" if len(known) == lamps else f"yes, for {len(known)} of {lamps} lamps")
    if said:
        yield Ability(what, "; ".join(said), "08", True)
    early = dict.fromkeys((name[0], name[1]) for name in names if name[3] == "initial")
    if where := by_housing(one for one in early if one not in recorded):
        answer = f"read one seating of each specimen at {minutes:g} minutes too: {where}"
        yield Ability(what, answer, "", False)
    unheld = _unheld(campaign, records)
    if where := by_housing((f"{lamp} {piece}", h) for lamp, piece, h in unheld if (lamp, h) in recorded):
        what = f"what each specimen keeps after {minutes:g} minutes"
        yield Ability(what, f"read these at {minutes:g} minutes too: {where}", "", False)


def by_housing(named: Iterable[tuple[str, str]]) -> str:
    """Return names in words, housing by housing.

    Parameters
    ----------
    named : iterable of (str, str)
        A name and its housing.

    Returns
    -------
    str
        The names of each housing, in the order of their first; blank where there is none.
    """
    found: dict[str, list[str]] = {}
    for name, housing in named:
        found.setdefault(housing, []).append(name)
    return "; ".join(f"{listed(names)}{in_housing(housing)}" for housing, names in found.items())


def _unheld(campaign: Campaign, records: pd.DataFrame) -> Iterable[tuple[str, str, str]]:
    """Yield lamp, specimen and housing of the pieces that were read at the initial time and never at the hold time."""
    seats, minutes = campaign.seats, campaign.bench.settings.hold_minutes
    seats = seats[seats["point"] == "hot_spot"]
    by = {instant: rows[["lamp", "specimen", "housing"]] for instant, rows in seats.groupby("instant")}
    early = by.get("initial", seats[["lamp", "specimen", "housing"]].iloc[:0]).drop_duplicates()
    late = pd.concat(
        [records.loc[records["elapsed_s"] >= 60.0 * minutes, [*early]], by.get("hold", early.iloc[:0])]
    )
    held = set(late.itertuples(index=False, name=None))
    for piece in early.itertuples(index=False, name=None):
        if not {piece, (piece[0], "", piece[2])} & held:
            yield piece


def _optional(campaign: Campaign) -> Iterable[Ability]:
    bench = campaign.bench
    for thing, notebook in {"thermal": "09", "watts": "10"}.items():
        (what, bring), able = CONTENTS[thing], bench.has(thing)
        yield Ability(what, "yes" if able else bring, notebook, able)
    yield _beams(campaign)
    able = bench.has("distance")
    answer = "apparent candela only; add distance.csv" if able else "add distance_m"
    run = len(bench.tables["distance"]) > 0
    yield Ability(CONTENTS["distance"].what, "yes, with a distance run" if run else answer, "06", able)


def _beams(campaign: Campaign) -> Ability:
    """Return whether beams say where the light goes, and of how many runs they do not."""
    bench, (what, bring) = campaign.bench, CONTENTS["beam"]
    if not bench.has("beam"):
        return Ability(what, bring, "07", able=False)
    found = evaluate_beams(bench, corrections=campaign.enabled, baseline=campaign.baseline)
    if found.refusals and not found.results:
        one = found.refusals[0]
        return Ability(what, f"run {shown(one.run)}: {one.message}", "07", able=False)
    lost = f", but not {count(len(found.refusals), 'run')} (see what is held back)" if found.refusals else ""
    return Ability(what, f"yes{lost}", "07", able=True)


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
        return f"write the technology of {listed(unknown)} in lamps.csv."
    if not campaign.selection.baseline_declared:
        return f"give one lamp the role baseline in lamps.csv; until then it is {campaign.baseline}."
    compared = campaign.compared()
    meters = sorted(set(bench.tables["readings"]["meter"]))
    if not compared and len(meters) > 1:
        return f"read all lamps with {meters[0]}, or three lamps of a technology with {joined(meters)} (links.csv)."
    seated = campaign.seats.groupby("lamp")["n"].size()
    if campaign.spreads.mounting.assumed:
        return f"seat {seated.idxmin()} three more times."
    largest = next(iter(causes(campaign)["kind"]), "")
    if largest == "mounting":
        return _seat_again(campaign)
    filament = listed(lamps.loc[lamps["technology"] == "filament", "lamp"]) or campaign.baseline
    names = {"baseline": campaign.baseline, "meter": f"meter {campaign.selection.meter}"}
    return f"{statements.advice(largest, 'publish: photolab appendix on this folder', filament=filament, **names)}."


def _seat_again(campaign: Campaign) -> str:
    """Return which lamp to seat again, and how often: the one that needs fewest seatings to be told apart."""
    lacking: dict[tuple[str, ...], int] = {}
    counts = dict(zip(campaign.weights.names, campaign.weights.counts["n_mountings"], strict=True))
    for name in campaign.compared():
        pair = campaign.ratio(name[0], campaign.baseline, housing=name[1], point=name[2])
        need = pair.mountings_to_separate.even_chance if pair.mountings_to_separate else None
        if (more := (need or 0) - int(counts[name])) > 0:
            lacking[name] = more
    lamp, housing, *_ = min(lacking or counts, key=lambda one: (lacking or counts)[one])
    if not lacking:
        return f"seat {lamp} once more{in_housing(housing)}: it was seated least often there."
    more = min(lacking.values())
    times = "once more" if more == 1 else f"{more} more times"
    chance = f"then it is an even chance that it is told apart from {campaign.baseline}"
    return f"seat {lamp} {times}{in_housing(housing)}: {chance}."
