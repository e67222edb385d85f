"""A peer made of general parts (PyPI librosa): python3 peer.py TAKE.wav

Tuning, two constant-Q chromas (the whole and the bass), onsets of the percussive part, beats,
and a Viterbi search over templates of five qualities.  Prints the seconds it took the second
time: the first compiles.
"""
import sys
import time
import warnings

import librosa
import numpy as np

warnings.filterwarnings("ignore")
QUALITIES = [(0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 4, 7, 11), (0, 3, 7, 10)]


def read(path):
    y, rate = librosa.load(path, sr=22050)
    tuning = librosa.estimate_tuning(y=y, sr=rate)
    how = {"y": y, "sr": rate, "hop_length": 1024, "tuning": tuning, "bins_per_octave": 36}
    chroma = librosa.feature.chroma_cqt(**how)
    bass = librosa.feature.chroma_cqt(fmin=librosa.note_to_hz("E1"), n_octaves=2, norm=None, **how)
    attack = librosa.onset.onset_strength(y=librosa.effects.percussive(y, margin=2), sr=rate)
    _, beats = librosa.beat.beat_track(onset_envelope=attack, sr=rate)
    rows = []
    for root in range(12):
        for quality in QUALITIES:
            row = np.zeros(12)
            row[[(root + i) % 12 for i in quality]] = 1 / np.sqrt(len(quality))
            rows.append(row)
    n = min(chroma.shape[1], bass.shape[1])
    score = np.array(rows) @ librosa.util.normalize(chroma[:, :n], norm=2)
    score += 0.03 * np.repeat(librosa.util.normalize(bass[:, :n]), len(QUALITIES), axis=0)
    likely = np.exp(15 * (score - score.max(0)))
    path = librosa.sequence.viterbi(likely / likely.sum(0), librosa.sequence.transition_loop(len(rows), 0.999))
    return path, beats


read(sys.argv[1])
began = time.perf_counter()
read(sys.argv[1])
print(f"{time.perf_counter() - began:.3f}")
