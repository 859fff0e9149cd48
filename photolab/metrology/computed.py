"""What is computed once, when it is made, and stays."""

from collections.abc import Callable, Hashable
from dataclasses import FrozenInstanceError
from functools import wraps
from typing import Any, ParamSpec, TypeVar


class Computed:
    """An object that computes its attributes itself: none is set once it is made, as of a frozen dataclass."""

    _made = False

    def __init_subclass__(cls) -> None:
        """Let an object take no attribute once it is made."""
        make: Any = cls.__init__

        @wraps(make)
        def made(self: Computed, *args: object, **options: object) -> None:
            make(self, *args, **options)
            if type(self) is cls:
                vars(self)["_made"] = True

        cls.__init__ = made  # type: ignore[assignment]

    def __setattr__(self, name: str, value: object) -> None:
        """Set an attribute that has no value yet while the object is made, or refuse."""
        if self._made or name in vars(self):
            message = f"cannot assign to field {name!r}"
            raise FrozenInstanceError(message)
        super().__setattr__(name, value)

    def __repr__(self) -> str:
        shown = (f"{name}={value!r}" for name, value in vars(self).items() if not name.startswith("_"))
        return f"{type(self).__name__}({', '.join(shown)})"


P = ParamSpec("P")
R = TypeVar("R")


def kept(most: int) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Keep the latest results of a function that hangs on nothing but what its arguments hold.

    Parameters
    ----------
    most : int
        How many are kept. [1]

    Returns
    -------
    callable
        Makes such a function; measured quantities are told apart by their `content`, what else enters is hashable.
    """

    def keeping(function: Callable[P, R]) -> Callable[P, R]:
        known: dict[Hashable, R] = {}

        @wraps(function)
        def ask(*args: P.args, **options: P.kwargs) -> R:
            key = (*options, *(getattr(one, "content", one) for one in (*args, *options.values())))
            if key not in known:
                known[key] = function(*args, **options)
                if len(known) > most:
                    del known[next(iter(known))]
            return known[key]

        return ask

    return keeping
