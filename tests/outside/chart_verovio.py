"""Renders MusicXML with verovio and checks the picture: where things are drawn, not how many.

usage: chart_verovio.py FILE [MOST_MEASURES_IN_A_LINE]
Any warning of verovio fails, and so does: a slash outside its staff, a ledger line, a number or
text outside the page, a chord symbol on or under its staff or on another symbol, more measures in
a line than asked for. Prints measures, lines, symbols, endings, noteheads and rests drawn.
"""
import os
import re
import sys
import tempfile
import xml.etree.ElementTree as tree
import verovio

NS = "{http://www.w3.org/2000/svg}"
SLACK = 20  # drawing units; the space between two staff lines is 180


def boxes(element, shift=(0, 0), ancestors=()):
    """Every classed group with its own bounding box and its classed ancestors."""
    kinds = element.get("class", "").split()
    move = re.match(r"translate\(([-\d.]+),? *([-\d.]+)\)", element.get("transform", ""))
    if move:
        shift = (shift[0] + float(move[1]), shift[1] + float(move[2]))
    if "bounding-box" in kinds:
        rect = element.find(f"{NS}rect")
        if rect is not None and ancestors:
            x, y, w, h = (float(rect.get(k)) for k in ("x", "y", "width", "height"))
            yield ancestors, (x + shift[0], y + shift[1], x + w + shift[0], y + h + shift[1])
        return
    if element.get("class"):
        ancestors = (*ancestors, (kinds[0], element))
    for child in element:
        yield from boxes(child, shift, ancestors)


def lines_of(staff):
    """Left, top, right and bottom of a staff's own lines."""
    found = [re.findall(r"-?\d+", p.get("d")) for p in staff.findall(f"{NS}path")]
    rows = [[int(n) for n in f] for f in found if len(f) == 4]
    return (min(r[0] for r in rows), min(r[1] for r in rows),
            max(r[2] for r in rows), max(r[3] for r in rows))


def overlap(a, b):
    return min(a[2], b[2]) - max(a[0], b[0]) > 0 and min(a[3], b[3]) - max(a[1], b[1]) > 0


def check(svg, most, wanted):
    root = tree.fromstring(svg)
    drawn = ["".join(t.itertext()).strip() for t in root.iter(f"{NS}text")]
    for words, n in wanted.items():
        assert sum(words in d for d in drawn) >= n, f"'{words}' is written {n} times, drawn less often"
    inner = next(s for s in root.iter(f"{NS}svg") if s.get("viewBox"))
    _, _, width, height = (float(n) for n in inner.get("viewBox").split())
    margin = next(g for g in inner.iter(f"{NS}g") if g.get("class") == "page-margin")
    mx, my = (float(n) for n in re.findall(r"-?[\d.]+", margin.get("transform"))[:2])
    counts = dict.fromkeys(("measures", "systems", "symbols", "endings", "notes", "rests"), 0)
    assert not [g for g in root.iter() if "ledgerLines" in g.get("class", "")], "ledger lines drawn"
    for text in root.iter(f"{NS}text"):
        words = "".join(text.itertext()).strip()
        assert not re.fullmatch(r"-?\d{4,}", words), f"the number {words} is drawn"
    systems = [g for g in root.iter(f"{NS}g") if g.get("class") == "system"]
    for system in systems:
        n = len([g for g in system.iter(f"{NS}g") if g.get("class") == "measure"])
        counts["systems"] += 1
        counts["measures"] += n
        assert n <= most, f"{n} measures in one line"
    symbols = []
    staves = {}
    for system in systems:
        for measure in (g for g in system.iter(f"{NS}g") if g.get("class") == "measure"):
            own = [g for g in measure.iter(f"{NS}g") if g.get("class") == "staff"]
            if own:
                staves[measure.get("id")] = lines_of(own[0])
            for staff in own:
                _, top, _, bottom = lines_of(staff)
                for note in (g for g in staff.iter(f"{NS}g") if g.get("class") == "notehead"):
                    for use in note.iter(f"{NS}use"):
                        at = re.search(r"translate\((-?\d+), (-?\d+)\)", use.get("transform"))
                        y = int(at[2])
                        assert top - SLACK <= y <= bottom + SLACK, f"a notehead at {y} of staff {top} to {bottom}"
    drawn = {}
    for kinds, box in boxes(root):
        own = kinds[-1][0]
        counts["endings"] += own in ("ending", "voltaBracket")
        counts["notes"] += own == "note"
        counts["rests"] += own in ("rest", "mRest")
        # a text's box is that of its parts
        for kind, element in kinds:
            if own == "text" and kind in ("harm", "reh", "tempo", "dir"):
                measure = next((e.get("id") for k, e in kinds if k == "measure"), None)
                drawn.setdefault(element.get("id"), (kind, measure, []))[2].append(box)
    for kind, measure, parts in drawn.values():
        box = (min(p[0] for p in parts), min(p[1] for p in parts),
               max(p[2] for p in parts), max(p[3] for p in parts))
        assert box[0] >= -SLACK and box[2] <= width + SLACK, f"{kind} at {box} of a page {width} wide"
        if kind != "harm":
            continue
        counts["symbols"] += 1
        top = staves[measure][1] + my
        assert box[3] <= top + SLACK, f"a symbol at {box} on a staff whose top is {top}"
        for other in symbols:
            assert not overlap(box, other), f"two symbols on each other: {box}, {other}"
        symbols.append(box)
    return counts


def main():
    most = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    # it writes its log to the process's stderr
    kept, log_file = os.dup(2), tempfile.TemporaryFile()
    os.dup2(log_file.fileno(), 2)
    verovio.enableLog(verovio.LOG_WARNING)
    toolkit = verovio.toolkit()
    toolkit.setOptions({"breaks": "encoded", "svgBoundingBoxes": True, "pageHeight": 60000,
                        "adjustPageHeight": True})
    loaded = toolkit.loadFile(sys.argv[1])
    svg = toolkit.renderToSVG(1)
    os.dup2(kept, 2)
    log_file.seek(0)
    # a song of one line has no line break to encode
    log = [line for line in log_file.read().decode().splitlines()
           if line.strip() and "encoded breaks but nothing provided" not in line]
    assert loaded and not log, log
    source = open(sys.argv[1], encoding="utf-8").read().split("</part>")[0]
    jumps = ("D.S. al Coda", "D.S. al Fine", "D.C. al Coda", "D.C. al Fine", "To Coda", "Fine")
    counts = check(svg, most, {words: source.count(f">{words}<") for words in jumps})
    print(", ".join(f"{n} {what}" for what, n in counts.items()))


if __name__ == "__main__":
    main()
