"""A bench drawn again with known truth: the readings of any protocol, each declared input from its declared law.

What the readings of a folder evaluate to is taken as true; its specimens, seatings, readings, days, housings, meters
and ranges stay. Everything that may be off is drawn afresh for each bench, each source from a stream of its own that
follows from the seed, the number of the bench and the source's name: another source moves no other draw. No
sensitivity of the evaluation takes part: light is multiplied by what a lamp, a seat, a supply and a meter do to it,
and shown as a display shows it. Links between meters are drawn as two more readings of one seating, so that they err
as the meters do. A wrong aim and a near field are declared by no folder: a `World` may have them. Not drawn: light that
is modulated, a drop of the supply before the socket. A blank of the folder stays a blank, a dark reading as it was.
"""

import math
from collections.abc import Hashable, Mapping
from copy import copy
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from photolab.bench.drawn.redraw_tables import AS_DECLARED, DRAWN, SHAPES, Known, World
from photolab.bench.folder.tables import empty_table
from photolab.bench.inputs import corrections as steps
from photolab.bench.inputs.readings import DRIFT_PERCENT_PER_HOUR, ELAPSED_U_S, WARM_UP_SLOPE, clock_hours
from photolab.bench.inputs.seats import SEATED, hours_from_middle
from photolab.bench.inputs.selection import instants
from photolab.bench.inputs.shared_inputs import own_colour_likeness
from photolab.bench.inputs.spreads import Spreads
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.evaluation import MEASURED, certificate_ages, evaluate
from photolab.bench.terms import instruments
from photolab.bench.terms.columns import Array, Columns, Groups, Integers, equal
from photolab.bench.terms.model import Bench
from photolab.bench.terms.schema import TABLES
from photolab.metrology.monte_carlo import stream
from photolab.metrology.quantity import Input

Name = tuple[str, ...]

_ROOT_3 = np.sqrt(3.0)
_NO_SUPPLY = 1e-3  # of the reference voltage: below it a lamp is dark


@dataclass(frozen=True, eq=False)
class Drawn:
    """A bench that was drawn, and what is true on it.

    Attributes
    ----------
    bench : Bench
        As the reader would return it.
    ln_light : dict
        (lamp, housing, point, instant, scope) to ln of the light at the reference conditions, mean of the pieces on the
        bench (scope "specimens") or of the model. [ln lx]
    others : dict
        Watts, temperatures, intensities, beams and what a record shows, by measurand, lamp, housing, point and instant.
        [W, degC, K, cd, 1, %, s]
    """

    bench: Bench
    ln_light: Mapping[Name, float]
    others: Mapping[Name, float]


@dataclass(frozen=True, eq=False)
class _Source:
    """One sort of thing that may be off: a draw for each group of rows that share it."""

    name: Hashable
    shape: str
    sd: Array
    """Of each group [unit]."""
    code: Integers
    """Group of each row."""
    loading: Array
    """Of each row [1/unit]."""
    onto: str
    """What it moves: ln of the light, the reading by a factor, or the display by so many lux."""

    def draw(self, seed: int, number: int) -> Array:
        """Return the draw of each group [unit]."""
        return SHAPES[self.shape](stream(seed, (number, self.name)), len(self.sd)) * self.sd


@dataclass(eq=False)
class Protocol:
    """A bench that can be drawn again, any number of times.

    Parameters
    ----------
    bench : Bench
        The bench as it was read: what its readings evaluate to is taken as true.
    world : World
        What is true and not as declared.
    whole : bool, default False
        Draw watts, temperatures, distance runs, warm-up records, beams and links too.
    spreads : Spreads, optional
        Standard deviations that are true, of every lamp; those that its readings show where not given.

    Attributes
    ----------
    names : tuple of tuple
        (lamp, housing, point, instant) of each light that is known.
    baseline : str
        The lamp that the others are divided by.
    not_drawn : tuple of str
        Tables that are left out of the benches drawn.
    """

    bench: Bench
    world: World = AS_DECLARED
    whole: bool = False
    spreads: Spreads | None = None

    def __post_init__(self) -> None:
        tables = self.bench.tables
        mine = ("readings", *(DRAWN if self.whole else ()))
        self._links: Integers = np.zeros(0, dtype=np.intp)
        self.not_drawn = tuple(name for name in MEASURED if name not in mine and len(tables[name]))
        empty = {name: tables[name].iloc[:0] for name in self.not_drawn}
        self.bench = replace(self.bench, tables={**tables, **empty})
        self._sources: list[_Source] = []
        campaign = evaluate(self.bench, spreads=self.spreads)
        self.baseline = campaign.baseline
        self._levels(campaign)
        self._spreads = campaign.spreads
        self._rows()
        self._lamps(campaign)
        self._meters()

    def _levels(self, campaign: Campaign) -> None:
        """Keep ln of the light of every lamp at both instants, and the pieces that each is the mean of."""
        level: dict[Name, float] = {}
        for joint in (campaign.joint, campaign.held.joint):
            level |= zip(joint.names, joint.values.tolist(), strict=True)
        pieces: dict[Name, list[str]] = {}
        columns = ("lamp", "housing", "point", "instant", "specimen")
        every = campaign.means.groups(*columns).first
        for *place, piece in zip(*(map(str, campaign.means[c][every]) for c in columns), strict=True):
            pieces.setdefault(tuple(place), []).append(piece)
        self.names = tuple(level)
        self._level = np.array(list(level.values()))
        self._place = {name: k for k, name in enumerate(self.names)}
        firsts = [(name, pieces.get((*name[:3], "initial"), pieces.get(name, []))) for name in self.names]
        self._owners = [[(name[0], piece) for piece in held] for name, held in firsts]

    def _rows(self) -> None:
        """Keep the readings that are drawn: those at one of the two instants of a lamp whose light is known."""
        readings, instant = self.bench.tables["readings"], instants(self.bench)
        keys = zip(readings["lamp"], readings["housing"], readings["point"], instant, strict=True)
        at = np.array([self._place.get(tuple(map(str, key)), -1) for key in keys], dtype=np.intp)
        self._drawn = np.flatnonzero(at >= 0)
        several = self.whole or len(set(readings["meter"])) > 1
        linked = self._linked() if several else readings.iloc[:0]
        instant = np.concatenate([instant[self._drawn], np.full(len(linked), "initial")])
        self._at = np.concatenate([at[self._drawn], np.zeros(len(linked), dtype=np.intp)])
        table = readings.iloc[self._drawn]
        rows = self.rows = Columns(pd.concat([table, linked], ignore_index=True) if len(linked) else table)
        self._read = np.arange(rows.rows) < len(self._drawn)
        rows["instant"] = instant.astype(object)
        rows["clock_h"] = clock_hours(rows["clock"])
        of = self.bench.technologies
        rows["technology"] = np.array([of.get(lamp, "") for lamp in rows["lamp"]], dtype=object)
        self._dark = np.nan_to_num(rows.numbers("dark_lx"))

    def _linked(self) -> pd.DataFrame:
        """Return two readings of one seating for each row of links.csv whose lamp and meters are known.

        A link names no range: the one that its meter is read on most, if it holds the figure, else the lowest that
        does. Dark readings are off its figures, so no range term is on them.
        """
        readings, links, meters = self.bench.tables["readings"], self.bench.tables["links"], self.bench.meters
        known = links["lamp"].isin(list(self._spreads.reading))
        known &= links[["old_meter", "new_meter"]].isin(list(meters)).all(axis=1)
        self._links = np.flatnonzero(known)
        ends = [{f"{end}_lx": "illuminance_lx", f"{end}_meter": "meter"} for end in ("old", "new")]
        told = pd.concat([links[known].rename(columns=names) for names in ends]).sort_index(kind="stable")
        top = []
        for meter, light in zip(told["meter"], told["illuminance_lx"], strict=True):
            most = readings.loc[readings["meter"] == meter, "range_lx"].mode()
            top.append(next((t for t in (*most, *meters[meter].ranges_lx) if t > light), math.nan))
        alone = [f"link {k}" for k in told.index]  # one seating, on a day of its own
        told = told.assign(range_lx=top, point="hot_spot", mounting=alone, day=alone)
        return empty_table(TABLES["readings"], len(told), told)

    def _add(
        self, name: Hashable, shape: str, sd: ArrayLike, groups: Groups, load: ArrayLike, onto: str = "light"
    ) -> None:
        """Add a source; `sd` is one figure, or one for each group."""
        each = np.broadcast_to(np.asarray(sd, dtype=float), len(groups))
        loads = np.broadcast_to(np.asarray(load, dtype=float), self.rows.rows)
        if each.any() and (loads.any() or self.whole):  # a piece may fade in its record alone
            self._sources.append(_Source(name, shape, each, groups.code, loads, onto))

    def _lamps(self, campaign: Campaign) -> None:
        """Add what lamps, seats, days, supply and clock bring."""
        rows, spreads, world = self.rows, self._spreads, self.world

        def first(groups: Groups, column: str) -> list[str]:
            return [str(label) for label in rows[column][groups.first]]

        def true(percent: float | None, sds: list[float]) -> Array:
            return np.array(sds) if percent is None else np.full(len(sds), percent / 100.0)

        piece = rows.groups("lamp", "specimen")
        pieces = zip(first(piece, "lamp"), first(piece, "specimen"), strict=True)
        self._pieces = {key: k for k, key in enumerate(pieces)}
        owners = [[self._pieces[key] for key in keys if key in self._pieces] for keys in self._owners]
        self._mean = np.zeros((len(owners), len(piece)))
        for k, mine in enumerate(owners):
            self._mean[k, mine] = 1.0 / max(len(mine), 1)
        hold = np.asarray(rows["instant"] == "hold", dtype=float)
        filament = np.asarray(rows["technology"] == "filament", dtype=float)
        seat, day, each = rows.groups(*SEATED), rows.groups("day", "housing"), equal(np.arange(rows.rows))
        part = rows.groups(*SEATED, "point", "instant", "clock_h")
        sds = [spreads.specimens[lamp].sd for lamp in first(piece, "lamp")]
        self._add("specimen", "normal", true(world.specimen_percent, sds), piece, 1.0)
        left = [campaign.held.spreads[lamp].sd for lamp in first(piece, "lamp")]
        self._add("remaining", "normal", np.array(left), piece, hold)
        sds = [spreads.heated[t].sd if t in spreads.heated else 0.0 for t in first(seat, "technology")]
        self._add("heating", "normal", np.array(sds), seat, hold)
        sds = [spreads.seating_in(h).sd for h in first(seat, "housing")]
        self._add("seating", world.seats, true(world.seating_percent, sds), seat, 1.0)
        self._add("aim", "missed", world.aim_percent / 100.0, seat, 1.0)
        sds = [spreads.reading[lamp].sd for lamp in first(each, "lamp")]
        self._add("noise", "normal", np.array(sds), each, 1.0)
        self._add("day", "normal", true(world.day_percent, [spreads.day.sd] * len(day)), day, 1.0)
        self._add("drift", "normal", DRIFT_PERCENT_PER_HOUR / 100.0, day, hours_from_middle(rows))
        timed = (rows["instant"] == "initial") & ~np.isnan(rows.numbers("elapsed_s"))
        self._add("elapsed time", "normal", ELAPSED_U_S, part, WARM_UP_SLOPE * (1.0 - filament) * timed)
        settings = self.bench.settings
        self._warm = np.nan_to_num(rows.numbers("ambient_C") - settings.reference_ambient_C)
        led = np.where(rows["technology"] == "led", self._warm, 0.0)
        self._add("ambient", "rectangular", steps.LED_AMBIENT_LIMIT / _ROOT_3, rows.groups("lamp"), led)
        self._fixed = self._level[self._at] + steps.LED_AMBIENT_COEFFICIENT * led
        volts = rows.numbers("socket_V")
        self._stated = (filament > 0.0) & ~np.isnan(volts)
        self._volts = np.where(self._stated, volts / settings.reference_voltage_V, 1.0)
        self._filament, self._part = filament, part

    def _meters(self) -> None:
        """Add what each meter brings: within the limits of its manual or certificate, and by its colour."""
        rows = self.rows
        ranges, self._step = rows.numbers("range_lx"), np.zeros(rows.rows)
        seated = rows.groups(*SEATED, "point", "instant")  # one range, where it is not known
        rows["range"] = np.where(np.isnan(ranges), -1.0 - seated.code, ranges)
        expected = np.ones(rows.rows)
        self._zeros: dict[tuple[str, float], tuple[Hashable, int]] = {}
        likeness, ages = own_colour_likeness(self.bench.tables["lamps"]), certificate_ages(self.bench)
        for label in dict.fromkeys(rows["meter"].tolist()):
            meter, mine = self.bench.meters[label], np.asarray(rows["meter"] == label)
            one, of_range, of_lamp = (rows.groups("meter", *more) for more in ((), ("range",), ("lamp",)))
            tops = ranges[of_range.first].tolist()
            acts, steps_lx = (
                np.array([of(meter, top) for top in tops])[of_range.code] * mine
                for of in (instruments.scale_loading, instruments.resolution_lx)
            )
            self._step += steps_lx * self._read  # a link is a mean of several figures
            for q in instruments.scale_inputs(meter, years_since_certificate=ages.get(label, 0.0)):
                self._add_input(q, one, acts)
            known = set(ranges[mine & self._read].tolist())
            if len(known) > 1:
                self._add_input(instruments.gain_input(meter, ()), of_range, mine)
            terms = [instruments.range_input(meter, top, ()) for top in tops]
            sds = np.array([q.u for q in terms])
            self._add_input(terms[0], of_range, mine * self._read, onto="display", sd=sds)
            for k in np.flatnonzero(mine[of_range.first]).tolist():
                self._zeros[str(meter.id), tops[k]] = terms[0].name, k
            linear = instruments.linearity_input(meter, ())
            self._add_input(linear, rows.groups("meter", "range", "lamp", "housing"), mine)
            warm = instruments.meter_temperature_input(meter, "")
            self._add_input(warm, rows.groups("meter", "day"), self._warm * mine)
            lamps, lights = (list(map(str, rows[c][of_lamp.first])) for c in ("lamp", "technology"))
            found = map(partial(steps.spectral_factor, self.bench, meter.id), lamps, lights)
            factor, u, own = np.array([told or (1.0, np.nan, False) for told in found], dtype=float).T
            if meter.certificate is not None:
                factor = factor * meter.certificate.correction
            expected = np.where(mine, 1.0 / factor[of_lamp.code], expected)
            other = mine & np.asarray(rows["technology"] != "filament")
            plain = np.isnan(u)
            for light in dict.fromkeys(lights):
                lit = other & np.asarray(rows["technology"] == light)
                self._add_input(instruments.colour_input(meter, light), one, lit & plain[of_lamp.code], light)
                for spread in dict.fromkeys(u[~plain].tolist()):
                    same, name = lit & (u == spread)[of_lamp.code], ("colour", meter.id, light, spread)
                    self._add(name, "normal", spread, one, same, "reading")
            shares = [instruments.own_colour_input(meter, "", likeness.get(lamp, "like")) for lamp in lamps]
            alone = other & (own == 0.0)[of_lamp.code]
            self._add_input(shares[0], of_lamp, alone, sd=np.array([q.u for q in shares]))
        self._expected = np.log(expected)
        old = rows.numbers("illuminance_lx")[~self._read][::2]  # what the old meter showed is taken as it was
        self._fixed[~self._read] = np.repeat(np.log(old) - self._expected[~self._read][::2], 2)

    def _add_input(
        self, q: Input, of: Groups, load: Array, *more: str, onto: str = "reading", sd: Array | None = None
    ) -> None:
        """Add an input of the meter by its declared law."""
        name = (*(q.name if isinstance(q.name, tuple) else (q.name,)), *more)
        self._add(name, self.world.shape(q), q.u if sd is None else sd, of, load, onto)

    def draw(self, seed: int, number: int) -> Drawn:
        """Return one bench.

        Parameters
        ----------
        seed : int
            Seed of all benches, zero or more.
        number : int
            Which of them; its draws hang on no other.

        Returns
        -------
        Drawn
            The bench and its truth.
        """
        light = self._fixed + self._expected
        display, factor = np.zeros(self.rows.rows), np.ones(self.rows.rows)
        kept: dict[Hashable, Array] = {}
        for source in self._sources:
            kept[source.name] = drawn = source.draw(seed, number)
            moved = source.loading * drawn[source.code]
            if source.onto == "light":
                light += moved
            elif source.onto == "display":
                display += moved
            else:
                factor *= 1.0 + moved
        light += self._supply(seed, number)
        shown = np.exp(light) * factor + display + self._dark
        step = np.where(self._step > 0.0, self._step, 1.0)
        shown = np.where(self._step > 0.0, np.round(shown / step) * step, shown)
        readings = self.bench.tables["readings"]
        figures = readings["illuminance_lx"].to_numpy(copy=True)
        shown = np.maximum(np.round(shown, 9), 1e-9)
        figures[self._drawn] = shown[self._read]
        tables = {**self.bench.tables, "readings": readings.assign(illuminance_lx=figures)}
        if len(self._links):
            links = tables["links"][["old_lx", "new_lx"]].to_numpy(copy=True)
            links[self._links] = shown[~self._read].reshape(-1, 2)
            tables["links"] = tables["links"].assign(old_lx=links[:, 0], new_lx=links[:, 1])
        others: dict[Name, float] = {}
        for name in (one for one in DRAWN if self.whole and len(tables[one])):
            tables[name], told = DRAWN[name](self._known(kept, seed, number, name))
            others |= told
        bench = copy(self.bench)
        object.__setattr__(bench, "tables", tables)  # places in it were rounded when it was read
        return Drawn(bench, self._truth(kept), others)

    def _known(self, kept: Mapping[Hashable, Array], seed: int, *source: Hashable) -> Known:
        """Return what a table beside the readings is drawn from."""
        fade, own = kept.get("remaining", np.zeros(len(self._pieces))), self.world.seating_percent
        left: dict[tuple[str, str, str], float] = {}
        for name in self.names:
            start = (*name[:3], "initial")
            if name[2:] == ("hot_spot", "hold") and start in self._place:
                apart = float(self._level[self._place[name]] - self._level[self._place[start]])
                for piece in self._pieces.keys() & self._owners[self._place[start]]:
                    left[name[0], name[1], piece[1]] = apart + float(fade[self._pieces[piece]])
        sds = {h: self._spreads.seating_in(h).sd if own is None else own / 100.0 for h in self.bench.housings}
        zeros = {key: float(kept[name][k]) for key, (name, k) in self._zeros.items() if name in kept}
        return Known(self.bench, self.world, lambda of: stream(seed, (*source, of)), left, sds, zeros)

    def _supply(self, seed: int, number: int) -> Array:
        """Return what the supply does to filament lamps, in ln."""
        if not self._filament.any():
            return np.zeros(self.rows.rows)
        reference = self.bench.settings.reference_voltage_V
        names = ("voltmeter", "voltage exponent", "supply voltage", "supply assumed")
        meter, law, volts, assumed = (stream(seed, (number, name)) for name in names)
        scale = meter.uniform(-1.0, 1.0) * steps.VOLTMETER_SCALE_PERCENT / 100.0
        each = volts.standard_normal(len(self._part)) * steps.VOLTMETER_U_V / reference
        off = assumed.uniform(-1.0, 1.0) * steps.ASSUMED_VOLTAGE_LIMIT_V / reference
        true = np.where(self._stated, self._volts / (1.0 + scale) + each[self._part.code], 1.0 + off)
        true = np.maximum(true, _NO_SUPPLY)  # a slip of the pen may have written millivolts
        exponent = steps.FILAMENT_FLUX_EXPONENT + steps.FILAMENT_EXPONENT_U * law.standard_normal()
        return self._filament * np.where(self._stated, exponent, steps.FILAMENT_FLUX_EXPONENT) * np.log(true)

    def _truth(self, kept: Mapping[Hashable, Array]) -> dict[Name, float]:
        """Return ln of the light of each lamp: of the pieces on the bench, and of the model."""
        nothing = np.zeros(len(self._pieces))
        own = self._mean @ kept.get("specimen", nothing)
        fade = self._mean @ kept.get("remaining", nothing)
        hold = np.array([name[3] == "hold" for name in self.names])
        here = (self._level + own + np.where(hold, fade, 0.0)).tolist()
        told = {(*name, "models"): float(x) for name, x in zip(self.names, self._level, strict=True)}
        return told | {(*name, "specimens"): x for name, x in zip(self.names, here, strict=True)}
