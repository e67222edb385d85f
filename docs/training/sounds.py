"""Instruments: our own strings, recorded notes, SoundFonts through fluidsynth, GUS patches through timidity.

Each preset is measured once on single notes (attack delay, decay, release) and the table
kept in CACHE, so that a note's truth is when it is heard, not when it was sent.
"""
from __future__ import annotations

import json
import os
import subprocess
import tempfile
from pathlib import Path

import mido
import numpy as np
from scipy.io import wavfile

import recorded
import strings

RATE = 22050
TICKS = 480                                   # per beat of 0.5 s: 960 a second
CACHE = Path(os.environ.get("TRAINING_CACHE", "/tmp/training-cache"))
PACKAGES = {"FluidR3_GM.sf2": "fluid-soundfont-gm", "TimGM6mb.sf2": "timgm6mb-soundfont",
            "MuseScore_General_Lite.sf3": "musescore-general-soundfont-small"}
# csound-soundfont's sf_GMbank.sf2 holds the same guitar samples as TimGM6mb (attack and decay
# agree to a hundredth of a second on every preset), so it is held out with it.
TRAINING = {"FluidR3_GM.sf2": 0.5, "patches": 0.3, "MuseScore_General_Lite.sf3": 0.2}
HELD_OUT = "TimGM6mb.sf2"
VARIATIONS = [8 * 128 + p for p in (24, 25, 25, 26, 28)] + [105, 46]   # ukulele, twelve-string, ..., banjo, harp
PROBE = (40, 47, 54, 61, 68, 75)
HOLD, APART = 5.0, 7.0


def sound_file(name: str) -> str:
    done = subprocess.run(["dpkg", "-L", PACKAGES[name]], capture_output=True, text=True)
    for line in done.stdout.splitlines():
        if line.endswith(name) and Path(line).is_file():
            return line
    raise SystemExit(f"{name} not found: apt-get install {PACKAGES[name]}")


def midi_file(path, tracks, bends, release):
    """tracks: {channel: (program, [[on, off, midi, velocity], ...])}; bends in cents."""
    events = []
    for channel, (program, notes) in tracks.items():
        if channel != 9:
            events.append((0, 0, mido.Message("control_change", channel=channel, control=0, value=program // 128)))
            events.append((0, 0, mido.Message("program_change", channel=channel, program=program % 128)))
            value = int(round(np.clip(bends.get(channel, 0.0) * 8192 / 200, -8192, 8191)))
            events.append((0, 1, mido.Message("pitchwheel", channel=channel, pitch=value)))
            if release:                       # SF2 NRPN 38: release of the volume envelope
                value = 8192 + release // 2
                for control, v in ((99, 120), (98, 38), (38, value & 127), (6, value >> 7)):
                    events.append((0, 2, mido.Message("control_change", channel=channel, control=control, value=v)))
        for on, off, pitch, velocity in notes:
            a, b = int(round(max(0.0, on) * 960)), int(round(max(0.002, off) * 960))
            b = max(b, a + 4)
            events.append((a, 5, mido.Message("note_on", channel=channel, note=int(pitch), velocity=int(np.clip(velocity, 1, 127)))))
            events.append((b, 4, mido.Message("note_off", channel=channel, note=int(pitch))))
    events.sort(key=lambda e: e[:2])             # a stable sort: bank before program
    track, now = mido.MidiTrack(), 0
    track.append(mido.MetaMessage("set_tempo", tempo=500000))
    for tick, _, message in events:
        track.append(message.copy(time=tick - now))
        now = tick
    song = mido.MidiFile(ticks_per_beat=TICKS)
    song.tracks.append(track)
    song.save(path)


def render_midi(bank, tracks, bends, seconds, release=0):
    """Mono samples at 22050 Hz, `seconds` long."""
    with tempfile.TemporaryDirectory() as tmp:
        midi_file(f"{tmp}/a.mid", tracks, bends, release)
        if bank == "patches":
            command = ["timidity", "-c", "/etc/timidity/freepats.cfg", f"{tmp}/a.mid", "-Ow", "-o", f"{tmp}/a.wav",
                       "-s", str(RATE), "--reverb=0", "--chorus=0", "--preserve-silence", "--quiet=7"]
        else:
            command = ["fluidsynth", "-n", "-i", "-q", "-R", "0", "-C", "0", "-g", "0.4", "-r", str(RATE), "-F", f"{tmp}/a.wav",
                       "-T", "wav", sound_file(bank), f"{tmp}/a.mid"]
        done = subprocess.run(command, capture_output=True, text=True)
        if done.returncode or not Path(f"{tmp}/a.wav").exists():
            raise RuntimeError(f"{command[0]} failed: {done.stderr[-300:]}")
        _, x = wavfile.read(f"{tmp}/a.wav")
    x = x.astype(np.float64) / 32768
    if x.ndim > 1:
        x = x.mean(1)
    n = int(seconds * RATE)
    return np.pad(x[:n], (0, max(0, n - len(x))))


def measure(bank, program):
    """Attack delay (s), release (s to -20 dB), decay (s to -35 dB at PROBE); None if silent."""
    path = CACHE / f"{bank}-{program}.json"
    if path.exists():
        return json.loads(path.read_text())
    notes = [[0.5 + APART * i, 0.5 + APART * i + HOLD, p, 90] for i, p in enumerate(PROBE)]

    def probe(release):
        x = render_midi(bank, {0: (program, notes)}, {}, 1 + APART * len(PROBE), release)
        delays, falls, releases = [], [], []
        for on, off, *_ in notes:
            i = int(on * RATE)
            fast = np.sqrt(np.convolve(x[i:i + RATE // 2] ** 2, np.ones(44) / 44, "full")[: RATE // 2])
            delays.append(float(np.argmax(fast > 0.1 * fast[: RATE // 4].max())) / RATE)
            env = np.sqrt((x[i:i + int(6.4 * RATE)][: 220 * 638].reshape(-1, 220) ** 2).mean(1)) + 1e-9
            peak = env[:40].max()
            low = np.nonzero(env[:500] < peak * 10 ** -1.75)[0]
            low = low[low > 5]
            falls.append(float(low[0] * 0.01) if len(low) else 12.0)
            at_off = env[500]
            if at_off > peak * 0.01:
                after = np.nonzero(env[500:] < 0.1 * at_off)[0]
                releases.append(float(after[0] * 0.01) if len(after) else 2.0)
        return peak, float(np.median(delays)), falls, float(np.median(releases)) if releases else 0.1

    release = 0
    peak, delay, falls, tail = probe(0)
    if bank != "patches":
        for shorter in (-1200, -2400, -4000, -6000):
            if tail <= 0.2:
                break
            release = shorter
            peak, delay, falls, tail = probe(shorter)
    out = {"delay": delay, "tail": tail, "falls": falls, "release": release, "peak": float(peak)}
    CACHE.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(out))
    return out


def usable(bank, program):
    m = measure(bank, program)
    return m["peak"] > 1e-3 and m["delay"] < 0.12 and m["tail"] < 0.6


def bank_guitar(rng, take, bank, program):
    """As strings.play, with a preset."""
    m = measure(bank, program)
    bends = {s: take.detune_cents + float(np.clip(rng.normal(0, 2.5), -6, 6)) for s in range(6)}
    tracks = {}
    level = rng.normal(0, 3, 6)
    for s in range(6):
        notes = [[n[0] - m["delay"], n[1] - m["delay"], n[2], n[3] + level[s]] for n in take.notes if n[4] == s]
        if notes:
            tracks[s] = (program, notes)
    x = render_midi(bank, tracks, bends, take.end + 0.5, m["release"])
    faint = [n[0] + float(np.interp(n[2], PROBE, m["falls"])) for n in take.notes]
    if m["tail"] > 0.2:                       # a release that cannot be shortened is heard
        for n in take.notes:
            n[1] += 0.5 * m["tail"]
    return x, faint, f"{bank}:{program}"


def backing(rng, take, bank):
    tracks, bends = {}, {}
    for channel, notes, programs in ((6, take.bass, (32, 33, 34, 35, 36)), (7, take.lead, (0, 4, 11, 16, 40, 48, 52, 65, 71, 73, 80))):
        if notes:
            program = int(rng.choice(programs))
            delay = measure(bank, program)["delay"]
            delay = delay if delay < 0.1 else 0.0
            tracks[channel] = (program, [[n[0] - delay, n[1] - delay, n[2], n[3]] for n in notes])
            bends[channel] = take.detune_cents
    if take.drums:
        tracks[9] = (0, [[t, t + 0.2, key, v] for t, key, v in take.drums])
    real = recorded.play_bass(rng, take.bass, take.detune_cents, take.end) if take.bass and rng.random() < .4 else None
    if real is None:
        return render_midi(bank, tracks, bends, take.end + 0.5)
    tracks.pop(6, None)
    if not tracks:
        return real
    rest = render_midi(bank, tracks, bends, take.end + 0.5)
    return real / (np.std(real) + 1e-9) * 10 ** (rng.uniform(-6, 6) / 20) + rest / (np.std(rest) + 1e-9)


def guitar(rng, take, held_out=False, own_share=0.36, recorded_share=0.24, character=None):
    """Samples, time after which each note is too faint (s), and the sound's name."""
    kind = rng.random()
    if not held_out and kind < own_share:
        return strings.play(rng, take, character)
    if kind > 1 - recorded_share and not (held_out and take.texture == "power"):
        return recorded.play(rng, take, held_out, character)
    bank = HELD_OUT if held_out else str(rng.choice(list(TRAINING), p=list(TRAINING.values())))
    programs = (27, 29, 30, 27, 26) if take.texture == "power" else (24, 24, 25, 25, 25, 26, 26, 27, 27, 28)
    if bank == "FluidR3_GM.sf2" and take.texture != "power" and rng.random() < 0.18:
        programs = VARIATIONS                # numbered bank * 128 + program
    programs = [p for p in programs if usable(bank, p)]
    return bank_guitar(rng, take, bank, int(rng.choice(programs)))
