r"""Sums of exponentials, fitted without start values and with full covariance.

The search runs over the time constants alone (`photolab.thermal.variable_projection`).
"""

from dataclasses import replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from photolab.errors import demand
from photolab.metrology.arguments import Floats, finite, must_hold, not_negative
from photolab.metrology.computed import Computed
from photolab.thermal.residuals import column_space
from photolab.thermal.variable_projection import Projection, Separable, solve

Form = Literal["approach", "rise", "decay"]

MOST_TERMS = 3
SHORTEST_PART = 1 / 200  # of the record's length: shorter time constants leave no trace between readings
LONGEST_PART = 5.0  # of the record's length: slower ones cannot be told from a straight line
TUKEY = 4.685  # biweight constant of 95 % efficiency on normal noise (Huber and Ronchetti, Robust Statistics)
HUBER = 1.345
# of the largest singular value: parameters that do the same have no variance of their own
SAME_DIRECTION = 1e-14
MAD_TO_SD = 1.4826  # normal distribution


class ExponentialFit(Computed):
    """A fitted sum of exponentials; rates ascend, so the slowest comes first.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Abscissa as it was given. [any]
    problem : Separable
        The problem that was solved, with the last weights.
    found : Projection
        Its solution.
    form : str
        "approach", "rise" or "decay".
    given : ndarray, shape (n,)
        Square roots of the weights as they were given. [1]
    inflation : float
        What robust weights multiply the residual variance by. [1]

    Attributes
    ----------
    offset : float
        Level the sum tends to; 0 where the form has none. [unit of y]
    amplitudes, rates, time_constants : ndarray, shape (terms,)
        Amplitudes at x = 0 [unit of y], rates [1/unit of x] and their reciprocals [unit of x].
    offset_uncertainty : float
        Standard uncertainty of the offset. [unit of y]
    amplitude_uncertainties, rate_uncertainties, time_constant_uncertainties : ndarray, shape (terms,)
        Standard uncertainties, white noise of one unknown SD assumed. [unit of y, 1/unit of x, unit of x]
    dof : int
        Degrees of freedom of the residual variance.
    residual_sum_of_squares : float
        Weighted residual sum of squares. [unit of y squared]
    covariance : ndarray
        Covariance of the offset (if the form has one), the amplitudes and the rates. [any]
    at_bound : bool
        A time constant stands at the end of its range: uncertainties do not hold.
    weights : ndarray, shape (n,)
        Weight of each squared residual, after the robust steps where asked. [1]
    """

    def __init__(
        self, x: Floats, problem: Separable, found: Projection, form: str, given: Floats, inflation: float
    ) -> None:
        self.form, linear, rates = form, problem.fixed.shape[1], np.exp(-found.theta)
        shift = float(x[0] - problem.x[0])
        self.offset = float(found.coefficients[0]) if linear else 0.0
        self.rates, self.time_constants = rates, 1.0 / rates
        self.amplitudes = found.coefficients[linear:] * np.exp(shift * rates)
        decay = np.exp(-np.multiply.outer(x, rates))
        parts = -np.expm1(-np.multiply.outer(x, rates)) if form == "rise" else decay
        slopes = self.amplitudes * decay * x[:, None] * (1.0 if form == "rise" else -1.0)
        design = np.concatenate([problem.fixed, parts, slopes], axis=1) * given[:, None]
        self.dof = int(np.sum(given > 0)) - design.shape[1]
        # where the residual is a millionth of the readings, ordinary rounding of the curve takes its tenth digit
        fine = np.longdouble
        scaled = problem.x.astype(fine)[:, None] * np.exp(-found.theta.astype(fine))
        columns = -np.expm1(-scaled) if problem.rising else np.exp(-scaled)
        columns = np.concatenate([problem.fixed.astype(fine), columns], axis=1)
        curve = columns @ found.coefficients.astype(fine)
        residual = np.asarray((problem.y.astype(fine) - curve) * problem.root_weight, dtype=np.float64)
        self.residual_sum_of_squares = float(residual @ residual)
        # psi is the residual times its robust weight; without robust steps this is squares / dof
        psi = residual * problem.root_weight / np.where(given > 0, given, 1.0)
        _, to_space = column_space(design, tolerance=SAME_DIRECTION)
        known = len(to_space) == design.shape[1]
        gram = to_space.T @ to_space if known else np.full((design.shape[1], design.shape[1]), np.inf)
        self.covariance = float(psi @ psi) / self.dof * inflation * gram
        sd = np.sqrt(np.diagonal(self.covariance))
        self.offset_uncertainty = float(sd[0]) if linear else 0.0
        self.amplitude_uncertainties, self.rate_uncertainties = np.split(sd[linear:], 2)
        self.time_constant_uncertainties = self.rate_uncertainties / rates**2
        low, high = problem.log_range
        self.at_bound = bool(np.any((found.theta < low + 1e-6) | (found.theta > high - 1e-6)))
        self.weights = problem.root_weight**2

    def evaluate(self, x: ArrayLike) -> Floats:
        """Return the fitted curve.

        Parameters
        ----------
        x : array_like
            Abscissa. [unit of x]

        Returns
        -------
        ndarray, shape of x
            Fitted response. [unit of y]
        """
        decay = -np.expm1(-np.multiply.outer(np.asarray(x, dtype=float), self.rates))
        parts = decay if self.form == "rise" else 1.0 - decay
        curve: Floats = self.offset + parts @ self.amplitudes
        return curve


def fit_exponentials(
    x: ArrayLike,
    y: ArrayLike,
    *,
    terms: int,
    form: Form = "approach",
    weights: ArrayLike | None = None,
    robust: bool = False,
    time_constant_range: tuple[float, float] | None = None,
) -> ExponentialFit:
    r"""Fit a sum of exponentials from no start values.

    .. math:: y = c + \sum a_i e^{-x/\tau_i} \quad\text{(approach)}, \qquad
              y = \sum a_i (1 - e^{-x/\tau_i}) \quad\text{(rise)}, \qquad
              y = \sum a_i e^{-x/\tau_i} \quad\text{(decay)}

    Parameters
    ----------
    x : array_like, shape (n,)
        Abscissa, as a rule the time; any order. [any]
    y : array_like, shape (n,)
        Response. [any]
    terms : int
        Number of exponentials, 0 to 3. Amplitudes may have opposite signs.
    form : {"approach", "rise", "decay"}, default "approach"
        Which law.
    weights : array_like, shape (n,), optional
        Weight of each squared residual, as 1/variance up to a factor; 0 leaves a reading out. [1]
    robust : bool, default False
        Outlying readings lose weight: Huber's function first, then Tukey's biweight.
    time_constant_range : tuple of float, optional
        Bounds of the time constants; 1/200 to 5 times the length of x by default. [unit of x]

    Returns
    -------
    ExponentialFit
        Estimates, standard uncertainties and their covariance.

    Raises
    ------
    ValueError
        If an argument has the wrong shape, is not finite, or names no known form.
    MethodError
        If there are not more readings than parameters, or a response that never changes is to give a rate.

    Notes
    -----
    The uncertainties assume independent noise. A warm-up record seldom has it: `fit_warm_up` estimates the
    correlation. The order must be given; an order chosen from the data makes intervals beyond it too narrow.
    """
    abscissa, response = finite("x", x, missing=False), finite("y", y, missing=False)
    weight = np.ones(abscissa.shape) if weights is None else not_negative("weights", weights, missing=False)
    alike = abscissa.ndim == 1 and response.shape == weight.shape == abscissa.shape
    shapes = f"{abscissa.shape}, {response.shape} and {weight.shape}"
    demand(alike, "x, y and weights must be one-dimensional and of one length", shapes)
    known, forms = terms in range(MOST_TERMS + 1) and form in get_args(Form), ", ".join(get_args(Form))
    demand(known, f"terms must be 0 to {MOST_TERMS} and form one of {forms}", f"{terms!r}, {form!r}")
    _check_support(abscissa, response, weight, terms, form)
    problem = _problem(abscissa, response, weight, form, time_constant_range)
    found = solve(problem, terms)[-1]
    given, inflation = problem.root_weight, 1.0
    if robust:
        problem, found, inflation = _reweighted(problem, found)
    return ExponentialFit(abscissa, problem, found, form, given, inflation)


def _check_support(x: Floats, y: Floats, weight: Floats, terms: int, form: str) -> None:
    """Raise where the readings cannot carry the parameters asked for."""
    used = weight > 0
    needed = 2 * terms + (form == "approach")
    distinct = len(np.unique(x[used]))
    message = f"{needed} parameters need more than {needed} readings at different x; got {distinct}"
    known = {"readings": distinct, "parameters": needed}
    must_hold(distinct > needed, message, code="too_few_readings", known=known)
    changes, level = not terms or np.ptp(y[used]) > 0.0, float(y[used][0])
    message = f"y must change along x for a rate to exist; all {int(used.sum())} readings are {level:g}"
    must_hold(changes, message, code="constant_record", known={"level": level})


def _problem(
    x: Floats, y: Floats, weight: Floats, form: str, limits: tuple[float, float] | None
) -> Separable:
    """Return the separable problem; x is shifted where the form allows it."""
    first, length = float(x[weight > 0].min()), float(np.ptp(x[weight > 0]))
    low, high = limits or (length * SHORTEST_PART, length * LONGEST_PART)
    wanted = "time_constant_range must be two positive ascending numbers"
    demand(0.0 < low < high < np.inf, wanted, f"({low:g}, {high:g})")
    wanted = f"x must start nearer to zero than 600 shortest time constants ({low:g})"
    demand(abs(first) <= 600.0 * low, wanted, f"{first:g}")
    fixed, limited = np.ones((x.size, int(form == "approach"))), (float(np.log(low)), float(np.log(high)))
    shifted = x if form == "rise" else x - first
    return Separable(shifted, y, fixed, np.sqrt(weight), form == "rise", limited)


def _reweighted(problem: Separable, found: Projection) -> tuple[Separable, Projection, float]:
    """Refit with outlying readings weighted down; also the factor on the residual variance."""
    given, needed = problem.root_weight, found.design.shape[1]
    used = given > 0
    count, ratio = int(used.sum()), np.zeros(given.size)
    for turn in range(24):
        residual = found.residual * given / np.where(problem.root_weight > 0, problem.root_weight, 1.0)
        scale = MAD_TO_SD * float(np.median(np.abs(residual[used]))) * count / (count - needed)
        if scale == 0.0:
            break
        ratio = np.abs(residual) / scale
        huber = np.minimum(1.0, HUBER / np.maximum(ratio, 1e-12))
        tukey = np.where(ratio < TUKEY, (1.0 - (ratio / TUKEY) ** 2) ** 2, 1e-12)
        problem = replace(problem, root_weight=given * np.sqrt(huber if turn < 8 else tukey))
        found = solve(problem, found.theta.size)[-1]
    share = (ratio / TUKEY) ** 2
    slope = np.where(ratio < TUKEY, (1.0 - share) * (1.0 - 5.0 * share), 0.0)
    return problem, found, 1.0 / float(np.mean(slope[given > 0])) ** 2
