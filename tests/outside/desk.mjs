// The desk's page in a real browser, on the real program and a real log.
//   node tests/outside/desk.mjs SCENARIO PROGRAM LOG
// (those of desk_songs.mjs, desk_add.mjs, desk_record.mjs, desk_week.mjs and desk_lessons.mjs: PROGRAM FOLDER)
// Exits with 1 and says what was expected if something does not hold.

import { shutDown } from "./desk_browser.mjs";
import { agreesOnNotes } from "./desk_notes.mjs";
import { missesSoundAndLog, recoversFromARestart, twoPages } from "./desk_together.mjs";
import { plays } from "./desk_sound.mjs";
import { decides, delivers, showsKeys, writes } from "./desk_decisions.mjs";
import { isAccessible, worksByKeyboard } from "./desk_access.mjs";
import { analysesAgain, savesOnce } from "./desk_analysis.mjs";
import { checksRecordings } from "./desk_check.mjs";
import { confirmsMany, neverSkips, playsFromHere } from "./desk_loop.mjs";
import { keepsLessons } from "./desk_lessons.mjs";
import { listens } from "./desk_live.mjs";
import { addsFiles, picturesAdding } from "./desk_add.mjs";
import { measuresSongs, picturesSongs, worksThroughAFolder } from "./desk_songs.mjs";
import { picturesRecording, recordsATake } from "./desk_record.mjs";
import { worksThroughAWeek } from "./desk_week.mjs";
import { measuresFrames, measuresLoop, takesPictures } from "./desk_frames.mjs";

const scenarios = { analysesAgain, savesOnce, checksRecordings, confirmsMany, neverSkips, playsFromHere, plays, decides, showsKeys, writes, delivers, twoPages, recoversFromARestart, missesSoundAndLog, listens, isAccessible, worksByKeyboard, agreesOnNotes, measuresFrames, measuresLoop, takesPictures, worksThroughAFolder, measuresSongs, picturesSongs, addsFiles, picturesAdding, recordsATake, picturesRecording, worksThroughAWeek, keepsLessons };

const [name, program, log, ...rest] = process.argv.slice(2);
if (!scenarios[name] || !log) {
  console.error(`usage: desk.mjs ${Object.keys(scenarios).join("|")} PROGRAM LOG`);
  process.exit(2);
}
try {
  await scenarios[name]({ program, log, rest });
} catch (trouble) {
  console.error(trouble.stack ?? String(trouble));
  process.exitCode = 1;
} finally {
  await shutDown();
}
