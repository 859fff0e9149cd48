"""The folder that a report goes to: one run at a time, and each file in its place or not there at all.

A file is written beside its place first, under a name that nobody can guess and that must be new, so that no link
laid there is followed; a link that stands in its place is replaced, not followed.
"""

import contextlib
import os
import secrets
import sys
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from photolab.errors import MethodError


def place_in(folder: Path, name: str) -> Path | None:
    """Return where a file of a report stands: in its folder, or in a folder of that.

    Parameters
    ----------
    folder : Path
        Folder of the report.
    name : str
        As the record lists it: "results.csv", "figures/budget.png".

    Returns
    -------
    Path or None
        The place; None where the name leads anywhere else, or through a link.
    """
    parts = name.split("/")
    plain = all(Path(part).name == part and part not in {"", ".."} and "\\" not in part for part in parts)
    if len(parts) > 2 or not plain or (len(parts) == 2 and (folder / parts[0]).is_symlink()):
        return None
    return folder / name


HOLD = ".photolab-run"
"""The file that holds a folder on Windows."""
BUSY = "another run is writing its report there; wait until it has ended, or name another folder with --out"


def partial_folder(folder: Path) -> Path:
    """Return where a report with missing parts goes while a complete one stands in its folder.

    Parameters
    ----------
    folder : Path
        Folder of the complete report.

    Returns
    -------
    Path
        The folder beside it with ``.partial`` after its name.
    """
    named = folder if folder.name not in {"", ".."} else folder.resolve()
    return named.with_name(f"{named.name}.partial")


@contextlib.contextmanager
def held(folder: Path, *, busy: str = BUSY) -> Iterator[None]:
    """Hold a folder for one run; the hold ends with the process, however that ends.

    Parameters
    ----------
    folder : Path
        The folder; made where it is missing, and taken away again if it was made for nothing.
    busy : str
        What is said where another run holds it.

    Yields
    ------
    None
        While it is held.

    Raises
    ------
    MethodError
        If another run holds it.
    """
    made = [place for place in (folder, *folder.parents) if not place.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    try:
        descriptor = _hold(folder, busy)
        try:
            yield
        finally:
            os.close(descriptor)
            with contextlib.suppress(OSError):  # there is one on Windows alone, or another run has it open
                (folder / HOLD).unlink()
    finally:
        with contextlib.suppress(OSError):  # a report stands in it
            for place in made:
                place.rmdir()


def _hold(folder: Path, words: str) -> int:
    """Return an open descriptor that holds the folder."""
    if sys.platform == "win32":
        # no folder can be opened there; of this file the lock counts, which goes with the process, not that it is there
        import msvcrt

        descriptor = os.open(folder / HOLD, os.O_RDWR | os.O_CREAT)
    else:
        import fcntl

        descriptor = os.open(folder, os.O_RDONLY)
    try:
        if sys.platform == "win32":
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        # some network file systems lock no folder; then nothing holds it
        if sys.platform == "win32" or isinstance(error, BlockingIOError):
            os.close(descriptor)
            message = f"{folder.name}: {words}"
            raise MethodError(message, code="report_in_use") from None
    return descriptor


def put_in_place(
    contents: Mapping[str, bytes], folder: Path, *, instead_of: Iterable[str] = ()
) -> tuple[Path, ...]:
    """Write every file beside its place, then put them there in order.

    Parameters
    ----------
    contents : mapping
        Name and bytes of each file; a name may have one folder before it.
    folder : Path
        Where they go; made where it is missing.
    instead_of : iterable of str, optional
        Files of an earlier report; those that are not written again are removed.

    Returns
    -------
    tuple of Path
        The files, in order.
    """
    folder.mkdir(parents=True, exist_ok=True)
    pairs: list[tuple[Path, Path]] = []
    try:
        for name, content in contents.items():
            pairs.append((folder / f".{secrets.token_hex(16)}.part", folder / name))
            with pairs[-1][0].open("xb") as stream:
                stream.write(content)
        remove(folder, (name for name in instead_of if name not in contents))
        for beside, place in pairs:
            if place.parent.is_symlink() and place.parent != folder:
                place.parent.unlink()
            place.parent.mkdir(exist_ok=True)
            beside.replace(place)
    finally:
        for beside, _ in pairs:
            beside.unlink(missing_ok=True)
    return tuple(place for _, place in pairs)


def remove(folder: Path, names: Iterable[str]) -> None:
    """Remove files from a folder, and folders in it that are empty then.

    Parameters
    ----------
    folder : Path
        The folder.
    names : iterable of str
        Names of files; what leads out of the folder or is no file is left alone, and a link is removed, not followed.
    """
    for name in names:
        path = place_in(folder, name)
        if path is not None and (path.is_symlink() or path.is_file()):
            path.unlink()
            if path.parent != folder:
                with contextlib.suppress(OSError):  # other files stand in it
                    path.parent.rmdir()
