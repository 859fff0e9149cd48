"""Photographs of lamps and readings. Oracles: invented pictures made here, read back by Pillow; the page's bytes."""

import base64
import io
import re
import zlib

import bench_folders as bf
import pypdf
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook
from PIL import Image

from photolab.bench.folder.attachments import LONGEST_SIDE, MOST_PIXELS, scaled_down
from photolab.bench.folder.records import RecordError, read_bench
from photolab.publication.report.appendix import publish
from photolab.publication.report.notebooks import write_notebook
from photolab.publication.report.provenance import file_hash, report_state
from photolab.publication.report.readiness import report

GREEN, RED = (30, 200, 30), (200, 30, 30)
BENCH = bf.TOML.replace("schema = 1\n", 'schema = 1\n[bench]\nname = "b"\nprotocol_revision = "1"\n')
LAMPS = "lamp,technology,role,photo\nA1,led,baseline,one.jpg\nA2,led,candidate,two.png\n"
READINGS = bf.readings(
    "A1,318,4000,,", "A2,334,4000,seat.webp,tab <b>bent</b>", "A2,336,4000,seat.webp,", "A2,335,4000,seat.webp,warm",
    header="lamp,illuminance_lx,range_lx,photo,note",
)  # fmt: skip


def placed(**more):
    """Return a JPEG as a phone writes it: turned, with place, camera, date, words and a comment."""
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned a quarter to the right
    exif[0x010F], exif[0x0132], exif[0x010E] = "SECRETMAKER", "2025:04:03 21:00:00", "SECRETWORDS"
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2], gps[3], gps[4], gps[29] = "N", (48.0, 12.0, 30.0), "E", (16.0, 22.0, 30.0), "SECRETDAY"
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/">SECRETXMP</x:xmpmeta>'
    return bf.picture((80, 40), exif=exif, comment=b"SECRETCOMMENT", xmp=xmp, dpi=(300, 300), **more)


def near(pixel, wanted):
    return all(abs(a - b) <= 12 for a, b in zip(pixel, wanted, strict=True))  # JPEG at quality 80


def folder_of(place, **more):
    files = {
        "one_jpg": placed(),
        "two_png": bf.picture((1600, 1200), "PNG"),
        "seat_webp": bf.picture(form="WEBP"),
    }
    return bf.make(
        place, **{"bench_toml": BENCH, "lamps_csv": LAMPS, "readings_csv": READINGS, **files, **more}
    )


def test_a_photograph_keeps_its_pixels_alone_and_is_turned():
    data = placed()
    assert b"SECRETMAKER" in data
    assert Image.open(io.BytesIO(data)).getexif().get_ifd(0x8825)[29] == "SECRETDAY"
    small, width = scaled_down(data)
    for trace in (b"SECRET", b"Exif", b"http", b"2025", b"ICC", b"Photoshop"):
        assert trace not in small
    markers = {
        small[m.start() + 1] for m in re.finditer(rb"\xff[\xe0-\xef\xfe]", small[: small.index(b"\xff\xda")])
    }
    assert markers == {0xE0}, "the JFIF mark alone"
    read = Image.open(io.BytesIO(small))
    assert not read.getexif()
    assert read.size == (40, 80)
    assert width == 40
    assert near(read.getpixel((35, 5)), GREEN), "upper left is upper right after a quarter turn to the right"
    assert near(read.getpixel((5, 5)), RED)
    assert near(read.getpixel((35, 75)), RED)
    assert scaled_down(data) == (small, width)


@pytest.mark.parametrize(
    ("size", "form", "wanted"),
    [
        ((1600, 1200), "PNG", (LONGEST_SIDE, LONGEST_SIDE * 3 // 4)),
        ((900, 1800), "JPEG", (LONGEST_SIDE // 2, LONGEST_SIDE)),
        ((60, 40), "WEBP", (60, 40)),
    ],
)
def test_a_large_photograph_is_scaled_down_and_a_small_one_is_not_scaled_up(size, form, wanted):
    small, width = scaled_down(bf.picture(size, form))
    read = Image.open(io.BytesIO(small))
    assert (read.format, read.size, width) == ("JPEG", wanted, wanted[0])
    assert near(read.getpixel((2, 2)), GREEN)


@pytest.mark.parametrize("mode", ["P", "L", "1", "LA", "RGBA", "I;16", "CMYK"])
def test_every_kind_of_pixels_can_be_shown(mode):
    stream = io.BytesIO()
    Image.new(mode, (20, 10)).save(stream, "JPEG" if mode == "CMYK" else "PNG")
    small, _ = scaled_down(stream.getvalue())
    clear = mode in {"LA", "RGBA"}  # nothing at all: shown on white
    assert near(
        Image.open(io.BytesIO(small)).getpixel((5, 5)), (255,) * 3 if clear or mode == "CMYK" else (0,) * 3
    )


def bomb():
    """Return a small PNG that says it is 20 000 pixels wide and 20 000 high."""

    def part(name, data):
        whole = name + data
        return len(data).to_bytes(4, "big") + whole + zlib.crc32(whole).to_bytes(4, "big")

    side = (20_000).to_bytes(4, "big")
    packed = zlib.compress(bytes(20_000 * 100))
    head = part(b"IHDR", side + side + bytes([1, 0, 0, 0, 0]))
    return b"\x89PNG\r\n\x1a\n" + head + part(b"IDAT", packed) + part(b"IEND", b"")


def wide():
    """Return a PNG just above the limit, which Pillow itself would open with a warning."""
    stream = io.BytesIO()
    Image.new("1", (10_001, MOST_PIXELS // 10_000)).save(stream, "PNG")
    return stream.getvalue()


HEIC = (
    '"one.jpg" is no picture that can be read; wanted a whole JPEG, PNG or WebP. It looks like HEIC, the form of '
    "some telephones: save it as JPEG. [fault 3]"
)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"lamp,illuminance_lx\n", '"one.jpg" is no picture that can be read; wanted a whole JPEG, PNG or WebP. ['),
        (b"", '"one.jpg" is no picture that can be read'),
        (b"\xff\xd8", '"one.jpg" is no picture that can be read'),
        (bf.picture()[:-200], '"one.jpg" is no picture that can be read'),
        (bf.picture(form="PNG")[:60], '"one.jpg" is no picture that can be read'),
        (bf.picture(form="GIF"), '"one.jpg" is no picture that can be read'),
        (b"\0\0\0\x18ftypheic" + bytes(40), HEIC),
        (b"%PDF-1.7\n", '"one.jpg" is no picture that can be read'),
        (bomb(), '"one.jpg" has too many pixels; 100 million or fewer are opened. [fault 3]'),
        (wide(), '"one.jpg" has too many pixels'),
    ],
    ids=["text", "empty", "mark alone", "cut JPEG", "cut PNG", "GIF", "HEIC", "PDF", "bomb", "wide"],
)  # fmt: skip
def test_what_is_no_photograph_is_refused_where_it_is_named(tmp_path, data, words):
    folder = folder_of(tmp_path / "b", one_jpg=data)
    with pytest.raises(RecordError, match=re.escape(f"lamps.csv:2: photo: {words}")):
        read_bench(folder)
    assert (folder / "one.jpg").read_bytes() == data


@pytest.mark.parametrize(
    "name", ["../one.jpg", "/etc/one.jpg", "pictures/one.jpg", "C:one.jpg", r"..\one.jpg"]
)
def test_a_photograph_outside_of_the_folder_is_refused(tmp_path, name):
    changed = {
        "lamps_csv": LAMPS.replace("one.jpg", name),
        "two_png": bf.picture(form="PNG"),
        "seat_webp": None,
    }
    words = f'lamps.csv:2: photo: "{name}" is not a plain file name inside the folder'.replace("\\", "\\")
    bf.assert_refused(tmp_path / "b", "fault 27", changed, words)


def test_a_link_is_not_followed(tmp_path):
    (tmp_path / "private.jpg").write_bytes(bf.picture())
    folder = folder_of(tmp_path / "b")
    (folder / "one.jpg").unlink()
    (folder / "one.jpg").symlink_to(tmp_path / "private.jpg")
    with pytest.raises(
        RecordError, match=re.escape("one.jpg: is a link; put the file itself into the folder. [fault 3]")
    ):
        read_bench(folder)


def test_photographs_are_listed_once_a_lamp_with_their_notes_and_hashed(tmp_path):
    folder = folder_of(tmp_path / "b")
    bench = read_bench(folder)
    assert [(p.file, p.lamp, p.note) for p in bench.photos] == [
        ("one.jpg", "A1", ""), ("two.png", "A2", ""), ("seat.webp", "A2", "tab <b>bent</b>; warm"),
    ]  # fmt: skip
    assert {name: bench.hashes[name] for name in ("one.jpg", "two.png", "seat.webp")} == {
        name: file_hash(folder / name) for name in ("one.jpg", "two.png", "seat.webp")
    }
    both = READINGS + "A2,334,4000,two.png,the box\nA1,318,4000,two.png,beside it\n"
    again = read_bench(folder_of(tmp_path / "both", readings_csv=both))
    assert [(p.file, p.lamp, p.note) for p in again.photos if p.file == "two.png"] == [
        ("two.png", "A2", "the box"), ("two.png", "A1", "beside it"),
    ]  # fmt: skip
    absent = read_bench(folder_of(tmp_path / "c", two_png=None))
    assert [p.file for p in absent.photos] == ["one.jpg", "seat.webp"]
    assert 'lamps.csv:3: photo: "two.png" is not in the folder. [caution 30]' in map(str, absent.warnings)


def test_check_reminds_of_what_a_photograph_may_show(tmp_path):
    said = " ".join(report(folder_of(tmp_path / "b")))
    assert (
        "3 photos of A1 and A2 will be published: look for number plates, faces, addresses and papers in them."
        in said
    )
    assert "will be published" not in " ".join(report(bf.make(tmp_path / "plain")))


def notebooks(place, *names):
    place.mkdir()
    tag = {"tags": ["appendix"]}
    for name in names:
        cells = [
            new_markdown_cell(f"# Question of {name}?", metadata=tag),
            new_code_cell("bench = None", metadata={"tags": ["parameters"]}),
            new_code_cell("from photolab.publication.words import say\nsay('words')", metadata=tag),
        ]
        write_notebook(new_notebook(cells=cells), place / f"{name}.ipynb")
    return place


def files(place):
    return [path for path in place.rglob("*") if path.is_file()]


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    place = tmp_path_factory.mktemp("photos")
    many = {f"p{n}_jpg": bf.picture((40 + n, 30)) for n in range(6)}
    rows = READINGS + "".join(f"A1,318,4000,p{n}.jpg,\n" for n in range(6))
    bench = folder_of(place / "b", readings_csv=rows, **many)
    sources = notebooks(place / "notebooks", "03_toy", "10_toy", "11_toy")
    for out in ("out", "again"):
        publish(bench, place / out, notebooks=sources, progress=lambda _: None)
    return place


def test_the_page_shows_them_in_the_part_about_each_lamp(published):
    html = (published / "out" / "appendix.html").read_text(encoding="utf-8")
    part = html.partition(">What can be said of each lamp?</h2>")[2].partition("</section>")[0]
    figures = re.findall(
        r'<figure><img alt="([^"]*)" width="(\d+)" src="data:image/jpeg;base64,([^"]+)">(.*?)</figure>', part
    )
    assert [words for words, *_ in figures] == [
        "A2, photograph two.png",
        "A2, photograph seat.webp: tab &lt;b&gt;bent&lt;/b&gt;; warm",
        "A1, photograph one.jpg",  # the baseline comes after the lamps that are held against it
        *(f"A1, photograph p{n}.jpg" for n in range(3)),
    ]
    for words, _, _, caption in figures:
        assert re.fullmatch(rf"<figcaption>Figure \d+\. {re.escape(words)}</figcaption>", caption)
    assert "<p>In the bench folder too: p3.jpg, p4.jpg and p5.jpg.</p>" in part
    for _, width, packed, _ in figures:
        read = Image.open(io.BytesIO(base64.b64decode(packed)))
        assert read.width <= LONGEST_SIDE
        assert int(width) == read.width * 3 // 4
        assert not read.getexif()
    assert html.count("data:image/jpeg") == len(figures), "nowhere else"


def test_no_file_of_the_report_holds_place_or_camera(published):
    pictures = [
        image.data
        for page in pypdf.PdfReader(published / "out" / "appendix.pdf").pages
        for image in page.images
    ]
    assert sum(data.startswith(b"\xff\xd8") for data in pictures) == 6
    html = (published / "out" / "appendix.html").read_text(encoding="utf-8")
    pictures += [base64.b64decode(packed) for packed in re.findall(r"base64,([^\"]+)", html)]
    pictures += [path.read_bytes() for path in files(published / "out")]
    for data in pictures:
        assert b"SECRET" not in data
        assert b"Exif" not in data


def test_alternative_words_stand_on_paper_too(published):
    reader = pypdf.PdfReader(published / "out" / "appendix.pdf")
    words = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    assert "A2, photograph seat.webp: tab <b>bent</b>; warm" in words
    alternative = [o.get_object()["/Alt"] for o in map(reader.get_object, range(1, len(reader.xref[0]) + 1))
                   if isinstance(o, dict) and "/Alt" in o]  # fmt: skip
    assert "A1, photograph one.jpg" in alternative


def test_the_same_bytes_again_and_the_record_names_every_photograph(published):
    for path in files(published / "out"):
        assert path.read_bytes() == (published / "again" / path.relative_to(published / "out")).read_bytes()
    assert report_state(published / "out", published / "b").complete
    whole = (published / "b" / "one.jpg").read_bytes()
    (published / "b" / "one.jpg").write_bytes(bf.picture())
    try:
        assert report_state(published / "out", published / "b").problems == (
            "one.jpg changed since the report was made",
        )
    finally:
        (published / "b" / "one.jpg").write_bytes(whole)
