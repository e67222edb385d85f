"use strict";
// The playhead, the loop and the count-in. Times are seconds of the take.
(() => {
  const find = (id) => document.getElementById(id);
  const { bars, chords, title, bpm, id } = JSON.parse(find("song").textContent);
  const buttons = [...document.querySelectorAll(".bar")];
  const shapes = [...document.querySelectorAll("#shapes figure")];
  const [play, speed, loop, from, to, count] = ["play", "speed", "loop", "from", "to", "count"].map(find);
  const calm = matchMedia("(prefers-reduced-motion: reduce)");

  const sound = find("sound");
  const bytes = Uint8Array.from(atob(sound.textContent.trim()), (sign) => sign.charCodeAt(0));
  const take = new Audio(URL.createObjectURL(new Blob([bytes], { type: sound.dataset.type })));
  sound.remove();
  take.preload = "auto";
  take.preservesPitch = true;
  take.addEventListener("error", () => {
    find("trouble").textContent = "This browser does not play the recording in this page (Ogg Opus). A newer browser does.";
  });

  const head = document.createElement("span");
  head.className = "head";
  let now = 0; // index of the bar at the playhead
  let lit = []; // diagrams that are lit
  let counting = null; // what stops a count-in under way

  /** The last item that has begun; the first before all. */
  const at = (items, time) => Math.max(0, items.findLastIndex((item) => item.start <= time + 0.01));

  /** First and last bar of the loop; null without one. */
  function looped() {
    if (loop.value === "part") {
      const part = bars[now].part;
      return [bars.findIndex((b) => b.part === part), bars.findLastIndex((b) => b.part === part)];
    }
    if (loop.value !== "bars") return null;
    const index = (input) => bars.findIndex((b) => b.number === Number(input.value));
    const [first, last] = [index(from), index(to)];
    return first >= 0 && last >= first ? [first, last] : null;
  }
  let range = null;

  function setLoop() {
    find("range").hidden = loop.value !== "bars";
    range = looped();
    const wrong = loop.value === "bars" && !range;
    find("trouble").textContent = wrong ? `Give two bars from ${bars[0].number} to ${bars.at(-1).number}, the first one first.` : "";
    buttons.forEach((b, i) => b.classList.toggle("in-loop", range !== null && i >= range[0] && i <= range[1]));
  }

  /** How many beats of a bar are over, with the part of the one under way. */
  function beatsInto(bar, time) {
    const beat = Math.max(0, bar.beats.findLastIndex((t) => t <= time + 0.01));
    const end = bar.beats[beat + 1] ?? bar.end;
    const part = (time - bar.beats[beat]) / Math.max(0.01, end - bar.beats[beat]);
    return beat + Math.min(1, Math.max(0, part));
  }

  /** Shows where the take is. */
  function show(time, follow) {
    const index = at(bars, time);
    const bar = bars[index];
    const button = buttons[index];
    if (index !== now || !button.contains(head)) {
      buttons[now].removeAttribute("aria-current");
      button.setAttribute("aria-current", "true");
      button.append(head);
      now = index;
      if (follow) keepInSight(button);
    }
    const beats = beatsInto(bar, time);
    head.style.left = `${(beats / bar.beats.length) * 100}%`;
    find("place").textContent = `bar ${bar.number || "0 (pickup)"} · beat ${Math.min(bar.beats.length, Math.floor(beats + 0.001) + 1)}`;
    light(time);
  }

  function keepInSight(button) {
    const place = button.getBoundingClientRect();
    const room = find("play").parentElement.getBoundingClientRect().top;
    if (place.top > 60 && place.bottom < room - place.height) return;
    button.scrollIntoView({ block: "center", behavior: calm.matches ? "auto" : "smooth" });
  }

  /** Lights the diagram of the chord that sounds, and marks the next one. */
  function light(time) {
    const index = at(chords, time);
    const chord = chords[index];
    const sounding = chord && time >= chord.start - 0.01 && time < chord.end ? chord.shape : null;
    const after = chords.slice(index + 1).find((c) => c.shape !== null && c.shape !== sounding);
    const wanted = [sounding, after?.shape ?? null];
    if (wanted[0] === lit[0] && wanted[1] === lit[1]) return;
    lit = wanted;
    shapes.forEach((figure, i) => {
      figure.classList.toggle("on", i === wanted[0]);
      figure.classList.toggle("next", i === wanted[1]);
    });
    const strip = find("shapes");
    const figure = shapes[wanted[0]];
    if (figure && strip.scrollWidth > strip.clientWidth) strip.scrollLeft = figure.offsetLeft - strip.offsetLeft - strip.clientWidth / 2 + figure.clientWidth / 2;
  }

  /** Goes back to the loop's start at its end. */
  function turn() {
    if (!range || take.paused || take.seeking) return;
    const [first, last] = range;
    if (take.currentTime >= bars[last].end || take.currentTime < bars[first].start - 0.5) take.currentTime = bars[first].start;
  }
  take.addEventListener("timeupdate", turn);

  function frame() {
    turn();
    if (!take.seeking) show(take.currentTime, true);
    if (!take.paused) requestAnimationFrame(frame);
  }

  let clicks = null; // made by the first count-in: browsers want a touch before sound
  function click(time, high) {
    const [tone, loudness] = [clicks.createOscillator(), clicks.createGain()];
    tone.frequency.value = high ? 1600 : 1100;
    loudness.gain.setValueAtTime(0.2, time);
    loudness.gain.exponentialRampToValueAtTime(0.001, time + 0.06);
    tone.connect(loudness).connect(clicks.destination);
    tone.start(time);
    tone.stop(time + 0.07);
  }

  /** Clicks the beats of a bar in its own tempo, then calls back. */
  function countIn(bar, then) {
    clicks ??= new AudioContext();
    clicks.resume();
    const beat = (bar.end - bar.start) / bar.beats.length / take.playbackRate;
    const start = clicks.currentTime + 0.1;
    bar.beats.forEach((_, i) => click(start + i * beat, i === 0));
    const timer = setTimeout(then, (0.1 + bar.beats.length * beat) * 1000);
    counting = () => clearTimeout(timer);
  }

  const begin = () => {
    counting = null;
    take.play().catch((error) => {
      find("trouble").textContent = `The recording does not start: ${error.message}`;
    });
  };

  function start() {
    const time = range && (take.currentTime >= bars[range[1]].end || take.currentTime < bars[range[0]].start) ? bars[range[0]].start : take.currentTime;
    if (time !== take.currentTime) take.currentTime = time;
    play.textContent = "Stop";
    if (!count.checked) return begin();
    // a touch allows the recording to start later
    take.muted = true;
    take.play().then(() => take.pause(), () => {}).then(() => {
      take.muted = false;
      take.currentTime = time;
      if (play.textContent === "Stop") countIn(bars[at(bars, time)], begin);
    });
  }

  function stop() {
    counting?.();
    counting = null;
    take.pause();
    play.textContent = "Play";
  }

  take.addEventListener("playing", () => requestAnimationFrame(frame));
  take.addEventListener("seeked", () => show(take.currentTime, true));
  take.addEventListener("ended", () => {
    if (range) {
      take.currentTime = bars[range[0]].start;
      begin();
    } else stop();
  });

  play.addEventListener("click", () => (play.textContent === "Stop" ? stop() : start()));
  buttons.forEach((button, i) => button.addEventListener("click", () => {
    stop();
    take.currentTime = bars[i].start;
    show(bars[i].start, false);
    if (loop.value === "part") setLoop();
    start();
  }));
  speed.addEventListener("input", () => {
    take.playbackRate = Number(speed.value) / 100;
    find("percent").textContent = `${speed.value} %`;
  });
  [loop, from, to].forEach((control) => control.addEventListener("input", setLoop));
  from.value = bars.find((b) => b.number > 0)?.number ?? 0;
  to.value = bars.at(-1).number;
  find("larger").addEventListener("change", (event) => {
    document.documentElement.style.setProperty("--size", event.target.checked ? "1.35" : "1");
    fit();
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== " " || event.target.closest("button, select, input")) return;
    event.preventDefault();
    play.click();
  });

  // ---- the tempos that were reached, kept in this browser only ----

  const KEPT = `takebook practice ${id}`;
  const day = (date) => `${date.getFullYear()}-${String(date.getMonth() + 1).padStart(2, "0")}-${String(date.getDate()).padStart(2, "0")}`;
  const dayWords = (text) => new Date(`${text}T12:00`).toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric" });
  const today = () => day(new Date());
  let isKept = true; // a page from a file may not be allowed to keep anything
  /** By first and last bar, "1-8": `{words, from, to, days}`; a day's tempo in percent of the recording's. */
  let loops = {};

  function load() {
    try {
      const kept = JSON.parse(localStorage.getItem(KEPT) ?? "{}");
      const isLoop = (l) => typeof l?.words === "string" && Object.entries(l.days ?? {}).every(([d, n]) => /^\d{4}-\d\d-\d\d$/.test(d) && Number.isFinite(n));
      loops = Object.fromEntries(Object.entries(kept).filter(([, l]) => isLoop(l)));
    } catch {
      isKept = false;
    }
  }

  function keep() {
    try {
      if (Object.keys(loops).length > 0) localStorage.setItem(KEPT, JSON.stringify(loops));
      else localStorage.removeItem(KEPT);
      isKept = true;
    } catch {
      isKept = false;
    }
  }

  /** "72 bpm"; of a song without a tempo "60 %". */
  const tempoWords = (percent) => (bpm ? `${Math.round((bpm * percent) / 100)} bpm` : `${percent} %`);

  /** The loop that is set, or the whole song. */
  function current() {
    const [first, last] = range ?? [0, bars.length - 1];
    const [a, b] = [bars[first].number, bars[last].number];
    const part = buttons[first].closest("section").querySelector("h2")?.textContent ?? "";
    const isPart = bars.filter((bar) => bar.part === bars[first].part).length === last - first + 1 && bars[last].part === bars[first].part;
    const place = a === b ? `bar ${a}` : `bars ${a} to ${b}`;
    const words = !range ? "the whole song" : isPart && part ? `${part}, ${place}` : place;
    return { key: range ? `${first}-${last}` : "all", words, first, last };
  }

  const latest = (days, before) => Object.keys(days).filter((d) => d < before).sort().at(-1);

  function drawPlan() {
    const rows = Object.entries(loops).map(([key, loop]) => {
      const last = latest(loop.days, today());
      const row = document.createElement("tr");
      const cell = (name, text) => row.appendChild(Object.assign(document.createElement(name), { textContent: text }));
      cell("th", loop.words).scope = "row";
      cell("td", last ? `${tempoWords(loop.days[last])}, ${dayWords(last)}` : "\u2013");
      cell("td", today() in loop.days ? tempoWords(loop.days[today()]) : "\u2013");
      const go = cell("td", "").appendChild(Object.assign(document.createElement("button"), { type: "button", textContent: "Practise" }));
      go.setAttribute("aria-label", `Practise ${loop.words}`);
      go.addEventListener("click", () => takeUp(key, loop));
      return row;
    });
    const isEmpty = rows.length === 0;
    document.querySelector("#plan table").hidden = isEmpty;
    find("tempos").replaceChildren(...rows);
    find("kept").textContent = !isKept ? "This browser keeps nothing for this page: show the tempos as text before you close it." : isEmpty ? "Nothing noted yet. What you note stays in this browser." : "Kept in this browser only.";
    find("as-text").disabled = find("forget").disabled = isEmpty;
    if (isEmpty) showText(false);
    else if (!find("words").hidden) showText(true);
  }

  /** Sets a loop, at the tempo it went well at last. */
  function takeUp(key, noted) {
    const last = noted.days[today()] ?? noted.days[latest(noted.days, today())];
    stop();
    if (key === "all") loop.value = "";
    else {
      const [first, end] = key.split("-").map(Number);
      loop.value = "bars";
      from.value = bars[first]?.number ?? from.value;
      to.value = bars[end]?.number ?? to.value;
    }
    setLoop();
    speed.value = last;
    speed.dispatchEvent(new Event("input"));
    take.currentTime = bars[range ? range[0] : 0].start;
    show(take.currentTime, true);
    play.focus();
  }

  function drawReached() {
    find("reached").textContent = `Reached ${tempoWords(Number(speed.value))}`;
  }

  find("reached").addEventListener("click", () => {
    const { key, words } = current();
    const days = { ...loops[key]?.days, [today()]: Number(speed.value) };
    loops[key] = { words, days };
    keep();
    drawPlan();
    find("place").textContent = `noted: ${words}, ${tempoWords(Number(speed.value))}`;
  });

  function planText() {
    const lines = Object.values(loops).map((loop) => {
      const last = latest(loop.days, today());
      const said = [last ? `last time ${tempoWords(loop.days[last])} (${dayWords(last)})` : "", today() in loop.days ? `today ${tempoWords(loop.days[today()])}` : ""];
      return `${loop.words}: ${said.filter(Boolean).join(", ")}`;
    });
    const own = bpm ? [`The recording: ${Math.round(bpm)} bpm`] : [];
    return [`Practice tempos: ${title}`, dayWords(today()), ...own, "", ...lines, ""].join("\n");
  }

  let file = null;
  function showText(isShown) {
    find("words").hidden = !isShown;
    find("as-text").setAttribute("aria-expanded", String(isShown));
    if (file) URL.revokeObjectURL(file);
    file = null;
    if (!isShown) return;
    find("text").value = planText();
    file = URL.createObjectURL(new Blob([planText()], { type: "text/plain" }));
    find("text-file").href = file;
  }

  find("as-text").addEventListener("click", () => {
    showText(find("words").hidden);
    if (!find("words").hidden) find("text").select();
  });
  // once to ask, once to do it
  find("forget").addEventListener("click", (event) => {
    const isSure = event.target.dataset.asked === "yes";
    event.target.dataset.asked = isSure ? "" : "yes";
    event.target.textContent = isSure ? "Forget these tempos" : "Press again to forget them";
    if (!isSure) return;
    loops = {};
    keep();
    drawPlan();
  });
  find("forget").addEventListener("blur", (event) => {
    event.target.dataset.asked = "";
    event.target.textContent = "Forget these tempos";
  });
  speed.addEventListener("input", drawReached);
  load();
  drawPlan();
  drawReached();

  /** Bars whose symbols do not fit are set smaller. */
  function fit() {
    for (const button of buttons) {
      button.classList.remove("tight");
      const cells = button.querySelector(".cells");
      const wraps = [...cells.children].some((cell) => cell.offsetTop > cells.firstElementChild.offsetTop);
      button.classList.toggle("tight", wraps || cells.scrollWidth > cells.clientWidth);
    }
  }
  addEventListener("resize", fit);
  fit();
  take.currentTime = bars[0].start;
  show(bars[0].start, false);
})();
