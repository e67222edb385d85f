// A song of a folder: the way back to all songs.

import { at } from "./api.js";
import { find } from "./dom.js";
import { isListening } from "./live.js";

export const isInFolder = location.pathname.startsWith("/song/");

export function startBack() {
  find("#songs-back").hidden = !isInFolder;
  // whoever leaves the song is not listened to any longer
  window.addEventListener("pagehide", () => {
    if (isInFolder && isListening()) fetch(at("/api/live/stop"), { method: "POST", keepalive: true, headers: { "content-type": "application/json" }, body: "{}" });
  });
}

export const backToSongs = () => location.assign("/");
