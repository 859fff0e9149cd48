"""The exceptions photolab raises on purpose.

::

    Exception
    └── PhotolabError            everything photolab refuses
        ├── RecordError          a bench folder cannot be read as it is; carries every fault
        └── MethodError          a method's condition does not hold; carries what is known all the same
            └── NotInFolder      nothing in the folder feeds a notebook

Bad arguments of a pure function (a negative distance, a list of the wrong length) are plain
`ValueError`, because they are a caller's slip and not a finding about a bench.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

_T = TypeVar("_T")
SHOWN = 50
"""So many problems of a refused folder are printed."""


class PhotolabError(Exception):
    """Base of all refusals."""


class RecordError(PhotolabError):
    """A bench folder that was refused; it carries every fault and prints the first 50, then the count.

    Parameters
    ----------
    problems : iterable
        All faults found, each with ``code``, ``file``, ``line``, ``column`` and ``message``; ``str()`` of one
        is its printed line.
    """

    def __init__(self, problems: Iterable[Any]) -> None:
        self.problems = tuple(problems)
        lines = [str(problem) for problem in self.problems[:SHOWN]]
        if more := len(self.problems) - len(lines):
            lines.append(f"… {more} more; {len(self.problems)} in all")
        super().__init__("\n".join(lines))


class MethodError(PhotolabError):
    """A method that has no honest answer for this input.

    Parameters
    ----------
    message : str
        What condition failed, with the numbers.
    code : str, optional
        Stable code of the refusal.
    known : mapping, optional
        What can still be said, by name.
    """

    def __init__(self, message: str, *, code: str = "", known: Mapping[str, Any] | None = None) -> None:
        self.code = code
        self.known = dict(known or {})
        super().__init__(message)


class NotInFolder(MethodError):
    """A notebook that nothing in the folder feeds: one sentence, and no traceback where it is shown."""

    def _render_traceback_(self) -> list[str]:
        """Return what IPython shows instead of a traceback."""
        return [str(self)]


def demand(holds: object, wanted: str, got: object) -> None:
    """Refuse a bad argument in the one form: what it must be, and what was got.

    Parameters
    ----------
    holds : object
        Whether the condition holds.
    wanted : str
        The condition in words, as in "coverage must be between 0 and 1".
    got : object
        What was given.

    Raises
    ------
    ValueError
        If it does not hold.
    """
    if not holds:
        message = f"{wanted}; got {got}"
        raise ValueError(message)


def attempt(law: Callable[..., _T], *given: Any, **named: Any) -> _T | MethodError:
    """Return what a law answers, or the refusal with which it has no answer.

    Parameters
    ----------
    law : callable
        A calculation that raises `MethodError` where its condition does not hold.
    *given, **named
        What goes in. A refusal that goes in comes out.

    Returns
    -------
    object or MethodError
        The answer, or the first refusal.
    """
    for value in (*given, *named.values()):
        if isinstance(value, MethodError):
            return value
    try:
        return law(*given, **named)
    except MethodError as refused:
        return refused
