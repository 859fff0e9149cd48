"""A number with its uncertainty: an estimate, and the inputs that move it.

Two numbers share an error because they hold the same `Input`; a covariance is never typed. So a ratio of two
readings of one meter is free of that meter's scale, and nobody has to remember it.

Units do not follow arithmetic: a law names its unit (``in_unit("cd")``).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, field, replace
from functools import cached_property, lru_cache, partial
from operator import attrgetter
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.lib.mixins import NDArrayOperatorsMixin
from numpy.typing import ArrayLike, NDArray

from photolab.errors import MethodError, demand
from photolab.metrology import monte_carlo
from photolab.metrology.reporting import decimal, places_for, with_uncertainty

if TYPE_CHECKING:
    import pandas as pd

COVERAGE = 0.95
"""Coverage probability where a caller names none. [1]"""

_METER = "scale, range gain, range term, linearity, resolution, colour, own colour, meter temperature, reading scatter"
_BENCH = (
    "seating, specimen, day, supply, ambient, elapsed time, distance, fit, model spread, specimen not held"
)
METER_KINDS = frozenset(_METER.split(", "))
"""What the meter brings: scope *readings*."""


KINDS = METER_KINDS | {*_BENCH.split(", "), "emissivity", "reflected temperature", "angle"}
"""Lines of a budget; the list is closed."""

SCOPES = {"readings": METER_KINDS, "specimens": KINDS - {"specimen"}, "models": KINDS}
"""Which kinds count: these readings alone, these specimens on this bench and seated again, models as sold."""

_LAWS = ("normal", "t", "rectangular", "triangular", "arcsine", "trapezoidal")
_ONE_LAW, _ONE_KIND = (f"one of {', '.join(names)}" for names in (_LAWS, sorted(KINDS)))
_MEANING = ("u", "dof", "law", "kind", "variance", "top")
_meaning = attrgetter(*_MEANING)
_BENT = 0.5  # terms of second order over those of first, from which a linear result is not given
_STEP = 0.1  # of a standard uncertainty; with one Richardson step the error is of fourth order in it
_AT_ONCE = 5_000_000  # sensitivities made at one time, where they are kept as factors
_SHARED = 16  # factors up to which their quadratic forms cost less than rows in full
_SMALL = 50_000  # elements up to which a full matrix is quicker than a sparse one
_ROUNDING = 1e-12  # of a result: a spread below this is arithmetic


@dataclass(frozen=True, eq=False)
class Input:
    r"""One thing that nobody knows exactly.

    Its identity is its name alone: whatever holds an input of the same name shares its error. A name that
    comes back with another uncertainty, law, degrees of freedom, kind or variance raises where the two meet.

    Parameters
    ----------
    name : hashable
        What it is, and of what: ``("scale", "M1")``.
    u : float
        Standard uncertainty; of Student's t the scale :math:`s/\sqrt n`. [unit of the quantity]
    dof : float, default infinity
        Degrees of freedom of u; infinity where it was assumed. [1]
    law : str, default "normal"
        normal, t, rectangular, triangular, arcsine or trapezoidal. A normal input of finite degrees of freedom
        is drawn as Student's t.
    kind : str
        Its line in the budget, one of `KINDS`; may be blank.
    source : str
        manual, certificate, own readings, literature or assumed.
    variance : hashable, optional
        Names the one estimate that u was taken from. Inputs of one estimate are summed before degrees of
        freedom are combined.
    top : float, default 0
        Top over base of a trapezoidal law, 0 to 1. [1]
    """

    name: Hashable
    u: float
    _: KW_ONLY
    dof: float = math.inf
    law: str = "normal"
    kind: str = ""
    source: str = ""
    variance: Hashable | None = None
    top: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "u", float(self.u))
        object.__setattr__(self, "dof", float(self.dof))
        for what, holds, wanted in (
            ("u", 0 <= self.u < math.inf, "finite and zero or more"),
            ("dof", self.dof > 0, "more than zero"),
            ("law", self.law in _LAWS, _ONE_LAW),
            ("kind", self.kind in KINDS or self.kind == "", _ONE_KIND),
            ("top", 0 <= self.top <= 1, "between 0 and 1"),
        ):
            if not holds:
                demand(holds, f"{what} of input {self.name!r} must be {wanted}", repr(getattr(self, what)))

    def __hash__(self) -> int:
        return hash(self.name)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Input):
            return NotImplemented
        if self is other or self.name != other.name:
            return self is other
        mine, theirs = _meaning(self), _meaning(other)
        if mine != theirs:
            what, a, b = next(x for x in zip(_MEANING, mine, theirs, strict=True) if x[1] != x[2])
            got = f"it with {what} {a!r} and with {what} {b!r} (give the two different names)"
            demand(False, f"input {self.name!r} must mean one thing", got)
        return True

    @property
    def has_limits(self) -> bool:
        """Whether it is rectangular, with limits that are not doubtful themselves."""
        return self.law == "rectangular" and math.isinf(self.dof)

    @property
    def estimate(self) -> Hashable:
        """The estimate of variance that u rests on: its own, unless `variance` names one."""
        return ("own", self.name) if self.variance is None else ("shared", self.variance)


def limits(
    name: Hashable,
    half_width: float,
    *,
    law: str = "rectangular",
    top: float = 0.0,
    dof: float = math.inf,
    kind: str = "",
    source: str = "",
) -> Input:
    r"""Return an input known to lie within limits.

    :math:`u = a/\sqrt3` rectangular, :math:`a/\sqrt6` triangular, :math:`a/\sqrt2` arcsine,
    :math:`a\sqrt{(1+\beta^2)/6}` trapezoidal with top over base :math:`\beta` [1]_.

    Parameters
    ----------
    name : hashable
        What it is, and of what.
    half_width : float
        Half the distance of the limits, zero or more. [unit of the quantity]
    law : str, default "rectangular"
        rectangular, triangular, arcsine or trapezoidal.
    top : float, default 0
        Top over base of a trapezoidal law. [1]
    dof : float, default infinity
        Degrees of freedom, from how reliable the limits are. [1]
    kind, source : str
        As for `Input`.

    Returns
    -------
    Input
        With the standard deviation of that law.

    Raises
    ------
    ValueError
        If the half width is negative or not finite, or the law has no limits.

    References
    ----------
    .. [1] JCGM 100:2008, 4.3.7 and 4.3.9; JCGM 101:2008, 6.4.2 to 6.4.6.
    """
    divisors = {"rectangular": 3.0, "triangular": 6.0, "arcsine": 2.0, "trapezoidal": 6.0 / (1.0 + top**2)}
    wanted = f"law of input {name!r} must have limits: one of {', '.join(divisors)}"
    demand(law in divisors, wanted, repr(law))
    wanted = f"half_width of input {name!r} must be finite and zero or more"
    demand(0 <= half_width < math.inf, wanted, repr(half_width))
    u = half_width / math.sqrt(divisors[law])
    return Input(name, u, dof=dof, law=law, kind=kind, source=source, top=top)


def from_readings(
    name: Hashable,
    readings: ArrayLike,
    *,
    pooled_sd: float | None = None,
    pooled_dof: float | None = None,
    kind: str = "reading scatter",
    source: str = "own readings",
    variance: Hashable | None = None,
) -> Input:
    r"""Return the scatter of a mean of repeated readings (Type A).

    :math:`u = s/\sqrt n` with :math:`n - 1` degrees of freedom, or the pooled standard deviation over
    :math:`\sqrt n` with the pooled degrees of freedom [1]_.

    Parameters
    ----------
    name : hashable
        What it is, and of what.
    readings : array_like, shape (n,)
        Independent readings. [unit of the quantity]
    pooled_sd : float, optional
        Standard deviation of one reading, from elsewhere. [unit of the quantity]
    pooled_dof : float, optional
        Its degrees of freedom; must be given with it (infinity for an assumed one). [1]
    kind, source, variance
        As for `Input`; name the pooled estimate in `variance` where several means use it.

    Returns
    -------
    Input
        Student's t of the mean; normal where the degrees of freedom are infinite.

    Raises
    ------
    ValueError
        If a reading is not finite, or there are too few of them.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2; JCGM 101:2008, 6.4.9.
    """
    x = np.atleast_1d(np.asarray(readings, dtype=np.float64))
    for k in np.flatnonzero(~np.isfinite(x)):
        demand(False, f"readings[{k}] of input {name!r} must be finite", x[k])
    together = (pooled_sd is None) == (pooled_dof is None)
    demand(together, f"pooled_sd and pooled_dof of input {name!r} must be given together", "one")
    least = 2 if pooled_sd is None else 1
    demand(x.size >= least, f"readings of input {name!r} must be {least} or more", x.size)
    sd = float(np.std(x, ddof=1)) if pooled_sd is None else float(pooled_sd)
    dof = float(x.size - 1) if pooled_dof is None else float(pooled_dof)
    return Input(name, sd / math.sqrt(x.size), dof=dof, law="t", kind=kind, source=source, variance=variance)


def from_certificate(
    name: Hashable,
    expanded: float,
    *,
    k: float = 2.0,
    dof: float = math.inf,
    kind: str = "",
    source: str = "certificate",
) -> Input:
    """Return an input from a certificate or a manual that states an expanded uncertainty (Type B).

    Parameters
    ----------
    name : hashable
        What it is, and of what.
    expanded : float
        Stated expanded uncertainty, zero or more. [unit of the quantity]
    k : float, default 2
        Stated coverage factor, more than zero. [1]
    dof : float, default infinity
        Stated effective degrees of freedom. [1]
    kind, source : str
        As for `Input`.

    Returns
    -------
    Input
        Normal; drawn as Student's t where the degrees of freedom are finite.

    Raises
    ------
    ValueError
        If the coverage factor is not more than zero.
    """
    demand(0 < k < math.inf, f"k of input {name!r} must be finite and more than zero", repr(k))
    return Input(name, expanded / k, dof=dof, kind=kind, source=source)


def from_fit(
    names: Sequence[Hashable],
    values: ArrayLike,
    covariance: ArrayLike,
    *,
    dof: float = math.inf,
    kind: str = "fit",
    source: str = "own readings",
) -> tuple[Measured, ...]:
    r"""Return the parameters of a fit, with its covariance turned into independent inputs they share.

    :math:`V = L L^T`, and input *j* moves parameter *i* by :math:`L_{ij}`. All rest on one estimate of variance:
    any function of the parameters has the degrees of freedom of the fit.

    Parameters
    ----------
    names : sequence of hashable, length n
        What the parameters are, and of what.
    values : array_like, shape (n,)
        Estimates. [unit of each]
    covariance : array_like, shape (n, n)
        Covariance of the estimates. [units]
    dof : float, default infinity
        Degrees of freedom of the variance. [1]
    kind, source : str
        As for `Input`.

    Returns
    -------
    tuple of Measured, length n
        The parameters.

    Raises
    ------
    ValueError
        If shapes do not fit, or the matrix is not symmetric and free of negative eigenvalues.
    """
    v = np.asarray(covariance, dtype=np.float64)
    y = np.asarray(values, dtype=np.float64)
    n = len(names)
    wanted = f"values and covariance must have shapes ({n},) and ({n}, {n})"
    demand(y.shape == (n,) and v.shape == (n, n), wanted, f"{y.shape} and {v.shape}")
    size = np.sqrt(np.abs(np.diag(v)))
    rounding = 1e-10 * np.outer(size, size)  # an inverse of normal equations keeps some ten digits
    lower = np.zeros((n, n))
    for j in range(n):
        rest = v[:, j] - lower @ lower[j]
        if rest[j] > rounding[j, j]:
            lower[j:, j] = rest[j:] / math.sqrt(rest[j])
    own, holds = tuple(names), (np.abs(lower @ lower.T - v) <= 10 * rounding).all()
    demand(holds, f"covariance of {own!r} must be symmetric and without negative eigenvalues", v.tolist())
    pivots = np.flatnonzero(np.diag(lower)).tolist()
    inputs = {
        j: Input((kind, own, own[j]), lower[j, j], dof=dof, kind=kind, source=source, variance=(kind, own))
        for j in pivots
    }
    return tuple(
        Measured(y[i], {inputs[j]: lower[i, j] / lower[j, j] for j in pivots if lower[i, j] != 0.0})
        for i in range(n)
    )


def measured(value: float, *inputs: Input | tuple[Input, float], unit: str = "") -> Measured:
    """Return a quantity that was read.

    Parameters
    ----------
    value : float
        What was read. [unit]
    *inputs : Input or (Input, float)
        What may be off. An input moves the value one for one, or by the sensitivity given with it: a scale is
        relative, so its sensitivity is the reading. [unit/input]
    unit : str, default ""
        Unit of the value.

    Returns
    -------
    Measured
        The quantity.
    """
    parts: dict[Input, float] = {}
    for entry in inputs:
        q, c = entry if isinstance(entry, tuple) else (entry, 1.0)
        parts[q] = parts.get(q, 0.0) + float(c)
    return Measured(value, parts, unit)


@dataclass(frozen=True, eq=False, repr=False)
class Measured(NDArrayOperatorsMixin):
    """An estimate and what moves it.

    Numbers and other quantities combine with + - * / **, and with numpy's exp, log, sqrt, sin and cos, to first
    order. Comparisons are refused: ask for ``value`` or ``interval``.

    Parameters
    ----------
    value : float
        Estimate. [unit]
    parts : mapping of Input to float
        Sensitivity to each input. [unit/input]
    unit : str, default ""
        Unit of the value.
    linear : bool, default True
        Whether the parts tell all: the quantity was read or fitted, or is a weighted sum of such.
    ends : callable, optional
        Takes a coverage probability and returns the interval, where it was not got from the parts.
    how : str, default ""
        How the interval was got, where not from the parts: "by draws".
    """

    value: float
    parts: Mapping[Input, float] = field(default_factory=dict)
    unit: str = ""
    linear: bool = True
    ends: Callable[[float], tuple[float, float]] | None = None
    how: str = ""

    __hash__ = object.__hash__

    if TYPE_CHECKING:  # the mixin makes them of __array_ufunc__

        def _joined(self, other: Any) -> Measured: ...

        __add__ = __radd__ = __sub__ = __rsub__ = __mul__ = __rmul__ = _joined
        __truediv__ = __rtruediv__ = __pow__ = _joined

        def __neg__(self) -> Measured: ...

    def __post_init__(self) -> None:
        one = np.ndim(self.value) == 0 and math.isfinite(self.value)
        demand(one, "value must be one finite number", f"{self.value} {self.unit}".rstrip())
        object.__setattr__(self, "value", float(self.value))
        for q, c in self.parts.items():
            if not math.isfinite(c):
                demand(False, f"sensitivity to {q.name!r} must be finite", c)

    # -- arithmetic: first order, one line of derivatives an operation

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *arguments: Any, **options: Any) -> Any:
        """Apply one of numpy's functions; arrays never come inside."""
        inside = all(isinstance(x, Measured) for x in options.get("out", ()))  # x += y makes a new x
        if method != "__call__" or ufunc not in _SLOPES or set(options) - {"out"} or not inside:
            message = (
                f"{ufunc.__name__} has no meaning for a measured quantity; use its value or its interval"
            )
            raise TypeError(message)
        for x in arguments:
            if not isinstance(x, (Measured, int, float, np.integer, np.floating)):
                message = f"a measured quantity joins numbers and its like; got {type(x).__name__}"
                raise TypeError(message)
        at = [np.float64(x.value if isinstance(x, Measured) else x) for x in arguments]
        with np.errstate(all="ignore"):  # what is not finite is refused here
            value = ufunc(*at)
            slopes = _SLOPES[ufunc](value, *at)
        moved = [(x, float(s)) for x, s in zip(arguments, slopes, strict=True) if isinstance(x, Measured)]
        if not all(map(math.isfinite, (value, *(s for _, s in moved)))):
            name, place = ufunc.__name__, [float(x) for x in at]
            demand(False, f"{name} must be finite, and so must its slope", f"{name} at {place}")
        scaled = ufunc is np.multiply or (ufunc is np.true_divide and isinstance(arguments[0], Measured))
        weighted = ufunc in _SUMS or (scaled and len(moved) == 1)
        if not weighted and all(s == 0.0 for _, s in moved) and any(x.u > 0 for x, _ in moved):
            return _by_draws(ufunc, arguments, float(value))
        return _moved(float(value), moved, linear=weighted)

    def __bool__(self) -> bool:
        message = "a measured quantity is neither true nor false; use its value or its interval"
        raise TypeError(message)

    # -- what a reader asks of it

    @property
    def content(self) -> tuple[Hashable, ...]:
        """All that a law can tell it by: value, unit, and every input with what it means and its sensitivity."""
        return self.value, self.unit, tuple((q.name, _meaning(q), c) for q, c in self.parts.items())

    @cached_property
    def u(self) -> float:
        """Standard uncertainty [unit]."""
        return math.sqrt(math.fsum((c * q.u) ** 2 for q, c in self.parts.items()))

    @cached_property
    def dof(self) -> float:
        r"""Effective degrees of freedom, :math:`u^4/\sum u_g^4/\nu_g` over estimates *g* of variance [1].

        Welch and Satterthwaite: JCGM 100:2008, G.4.1. Inputs that rest on one estimate are summed first.
        """
        degrees = monte_carlo.degrees_of_freedom(self.parts)
        brought = dict.fromkeys(degrees, 0.0)
        for q, c in self.parts.items():
            if q.estimate in degrees:
                brought[q.estimate] += (c * q.u) ** 2
        spent = math.fsum((v / self.u**2) ** 2 / degrees[g] for g, v in brought.items() if v)
        return 1.0 / spent if spent else math.inf

    def half_width(self, coverage: float = COVERAGE) -> float:
        """Return half the width of the coverage interval.

        Parameters
        ----------
        coverage : float
            Coverage probability, between 0 and 1. [1]

        Returns
        -------
        float
            Student's t of the effective degrees of freedom times u, narrowed where one rectangular input
            carries much of it, so that limits alone never give more than the limits. [unit]
        """
        if self.ends is not None:
            low, high = self.ends(coverage)
            return (high - low) / 2.0
        flat = max(((c * q.u) ** 2 for q, c in self.parts.items() if q.has_limits), default=0.0)
        return _half_width(coverage, self.u, self.dof, flat)

    def interval(self, coverage: float = COVERAGE) -> tuple[float, float]:
        """Return the coverage interval.

        Parameters
        ----------
        coverage : float
            Coverage probability, between 0 and 1. [1]

        Returns
        -------
        low, high : float
            The interval. [unit]
        """
        if self.ends is not None:
            return self.ends(coverage)
        half = self.half_width(coverage)
        return self.value - half, self.value + half

    def only(self, *kinds: str) -> Measured:
        """Return the same estimate with only the inputs of some kinds.

        Parameters
        ----------
        *kinds : str
            Out of `KINDS`.

        Returns
        -------
        Measured
            The estimate, moved by those inputs alone.
        """
        return self._of_kinds(kinds, True)

    def without(self, *kinds: str) -> Measured:
        """Return the same estimate without the inputs of some kinds.

        Parameters
        ----------
        *kinds : str
            Out of `KINDS`.

        Returns
        -------
        Measured
            The estimate, moved by all others.
        """
        return self._of_kinds(kinds, False)

    def _of_kinds(self, kinds: Iterable[str], kept: bool) -> Measured:
        named = frozenset(kinds)
        demand(named <= KINDS, f"kind must be {_ONE_KIND}", repr(min(named - KINDS, default="")))
        parts = {q: c for q, c in self.parts.items() if (q.kind in named) == kept}
        return replace(self, parts=parts, ends=None, how="")

    def in_scope(self, scope: str) -> Measured:
        """Return the same estimate with the inputs that count in a scope.

        Parameters
        ----------
        scope : {"readings", "specimens", "models"}
            See `SCOPES`.

        Returns
        -------
        Measured
            The estimate in that scope.
        """
        return self._of_kinds(_scope(scope), True)

    def in_unit(self, unit: str) -> Measured:
        """Return the same quantity with its unit named.

        Parameters
        ----------
        unit : str
            The unit.

        Returns
        -------
        Measured
            The quantity.
        """
        return replace(self, unit=unit)

    def budget(self) -> pd.DataFrame:
        """Return the uncertainty budget, the largest part first.

        Returns
        -------
        pandas.DataFrame
            One row an input: name, kind, source, variance_fraction [1], contribution (sensitivity times
            standard uncertainty, with its sign) [unit], sensitivity [unit/input], standard_uncertainty [input],
            distribution, dof [1].
        """
        import pandas as pd  # heavy, and only a table needs it

        whole = self.u or math.inf
        rows = [
            (q.name, q.kind, q.source, (c * q.u / whole) ** 2, c * q.u, c, q.u, q.law, q.dof)
            for q, c in self.parts.items()
        ]
        columns = "name kind source variance_fraction contribution sensitivity standard_uncertainty distribution dof"
        table = pd.DataFrame.from_records(rows, columns=columns.split())
        return table.sort_values("variance_fraction", ascending=False, kind="stable", ignore_index=True)

    def text(self, coverage: float = COVERAGE) -> str:
        """Return the quantity in words: value, half width (or both ends, where they differ), unit, coverage.

        Parameters
        ----------
        coverage : float
            Coverage probability, between 0 and 1. [1]

        Returns
        -------
        str
            For example ``13 480 ± 530 cd (95 %)``.
        """
        half = self.half_width(coverage)
        unit = "" if self.unit == "1" else self.unit
        if self.ends is None or half == 0.0 or not math.isfinite(half):
            shown = " ".join(map(_grouped, with_uncertainty(self.value, half).split(" ")))
            words = f"{shown} {unit}".rstrip() + f" ({100.0 * coverage:g} %"
        else:
            ends = (self.value, *self.interval(coverage))
            value, low, high = (_grouped(decimal(x, places_for(half))) for x in ends)
            words = f"{value} {unit}".rstrip() + f" ({low} to {high}, {100.0 * coverage:g} %"
        return words + (f", {self.how})" if self.how else ")")

    __str__ = _repr_markdown_ = text

    def __repr__(self) -> str:
        unit = "" if self.unit == "1" else self.unit
        return f"Measured({self.value:.6g} {unit}".rstrip() + f", u = {self.u:.2g}, {len(self.parts)} inputs)"


# slopes of each function in its arguments, from its value and them
_SLOPES: dict[np.ufunc, Callable[..., tuple[Any, ...]]] = {
    np.add: lambda _y, _a, _b: (1.0, 1.0),
    np.subtract: lambda _y, _a, _b: (1.0, -1.0),
    np.negative: lambda _y, _a: (-1.0,),
    np.positive: lambda _y, _a: (1.0,),
    np.multiply: lambda _y, a, b: (b, a),
    np.true_divide: lambda y, _a, b: (1.0 / b, -y / b),
    np.power: lambda y, a, b: (b * a ** (b - 1.0), y * np.log(a)),
    np.exp: lambda y, _a: (y,),
    np.log: lambda _y, a: (1.0 / a,),
    np.sqrt: lambda y, _a: (0.5 / y,),
    np.sin: lambda _y, a: (np.cos(a),),
    np.cos: lambda _y, a: (-np.sin(a),),
}
_SUMS = (np.add, np.subtract, np.negative, np.positive)


class Inputs(Sequence[Input]):
    """Inputs by columns: which of a few models each is. One with its name is made when it is asked for.

    Parameters
    ----------
    models : sequence of Input
        What inputs may be but for their names.
    model : ndarray of int, shape (n,)
        Which of the models each is.
    make : callable
        Takes a place and gives the name of the input there.
    """

    def __init__(
        self, models: Sequence[Input], model: NDArray[np.intp], make: Callable[[int], Hashable]
    ) -> None:
        self.models = tuple(models)
        self.model = model
        self._make = make
        self._made: dict[int, Input] = {}
        self._of_models: dict[str, NDArray[Any]] = {}

    @classmethod
    def of(cls, inputs: Iterable[Input]) -> Inputs:
        """Return inputs that exist one by one.

        Parameters
        ----------
        inputs : iterable of Input
            The inputs, all different.

        Returns
        -------
        Inputs
            Those.
        """
        if isinstance(inputs, Inputs):
            return inputs
        listed = tuple(inputs)
        different = len(set(listed))
        demand(different == len(listed), f"inputs must be {len(listed)} different ones", different)
        found = cls(listed, np.arange(len(listed)), lambda k: listed[k].name)
        found._made.update(enumerate(listed))
        return found

    def __len__(self) -> int:
        return len(self.model)

    def __getitem__(self, place: Any) -> Any:
        if isinstance(place, slice):
            return self.among(np.arange(len(self))[place])
        return self._at(range(len(self))[place])

    def _at(self, k: int) -> Input:
        if k not in self._made:
            self._made[k] = q = object.__new__(Input)
            q.__dict__.update(vars(self.models[self.model[k]]), name=self._make(k))
        return self._made[k]

    def among(self, places: NDArray[np.intp]) -> Inputs:
        """Return some of the inputs.

        Parameters
        ----------
        places : ndarray of int, shape (k,)
            Their places.

        Returns
        -------
        Inputs
            Those alone.
        """
        at = places.tolist()
        found = Inputs(self.models, self.model[places], lambda k: self._at(at[k]).name)
        found._at = lambda k: self._at(at[k])  # type: ignore[method-assign]
        found._of_models = self._of_models
        return found

    def followed_by(self, others: Sequence[Input]) -> Inputs:
        """Return these inputs and others behind them.

        Parameters
        ----------
        others : sequence of Input
            The others, none of which is among these.

        Returns
        -------
        Inputs
            All.
        """
        mine, behind = len(self), len(self.models) + np.arange(len(others))
        model = np.concatenate((self.model, behind))
        found = Inputs((*self.models, *others), model, lambda k: found._at(k).name)
        found._at = lambda k: self._at(k) if k < mine else others[k - mine]  # type: ignore[method-assign]
        return found

    def column(self, what: str) -> NDArray[Any]:
        """Return one attribute of every input.

        Parameters
        ----------
        what : str
            u, dof, kind or has_limits.

        Returns
        -------
        ndarray, shape (n,)
            Of each. [any]
        """
        if what not in self._of_models:
            self._of_models[what] = np.array([getattr(q, what) for q in self.models])
        return self._of_models[what][self.model]

    def of_scope(self, scope: str) -> NDArray[np.bool_]:
        """Return which inputs count in a scope.

        Parameters
        ----------
        scope : {"readings", "specimens", "models"}
            See `SCOPES`.

        Returns
        -------
        ndarray of bool, shape (n,)
            Of each.
        """
        kinds = _scope(scope)
        if scope not in self._of_models:
            self._of_models[scope] = np.array([q.kind in kinds for q in self.models], dtype=bool)
        return self._of_models[scope][self.model]

    @cached_property
    def estimates(self) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
        """Estimate of variance that each input rests on, -1 where none is doubtful; their dof [1]."""
        known = self._of_models
        if "estimate" not in known:
            dofs = monte_carlo.degrees_of_freedom(q for q in self.models if q.variance is not None)
            place = {estimate: k for k, estimate in enumerate(dofs)}
            shared = [place.get(q.estimate, -1) if q.variance is not None else -1 for q in self.models]
            known["estimate"] = np.array(shared, dtype=np.intp)
            known["shared dof"] = np.array([*dofs.values()])
        code, dof = known["estimate"][self.model], self.column("dof")
        own = np.flatnonzero((code < 0) & np.isfinite(dof))
        code[own] = len(known["shared dof"]) + np.arange(len(own))
        return code, np.concatenate((known["shared dof"], dof[own]))


@dataclass(frozen=True, eq=False)
class Factored:
    """A matrix that would be full, as plain - left @ right; its rows are made when they are asked for.

    Parameters
    ----------
    plain, left, right : scipy.sparse.csr_array, shapes (m, n), (m, r) and (r, n)
        Its parts.
    """

    plain: Any
    left: Any
    right: Any
    __array_ufunc__ = None  # an array leaves a product with it to it

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.plain.shape
        return rows, columns

    def __matmul__(self, other: Any) -> Any:
        if np.ndim(other) == 1:
            return self.plain @ other - self.left @ (self.right @ other)
        other = other.full() if isinstance(other, Factored) else other
        return Factored(self.plain @ other, self.left, self.right @ other)

    def __rmatmul__(self, other: Any) -> Factored:
        weights = type(self.plain)(other)
        return Factored(weights @ self.plain, weights @ self.left, self.right)

    def __getitem__(self, at: Any) -> Any:
        rows, columns = at if isinstance(at, tuple) else (at, slice(None))
        if isinstance(rows, slice):
            return Factored(self.plain[:, columns], self.left, self.right[:, columns])
        return (self.plain[rows] - self.left[rows] @ self.right).tocsr()[:, columns]

    def full(self) -> Any:
        """Return it in one piece, as a scipy.sparse.csr_array."""
        return (self.plain - self.left @ self.right).tocsr()


@dataclass(frozen=True, eq=False)
class _Far:
    """What all rows of a factored matrix share, in differences of its rows: slopes that no row has for itself.

    A difference has the slopes p - l R, of which p is sparse and R alike for all. What lies outside p is summed by
    quadratic forms of l, so that a difference costs what its own p and l do.
    """

    left: NDArray[np.float64]
    right: NDArray[np.float64]
    near: NDArray[np.float64]

    @classmethod
    def of(cls, whole: Factored, a: NDArray[np.intp], b: NDArray[np.intp], moved: Any) -> _Far:
        """Return it for some pairs of rows, with l R where their p is."""
        left, right = (whole.left[a] - whole.left[b]).toarray(), whole.right.toarray()
        apart = np.repeat(np.arange(len(a)), np.diff(moved.indptr))
        return cls(left, right, np.einsum("er,re->e", left[apart], right[:, moved.indices]))

    def squares(
        self,
        each: NDArray[np.float64],
        group: NDArray[np.intp],
        dofs: NDArray[np.float64],
        entry: tuple[NDArray[np.intp], NDArray[np.intp]],
        told: tuple[NDArray[np.intp], ...],
    ) -> tuple[NDArray[np.float64], ...]:
        """Return variances outside p, of each difference and of its estimates that p holds; squares of the rest."""
        (apart, column), (doubtful, brought, owner, estimate) = entry, told
        scaled, inside, left = self.right * each, (self.near * each[column]) ** 2, self.left
        pairs = np.einsum("kr,ks->krs", left, left).reshape(len(left), -1)
        more = pairs @ (scaled @ scaled.T).ravel() - np.bincount(apart, inside, len(left))
        rests = np.flatnonzero((group >= 0) & (each > 0.0))
        outer = np.einsum("rc,sc->rsc", scaled[:, rests], scaled[:, rests])
        outer = outer.reshape(pairs.shape[1], len(rests))
        forms = np.stack([np.bincount(group[rests], x, len(dofs)) for x in outer], axis=1)
        whole = np.einsum("ev,ev->e", pairs[owner], forms[estimate])
        more_each = whole - np.bincount(brought, inside[doubtful], len(owner))
        every = np.einsum("kv,kv->k", pairs @ (forms.T @ (forms / dofs[:, None])), pairs)
        rest = every - np.bincount(owner, whole**2 / dofs[estimate], len(left))
        return np.maximum(more, 0.0), np.maximum(more_each, 0.0), np.maximum(rest, 0.0)

    def raise_largest(
        self,
        flat: NDArray[np.float64],
        each: NDArray[np.float64],
        slope: NDArray[np.float64],
        entry: tuple[NDArray[np.intp], NDArray[np.intp]],
    ) -> None:
        """Raise the largest square of each difference where one outside p might be larger."""
        apart, column = entry
        scaled = self.right * each
        most = np.linalg.norm(scaled, axis=0).max(initial=0.0)
        for k in np.flatnonzero(flat < (np.linalg.norm(self.left, axis=1) * most) ** 2):
            row, mine = self.left[k] @ scaled, slice(*np.searchsorted(apart, (k, k + 1)))
            row[column[mine]] = slope[mine] * each[column[mine]]
            flat[k] = np.max(row**2, initial=0.0)


@dataclass(frozen=True, eq=False)
class Joint:
    """Several quantities at once: their estimates, and one matrix of what moves them.

    Parameters
    ----------
    names : sequence of hashable, length m
        Name of each, all different.
    values : array_like, shape (m,)
        Estimates. [unit]
    inputs : sequence of Input, length n
        What may be off, each once: what quantities share is one column.
    sensitivities : array_like or scipy.sparse array, shape (m, n)
        Of each quantity to each input. [unit/input]
    """

    names: Sequence[Any]
    values: Any
    inputs: Any
    sensitivities: Any

    def __post_init__(self) -> None:
        y, names = np.asarray(self.values, dtype=np.float64), tuple(self.names)
        s, inputs = self.sensitivities, Inputs.of(self.inputs)
        if hasattr(s, "tocsr"):
            s = s.tocsr().astype(np.float64)
            s.sum_duplicates()
        elif not isinstance(s, Factored):
            s = np.asarray(s, dtype=np.float64)
        numbers = s.plain.data if isinstance(s, Factored) else s.data if hasattr(s, "tocsr") else s
        different, shape = len(set(names)), (y.size, len(inputs))
        demand(len(names) == different == y.size, f"names must be {y.size} different ones", different)
        demand(s.shape == shape, "sensitivities must be a row a value, a column an input", s.shape)
        demand(np.isfinite(y).all(), "values must be finite", y)
        demand(np.isfinite(numbers).all(), "sensitivities must be finite", numbers)
        for key, value in (("names", names), ("values", y), ("inputs", inputs), ("sensitivities", s)):
            object.__setattr__(self, key, value)

    @classmethod
    def of(cls, quantities: Mapping[Any, Measured]) -> Joint:
        """Return quantities as one joint result.

        Parameters
        ----------
        quantities : mapping of hashable to Measured
            The quantities by name. [unit]

        Returns
        -------
        Joint
            With the inputs that enter.
        """
        from scipy import sparse  # heavy, and two readings do without

        inputs = dict.fromkeys(q for one in quantities.values() for q in one.parts)
        place = {q: k for k, q in enumerate(inputs)}
        columns = [place[q] for one in quantities.values() for q in one.parts]
        values = [c for one in quantities.values() for c in one.parts.values()]
        starts = np.cumsum([0, *(len(one.parts) for one in quantities.values())])
        matrix = sparse.csr_array((values, columns, starts), shape=(len(quantities), len(place)), dtype=float)
        return cls(tuple(quantities), [one.value for one in quantities.values()], list(inputs), matrix)

    def __getitem__(self, name: Hashable) -> Measured:
        """Return one quantity; quantities of one matrix share its inputs."""
        k = self.position(name)
        row = self.sensitivities[[k]]
        at = row.indices if hasattr(row, "tocsr") else np.flatnonzero(row[0])
        c = row.data if hasattr(row, "tocsr") else row[0, at]
        each = self.inputs._at
        return Measured(self.values[k], {each(i): x for i, x in zip(at.tolist(), c.tolist(), strict=True)})

    def __contains__(self, name: Hashable) -> bool:
        """Return whether there is a quantity of that name."""
        return name in self._places

    def position(self, name: Hashable) -> int:
        """Return the place of a quantity.

        Parameters
        ----------
        name : hashable
            Its name.

        Returns
        -------
        int
            Its place in `names`.
        """
        if name not in self:
            demand(False, f"name must be one of the {len(self.names)} quantities", repr(name))
        return self._places[name]

    @cached_property
    def _places(self) -> dict[Hashable, int]:
        return {name: k for k, name in enumerate(self.names)}

    def among(self, names: Iterable[Hashable]) -> Joint:
        """Return some of the quantities, in that order.

        Parameters
        ----------
        names : iterable of hashable
            Their names.

        Returns
        -------
        Joint
            Those alone.
        """
        wanted = tuple(names)
        at = [self.position(name) for name in wanted]
        rows = self.sensitivities[at]
        small = hasattr(rows, "tocsr") and math.prod(rows.shape) <= _SMALL
        return Joint(wanted, self.values[at], self.inputs, rows.toarray() if small else rows)

    def combined(self, names: Sequence[Any], weights: Any) -> Joint:
        """Return weighted sums of the quantities.

        Parameters
        ----------
        names : sequence of hashable, length k
            Name of each sum.
        weights : array_like or scipy.sparse array, shape (k, m)
            Weight of each quantity in each sum. [1]

        Returns
        -------
        Joint
            The sums, with the same inputs.
        """
        return Joint(names, weights @ self.values, self.inputs, weights @ self.sensitivities)

    def plus(self, others: Mapping[Any, Measured]) -> Joint:
        """Return each quantity with another one added; what cancels but for rounding is zero.

        Parameters
        ----------
        others : mapping of hashable to Measured
            What is added to each, in the order of the quantities, by the name of the sum. [unit]

        Returns
        -------
        Joint
            The sums; inputs that are not yet among them stand behind.
        """
        from scipy import sparse  # heavy, and two readings do without

        more, place, own = Joint.of(others), {q: k for k, q in enumerate(self.inputs)}, self.sensitivities
        columns = np.array([place.setdefault(q, len(place)) for q in more.inputs], dtype=np.intp)
        shape, slopes = (len(others), len(place)), more.sensitivities
        own = sparse.csr_array(own.full() if isinstance(own, Factored) else own)
        own.resize(shape)
        added = sparse.csr_array((slopes.data, columns[slopes.indices], slopes.indptr), shape=shape)
        total, most = own + added, abs(own) + abs(added)
        total = total.multiply(abs(total) > 1e-13 * most).tocsr()
        inputs = self.inputs.followed_by([*place][len(self.inputs) :])
        return Joint(more.names, self.values + more.values, inputs, total)

    def in_scope(self, scope: str) -> Joint:
        """Return the same estimates with the inputs that count in a scope.

        Parameters
        ----------
        scope : {"readings", "specimens", "models"}
            See `SCOPES`.

        Returns
        -------
        Joint
            The estimates in that scope.
        """
        keep = np.flatnonzero(self.inputs.of_scope(scope))
        return Joint(self.names, self.values, self.inputs.among(keep), self.sensitivities[:, keep])

    def contributions(self) -> Any:
        """Return sensitivity times standard uncertainty.

        Returns
        -------
        ndarray or scipy.sparse.csr_array, shape (m, n)
            A row a quantity, a column an input. [unit]
        """
        s, u = self.sensitivities, self.inputs.column("u")
        s = s.full() if isinstance(s, Factored) else s.copy()
        if not hasattr(s, "tocsr"):
            return s * u
        s.data *= u[s.indices]
        return s

    def differences(
        self,
        first: Iterable[Hashable],
        second: Iterable[Hashable],
        *,
        scopes: Sequence[str] = ("models",),
        coverage: float = COVERAGE,
    ) -> tuple[NDArray[np.float64], ...]:
        """Return ``self[a] - self[b]`` of many pairs at once.

        Parameters
        ----------
        first, second : iterable of hashable, length k
            Names of a and of b.
        scopes : sequence of {"readings", "specimens", "models"}, default models
            Which inputs count, one after the other; see `SCOPES`.
        coverage : float
            Coverage probability. [1]

        Returns
        -------
        value, u, half_width, dof : ndarray, shape (k, scopes)
            As of a `Measured`. [unit, unit, unit, 1]
        """
        a, b = (np.array([self.position(name) for name in names], dtype=np.intp) for names in (first, second))
        whole, step = self.sensitivities, len(a)
        if isinstance(whole, Factored) and whole.right.shape[0] > _SHARED:
            step = _AT_ONCE // max(len(self.inputs), 1)
        starts = range(0, max(len(a), 1), max(step, 1))
        parts = [self._apart(a[k : k + step], b[k : k + step], scopes, coverage) for k in starts]
        return tuple(np.concatenate(part) for part in zip(*parts, strict=True))

    def _apart(
        self, a: NDArray[np.intp], b: NDArray[np.intp], scopes: Sequence[str], coverage: float
    ) -> tuple[NDArray[np.float64], ...]:
        """Return some of the differences."""
        whole = self.sensitivities
        plain = whole.plain if isinstance(whole, Factored) else whole
        both = [plain[rows] for rows in (a, b)]
        squares = [rows.power(2) if hasattr(rows, "tocsr") else rows**2 for rows in both]
        moved, far = both[0] - both[1], None
        if isinstance(whole, Factored) and whole.right.shape[0] <= _SHARED:
            far = _Far.of(whole, a, b, moved)
        elif isinstance(whole, Factored):
            moved = (moved - (whole.left[a] - whole.left[b]) @ whole.right).tocsr()
        apart, column = moved.nonzero()
        slope = moved.data if hasattr(moved, "tocsr") else moved[apart, column]
        slope = slope if far is None else slope - far.near
        group, dofs = self.inputs.estimates
        limited = np.flatnonzero(self.inputs.column("has_limits")[column])
        doubtful = np.flatnonzero(group[column] >= 0)
        place, brought = np.unique(apart[doubtful] * len(dofs) + group[column[doubtful]], return_inverse=True)
        owner, estimate = np.divmod(place, max(len(dofs), 1))
        found = []
        for scope in scopes:
            counted = self.inputs.of_scope(scope) | (scope == "models")
            each = np.where(counted, self.inputs.column("u"), 0.0)
            square = (slope * each[column]) ** 2
            variance = np.asarray(np.bincount(apart, square, len(a)), dtype=np.float64)
            part = np.asarray(np.bincount(brought, square[doubtful], len(place)), dtype=np.float64)
            beyond = np.zeros(len(a))
            if far is not None:
                told = (doubtful, brought, owner, estimate)
                more, more_each, beyond = far.squares(each, group, dofs, (apart, column), told)
                variance, part = variance + more, part + more_each
            known = sum(rows @ each**2 for rows in squares)
            variance[variance <= _ROUNDING**2 * known] = 0.0
            total = np.where(variance > 0.0, variance, np.inf)
            part = part / total[owner]
            spent = np.bincount(owner, part**2 / dofs[estimate], len(a)) + beyond / total**2
            dof = np.divide(1.0, spent, out=np.full(len(a), np.inf), where=spent > 0.0)
            flat = np.zeros(len(a))
            np.maximum.at(flat, apart[limited], square[limited])
            if far is not None:
                far.raise_largest(flat, each * self.inputs.column("has_limits"), slope, (apart, column))
            u = np.sqrt(variance)
            one = zip(u.tolist(), dof.tolist(), flat.tolist(), strict=True)
            half = np.array([_half_width(coverage, *x) for x in one])
            found.append((self.values[a] - self.values[b], u, half, dof))
        return tuple(np.column_stack(part) for part in zip(*found, strict=True))

    @cached_property
    def covariance(self) -> NDArray[np.float64]:
        r"""Covariance of the quantities, :math:`S\,\mathrm{diag}(u)^2\,S^T` [unit²] (JCGM 102:2011, 6.2)."""
        scaled = self.contributions()
        if not hasattr(scaled, "tocsr"):
            return np.asarray(scaled @ scaled.T)
        columns = scaled.tocsc()
        shared = np.diff(columns.indptr) > len(self.names) // 16  # faster as a dense block
        dense = columns[:, np.flatnonzero(shared)].toarray()
        own = columns[:, np.flatnonzero(~shared)].tocsr()
        return np.asarray(dense @ dense.T + (own @ own.T).toarray())


def combine(weights: Iterable[float], quantities: Iterable[Measured], *, unit: str = "") -> Measured:
    """Return a weighted sum of quantities, in time proportional to their inputs.

    Parameters
    ----------
    weights : iterable of float, length n
        Weight of each. [1]
    quantities : iterable of Measured, length n
        The quantities. [unit]
    unit : str, default ""
        Unit of the sum.

    Returns
    -------
    Measured
        The sum; what the quantities share cancels or adds as the weights say.
    """
    moved = [(x, float(w)) for w, x in zip(weights, quantities, strict=True)]
    return _moved(math.fsum(w * x.value for x, w in moved), moved, linear=True, unit=unit)


def apply(
    law: Callable[..., ArrayLike], *quantities: Measured | float, unit: str = "", arrays: bool = False
) -> Measured:
    """Return a law of measured quantities, by central differences.

    Parameters
    ----------
    law : callable
        Takes as many numbers as there are quantities and returns one. [unit]
    *quantities : Measured or float
        What enters, in the order of the law's arguments; a plain number is exact. [any unit]
    unit : str, default ""
        Unit of the result.
    arrays : bool, default False
        The law takes arrays as well, element by element: it is called once.

    Returns
    -------
    Measured
        The result. Where terms of second order are not small (over half of those of first), its mean, u and
        shortest interval are those of draws, and ``how`` says so.

    Raises
    ------
    ValueError
        If draws are needed and a quantity is itself the result of a law that is not linear.
    MethodError
        If the law has no finite value at or beside the estimates.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1; JCGM 101:2008, 5.11.
    """
    at = [x.value if isinstance(x, Measured) else float(x) for x in quantities]
    uncertain = [(k, x) for k, x in enumerate(quantities) if isinstance(x, Measured) and x.u]
    h = np.array([_STEP * x.u for _, x in uncertain])
    points = np.tile(at, (1 + 4 * len(h), 1))
    for row, (k, _) in enumerate(uncertain):
        points[1 + 4 * row : 5 + 4 * row, k] += h[row] * np.array([1.0, -1.0, 0.5, -0.5])
    with np.errstate(all="ignore"):  # what is not finite is refused here
        one_by_one = (float(np.asarray(law(*point))) for point in points.tolist())
        found = np.asarray(law(*points.T)) if arrays else np.fromiter(one_by_one, dtype=float)
    if not np.isfinite(found).all():
        bad = int(np.flatnonzero(~np.isfinite(found))[0])
        where = ", ".join(f"{x:g}" for x in points[bad])
        message = f"the law must be finite at its estimates and beside them; got {found[bad]} at {where}"
        raise MethodError(message, code="model_not_finite", known={"estimates": at})
    centre = float(found[0])
    up, down, upper, lower = found[1:].reshape(-1, 4).T
    wide, narrow = (up - down) / (2.0 * h), (upper - lower) / h
    slopes = narrow + (narrow - wide) / 3.0
    moved = [(x, slope) for (_, x), slope in zip(uncertain, slopes.tolist(), strict=True)]
    curved = float((((up - 2.0 * centre + down) / _STEP**2) ** 2).sum()) / 2.0
    first = math.fsum((s * x.u) ** 2 for x, s in moved)
    if moved and (curved > _BENT**2 * first or first <= (_ROUNDING * centre) ** 2):
        return _by_draws(law, quantities, centre).in_unit(unit)
    return _moved(centre, moved, linear=False, unit=unit, rounding=1e-9)  # what differences leave of zero


def from_ln(ln_value: Measured, *, unit: str = "1") -> Measured:
    """Return e to the power of a quantity, with the ends of its interval carried over.

    Parameters
    ----------
    ln_value : Measured
        Natural logarithm, as of a ratio. [1]
    unit : str, default "1"
        Unit of the result.

    Returns
    -------
    Measured
        The result; that of the quantity with its sign changed is exactly the reciprocal, value and interval.
    """
    value = exp_symmetric(ln_value.value)

    def ends(coverage: float) -> tuple[float, float]:
        low, high = ln_value.interval(coverage)
        return exp_symmetric(low), exp_symmetric(high)

    parts = {q: value * c for q, c in ln_value.parts.items()}
    return Measured(value, parts, unit, linear=False, ends=ends, how=ln_value.how)


def exp_symmetric(x: float) -> float:
    """Return e^x such that e^-x is exactly its reciprocal.

    Parameters
    ----------
    x : float
        Natural logarithm of a ratio. [1]

    Returns
    -------
    float
        The ratio. [1]
    """
    if math.isnan(x):
        return x
    size = math.exp(abs(x)) if abs(x) < 709.0 else math.inf  # beyond, a ratio is infinite
    return size if x >= 0 else 1.0 / size


def coverage_factor(coverage: float, dof: float = math.inf) -> float:
    """Return the coverage factor of Student's t.

    Parameters
    ----------
    coverage : float
        Coverage probability, between 0 and 1. [1]
    dof : float, default infinity
        Degrees of freedom. [1]

    Returns
    -------
    float
        Coverage factor. [1]
    """
    demand(0 < coverage < 1, "coverage must be more than 0 and less than 1", coverage)
    if dof > 1e10:  # Student's t is normal to the last digit
        return normal_quantile(0.5 + coverage / 2.0)
    from scipy.special import stdtrit  # a third of the time of comparing two readings, which do without

    return float(stdtrit(dof, 0.5 + coverage / 2.0))


@lru_cache
def normal_quantile(p: float) -> float:
    """Return what a normal deviate exceeds with the probability 1 - p.

    Parameters
    ----------
    p : float
        Probability, between 0.5 and 1. [1]

    Returns
    -------
    float
        The quantile, zero or more, to rounding. [1]
    """
    from statistics import NormalDist  # heavy, and asked for once

    return math.inf if p >= 1.0 else NormalDist().inv_cdf(p)


def _half_width(coverage: float, u: float, dof: float, flat: float) -> float:
    """Return half the width of an interval in which one rectangular input carries the variance `flat`."""
    narrower = flat_factor(coverage, flat / u**2) if flat and u else 1.0
    return coverage_factor(coverage, dof) * narrower * u


def flat_factor(coverage: float, share: float) -> float:
    r"""Return how much narrower an interval is when one rectangular input carries a share of the variance.

    With half width a and a normal rest of standard deviation s the probability below y is

    .. math:: F(y) = \frac{s}{2a}\left[G\left(\frac{y+a}{s}\right) - G\left(\frac{y-a}{s}\right)\right],
        \quad G(z) = z\,\Phi(z) + \varphi(z)

    Parameters
    ----------
    coverage : float
        Coverage probability, between 0 and 1. [1]
    share : float
        Share of the variance that the rectangular input carries, 0 to 1. [1]

    Returns
    -------
    float
        Half width over that of a normal distribution of the same standard deviation: 1 at no share,
        :math:`p\sqrt3/z_p` at all of it, where p of the limits hold the coverage p. [1]
    """
    a, s = math.sqrt(3.0 * share), math.sqrt(max(1.0 - share, 0.0))
    normal = coverage_factor(coverage)
    if share < 1e-4:  # 4e-10 of the width
        return 1.0
    if s < 1e-6:  # the ends lie inside the limits, where a blurred rectangle is as flat as a sharp one
        return coverage * a / normal

    def below(z: float) -> tuple[float, float]:
        probability = math.erfc(-z / math.sqrt(2.0)) / 2.0
        return probability, z * probability + math.exp(-z * z / 2.0) / math.sqrt(2.0 * math.pi)

    y, step = max(coverage * a, normal * s), math.inf  # the sum of both is no narrower than either
    while step > 1e-13:  # Newton from below on a concave function: never past the end
        (above, high), (under, low) = below((y + a) / s), below((y - a) / s)
        missing = 0.5 + coverage / 2.0 - s / (2.0 * a) * (high - low)
        step = missing * 2.0 * a / (above - under)
        y += step
    return y / normal


def _moved(
    value: float,
    moved: Iterable[tuple[Measured, float]],
    *,
    linear: bool,
    unit: str = "",
    rounding: float = 1e-13,
) -> Measured:
    """Return a result whose slopes in some quantities are known; what cancels but for rounding is zero."""
    several: dict[Input, list[float]] = {}
    for x, slope in moved:
        linear = linear and x.linear
        for q, c in x.parts.items():
            several.setdefault(q, []).append(slope * c)
    kept = {}
    for q, terms in several.items():
        total = terms[0] if len(terms) == 1 else sum(terms)
        kept[q] = total if abs(total) > rounding * sum(map(abs, terms)) else 0.0
    return Measured(value, kept, unit, linear)


def _by_draws(
    law: Callable[..., ArrayLike], quantities: Sequence[Measured | float], value: float
) -> Measured:
    """Return a result that first order does not describe: mean, u and shortest interval of draws."""
    outcomes = monte_carlo.draws(law, *quantities)
    mean, sd = float(np.mean(outcomes)), float(np.std(outcomes, ddof=1))
    if sd <= _ROUNDING * abs(value):
        return Measured(value, linear=False)
    name = ("beyond first order", getattr(law, "__name__", "law"), mean, sd)
    q = Input(name, sd, kind="model spread", source="draws")
    ends = partial(monte_carlo.interval, outcomes, kind="shortest")
    return Measured(mean, {q: 1.0}, linear=False, ends=ends, how="by draws")


def _scope(scope: str) -> frozenset[str]:
    """Return the kinds that count in a scope, or refuse a scope of another name."""
    demand(scope in SCOPES, f"scope must be one of {', '.join(SCOPES)}", repr(scope))
    return SCOPES[scope]


def _grouped(word: str) -> str:
    """Return a printed number with its thousands apart, from five digits on."""
    whole, point, rest = word.partition(".")
    return f"{int(whole):,}".replace(",", " ") + point + rest if re.fullmatch(r"-?\d{5,}", whole) else word
