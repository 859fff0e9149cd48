"""What enters a measurement: a quantity, its standard uncertainty and where that came from."""

from collections.abc import Hashable
from dataclasses import KW_ONLY, dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from photolab.metrology.distributions import (
    DISTRIBUTIONS,
    NEEDS_SHAPE,
    exponential_rate,
    exponential_sd,
    sd_of_unit_half_width,
)


@dataclass(frozen=True)
class InputQuantity:
    r"""A quantity that enters a measurement, with what is known about it.

    Parameters
    ----------
    name : hashable
        What the quantity is. Two inputs with one name are told apart by `shared_by` and `shared_with`.
    value : float
        Estimate. [unit]
    standard_uncertainty : float
        Standard uncertainty; for Student's t the scale :math:`s/\sqrt n` (its standard deviation is
        larger). [unit]
    distribution : str, default "normal"
        normal, t, rectangular, triangular, arcsine, trapezoidal, curvilinear_trapezoidal or
        truncated_exponential.
    dof : float, default infinity
        Degrees of freedom of the standard uncertainty; infinity for an assumed one. [1]
    unit : str, default "1"
        Unit of the value.
    shared_by : str, default "reading"
        The kind of thing all results share this quantity through (meter, range, mounting, …); a label,
        never arithmetic.
    shared_with : hashable, default ""
        Which one of that kind.
    variance_from : hashable, optional
        Names the one estimate of variance this uncertainty was taken from. Inputs with the same name here
        share its degrees of freedom: they are summed before degrees of freedom are combined.
    shape_parameter : float, optional
        trapezoidal: top over base, 0 to 1 [1]; curvilinear_trapezoidal: inexactness of the limits, ± [unit];
        truncated_exponential: where the mean lies between the limits, 0 to 1 [1].
    """

    name: Hashable
    value: float
    standard_uncertainty: float
    _: KW_ONLY
    distribution: str = "normal"
    dof: float = float("inf")
    unit: str = "1"
    shared_by: str = "reading"
    shared_with: Hashable = ""
    variance_from: Hashable | None = None
    shape_parameter: float | None = None

    def __post_init__(self) -> None:
        for name in ("value", "standard_uncertainty", "dof"):
            if type(getattr(self, name)) is not float:
                object.__setattr__(self, name, float(getattr(self, name)))
        u = self.standard_uncertainty
        if not (abs(self.value) < float("inf")):
            message = f"value[{self.name!r}] must be finite; got {self.value} {self.unit}"
            raise ValueError(message)
        if not (0 <= u < float("inf")):
            message = (
                f"standard_uncertainty[{self.name!r}] must be finite and zero or more; got {u} {self.unit}"
            )
            raise ValueError(message)
        if not self.dof > 0:
            message = f"dof[{self.name!r}] must be more than zero; got {self.dof}"
            raise ValueError(message)
        if self.distribution != "normal":
            _check_shape(self)

    @property
    def key(self) -> tuple[Hashable, str, Hashable]:
        """Identity among the inputs of a joint result: name, shared_by, shared_with."""
        return (self.name, self.shared_by, self.shared_with)

    @property
    def standard_shape(self) -> float | None:
        """Shape parameter free of units: an inexactness of limits is divided by the half width."""
        if self.distribution != "curvilinear_trapezoidal" or self.shape_parameter is None:
            return self.shape_parameter
        inexactness = self.shape_parameter
        half_width = (
            np.sqrt(3.0 * (self.standard_uncertainty**2 - inexactness**2 / 9.0)) if inexactness else 1.0
        )
        return float(inexactness / half_width)

    @classmethod
    def from_readings(
        cls,
        name: Hashable,
        readings: ArrayLike,
        *,
        pooled_sd: float | None = None,
        pooled_dof: float | None = None,
        **labels: Any,
    ) -> "InputQuantity":
        r"""Evaluate the mean of repeated readings (Type A), Student's t with their degrees of freedom.

        :math:`u = s/\sqrt n` with :math:`n - 1` degrees of freedom, or the pooled standard deviation over
        :math:`\sqrt n` with the pooled degrees of freedom [1]_.

        Parameters
        ----------
        name : hashable
            What the quantity is.
        readings : array_like, shape (n,)
            Independent readings. [unit]
        pooled_sd : float, optional
            Standard deviation of one reading, from elsewhere. [unit]
        pooled_dof : float, optional
            Its degrees of freedom; must be given with it (infinity for an assumed one). [1]
        **labels
            unit, shared_by, shared_with, variance_from of the class.

        Returns
        -------
        InputQuantity
            Value and standard uncertainty of the mean. [unit]

        Raises
        ------
        ValueError
            If a reading is not finite, or there are too few of them.

        References
        ----------
        .. [1] JCGM 100:2008, 4.2; JCGM 101:2008, 6.4.9.
        """
        x = np.atleast_1d(np.asarray(readings, dtype=np.float64))
        bad = np.flatnonzero(~np.isfinite(x))
        if bad.size:
            message = (
                f"readings[{bad[0]}] of {name!r} must be finite; got {x[bad[0]]} {labels.get('unit', '1')}"
            )
            raise ValueError(message)
        least = 1 if pooled_sd is not None else 2
        if x.size < least:
            message = f"readings of {name!r} must be {least} or more; got {x.size}"
            raise ValueError(message)
        if (pooled_sd is None) != (pooled_dof is None):
            message = (
                f"pooled_sd and pooled_dof of {name!r} must be given together; got {pooled_sd}, {pooled_dof}"
            )
            raise ValueError(message)
        if pooled_sd is None or pooled_dof is None:
            sd, dof = float(np.std(x, ddof=1)), float(x.size - 1)
        else:
            sd, dof = float(pooled_sd), float(pooled_dof)
        shape = "t" if np.isfinite(dof) else "normal"
        return cls(
            name, float(np.mean(x)), sd / float(np.sqrt(x.size)), distribution=shape, dof=dof, **labels
        )

    @classmethod
    def from_limits(
        cls,
        name: Hashable,
        value: float,
        half_width: float,
        *,
        distribution: str = "rectangular",
        dof: float = float("inf"),
        shape_parameter: float | None = None,
        **labels: Any,
    ) -> "InputQuantity":
        """Evaluate a quantity known to lie within a half width of its estimate (Type B).

        Parameters
        ----------
        name : hashable
            What the quantity is.
        value : float
            Estimate, in the middle of the limits. [unit]
        half_width : float
            Half the distance of the limits, zero or more. [unit]
        distribution : str, default "rectangular"
            rectangular, triangular, arcsine, trapezoidal or curvilinear_trapezoidal.
        dof : float, default infinity
            Degrees of freedom, from how reliable the limits are. [1]
        shape_parameter : float, optional
            trapezoidal: top over base, 0 to 1 [1]; curvilinear_trapezoidal: inexactness of the limits, ±
            [unit].
        **labels
            unit, shared_by, shared_with, variance_from of the class.

        Returns
        -------
        InputQuantity
            With the standard deviation of that distribution. [unit]

        Raises
        ------
        ValueError
            If the half width is negative or not finite, or the shape parameter does not fit.
        """
        if not (0 <= half_width < float("inf")):
            unit = labels.get("unit", "1")
            message = f"half_width[{name!r}] must be finite and zero or more; got {half_width} {unit}"
            raise ValueError(message)
        shape = shape_parameter
        if distribution == "curvilinear_trapezoidal" and shape is not None:
            if not (0 <= shape <= half_width):
                message = (
                    f"shape_parameter[{name!r}] must be 0 to the half width {half_width:g}; got {shape:g}"
                )
                raise ValueError(message)
            shape = shape / half_width if half_width else 0.0
        u = half_width * sd_of_unit_half_width(distribution, shape)
        return cls(
            name, value, u, distribution=distribution, dof=dof, shape_parameter=shape_parameter, **labels
        )

    @classmethod
    def from_bounds(
        cls, name: Hashable, low: float, high: float, *, estimate: float | None = None, **labels: Any
    ) -> "InputQuantity":
        """Evaluate a quantity known to lie between two limits, wherever its estimate (Type B).

        Without an estimate the middle is taken, rectangular. With one, the density of largest entropy
        between the limits that has its mean there: exponential, cut off at both limits [1]_.

        Parameters
        ----------
        name : hashable
            What the quantity is.
        low, high : float
            Limits. [unit]
        estimate : float, optional
            Expected value, strictly between the limits. [unit]
        **labels
            dof, unit, shared_by, shared_with, variance_from of the class.

        Returns
        -------
        InputQuantity
            With the standard deviation of that distribution. [unit]

        Raises
        ------
        ValueError
            If the limits are not in order or the estimate is not between them.

        References
        ----------
        .. [1] JCGM 100:2008, 4.3.8.
        """
        unit = labels.get("unit", "1")
        if not low <= high:
            message = f"low of {name!r} must be at most high = {high:g} {unit}; got {low:g} {unit}"
            raise ValueError(message)
        middle = low + (high - low) / 2.0
        if estimate is None or estimate == middle:
            return cls.from_limits(name, middle, (high - low) / 2.0, **labels)
        if not low < estimate < high:
            message = (
                f"estimate of {name!r} must be between {low:g} and {high:g} {unit}; got {estimate:g} {unit}"
            )
            raise ValueError(message)
        place = (estimate - low) / (high - low)
        u = (high - low) * exponential_sd(exponential_rate(place))
        return cls(name, estimate, u, distribution="truncated_exponential", shape_parameter=place, **labels)

    @classmethod
    def from_certificate(
        cls,
        name: Hashable,
        value: float,
        expanded_uncertainty: float,
        *,
        coverage_factor: float = 2.0,
        dof: float = float("inf"),
        **labels: Any,
    ) -> "InputQuantity":
        """Take a quantity from a certificate or a manual that states an expanded uncertainty (Type B).

        Parameters
        ----------
        name : hashable
            What the quantity is.
        value : float
            Stated value. [unit]
        expanded_uncertainty : float
            Stated expanded uncertainty, zero or more. [unit]
        coverage_factor : float, default 2
            Stated coverage factor, more than zero. [1]
        dof : float, default infinity
            Stated effective degrees of freedom. [1]
        **labels
            unit, shared_by, shared_with, variance_from of the class.

        Returns
        -------
        InputQuantity
            Normal, or Student's t where the degrees of freedom are finite. [unit]

        Raises
        ------
        ValueError
            If the coverage factor is not more than zero.
        """
        if not (0 < coverage_factor < float("inf")):
            message = f"coverage_factor[{name!r}] must be finite and more than zero; got {coverage_factor}"
            raise ValueError(message)
        shape = "t" if np.isfinite(dof) else "normal"
        return cls(name, value, expanded_uncertainty / coverage_factor, distribution=shape, dof=dof, **labels)


def _check_shape(quantity: InputQuantity) -> None:
    """Refuse a distribution that is unknown, lacks its shape parameter, or has an impossible one."""
    name, kind, shape = quantity.name, quantity.distribution, quantity.shape_parameter
    if kind not in DISTRIBUTIONS:
        message = f"distribution[{name!r}] must be one of {', '.join(DISTRIBUTIONS)}; got {kind!r}"
        raise ValueError(message)
    if kind not in NEEDS_SHAPE:
        return
    if shape is None:
        message = f"shape_parameter[{name!r}] must be given for a {kind} distribution; got none"
        raise ValueError(message)
    # the inexactness d of limits w apart on each side obeys d <= w, so d <= 1.5 u
    high = 1.5 * quantity.standard_uncertainty * (1 + 1e-9) if kind == "curvilinear_trapezoidal" else 1.0
    inside = 0 < shape < 1 if kind == "truncated_exponential" else 0 <= shape <= high
    if not inside:
        message = f"shape_parameter[{name!r}] must be between 0 and {high:g} for {kind}; got {shape:g}"
        raise ValueError(message)
