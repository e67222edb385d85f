"""Runs `takebook listen` in a pseudo-terminal of 80 columns, feeds its
microphone in real time and types keys.

Arguments: PROGRAM, a named pipe, a raw file (float32, 2 channels, 48 kHz) to
feed it with, the log to keep to, then `SECONDS:KEY` in order. Prints all that
came to the terminal."""

import fcntl
import os
import pty
import select
import struct
import sys
import termios
import threading
import time

program, pipe, raw, log = sys.argv[1:5]
keys = [(float(k.split(":")[0]), k.split(":")[1]) for k in sys.argv[5:]]
BLOCK = 4800 * 8


def feed():
    with open(raw, "rb") as sound, open(pipe, "wb", buffering=0) as out:
        start, n = time.monotonic(), 0
        try:
            while block := sound.read(BLOCK):
                out.write(block)
                n += 1
                time.sleep(max(0.0, start + n / 10 - time.monotonic()))
            time.sleep(2)
        except BrokenPipeError:
            pass


child, terminal = pty.fork()
if child == 0:
    os.execv(program, [program, "listen", "--keep", log])
fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
threading.Thread(target=feed, daemon=True).start()
start = time.monotonic()
while time.monotonic() < start + 60:
    if keys and time.monotonic() - start > keys[0][0]:
        os.write(terminal, keys.pop(0)[1].encode())
    if select.select([terminal], [], [], 0.05)[0]:
        try:
            some = os.read(terminal, 65536)
        except OSError:
            break
        if not some:
            break
        sys.stdout.buffer.write(some)
_, status = os.waitpid(child, 0)
sys.stdout.buffer.flush()
sys.exit(os.waitstatus_to_exitcode(status))
