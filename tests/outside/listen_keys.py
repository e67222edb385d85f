"""Runs takebook in a pseudo-terminal of 40 columns, feeds its microphone in
real time and types keys.

Arguments: PROGRAM, a named pipe, a raw file (float32, 2 channels, 48 kHz) to
feed it with, the command and its arguments up to `--`, then `SECONDS:KEY` in
order; `pause=AFTER:SECONDS` lets the microphone deliver nothing for a while.
Prints all that came to the terminal."""

import fcntl
import os
import pty
import select
import signal
import struct
import sys
import termios
import threading
import time

program, pipe, raw = sys.argv[1:4]
end = sys.argv.index("--")
command = [program, *sys.argv[4:end]]
typed = [k for k in sys.argv[end + 1 :] if not k.startswith("pause=")]
pauses = [k[6:].split(":") for k in sys.argv[end + 1 :] if k not in typed]
keys = [(float(k.split(":")[0]), k.split(":")[1]) for k in typed]
BLOCK = 4800 * 8


def feed():
    # a device is opened, closed and opened again: a block that falls between, as on a busy
    # machine, is delivered once more
    out = open(pipe, "wb", buffering=0)
    with open(raw, "rb") as sound:
        start, n = time.monotonic(), 0
        while block := sound.read(BLOCK):
            while True:
                try:
                    out.write(block)
                    break
                except BrokenPipeError:
                    out = open(pipe, "wb", buffering=0)
            n += 1
            time.sleep(max(0.0, start + n / 10 - time.monotonic()))
            for after, seconds in pauses:
                if n == round(10 * float(after)):
                    time.sleep(float(seconds))
                    start += float(seconds)
    time.sleep(2)


child, terminal = pty.fork()
if child == 0:
    os.execv(program, command)
fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 40, 0, 0))
threading.Thread(target=feed, daemon=True).start()
start = time.monotonic()
while time.monotonic() < start + 150:
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
else:
    os.kill(child, signal.SIGKILL)  # it did not end by its keys: said by its exit status
_, status = os.waitpid(child, 0)
sys.stdout.buffer.flush()
sys.exit(os.waitstatus_to_exitcode(status))
