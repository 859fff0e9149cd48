"""What enters a measurement: a quantity, its standard uncertainty and where that came from."""

import math
from collections.abc import Hashable
from dataclasses import KW_ONLY, dataclass
from typing import Any

DISTRIBUTIONS = ("normal", "t", "rectangular")


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
        normal, t or rectangular.
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
        if self.distribution not in DISTRIBUTIONS:
            wanted = ", ".join(DISTRIBUTIONS)
            message = f"distribution[{self.name!r}] must be one of {wanted}; got {self.distribution!r}"
            raise ValueError(message)

    @property
    def key(self) -> tuple[Hashable, str, Hashable]:
        """Identity among the inputs of a joint result: name, shared_by, shared_with."""
        return (self.name, self.shared_by, self.shared_with)

    @classmethod
    def from_limits(
        cls, name: Hashable, value: float, half_width: float, *, dof: float = float("inf"), **labels: Any
    ) -> "InputQuantity":
        """Evaluate a quantity known to lie within a half width of its estimate, rectangular (Type B).

        Parameters
        ----------
        name : hashable
            What the quantity is.
        value : float
            Estimate, in the middle of the limits. [unit]
        half_width : float
            Half the distance of the limits, zero or more. [unit]
        dof : float, default infinity
            Degrees of freedom, from how reliable the limits are. [1]
        **labels
            unit, shared_by, shared_with, variance_from of the class.

        Returns
        -------
        InputQuantity
            With the half width over the root of 3. [unit]

        Raises
        ------
        ValueError
            If the half width is negative or not finite.
        """
        if not (0 <= half_width < float("inf")):
            unit = labels.get("unit", "1")
            message = f"half_width[{name!r}] must be finite and zero or more; got {half_width} {unit}"
            raise ValueError(message)
        return cls(name, value, half_width / math.sqrt(3.0), distribution="rectangular", dof=dof, **labels)

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
        shape = "t" if math.isfinite(dof) else "normal"
        return cls(name, value, expanded_uncertainty / coverage_factor, distribution=shape, dof=dof, **labels)
