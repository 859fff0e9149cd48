"""Pictures that lamps.csv and readings.csv name: scaled down, and nothing kept of them but what they show."""

import io
import warnings
from collections.abc import Mapping

import pandas as pd
from PIL import Image, ImageOps

from photolab.bench.faults import shown
from photolab.bench.files import Folder
from photolab.bench.model import Photo

LONGEST_SIDE = 640
MOST_PIXELS = 100_000_000
"""Of a picture that is opened: a small file can unpack to far more."""


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
        data = None
        if folder.holds(name, file, line=line, column="photo", absent="caution 30"):
            data = folder.load(name)
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
