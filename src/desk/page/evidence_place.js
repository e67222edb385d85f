// The playhead and the loop over what was heard: a click goes there, dragging loops what lies
// between, and both edges of a loop can be moved, also by the arrow keys.

import { el, setIfOther } from "./dom.js";
import { clock } from "./music.js";
import { isPlaying, now, player, seek, setLoop } from "./player.js";
import { say } from "./say.js";
import { barAt, beatsIn, choose, desk, tell } from "./state.js";

/** A pointer that moves less is a click, px. */
const CLICK_PX = 5;
/** Edges are drawn to a beat that is nearer than this, px. */
const CATCH_PX = 8;
const FINE_S = 0.02;
/** The shortest loop, s. */
const SHORTEST_S = 0.15;

let head = null;

/** The layers over the picture: the loop with its edges, and the playhead. */
export function loopLayer(plan) {
  head = el("div", { class: "now-line", role: "slider", tabindex: 0, "aria-label": "Playhead", "aria-valuemin": 0, "aria-valuenow": now().toFixed(1), "aria-valuemax": desk.song.duration_s.toFixed(1), onkeydown: (e) => headKey(e, plan) });
  moveHead(plan, now());
  const { loop } = player;
  if (!loop || loop.to < plan.from || loop.from > plan.to) return [head];
  const inside = (t) => Math.max(plan.from, Math.min(plan.to, t));
  const region = el("div", { class: "loop-region", "aria-hidden": true });
  const put = () => {
    const [left, right] = [plan.x(inside(player.loop.from)), right_(plan, inside(player.loop.to))];
    region.style.left = `${left}px`;
    region.style.width = `${Math.max(2, right - left)}px`;
  };
  put();
  const edges = [["from", "Start of the loop"], ["to", "End of the loop"]].filter(([side]) => loop[side] >= plan.from - 0.01 && loop[side] <= plan.to + 0.01).map(([side, name]) => edge(side, name, plan, put));
  return [region, ...edges, head];
}

/** The right end of a moment: of the bar before where two bars meet. */
const right_ = (plan, t) => plan.x(t - 0.0005);

function edge(side, name, plan, put) {
  const node = el("div", { class: `loop-edge ${side}`, role: "slider", tabindex: 0, "aria-label": name, "aria-valuemin": 0, "aria-valuemax": desk.song.duration_s.toFixed(2), title: `${name}: drag, or arrow keys` });
  const place = () => {
    const t = player.loop[side];
    node.style.transform = `translateX(${side === "to" ? right_(plan, t) : plan.x(t)}px)`;
    node.setAttribute("aria-valuenow", t.toFixed(2));
    node.setAttribute("aria-valuetext", clock(t));
  };
  const move = (t) => {
    const other = side === "from" ? player.loop.to : player.loop.from;
    const at = side === "from" ? Math.min(t, other - SHORTEST_S) : Math.max(t, other + SHORTEST_S);
    player.loop = { ...player.loop, [side]: Math.max(0, Math.min(desk.song.duration_s, at)), chosen: false };
    place();
    put();
  };
  place();
  node.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    event.stopPropagation();
    drag((e) => move(momentAt(e, node.parentElement, plan)), () => setLoop(player.loop));
  });
  node.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: -1, ArrowRight: 1, ArrowDown: -1, ArrowUp: 1 }[event.key];
    if (!way) return;
    event.preventDefault();
    event.stopPropagation();
    move(event.shiftKey ? player.loop[side] + way * FINE_S : nextBeat(player.loop[side], way));
    setLoop(player.loop);
    document.querySelector(`.loop-edge.${side}`)?.focus({ preventScroll: true });
  });
  return node;
}

/** The line that moves through what was heard. */
export function moveHead(plan, t) {
  if (!head) return;
  const inView = t >= plan.from - 0.001 && t <= plan.to + 0.001;
  if (head.hidden === inView) head.hidden = !inView;
  if (!inView) return;
  head.style.transform = `translateX(${plan.x(t)}px)`;
  if (!isPlaying()) {
    setIfOther(head, "aria-valuenow", t.toFixed(1));
    setIfOther(head, "aria-valuetext", clock(t));
  }
}

function headKey(event, plan) {
  const way = { ArrowLeft: -1, ArrowRight: 1, ArrowDown: -1, ArrowUp: 1 }[event.key];
  if (!way) return;
  event.preventDefault();
  event.stopPropagation();
  const t = Math.max(0, Math.min(desk.song.duration_s, event.shiftKey ? now() + way * FINE_S : nextBeat(now(), way)));
  seek(t);
  moveHead(plan, t);
  say(`Playhead at ${clock(t)}.`);
}

/** The half beat before or after a moment. */
function nextBeat(t, way) {
  const bar = barAt(t);
  const around = [bar - 1, bar, bar + 1].filter((b) => desk.song.bars[b]);
  const beats = around.flatMap((b) => beatsIn(b)).concat(desk.song.bars[Math.min(bar + 1, desk.song.bars.length - 1)].end_s);
  const all = beats.flatMap((b, i) => (beats[i + 1] ? [b, (b + beats[i + 1]) / 2] : [b]));
  return (way > 0 ? all.find((b) => b > t + 0.01) : all.findLast((b) => b < t - 0.01)) ?? t + way * 0.25;
}

/** The moment under the pointer, drawn to a beat that is near. */
function momentAt(event, strip, plan, isFine = event.shiftKey) {
  const x = event.clientX - strip.getBoundingClientRect().left;
  const t = plan.at(Math.max(0, Math.min(plan.width - 1, x)));
  if (isFine) return t;
  const beats = plan.pieces.flatMap((p) => [...beatsIn(p.bar), p.to]);
  return beats.find((b) => Math.abs(plan.x(b) - x) < CATCH_PX) ?? t;
}

/** A click goes there, dragging loops. */
export function startPointing(strip, planOf) {
  strip.addEventListener("pointerdown", (event) => {
    const plan = planOf();
    if (!plan || event.button !== 0 || !event.target.closest(".heard, .loop-region, .now-line")) return;
    const from = event.clientX;
    let isDrag = false;
    const start = momentAt(event, strip, plan);
    const follow = (e) => {
      isDrag ||= Math.abs(e.clientX - from) > CLICK_PX;
      if (!isDrag) return;
      const t = momentAt(e, strip, plan);
      const [a, b] = [Math.min(start, t), Math.max(start, t)];
      if (b - a >= SHORTEST_S) setLoop({ from: a, to: b, chosen: false });
    };
    const end = (e) => {
      if (isDrag) {
        if (player.loop && !isPlaying()) seek(player.loop.from);
        say(`Loop from ${clock(player.loop?.from ?? start)} to ${clock(player.loop?.to ?? start)}; l ends it.`);
        return;
      }
      goTo(momentAt(e, strip, plan, true));
    };
    drag(follow, end);
  });
}

/** The playhead goes to a moment, and the bar there is chosen. */
function goTo(t) {
  const bar = barAt(t);
  tell("sought", t);
  if (bar !== desk.bar) choose(bar, { keepHead: true });
  seek(t);
}

/** Follows the pointer until it is let go; a finger that scrolls the page is no drag. */
function drag(follow, end) {
  const until = new AbortController();
  const options = { signal: until.signal };
  window.addEventListener("pointermove", follow, options);
  window.addEventListener("pointerup", (e) => (until.abort(), end(e)), options);
  window.addEventListener("pointercancel", () => until.abort(), options);
}
