"""Compares a PNG chart with the PDF of the same song as poppler draws it, as pictures.

usage: chart_png.py PNG PDF DPI
Both must be of one size, hold about as much ink, and have it in the same places: the mean
difference is held against that of the picture moved by a millimetre. Prints pages and figures.
"""
import subprocess
import sys
import tempfile
from pathlib import Path
import numpy as np
from PIL import Image

GAP_MM = 6.0


def poppler(pdf, dpi):
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(["pdftoppm", "-gray", "-png", "-r", str(dpi), pdf, f"{folder}/p"], check=True)
        return [np.asarray(Image.open(f).convert("L"), float) for f in sorted(Path(folder).iterdir())]


def main():
    png, pdf, dpi = sys.argv[1], sys.argv[2], int(sys.argv[3])
    picture = Image.open(png)
    picture.load()  # reads all of it, checksums too
    assert picture.mode == "L", picture.mode
    stated = picture.info["dpi"]
    assert all(abs(d - dpi) < 0.5 for d in stated), f"{stated} dots an inch stated"
    whole = np.asarray(picture, float)
    pages = poppler(pdf, dpi)
    top, gap = 0, round(GAP_MM / 25.4 * dpi)
    for number, page in enumerate(pages, 1):
        height, width = page.shape
        own = whole[top : top + height + 1]
        assert abs(own.shape[1] - width) <= 1 and own.shape[0] >= height - 1, f"{own.shape} and {page.shape}"
        h, w = min(own.shape[0], height), min(own.shape[1], width)
        own, page = own[:h, :w], page[:h, :w]
        ink, theirs = (255 - own).sum(), (255 - page).sum()
        assert 0.9 < ink / theirs < 1.1, f"page {number}: {ink / theirs:.3f} of the ink"
        off = abs(own - page).mean()
        mm = round(dpi / 25.4)
        moved = abs(np.roll(own, mm, axis=1) - page).mean()
        assert off < 0.35 * moved, f"page {number}: {off:.2f} apart, {moved:.2f} when moved by a millimetre"
        print(f"page {number}: {off:.2f} apart, {moved:.2f} when moved by a millimetre, ink {ink / theirs:.3f}")
        top += h + gap
    assert abs(top - gap - whole.shape[0]) <= 2 * len(pages), f"{whole.shape[0]} rows, {top - gap} expected"


if __name__ == "__main__":
    main()
