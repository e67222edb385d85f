"""Reads a MIDI file with mido; chords must start and end when the label file says."""
import sys
import mido

midi = mido.MidiFile(sys.argv[1])
assert midi.type == 1 and len(midi.tracks) == 2
for track in midi.tracks:
    for message in track:
        text = getattr(message, "text", None) or getattr(message, "name", "")
        assert text.isascii()
spans = [line.split("\t") for line in open(sys.argv[2], encoding="utf-8")]
starts, ends, now = {}, {}, 0.0
for message in midi:
    now += message.time
    if message.type == "note_on" and message.velocity:
        starts.setdefault(round(now, 2), set()).add(message.note % 12)
    elif message.type == "note_off":
        ends.setdefault(round(now, 2), set()).add(message.note % 12)
sounding = [(float(a), float(b)) for a, b, label in spans if label.strip() != "N"]
assert sorted(starts) == [round(a, 2) for a, _ in sounding], (sorted(starts), sounding)
assert sorted(ends) == [round(b, 2) for _, b in sounding], (sorted(ends), sounding)
# the first chord is G major: G B D
assert starts[0.0] == {7, 11, 2}, starts
markers = [m.text for m in midi.tracks[0] if m.type == "marker"]
assert markers == ["A Verse", "A Verse", "B"], markers
