"""Files that tables point to: spectra; pictures, scaled down, and nothing kept of them but what they show."""

import io
import warnings
from collections.abc import Mapping

import pandas as pd
from PIL import Image, ImageOps

from photolab.bench.folder.checks import check_order
from photolab.bench.folder.declared import Declared
from photolab.bench.folder.files import Folder
from photolab.bench.folder.tables import read_table
from photolab.bench.terms.faults import Faults, shown
from photolab.bench.terms.model import Photo, Spectrum
from photolab.bench.terms.schema import SPECTRUM_FILE

LARGEST_STEP_NM = 10.0
VISIBLE_NM = (380.0, 780.0)
LONGEST_SIDE = 640
MOST_PIXELS = 100_000_000
"""Of a picture that is opened: a small file can unpack to far more."""


def read_spectra(folder: Folder, table: pd.DataFrame, declared: Declared) -> dict[str, Spectrum]:
    """Return the spectra that spectra.csv lists, by name.

    Parameters
    ----------
    folder : Folder
        The bench folder; keeps what is wrong.
    table : DataFrame
        Rows of spectra.csv.
    declared : Declared
        What bench.toml says.

    Returns
    -------
    dict
        Spectra by name.
    """
    found: dict[str, Spectrum] = {}
    for row in table.to_dict("records"):
        name = str(row["file"])
        if not name or not folder.holds(name, "spectra.csv", line=int(row["line"]), column="file"):
            continue
        rows = folder.rows(name, declared.separator)
        if rows is not None:
            values = read_table(SPECTRUM_FILE, rows, folder.faults, decimal=declared.decimal)
            _check_spectrum(values, name, folder.faults)
            whose = str(row["kind"]), str(row["lamp"]), str(row["meter"])
            nm, value = (values[column].to_numpy(dtype=float) for column in ("wavelength_nm", "value"))
            found[str(row["name"])] = Spectrum(*whose, nm, value)
    return found


def _check_spectrum(values: pd.DataFrame, name: str, faults: Faults) -> None:
    """Keep the faults of a spectrum: order, step, cover, nothing in it."""
    wavelength = values["wavelength_nm"].to_numpy(dtype=float)
    check_order(values, name, faults, "wavelength_nm")
    told = values.assign(step=values["wavelength_nm"].diff())
    words = "a step of {step:g} nm to {wavelength_nm:g} nm; wanted 10 nm or less."
    faults.where("fault 14", name, told[told["step"] > LARGEST_STEP_NM], "wavelength_nm", words)
    if len(values) < 2:
        faults.add("fault 11", name, "a spectrum needs two rows or more.")
    elif not values["value"].to_numpy(dtype=float).any():
        faults.add("fault 14", name, "every value is 0; wanted a spectrum.", column="value")
    elif wavelength[0] > VISIBLE_NM[0] or wavelength[-1] < VISIBLE_NM[1]:
        words = f"covers {wavelength[0]:g} to {wavelength[-1]:g} nm; wanted 380 to 780 nm, all that is seen."
        faults.add("caution 34", name, words, column="wavelength_nm")


def read_photos(folder: Folder, tables: Mapping[str, pd.DataFrame]) -> tuple[Photo, ...]:
    """Return the pictures of lamps and readings, each once a lamp; one that is not there is a caution.

    Parameters
    ----------
    folder : Folder
        The bench folder; keeps what is wrong.
    tables : mapping
        The tables as read.

    Returns
    -------
    tuple of Photo
        Those of lamps.csv first.
    """
    named: dict[tuple[str, str], tuple[str, int, dict[str, None]]] = {}
    for file, table in (("lamps.csv", tables["lamps"]), ("readings.csv", tables["readings"])):
        for row in table[table["photo"] != ""].to_dict("records"):
            _, _, notes = named.setdefault((row["photo"], row["lamp"]), (file, int(row["line"]), {}))
            notes |= dict.fromkeys(filter(None, [row.get("note")]))
    found = []
    for (name, lamp), (file, line, notes) in named.items():
        there = folder.holds(name, file, line=line, column="photo", absent="caution 30")
        data = folder.load(name) if there else None
        try:
            found += [] if data is None else [Photo(name, lamp, "; ".join(notes), *scaled_down(data))]
        except ValueError as error:
            folder.faults.add("fault 3", file, f'"{shown(name)}" {error}', line=line, column="photo")
    return tuple(found)


def scaled_down(data: bytes) -> tuple[bytes, int]:
    """Return a picture as a small JPEG that holds its pixels alone: no place, camera, date, comment or preview.

    Parameters
    ----------
    data : bytes
        A JPEG, PNG or WebP picture; one that its camera marks as turned is turned.

    Returns
    -------
    bytes
        The JPEG; the same ones for the same picture.
    int
        Its width. [pixel]

    Raises
    ------
    ValueError
        If it is no such picture, is cut off, or is too large to be opened; the text says which.
    """
    try:
        with warnings.catch_warnings():
            # of size, which is looked at below, and of odd notes in a picture
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP")) as picture:
                width, height = picture.size
                if width * height > MOST_PIXELS:
                    raise Image.DecompressionBombError
                picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
                seen = ImageOps.exif_transpose(picture).convert("RGBA")
    except Image.DecompressionBombError:
        message = f"has too many pixels; {MOST_PIXELS // 1_000_000} million or fewer are opened."
        raise ValueError(message) from None
    except (OSError, ValueError, SyntaxError, KeyError, IndexError, TypeError, EOFError, MemoryError):
        message = "is no picture that can be read; wanted a whole JPEG, PNG or WebP."
        if data[4:8] == b"ftyp":
            message += " It looks like HEIC, the form of some telephones: save it as JPEG."
        raise ValueError(message) from None
    plain = Image.new("RGB", seen.size, "white")
    plain.paste(seen, mask=seen)
    stream = io.BytesIO()
    plain.save(stream, "JPEG", quality=80)
    return stream.getvalue(), plain.width
