// Staying in step with the log: a stream tells of changes, and when it breaks the page
// says so, asks again until the program is back, and goes on from there.

import { isAnalysing } from "./analysis.js";
import { Refused, at, get } from "./api.js";
import { clear, say, warn } from "./say.js";
import { isBusy, isOwn, show } from "./decide.js";
import { desk, on, tell } from "./state.js";

/** How often a program that went away is asked for, ms. */
const ASK_AGAIN_MS = 1000;

let stream = null;
let asking = null;
/** News came while a decision was on its way. */
let missed = null;

/** The song, anew; `true` if it differs from what the page shows. */
export async function refresh() {
  const song = await get("/api/song");
  const changed = song.revision !== desk.saved?.revision;
  const isForeign = changed && desk.saved && !isOwn(song.revision);
  if (isForeign) tell("elsewhere");
  if (changed || song.take.revision !== desk.saved.take.revision) {
    desk.saved = song;
    show();
  }
  return isForeign;
}

/** Opens the stream of changes. */
export function follow() {
  stream?.close();
  stream = new EventSource(at("/api/events"));
  stream.addEventListener("song", async (event) => {
    const { revision } = JSON.parse(event.data);
    const wasGone = clear("gone");
    if (!wasGone && (desk.saved?.take.present || desk.saved?.take.is_sound === false) && (revision === desk.saved.revision || isOwn(revision))) return;
    // a decision on its way tells by itself what it finds; its news may come before its answer
    if (isBusy()) {
      missed = revision;
      return;
    }
    const ownDoing = isAnalysing();
    try {
      if ((await refresh()) && !ownDoing) sayChanged();
      else if (wasGone) say("The song file is back.");
    } catch (trouble) {
      lost(trouble);
    }
  });
  stream.addEventListener("gone", async (event) => {
    // without its sound the song can still be asked for, and tells so itself
    const { why } = JSON.parse(event.data);
    await refresh().catch(() => warn("gone", sentence(why)));
  });
  for (const kind of ["live", "level", "fragments", "analysis", "check"]) {
    stream.addEventListener(kind, (event) => tell(kind, JSON.parse(event.data)));
  }
  stream.addEventListener("error", () => lost(null));
}

on("unsaved", (n) => {
  const news = missed;
  if (n > 0 || news === null) return;
  missed = null;
  if (news === desk.saved.revision || isOwn(news)) return;
  // once the last answer is in: is what it tells the latest?
  setTimeout(() => refresh().then((changed) => changed && sayChanged()).catch(lost), 0);
});

on("song", () => {
  const { present, is_sound, why_absent } = desk.song.take;
  if (is_sound && present === false) warn("sound", `The sound is gone: ${why_absent}. Decisions are kept all the same.`);
  else clear("sound");
});

const sayChanged = () => say("The song changed elsewhere; this page shows it as it is now.");

const sentence = (text) => `${text[0].toUpperCase()}${text.slice(1)}.`;

/** Called when something found the program missing. */
export function lost(trouble) {
  if (asking) return;
  stream?.close();
  const told = { shut: null };
  const ask = async () => {
    try {
      await refresh();
      clearInterval(asking);
      asking = null;
      clear("link");
      clear("gone");
      follow();
      say("The desk's program is back.");
      tell("back");
    } catch (again) {
      const shut = again instanceof Refused && again.status === 403;
      if (told.shut === shut) return;
      told.shut = shut;
      warn(
        "link",
        shut
          ? "The desk was started anew. Open its new link in any tab of this browser (it opens one by itself, and prints it); this page then goes on."
          : again instanceof Refused
            ? `The desk's program has trouble: ${again.message}. Decisions wait until it is well.`
            : "The desk's program has stopped. Start it again with takebook desk; what is not saved yet waits here.",
      );
    }
  };
  asking = setInterval(ask, ASK_AGAIN_MS);
  if (!(trouble instanceof Refused) || trouble.status === 403) ask();
  else setTimeout(ask, 0);
}

export const isLost = () => asking !== null;
