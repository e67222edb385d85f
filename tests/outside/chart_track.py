"""Prints a page whose video has the captions of a WebVTT file as its track.

The page counts the cues that the browser's own track element read.
"""
import base64
import pathlib
import sys

data = base64.b64encode(pathlib.Path(sys.argv[1]).read_bytes()).decode()
print(f"""<!DOCTYPE html><title>track</title><video></video><p id="said">waiting</p><script>
const track = document.createElement("track");
track.default = true;
track.kind = "captions";
track.src = "data:text/vtt;base64,{data}";
const say = text => document.getElementById("said").textContent = text;
track.onload = () => {{
  const cues = [...track.track.cues];
  say(`${{cues.length}} cues, first at ${{cues[0].startTime}}: ${{cues[0].text.split("\\n")[0]}}`);
}};
track.onerror = () => say("not read");
document.querySelector("video").append(track);
track.track.mode = "showing";
</script>""")
