"""Pooled spread, one-way analysis and gauge studies against certified and published values."""

import gzip
import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from photolab.errors import MethodError
from photolab.metrology import precision
from photolab.metrology.components import nested_components
from photolab.metrology.gauge import gauge_study
from photolab.metrology.planning import planned_sd
from photolab.metrology.precision import homogeneity, pooled_sd
from photolab.publication.sentences import words_bench

REFERENCE = Path(__file__).parent / "reference"
EXAMPLES = {entry["id"]: entry for entry in json.loads((REFERENCE / "precision_examples.json").read_text())}


def strd(name):
    """Return one NIST StRD data set."""
    path = REFERENCE / "nist_strd" / f"{name}.json"
    if path.exists():
        return json.loads(path.read_text())
    return json.loads(gzip.decompress(path.with_suffix(".json.gz").read_bytes()))


def digits(found, certified):
    """Return the number of correct digits, 15 at most (the log relative error of the StRD)."""
    return min(15.0, -math.log10(max(abs(found / certified - 1.0), 1e-15)))


# One-way analysis -----------------------------------------------------------------------------------------


def one_way(groups):
    """Return the nested components of groups, their mean squares and degrees of freedom."""
    table = pd.DataFrame(
        [(name, y) for name, values in groups.items() for y in values], columns=["group", "y"]
    )
    found = nested_components(table, "y", "group")
    size = len(table) / len(groups)
    return found, found.squares.squares * [size, 1.0], found.dof


@pytest.mark.parametrize(
    ("name", "least"),
    # Digits wanted: 9 up to seven constant leading digits; with thirteen, the binary form of the data holds
    # no more than 4.
    [
        ("SiRstv", 9),
        ("SmLs01", 9),
        ("SmLs02", 9),
        ("SmLs03", 9),
        ("SmLs05", 9),
        ("SmLs06", 9),
        ("SmLs08", 3.5),
    ],
)
def test_certified_analysis_of_variance(name, least):
    """Oracle: NIST StRD, certified values of the one-way analysis of variance."""
    entry = strd(name)
    group, y = np.array(entry["data"]["group"]), np.array(entry["data"]["y"])
    result, squares, dof = one_way({k: y[group == k] for k in np.unique(group)})
    certified = entry["certified"]
    assert digits(squares[0] / squares[1], certified["between"]["F"]) >= least
    assert digits(squares[0], certified["between"]["ms"]) >= least
    assert digits(squares[1], certified["within"]["ms"]) >= least
    assert digits(result.sd("reading"), certified["residual_sd"]) >= least
    assert list(dof) == [certified["between"]["df"], certified["within"]["df"]]


@pytest.mark.parametrize("name", ["Michelso", "NumAcc1", "NumAcc2", "NumAcc3"])
def test_certified_standard_deviation(name):
    """Oracle: NIST StRD, certified standard deviation; NumAcc3 has eight constant leading digits."""
    entry = strd(name)
    sd, dof = pooled_sd([entry["data"]["y"]])
    assert digits(sd, entry["certified"]["sd"]) >= (9 if name == "NumAcc3" else 12)
    assert dof == entry["certified"]["n"] - 1


def test_published_one_way():
    """Oracle: NIST/SEMATECH e-Handbook 7.4.3.3 and GUM H.5 (both seen in the published text)."""
    entry = EXAMPLES["nist.prc.7.4.3"]
    _, squares, dof = one_way(dict(enumerate(entry["inputs"]["y"])))
    published, f = entry["published"], squares[0] / squares[1]
    # Half a unit in the last printed digit.
    assert_allclose(squares * dof, [float(published[key]) for key in ("SST", "SSE")], atol=0.0005, rtol=0)
    assert_allclose(f, float(published["F"]), atol=0.005, rtol=0)
    assert_allclose(stats.f.sf(f, *dof), float(published["p"]), atol=0.000005, rtol=0)


def test_published_homogeneity_of_items():
    """Oracle: ISO 13528:2022 E.2, 10 items x 2 (as quoted in a secondary text)."""
    entry = EXAMPLES["iso13528.E2"]
    result, squares, _ = one_way(dict(enumerate(entry["inputs"]["hom"])))
    # Half a unit in the last printed digit.
    assert_allclose(result.mean.value, float(entry["published"]["mean"]), atol=0.000005, rtol=0)
    assert_allclose(result.sd("reading"), float(entry["published"]["s_w"]), atol=0.000005, rtol=0)
    assert_allclose(result.sd("group"), float(entry["published"]["s_s"]), atol=0.000005, rtol=0)
    assert_allclose(np.sqrt(squares[0] / 2.0), float(entry["published"]["s_x"]), atol=0.000005, rtol=0)
    assert result.sd("group") <= 0.3 * 0.15 * result.mean.value  # the criterion, kept


# Pooled SD and homogeneity --------------------------------------------------------------------------------


def test_pooled_sd():
    """Oracle: closed form, sums of squares 2 and 8 on 2 and 1 dof; a single value adds nothing."""
    sd, dof = pooled_sd({"a": [1.0, 2.0, 3.0], "b": [0.0, 4.0], "c": [7.0]})
    assert_allclose(sd, math.sqrt(10.0 / 3.0), rtol=1e-14)  # float rounding
    assert dof == 3.0
    with pytest.raises(MethodError, match="repeated value; got 2 groups"):
        pooled_sd([[1.0], [2.0]])
    with pytest.raises(MethodError, match=r"equal those of their group \(2 groups\)") as refused:
        pooled_sd([[1.0, 1.0], [2.0, 2.0]])
    assert refused.value.code == "all_equal"
    with pytest.raises(ValueError, match=r"groups\['b'\]\[1\] must be finite; got nan"):
        pooled_sd({"a": [1.0, 2.0], "b": [1.0, math.nan]})
    with pytest.raises(ValueError, match=r"groups\[1\] must be a row of at least one value"):
        pooled_sd([[1.0, 2.0], []])
    with pytest.raises(ValueError, match="groups must hold at least one group"):
        pooled_sd([])


def test_homogeneity_against_scipy():
    """Oracle: scipy.stats.bartlett; its chi-square law is good for groups of 20."""
    rng = np.random.default_rng(3)
    groups = {name: rng.normal(0.0, sd, 20) for name, sd in zip("abcd", (1.0, 1.1, 1.2, 2.2), strict=True)}
    result = homogeneity(groups, trials=40_000)
    other = stats.bartlett(*groups.values())
    assert_allclose(result.statistic, other.statistic, rtol=1e-10)  # float rounding
    # Three Monte Carlo standard errors of the simulated probability.
    assert_allclose(result.p, other.pvalue, atol=3.0 * math.sqrt(other.pvalue / 40_000) + 5e-4, rtol=0)
    variances = np.array([g.var(ddof=1) for g in groups.values()])
    assert result.widest == "abcd"[int(np.argmax(variances))]
    assert_allclose(result.widest_share, variances.max() / variances.sum(), rtol=1e-12)  # definition


def test_homogeneity_of_pairs():
    """Oracle: for two pairs the ratio of variances is F(1, 1): P(share >= c) = 2 P(F >= c / (1 - c)),
    closed form.
    """
    result = homogeneity([[0.0, 1.0], [0.0, 9.0]], trials=40_000)
    f = 81.0
    assert_allclose(result.widest_share, f / (1.0 + f), rtol=1e-12)  # definition
    exact = 2.0 * stats.f.sf(f, 1, 1)
    tolerance = 3.0 * math.sqrt(exact / 40_000)  # three Monte Carlo standard errors
    assert_allclose(result.widest_p, exact, atol=tolerance, rtol=0)
    assert_allclose(result.p, exact, atol=tolerance, rtol=0)  # with two groups both statistics order alike


def test_homogeneity_of_unequal_groups():
    """Oracle: closed form for 1 and 4 dof, P = P(F(1, 4) >= f) + P(F(4, 1) >= f), f = share / (1 - share)."""
    result = homogeneity({"a": [0.0, 6.0], "b": [-2.0, -1.0, 0.0, 1.0, 2.0]}, trials=40_000)
    f = 18.0 / 2.5
    assert result.widest == "a"
    assert_allclose(result.widest_share, f / (1.0 + f), rtol=1e-12)  # definition
    exact = stats.f.sf(f, 1, 4) + stats.f.sf(f, 4, 1)
    assert_allclose(result.widest_p, exact, atol=3.0 * math.sqrt(exact / 40_000), rtol=0)  # 3 standard errors


def test_homogeneity_refusals():
    """Oracle: definition."""
    with pytest.raises(MethodError, match="at least 2 groups with repeats; got 1"):
        homogeneity([[1.0, 2.0], [3.0]])
    with pytest.raises(MethodError, match=r"groups\['b'\] must scatter"):
        homogeneity({"a": [1.0, 2.0], "b": [3.0, 3.0]})


# Gauge studies --------------------------------------------------------------------------------------------


def aiag():
    """Return the AIAG study: 10 parts x 3 appraisers x 3 trials."""
    rows = json.loads((REFERENCE / "data/aiag_grr.json").read_text())["y"]
    cells = [(part, "ABC"[k // 3], y) for part, row in enumerate(rows) for k, y in enumerate(row)]
    return pd.DataFrame(cells, columns=["part", "who", "y"])


def sds(result):
    """Return the standard deviations of a gauge study by level."""
    return result.table.set_index("level")["sd"]


def test_gauge_study_pooled():
    """Oracle: AIAG MSA 4th ed., Tables III-B 7 to 9, interaction pooled (as quoted in a secondary text)."""
    result = gauge_study(aiag(), "y", "part", "who")
    published = EXAMPLES["aiag.msa4.anova"]["published"]
    sd = sds(result)  # no level of the interaction: pooled
    # Half a unit in the last printed digit; the published sums carry one unit of rounding.
    assert_allclose(sd["reading"], float(published["EV"]), atol=5e-7, rtol=0)
    assert_allclose(sd["appraiser"], float(published["AV"]), atol=1e-6, rtol=0)
    assert_allclose(sd["gauge"], float(published["GRR"]), atol=2e-6, rtol=0)
    assert_allclose(sd["part"], float(published["PV"]), atol=1e-6, rtol=0)
    assert_allclose(math.hypot(sd["part"], sd["gauge"]), float(published["TV"]), atol=5e-4, rtol=0)
    assert_allclose(result.anova["ss"][:2], [88.3619, 3.1673], atol=1e-4)
    assert_allclose(result.anova["f"][2], float(published["F_interaction"]), atol=5e-4, rtol=0)
    assert list(result.table["level"]) == ["part", "appraiser", "reading", "gauge"]


def test_gauge_row_closed_form():
    """Oracle: closed form; gauge = MSA/30 + 29/30 MSE, its dof by Welch-Satterthwaite, limits of Graybill
    and Wang.
    """
    result = gauge_study(aiag(), "y", "part", "who")
    ss, dof = result.anova["ss"].to_numpy(), result.anova["dof"].to_numpy()
    terms = np.array([ss[1] / dof[1] / 30.0, (ss[2] + ss[3]) / (dof[2] + dof[3]) * 29.0 / 30.0])
    free = np.array([2.0, 78.0])
    row = result.table.iloc[-1]
    assert_allclose(row["variance"], terms.sum(), rtol=1e-12)  # float rounding
    assert_allclose(row["dof"], terms.sum() ** 2 / (terms**2 / free).sum(), rtol=1e-12)  # float rounding
    g = 1.0 - free / stats.chi2.ppf(0.975, free)
    h = free / stats.chi2.ppf(0.025, free) - 1.0
    low = math.sqrt(terms.sum() - math.sqrt(((g * terms) ** 2).sum()))
    high = math.sqrt(terms.sum() + math.sqrt(((h * terms) ** 2).sum()))
    assert_allclose([row["low"], row["high"]], [low, high], rtol=1e-10)  # float rounding


def test_gauge_study_unpooled():
    """Oracle: the same data with the interaction kept: EV 0.2144 (recomputed from the published sums of
    squares).
    """
    result = gauge_study(aiag(), "y", "part", "who", pool_interaction=False)
    sd = sds(result)
    expected = EXAMPLES["aiag.msa4.anova"]["recomputed"]["unpooled_EV"]
    assert_allclose(sd["reading"], expected, rtol=1e-10)  # float rounding
    assert sd["interaction"] == 0.0
    codes = {(c.code, c.level) for c in result.cautions}
    assert ("at_zero", "interaction") in codes
    assert ("few_groups", "appraiser") in codes
    assert result.table["high"][2] > 0.0


@pytest.mark.parametrize(("chance", "pooled"), [(0.051, True), (0.049, False)])
def test_interaction_is_pooled_where_its_f_test_does_not_object(chance, pooled):
    """Oracle: scipy's F distribution: 5 % decides; parts and appraisers against what stands for the interaction."""
    rng = np.random.default_rng(2)
    lamps, people = np.repeat(np.arange(3), 9), np.tile(np.repeat(np.arange(3), 3), 3)
    cells = rng.normal(0.0, 1.0, (3, 3))
    cells += 2.0 * np.arange(3)[:, None]
    repeats = rng.normal(0.0, 1.0, (9, 3))
    repeats -= repeats.mean(axis=1, keepdims=True)
    cross = cells - cells.mean(axis=0) - cells.mean(axis=1, keepdims=True) + cells.mean()
    own = 3.0 * (cross**2).sum() / 4 / stats.f.isf(chance, 4, 18)  # mean square of repeats with that chance
    repeats *= math.sqrt(own * 18 / (repeats**2).sum())
    table = pd.DataFrame({"part": lamps, "who": people, "y": (cells.reshape(9, 1) + repeats).ravel()})
    found = gauge_study(table, "y", "part", "who")
    assert_allclose(found.anova["p"][2], chance, rtol=1e-9)
    assert ("interaction" not in list(found.table["level"])) is pooled
    ss, dof = found.anova["ss"].to_numpy(), found.anova["dof"].to_numpy()
    rest, free = ((ss[2] + ss[3]) / (dof[2] + dof[3]), 22.0) if pooled else (ss[2] / dof[2], 4.0)
    f = ss[:2] / dof[:2] / rest
    assert_allclose(found.anova["f"][:2], f, rtol=1e-9)
    assert_allclose(found.anova["p"][:2], stats.f.sf(f, 2.0, free), rtol=1e-9)
    assert [one.groups for one in found.cautions if one.level == "interaction"] == [9] * (not pooled)


def test_gauge_study_with_one_reading_a_cell():
    """Oracle: lme4's Penicillin, REML (balanced, so the analysis of variance gives it; secondary text)."""
    table = pd.read_csv(REFERENCE / "data/lme4_Penicillin.csv")
    result = gauge_study(table, "diameter", "plate", "sample")
    published, sd = EXAMPLES["lme4.penicillin"]["published"]["REML"], sds(result)
    # Half a unit in the last printed digit; var_sample is 3.730918 exactly, printed 3.7309.
    assert_allclose(sd["part"] ** 2, float(published["var_plate"]), atol=5e-5, rtol=0)
    assert_allclose(sd["appraiser"] ** 2, 3.7309, atol=5e-5, rtol=0)
    assert_allclose(sd["interaction+reading"] ** 2, float(published["var_resid"]), atol=5e-5, rtol=0)
    assert_allclose(result.mean, float(published["intercept"]), atol=5e-5, rtol=0)
    assert list(result.table["level"]) == ["part", "appraiser", "interaction+reading", "gauge"]


def test_gauge_study_keeps_a_real_interaction():
    """Oracle: synthetic truth; an interaction ten times the repeats is not pooled, and all four SDs are
    found.
    """
    rng = np.random.default_rng(8)
    parts, who, n = 60, 40, 3
    y = (
        2.0 * rng.standard_normal((parts, 1, 1))
        + 1.0 * rng.standard_normal((1, who, 1))
        + 0.5 * rng.standard_normal((parts, who, 1))
        + 0.05 * rng.standard_normal((parts, who, n))
    )
    index = np.indices(y.shape).reshape(3, -1)
    table = pd.DataFrame({"p": index[0], "a": index[1], "y": y.ravel()})
    result = gauge_study(table, "y", "p", "a")
    sd = sds(result)
    # Standard errors of SDs from 59, 39, 2301 and 4800 dof: 9, 11, 1.5 and 1 %; three of them.
    assert_allclose(sd["part"], 2.0, rtol=0.28)
    assert_allclose(sd["appraiser"], 1.0, rtol=0.34)
    assert_allclose(sd["interaction"], 0.5, rtol=0.045)
    assert_allclose(sd["reading"], 0.05, rtol=0.031)
    gauge = math.sqrt(sd["appraiser"] ** 2 + sd["interaction"] ** 2 + sd["reading"] ** 2)
    assert_allclose(sd["gauge"], gauge, rtol=1e-12)  # definition
    inside = result.table["low"] <= [2.0, 1.0, 0.5, 0.05, math.sqrt(1.2525)]
    assert inside.all()


def test_gauge_study_refusals():
    """Oracle: definition; the cell, the level or the element is named."""
    table = aiag()
    with pytest.raises(MethodError, match="got 2 for part 0, who A, up to 3") as refused:
        gauge_study(table.iloc[1:], "y", "part", "who")
    assert refused.value.code == "missing_cells"
    with pytest.raises(MethodError, match="who must have at least 2 groups; got 1"):
        gauge_study(table[table["who"] == "A"], "y", "part", "who")
    with pytest.raises(MethodError, match=r"all 90 values are equal \(1\)"):
        gauge_study(table.assign(y=1.0), "y", "part", "who")
    with pytest.raises(ValueError, match=r"y\[4\] must be finite; got nan"):
        gauge_study(table.assign(y=table["y"].mask(table.index == 4)), "y", "part", "who")
    with pytest.raises(ValueError, match="table must hold the column 'operator'"):
        gauge_study(table, "y", "part", "operator")


def wafers():
    """Return the NIST gauge study: 2 runs x 6 days x 5 wafers x 5 probes, means and SDs of 6 repeats."""
    names = ["run", "wafer", "probe", "month", "day", "operator", "temperature", "mean", "sd"]
    return pd.read_csv(REFERENCE / "data/MPC61.DAT", sep=r"\s+", header=None, names=names)


def test_levels_of_a_long_gauge_study_published():
    """Oracle: NIST/SEMATECH e-Handbook 2.6.1 and 2.6.3.2, probe 2362 (seen in the published text)."""
    table = wafers()
    probe = table[table["probe"] == 2362]
    repeat = math.sqrt((probe["sd"] ** 2).mean())
    result = nested_components(probe, "mean", "run", fixed="wafer")
    run_means, day_means = np.sqrt(result.squares.squares)
    # Half a unit in the last printed digit; level 3 is printed 0.0197 on the page and 0.0196 by the program
    # (0.01965).
    assert_allclose([repeat, day_means], [0.0729, 0.0362], atol=0.00005, rtol=0)
    assert_allclose(run_means, 0.01965, atol=0.00005, rtol=0)
    assert list(result.dof) == [5.0, 50.0]
    day = math.sqrt(result.sd("reading") ** 2 - repeat**2 / 6.0)
    assert_allclose(day, 0.02057092, atol=2e-6, rtol=0)  # the program rounds s1 and s2 on the way
    assert_allclose(result.sd("run"), 0.01295841, atol=1e-6, rtol=0)  # the same
    means = table.groupby(["run", "wafer", "probe"])["mean"].mean()
    bias = (means - means.groupby(["run", "wafer"]).transform("mean")).xs(2362, level="probe")
    assert_allclose(bias.mean(), -0.0393, atol=0.00005, rtol=0)
    spreads = {"run": result.sd("run"), "day": day, "repeat": repeat}
    one_day = planned_sd(spreads, {"run": 1, "day": 1, "repeat": 6})
    u = math.hypot(one_day, bias.std(ddof=1) / math.sqrt(10.0))
    assert_allclose(u, 0.03875842, atol=1e-6, rtol=0)  # rounding on the way, as above
    assert_allclose(stats.t.ppf(0.975, 42) * u, 0.0782, atol=0.00005, rtol=0)


@pytest.mark.parametrize(("groups", "n"), [(57, 3), (20, 3), (30, 2), (5, 4)])
@pytest.mark.parametrize("coverage", [0.9, 0.99])
def test_normal_scatter_is_called_so_in_the_declared_part_of_benches(groups, n, coverage):
    """Synthetic truth: normal values; four standard errors of 4000 draws, and a hundredth for tails taken as normal."""
    drawn = np.random.default_rng(3).normal(size=(4000, groups, n))
    whole = np.sqrt(drawn.var(axis=2, ddof=1).mean(axis=1))
    gaps = np.abs(drawn[:, :, : n // 2 * 2 : 2] - drawn[:, :, 1 : n // 2 * 2 : 2]).reshape(4000, -1)
    ratio = gaps.mean(axis=1) * math.sqrt(math.pi) / 2 / whole
    how = {"pairs": gaps.shape[1], "dof": groups * (n - 1), "coverage": coverage}
    low, high = precision.limits_by_pairs(1.0, **how)
    found = np.mean((low <= ratio) & (ratio <= high))
    assert abs(found - coverage) < 4 * math.sqrt(coverage * (1 - coverage) / 4000) + 0.01
    first = [(k, pd.DataFrame({"ln_value": values})) for k, values in enumerate(drawn[0])]
    told = [
        words_bench.pairs_words(x, first, coverage=coverage)
        for x in whole[0] * np.array([1.001 * low, 0.999 * high])
    ]
    assert set(told) == {"as near as normal scatter gives"}
    for x in whole[0] * np.array([0.99 * low, 1.01 * high]):
        assert "may not be normal" in words_bench.pairs_words(x, first, coverage=coverage)


def test_limits_by_pairs_scale_and_refuse_no_pair():
    """Closed form: both estimators scale with the values; without a pair there is nothing to judge."""
    one, two = (precision.limits_by_pairs(sd, pairs=8, dof=16, coverage=0.9) for sd in (1.0, 2.0))
    assert_allclose(two, [2 * x for x in one], rtol=1e-12)
    with pytest.raises(ValueError, match="pairs must be 1 or more"):
        precision.limits_by_pairs(1.0, pairs=0, dof=16, coverage=0.9)


def test_pairs_that_show_one_figure_do_not_scatter():
    """Closed form: nothing differs, so there is nothing to judge."""
    alike = pd.DataFrame({"seat": [1, 1, 2, 2], "ln_value": [1.0, 1.0, 2.0, 2.0]}).groupby("seat")
    assert words_bench.pairs_words(0.0, alike, coverage=0.9) == "nothing scatters"
