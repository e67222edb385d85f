"""Reads a MIDI file with mido: its tempi, and how often notes start in a bar of four beats."""
import sys
import mido

midi = mido.MidiFile(sys.argv[1])
tempi = [round(mido.tempo2bpm(m.tempo), 1) for t in midi.tracks for m in t if m.type == "set_tempo"]
now, starts = 0, set()
for message in midi.tracks[1]:
    now += message.time
    if message.type == "note_on" and message.velocity:
        starts.add(round(2 * now / midi.ticks_per_beat))
print(len(set(tempi)), "tempi;", len(starts), "half beats with a start")
