"""What Python's zipfile finds in an archive: python zip_read.py ARCHIVE > JSON

Every file is read, so that its checksum is looked at.
"""

import json
import sys
import zipfile

with zipfile.ZipFile(sys.argv[1]) as archive:
    assert archive.testzip() is None
    found = {
        entry.filename: {"bytes": entry.file_size, "stored": entry.compress_type == zipfile.ZIP_STORED}
        for entry in archive.infolist()
    }
    songs = {}
    for name in found:
        if name.endswith(".takebook"):
            try:
                songs[name] = json.loads(archive.read(name))["take"]["file"]
            except ValueError:
                songs[name] = None  # a damaged song is packed as it is
print(json.dumps({"files": found, "takes": songs}))
