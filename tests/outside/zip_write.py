"""Writes archives for tests/it/backup.rs with Python's zipfile, which is no part of takebook.

python zip_write.py FOLDER SONG SOUND

Each archive in FOLDER has SONG under its own name and SOUND beside it, and one thing more that
the file's name says: most of them are to be refused.
"""

import stat
import struct
import sys
import warnings
import zipfile
from pathlib import Path

warnings.simplefilter("ignore")  # zipfile warns of two files of one name
folder, song, sound = map(Path, sys.argv[1:])


def archive(name, method=zipfile.ZIP_DEFLATED):
    made = zipfile.ZipFile(folder / f"{name}.zip", "w", method, allowZip64=True)
    made.write(song, "lantern.takebook")
    made.write(sound, "lantern.wav")
    return made


def with_entry(name, entry, data=b"x"):
    with archive(name) as made:
        made.writestr(entry, data)


with archive("plain") as made:
    made.writestr("notes of the week.txt", "A\u266d \u00e9t\u00e9")
with archive("stored", zipfile.ZIP_STORED):
    pass
with archive("hidden") as made:
    made.writestr(".takebook/lantern.takebook.lock", "")
    made.writestr("__MACOSX/._lantern.wav", "x")
    made.writestr("inside/", "")
with archive("long_form") as made:
    with made.open("other.txt", "w", force_zip64=True) as file:
        file.write(b"x" * 1000)
with_entry("out", "../escaped.txt")
with_entry("out_inside", "a/../../escaped.txt")
with_entry("absolute", "/tmp/escaped-takebook.txt")
with_entry("drive", "C:/escaped.txt")
with_entry("backslash", "a\\escaped.txt")
with_entry("newline", "a\nb.txt")
with_entry("too_long", "x" * 300 + ".txt")
with_entry("twice", "lantern.wav")
link = zipfile.ZipInfo("link.wav")
link.create_system = 3
link.external_attr = (stat.S_IFLNK | 0o777) << 16
with_entry("link", link, b"/etc/passwd")
pipe = zipfile.ZipInfo("pipe.wav")
pipe.create_system = 3
pipe.external_attr = (stat.S_IFIFO | 0o644) << 16
with_entry("pipe", pipe, b"")
with archive("file_and_folder") as made:
    made.writestr("a", "x")
    made.writestr("a/b", "x")
with_entry("bomb", "big.txt", b"\0" * 600_000_000)
with archive("method", zipfile.ZIP_DEFLATED) as made:
    made.writestr("packed.txt", "x" * 1000, zipfile.ZIP_BZIP2)

plain = bytearray((folder / "stored.zip").read_bytes())
# one bit of the sound
spoiled = bytearray(plain)
spoiled[plain.index(b"PK\x03\x04", 4) + 2000] ^= 1
(folder / "damaged.zip").write_bytes(spoiled)
# announced as encrypted, in the directory and before the file
spoiled = bytearray(plain)
for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
    place = spoiled.index(mark)
    spoiled[place + at] |= 1
(folder / "encrypted.zip").write_bytes(spoiled)
# the directory says that the first file is shorter than it is
spoiled = bytearray(plain)
place = spoiled.index(b"PK\x01\x02")
for at in (20, 24):
    spoiled[place + at : place + at + 4] = struct.pack("<I", 10)
(folder / "shorter.zip").write_bytes(spoiled)
(folder / "broken_off.zip").write_bytes(plain[: len(plain) // 2])
(folder / "empty.zip").write_bytes(b"")
(folder / "text.zip").write_text("no archive")
# two files that share their bytes, as archives that unpack to far more than they hold do
spoiled = bytearray(plain)
first = spoiled.index(b"PK\x01\x02")
second = spoiled.index(b"PK\x01\x02", first + 4)
spoiled[second + 42 : second + 46] = spoiled[first + 42 : first + 46]
(folder / "overlapping.zip").write_bytes(spoiled)
