"""Puts the pictures of the documents together: crops, ten songs on one sheet, verovio's drawing.

usage: draw_pictures.py WORK INTO   (called by tests/pictures)
"""
import subprocess
import sys
from pathlib import Path
from PIL import Image, ImageChops
import verovio

MARGIN = 24


def cropped(picture):
    """Without the empty foot of the page."""
    white = Image.new(picture.mode, picture.size, 255)
    box = ImageChops.difference(picture, white).getbbox()
    return picture.crop((0, 0, picture.width, min(picture.height, box[3] + MARGIN)))


def save(picture, path):
    """Few colors are enough for ink on paper."""
    picture.convert("L").quantize(16).save(path, optimize=True)


def sheet(pages, columns, scale):
    """First pages beside each other on gray."""
    small = [p.resize((round(p.width * scale), round(p.height * scale)), Image.LANCZOS) for p in pages]
    width, height, gap = small[0].width, small[0].height, 8
    rows = -(-len(small) // columns)
    whole = Image.new("L", (columns * (width + gap) - gap, rows * (height + gap) - gap), 150)
    for i, page in enumerate(small):
        whole.paste(page, (i % columns * (width + gap), i // columns * (height + gap)))
    return whole


def engraved(score, into):
    toolkit = verovio.toolkit()
    toolkit.setOptions({"breaks": "encoded", "scale": 45, "pageHeight": 60000, "adjustPageHeight": True})
    toolkit.loadFile(str(score))
    svg = into.with_suffix(".svg")
    svg.write_text(toolkit.renderToSVG(1), encoding="utf-8")
    subprocess.run(["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
                    "--default-background-color=FFFFFFFF", "--window-size=1000,1400",
                    f"--screenshot={into}", svg.resolve().as_uri()], check=True, capture_output=True)
    svg.unlink()
    return Image.open(into).convert("L")


def main():
    work, into = Path(sys.argv[1]), Path(sys.argv[2])
    pages = [Image.open(f) for f in sorted((work / "pages").glob("*.png"))]
    # A4 at 90 dots an inch: what is lower is a second page
    first = [p.crop((0, 0, p.width, round(p.width * 297 / 210))) for p in pages]
    save(sheet(first, 5, 0.5), into / "ten-songs.png")
    for name in ("lantern-porch", "river-stairs", "attic-letters", "words"):
        save(cropped(Image.open(work / f"{name}.png")), into / f"{name}.png")
    shots = work / "shots"
    for name in ("practice-phone", "practice-tablet", "practice-laptop", "chart-phone"):
        Image.open(shots / f"{name}.png").convert("RGB").quantize(32).save(into / f"{name}.png", optimize=True)
    score = sorted((work / "scores").glob("*.musicxml"))[0]
    save(cropped(engraved(score, work / "engraved.png")), into / "score-one-engraver.png")
    save(cropped(Image.open(shots / f"{score.stem}.png").convert("L")), into / "score-another-engraver.png")
    for page, picture in zip(sorted((work / "pages").glob("*.png")), pages):
        n = round(picture.height / (picture.width * 303 / 210) + 0.02)
        print(f"{page.stem}: {max(n, 1)} page{'s' if n > 1 else ''}")


if __name__ == "__main__":
    main()
