"""What was printed, read back by a library of its own."""

from io import BytesIO

from pypdf import PdfReader

POINT = 25.4 / 72


def read(pdf: bytes) -> PdfReader:
    return PdfReader(BytesIO(pdf))


def words(pdf: bytes, page: int | None = None) -> str:
    """The words of a page, or of all, a space between each."""
    pages = read(pdf).pages if page is None else [read(pdf).pages[page]]
    return " ".join(" ".join(one.extract_text() for one in pages).split())


def sizes(pdf: bytes) -> list[tuple[int, int]]:
    """Width and height of each page, in whole millimetres."""
    boxes = [page.mediabox for page in read(pdf).pages]
    return [(round(float(box.width) * POINT), round(float(box.height) * POINT)) for box in boxes]
