// What helps the ear: the recording on the left while the chart is plucked on the right, and
// the bass alone, also an octave up, where small speakers and ears hear it better.
// The octave comes from full-wave rectification of the low band, which doubles the frequency
// of a single low note (common practice, no source).

/** The low band: the bass of a guitar lies below, Hz. */
const BASS_HZ = 220;
/** Removes what rectification leaves at 0 Hz, and what is above the octave, Hz. */
const [OCTAVE_FROM_HZ, OCTAVE_TO_HZ] = [60, 500];
const OCTAVE_GAIN = 2.2;

let context = null;
const nodes = {};
export const listening = { bass: "all" };

/** The page's sound context, made at the first sound: browsers allow none before the user has acted. */
export function soundContext() {
  context ??= new AudioContext();
  if (context.state === "suspended") context.resume();
  return context;
}

/** Leads the recording through the page; once is enough. */
export function connect(take) {
  const at = soundContext();
  if (!nodes.source) {
    try {
      nodes.source = at.createMediaElementSource(take);
    } catch {
      // another reader of the sound has it already: it is heard unfiltered
      return;
    }
    nodes.pan = at.createStereoPanner();
    nodes.pan.connect(at.destination);
    nodes.low = [0, 1].map(() => new BiquadFilterNode(at, { type: "lowpass", frequency: BASS_HZ, Q: 0.7 }));
    nodes.rectify = new WaveShaperNode(at, { curve: Float32Array.from({ length: 1025 }, (_, i) => Math.abs(i - 512) / 512) });
    nodes.band = [new BiquadFilterNode(at, { type: "highpass", frequency: OCTAVE_FROM_HZ }), new BiquadFilterNode(at, { type: "lowpass", frequency: OCTAVE_TO_HZ })];
    nodes.gain = new GainNode(at, { gain: OCTAVE_GAIN });
    nodes.low[0].connect(nodes.low[1]);
    nodes.rectify.connect(nodes.band[0]).connect(nodes.band[1]).connect(nodes.gain);
  }
  route();
}

/** Sets the way of the sound: "all", "bass" or "octave". */
export function route() {
  if (!nodes.source) return;
  for (const node of [nodes.source, nodes.low[1], nodes.gain]) node.disconnect();
  if (listening.bass === "all") nodes.source.connect(nodes.pan);
  else {
    nodes.source.connect(nodes.low[0]);
    if (listening.bass === "bass") nodes.low[1].connect(nodes.pan);
    else {
      nodes.low[1].connect(nodes.rectify);
      nodes.gain.connect(nodes.pan);
    }
  }
}

/** The recording to the left, or in the middle. */
export function panTake(isLeft) {
  if (nodes.pan) nodes.pan.pan.value = isLeft ? -1 : 0;
}
