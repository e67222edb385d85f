"""Plays a MusicXML file out with music21: repeats, endings, D.C., D.S., coda and fine.

usage: chart_jumps.py FILE
Prints a line for each measure in the order in which it is played: its chord symbols with the
quarter they stand on. A jump that music21 does not recognize would be left out of the order.
"""
import sys
from music21 import converter, harmony


def main():
    score = converter.parse(sys.argv[1], format="musicxml", forceSource=True)
    played = score.parts[0].expandRepeats()
    for measure in played.getElementsByClass("Measure"):
        symbols = measure.recurse().getElementsByClass(harmony.ChordSymbol)
        said = [f"{float(s.getOffsetInHierarchy(measure)):g}:{s.root().name}{s.chordKind or ''}/{s.bass().name}" for s in symbols]
        print(" ".join(said) or "-")


if __name__ == "__main__":
    main()
