// The buttons of one surface, for a tablet in a pinch.
//
// What is shown is what the controller said last, with its age; what was
// touched shows what became of it and never more. Nothing is kept for later:
// a press that cannot go out at once is dropped, and told to be.
"use strict";

const staleAfter = 2000;   // ms without a sign of the controller
const holdToFire = 600;    // ms
const coverAfter = 150;    // ms into a hold, a shut cover is opened
const lostContact = 150;   // ms that a finger may lose the glass while it holds
const answerWithin = 3000; // ms
const settle = 400;        // ms after waking in which a touch presses nothing
const jump = 1500;         // ms: a tick that comes this late means that the tablet slept
const restAfter = numberOption("rest", 240) * 1000; // ms without a touch, 0 is never

const $ = (id) => document.getElementById(id);
const options = new URLSearchParams(location.search);
const who = options.get("who") || "tablet " + Math.random().toString(36).slice(2, 6);
const liveWhenLocked = (options.get("live") || "").split(",").filter(Boolean);

function numberOption(name, otherwise) {
  const n = Number(new URLSearchParams(location.search).get(name) ?? otherwise);
  return Number.isFinite(n) && n >= 0 ? n : otherwise;
}

// ---- what is known -------------------------------------------------------

let view = null;          // the newest snapshot
let heard = null;         // when something was heard last: {steady, wall, age}
let trialEnds = 0;        // of a show on trial, by the steady clock
let clockDue = 0;         // the cue that the clock fires next, by the steady clock
let stream = null;        // the open stream: {send, close, kind, fresh}
let generation = 0;       // of streams: what an old one still says is not heard
let chosen = options.get("surface");
let locked = false;
let resting = false;
let woken = false;        // since the stream in use began to speak
let wokenUntil = 0;       // touches that begin before this press nothing
let touched = performance.now();
let dropped = 0;
let roundTrip = null;
let wakeLock = null;
const waiting = new Map(); // id -> {done, timer, at}

const clock = () => ({ steady: performance.now(), wall: Date.now() });

// silence is how old what is shown is, in ms. The steady clock can stand still
// while a tablet sleeps, the wall clock can be set: the longer one counts.
function silence() {
  if (!heard) return Infinity;
  const now = clock();
  return Math.max(now.steady - heard.steady, now.wall - heard.wall, 0) + heard.age;
}

const hidden = () => document.visibilityState === "hidden";
const armed = () => Boolean(stream && stream.fresh && !hidden() && !resting && silence() < staleAfter);

// ---- the stream ----------------------------------------------------------

const asWho = (path) => path + "?who=" + encodeURIComponent(who);
let retry = 0, retryTimer = 0, triedAt = 0, useEvents = options.get("stream") === "events", socketFailures = 0;

async function connect() {
  const mine = ++generation;
  triedAt = performance.now();
  clearTimeout(retryTimer);
  if (stream) stream.close();
  stream = null;
  abandon();
  try {
    const reply = await fetch(asWho("/api/view"), { signal: timeLimit(2000) });
    if (mine !== generation) return;
    $("pairing").hidden = reply.status !== 401 && reply.status !== 429;
    if (reply.status === 401 || reply.status === 429) return;
    if (!reply.ok) throw new Error(String(reply.status));
  } catch {
    if (mine === generation) again(mine);
    return;
  }
  if (useEvents) openEvents(mine); else openSocket(mine);
}

function timeLimit(ms) {
  const c = new AbortController();
  setTimeout(() => c.abort(), ms);
  return c.signal;
}

function again(mine) {
  if (mine !== generation) return;
  stream = null;
  abandon();
  clearTimeout(retryTimer);
  retryTimer = setTimeout(connect, Math.min(250 * 2 ** retry++, 2000) * (0.75 + Math.random() / 2));
}

function openSocket(mine) {
  const socket = new WebSocket((location.protocol === "https:" ? "wss://" : "ws://") + location.host + asWho("/api/socket"));
  const here = { kind: "WebSocket", fresh: false, send: (q) => socket.send(JSON.stringify(q)), close: () => { socket.onclose = null; socket.close(); } };
  socket.onopen = () => { if (mine === generation) stream = here; else socket.close(); };
  socket.onmessage = (e) => { socketFailures = 0; if (mine === generation) hear(here, JSON.parse(e.data)); };
  socket.onclose = () => {
    if (mine === generation && ++socketFailures >= 3) { useEvents = true; socketFailures = 0; }
    again(mine);
  };
}

function openEvents(mine) {
  const source = new EventSource(asWho("/api/events"));
  const here = { kind: "Server-Sent Events", fresh: false, close: () => source.close(), send: (q) => {
    fetch(asWho("/api/press"), { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(q), signal: timeLimit(answerWithin) })
      .then((r) => (r.ok ? r.json() : Promise.reject(new Error(String(r.status)))))
      .then((answer) => { if (mine === generation) hear(here, { answer }); })
      .catch(() => finish(q.id, { outcome: "lost", text: "no answer: look at the lamp" }));
  } };
  source.onopen = () => { if (mine === generation) stream = here; };
  source.onmessage = (e) => { if (mine === generation) hear(here, JSON.parse(e.data)); };
  source.onerror = () => { source.close(); again(mine); };
}

function hear(here, message) {
  if (message.view) {
    view = message.view;
    if (!here.fresh) {
      here.fresh = true;
      retry = 0;
      if (woken) wokenUntil = performance.now() + settle;
      woken = false;
    }
    heard = { ...clock(), age: view.age };
    if (view.clock) clockDue = heard.steady + view.clock.left;
    if (view.trial) trialEnds = heard.steady + view.trial.left;
    draw();
  } else if (message.alive) {
    heard = { ...clock(), age: message.alive.age };
    trialEnds = heard.steady + message.alive.left;
  } else if (message.answer) {
    finish(message.answer.id, message.answer);
  }
  tellLink();
}

// abandon: what was sent and not answered may or may not have been done.
function abandon() {
  for (const id of [...waiting.keys()]) finish(id, { outcome: "lost", text: "no answer: look at the lamp" });
}

let ids = 0;
function ask(q) {
  const id = who + " " + ++ids;
  return new Promise((done) => {
    waiting.set(id, { done, at: performance.now(), timer: setTimeout(() => finish(id, { outcome: "lost", text: "no answer: look at the lamp" }), answerWithin) });
    try { stream.send({ id, running: view.running, ...q }); } catch { finish(id, { outcome: "lost", text: "it could not be sent" }); }
  });
}

function finish(id, answer) {
  const w = waiting.get(id);
  if (!w) return;
  waiting.delete(id);
  clearTimeout(w.timer);
  if (answer.outcome !== "lost") roundTrip = performance.now() - w.at;
  w.done(answer);
}

// ---- waking --------------------------------------------------------------

let lastTick = clock();
function tick() {
  const now = clock();
  if (Math.max(now.steady - lastTick.steady, now.wall - lastTick.wall) > jump) wake();
  lastTick = now;
  const quiet = heard ? silence() - heard.age : 0;
  const stuck = !stream && $("pairing").hidden && now.steady - triedAt > 2 * staleAfter;
  if (stream && quiet > staleAfter || stuck) connect(); // engines leave streams dead without a word
  if (restAfter && !wakeLock && !resting && now.steady - touched > restAfter) { resting = true; $("rest").hidden = false; }
  tellLink();
}

// wake forces a new stream, and lets no touch through before it speaks.
function wake() {
  dropFingers();
  woken = true;
  wokenUntil = performance.now() + settle;
  connect();
}

document.addEventListener("visibilitychange", () => { dropFingers(); if (!hidden()) { wake(); keepAwake(); } });
window.addEventListener("pageshow", (e) => { if (e.persisted) wake(); });
window.addEventListener("online", () => connect());

// keepAwake needs a secure context, which plain HTTP on a LAN is not.
async function keepAwake() {
  try {
    wakeLock = await navigator.wakeLock.request("screen");
    wakeLock.addEventListener("release", () => { wakeLock = null; });
  } catch { wakeLock = null; }
}

// The touch that wakes the page goes to nothing else.
for (const kind of ["pointerdown", "keydown", "click"]) {
  document.addEventListener(kind, (e) => {
    touched = performance.now();
    if (!resting) return;
    e.preventDefault();
    e.stopImmediatePropagation();
    if (kind === "click") return;
    resting = false;
    $("rest").hidden = true;
    wokenUntil = performance.now() + settle;
    say("That touch woke the page. Nothing was pressed.");
  }, true);
}

// ---- touches -------------------------------------------------------------

const fingers = new Map(); // "pointer 3" or "key Enter" -> press under way

function dropFingers() {
  const all = [...fingers.values()];
  fingers.clear();
  for (const press of all) press.cancel();
}

// mayPress says whether a touch that begins now may press, and tells why not.
function mayPress(key) {
  if (performance.now() < wokenUntil) { say("That touch woke the page. Nothing was pressed."); return false; }
  if (!armed()) {
    dropped++;
    show(key, "failed", "dropped: no contact", 2500);
    say(dropped === 1 ? "A press was dropped: there was no contact." : dropped + " presses were dropped: there was no contact.");
    return false;
  }
  if (locked && !key.free && !liveWhenLocked.includes(key.place)) { show(key, "failed", "locked", 1200); return false; }
  if (key.busy) { say("Wait: " + key.name() + " has not been answered yet."); return false; }
  return true;
}

// show sets one of the five states. It goes back to idle by itself after ms.
function show(key, state, word, ms) {
  key.state = state;
  clearTimeout(key.back);
  key.node.dataset.touch = state;
  key.word = word;
  key.write();
  if (ms) key.back = setTimeout(() => show(key, "idle", ""), ms);
}

function told(key, answer) {
  if (answer.opened) show(key, "confirmed", "cover open", 900);
  else if (answer.outcome === "done") show(key, "confirmed", "done", 900);
  else show(key, "failed", answer.outcome + (answer.text ? ": " + answer.text : ""), 4000);
}

// target is what a finger went down on. The page may turn under it: then the
// controller refuses, since it is told what the finger was on.
function target(key) {
  const { page, surface } = key, name = key.name(), running = view.running;
  return { ask: (kind) => { const q = key.request(kind); return ask({ ...q, page, surface: surface ?? q.surface, running }); }, name, still: () => key.page === page && key.surface === surface };
}

// send asks, and shows the way from sent to confirmed or failed.
async function send(key, on, kind) {
  key.busy = true;
  show(key, "sent", "sent");
  const answer = await on.ask(kind);
  key.busy = false;
  if (on.still()) told(key, answer);
  else { show(key, "idle", ""); say(on.name + ": " + answer.outcome + (answer.text ? ", " + answer.text : "") + "."); }
}

// begin is a finger on a key. What it gives has lift (the finger comes up on
// the key) and cancel (it slid off, or is gone).
function begin(key) {
  const on = target(key);
  show(key, "pressed", key.guarded() ? "keep holding" : "pressed");
  if (key.guarded()) return hold(key, on);
  if (key.live()) {
    const down = send(key, on, "down");
    const up = () => { down.then(() => { if (stream) on.ask("up"); }); };
    return { lift: up, cancel: up };
  }
  return { lift: () => send(key, on, "tap"), cancel: () => show(key, "idle", "") };
}

// hold is hold-to-fire. The cover, where there is one, opens on the way; a
// short loss of contact is forgiven, but nothing fires during it.
function hold(key, on) {
  const from = performance.now();
  const ring = document.createElement("span");
  ring.className = "ring";
  key.node.append(ring);
  let over = false, asked = false, fired = false, lifted = false, lost = 0;
  const end = (word, state = "idle", ms = 0) => {
    if (over) return;
    over = true;
    ring.remove();
    clearTimeout(lost);
    show(key, state, word, ms);
  };
  const openCover = async () => {
    asked = true;
    const a = await on.ask("tap");
    if (!a.opened) end(a.outcome + ": " + a.text, "failed", 4000);
  };
  const fire = async () => {
    over = fired = true;
    ring.remove();
    await send(key, on, key.live() ? "down" : "tap");
  };
  const frame = () => {
    const past = performance.now() - from;
    ring.style.setProperty("--turn", String(Math.min(1, past / holdToFire)));
    if (!on.still()) end("");
    else if (!armed()) end("dropped: no contact", "failed", 2500);
    else if (past > answerWithin) end("the cover did not open", "failed", 4000);
    if (over) return;
    if (past >= coverAfter && key.cover() === "shut" && !asked && !lifted) openCover();
    if (past >= holdToFire && key.cover() !== "shut" && !lifted) fire();
    else requestAnimationFrame(frame);
  };
  requestAnimationFrame(frame);
  const up = () => { if (fired && key.live() && stream) on.ask("up"); };
  return {
    lift: () => { up(); lifted = true; if (!over) lost = setTimeout(() => end("let go too soon", "failed", 1500), lostContact); },
    cancel: () => { up(); end(""); },
    back: () => { if (over) return false; clearTimeout(lost); lifted = false; return true; },
  };
}

const near = (key, e) => {
  const r = key.node.getBoundingClientRect();
  return e.clientX >= r.left - 8 && e.clientX <= r.right + 8 && e.clientY >= r.top - 8 && e.clientY <= r.bottom + 8;
};

// wire makes a node a key: it can be touched, pressed on a keyboard, and
// clicked by a machine that helps.
function wire(key) {
  let last = null, handled = 0;
  const down = (id) => {
    handled = performance.now();
    if (fingers.has(id)) return;
    if (last && last.back && last.back()) { fingers.set(id, last); return; }
    if (!mayPress(key)) return;
    last = begin(key);
    fingers.set(id, last);
  };
  const up = (id, how) => {
    handled = performance.now();
    const press = fingers.get(id);
    if (press) { fingers.delete(id); press[how](); }
  };
  key.node.addEventListener("pointerdown", (e) => { if (e.button === 0) { try { key.node.setPointerCapture(e.pointerId); } catch { /* a made-up pointer */ } down("pointer " + e.pointerId); } });
  key.node.addEventListener("pointerup", (e) => up("pointer " + e.pointerId, near(key, e) ? "lift" : "cancel"));
  key.node.addEventListener("pointercancel", (e) => up("pointer " + e.pointerId, key.guarded() ? "lift" : "cancel"));
  key.node.addEventListener("keydown", (e) => { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); if (!e.repeat) down("key " + e.key); } });
  key.node.addEventListener("keyup", (e) => { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); up("key " + e.key, "lift"); } });
  key.node.addEventListener("blur", () => { up("key Enter", "cancel"); up("key  ", "cancel"); });
  key.node.addEventListener("contextmenu", (e) => e.preventDefault());
  key.node.addEventListener("click", (e) => { // with no finger and no key before it: two of them for what is guarded
    if (e.detail === 0 && performance.now() - handled > 500 && mayPress(key)) send(key, target(key), "tap");
  });
}

// ---- drawing -------------------------------------------------------------

const lampWords = { dark: "", lit: "set", pending: "running", air: "ON AIR", fault: "FAULT" };
const keys = new Map(); // place -> key

function surfaceShown() {
  return view.surfaces.find((s) => s.name === chosen) || view.surfaces[0];
}

function draw() {
  const s = surfaceShown();
  text("show", view.show);
  if (!s) return;
  text("page", s.page);
  document.title = s.page + ", " + view.show;
  drawChoice(s);
  const grid = $("grid");
  grid.style.gridTemplateColumns = "repeat(" + s.columns + ", minmax(max(64px, 12mm), 1fr))";
  grid.style.gridTemplateRows = "repeat(" + s.rows + ", minmax(max(88px, 12mm), 1fr))";
  const there = new Set();
  for (const b of s.buttons) {
    const place = b.row + "." + b.column;
    there.add(place);
    if (!keys.has(place)) keys.set(place, gridKey(place));
    const key = keys.get(place);
    const turned = key.page !== s.page || key.surface !== s.name;
    if (turned && key.button && !key.busy) show(key, "idle", "");
    key.button = b;
    key.page = s.page;
    key.surface = s.name;
    key.node.style.gridArea = b.row + " / " + b.column;
    if (key.node.parentNode !== grid) grid.append(key.node);
    key.write();
  }
  for (const [place, key] of keys) if (!there.has(place)) { key.node.remove(); key.button = null; }
  order(grid);
  drawRest();
}

// order keeps the way of the keyboard that of the eye.
function order(grid) {
  const nodes = [...grid.children];
  const sorted = [...nodes].sort((a, b) => a.place[0] - b.place[0] || a.place[1] - b.place[1]);
  if (nodes.some((n, i) => n !== sorted[i])) grid.append(...sorted);
}

function gridKey(place) {
  const node = document.createElement("button");
  node.type = "button";
  node.place = place.split(".").map(Number);
  for (const part of ["lamp", "name", "word"]) { const s = document.createElement("span"); s.className = part; node.append(s); }
  const key = { node, place, word: "", button: null, busy: false };
  key.name = () => (key.button ? key.button.label : "");
  key.cover = () => (key.button ? key.button.cover : "none");
  key.guarded = () => key.cover() !== "none";
  key.live = () => Boolean(key.button && key.button.live);
  key.request = (kind) => ({ kind, surface: key.surface, page: key.page, row: node.place[0], column: node.place[1] });
  key.write = () => writeGridKey(key);
  wire(key);
  return key;
}

function writeGridKey(key) {
  const b = key.button;
  if (!b) return;
  const known = document.body.dataset.link !== "stale" && document.body.dataset.link !== "away";
  const word = lampWords[b.lamp] ?? b.lamp;
  const lamp = known ? word : word ? "was " + word : "unknown";
  const rest = key.word || (b.cover === "open" ? "cover open: hold" : b.cover === "shut" ? "hold to fire" : b.hold ? "tap, or hold " + b.hold / 1000 + " s" : b.live ? "while held" : "");
  key.node.className = "key" + (b.cover !== "none" ? " guarded" : "") + (b.live ? " live" : "") + (locked && !liveWhenLocked.includes(key.place) ? " locked" : "");
  key.node.dataset.lamp = known ? b.lamp : "unknown";
  key.node.dataset.cover = b.cover;
  key.node.setAttribute("aria-disabled", String(!armed()));
  const parts = key.node.children;
  put(parts[0], lamp);
  put(parts[1], b.label);
  put(parts[2], rest);
}

function put(node, words) { if (node.textContent !== words) node.textContent = words; }
function text(id, words) { put($(id), words); }
function say(words) { text("news", words); clearTimeout(say.timer); say.timer = setTimeout(() => text("news", ""), 6000); }

function drawChoice(s) {
  const box = $("surfaces");
  const names = view.surfaces.map((x) => x.name);
  if ([...box.options].map((o) => o.value).join("\n") !== names.join("\n")) box.replaceChildren(...names.map((n) => new Option(n, n)));
  if (box.value !== s.name) box.value = s.name;
}

let announced = { holder: "", trial: false, left: 0 }; // what was said about these last

// drawHolder says whose presses alone count on the surface.
function drawHolder() {
  const s = surfaceShown();
  const mine = s.holder !== "" && s.holder === view.you, others = s.holder !== "" && !mine;
  $("holder").hidden = !others;
  text("holder", others ? s.name + " has been taken over by " + s.holder + ". Presses here are refused; take it over to press." : "");
  put($("take").firstElementChild, mine ? "Give back" : "Take over");
  $("take").dataset.lamp = mine ? "lit" : "dark";
  takeKey.write();
  const now = s.name + " " + s.holder;
  if (announced.holder !== now && announced.holder) say(mine ? s.name + " is yours alone now." : others ? s.name + " has been taken over by " + s.holder + "." : s.name + " is everybody's.");
  announced.holder = now;
}

// drawTrial says how long a show is on trial, and what comes after.
function drawTrial() {
  const t = view && view.trial;
  $("trial").hidden = !t;
  const left = t ? Math.max(0, Math.ceil((trialEnds - performance.now()) / 1000)) : 0;
  text("trial-left", t ? "On trial: " + left + " s" : "");
  if (t) {
    text("trial-word", "New show on trial: " + left + " s left");
    text("trial-rest", "By " + t.by + ". Unless somebody keeps it, all scripts end then and the show before comes back. " +
      (t.returns.length ? "THIS IS THEN SENT: " + t.returns.join(", ") + "." : "Nothing would be sent now.") + (t.stays.length ? " Cannot be sent back: " + t.stays.join(", ") + "." : ""));
    const mark = [30, 10, 5].find((m) => left <= m && announced.left > m);
    if (!announced.trial) say("A new show is on trial: " + left + " s. Keep it, or the one before comes back.");
    else if (mark) say("The show on trial goes in " + left + " seconds. Keep lets it stay.");
  } else if (announced.trial) say("The trial is over.");
  announced.trial = Boolean(t);
  announced.left = left;
}

// countdown is a time that is left, h:mm:ss.
function countdown(ms) {
  const s = Math.max(0, Math.ceil(ms / 1000)), two = (n) => String(n).padStart(2, "0");
  return Math.floor(s / 3600) + ":" + two(Math.floor(s / 60) % 60) + ":" + two(s % 60);
}

// firesNext is the cue that fires by itself next, by the clock before the timecode.
const firesNext = () => (view && view.clock) || (view && view.timecode && view.timecode.next.number && view.timecode.next) || null;

// drawMoments says what fires by itself, and when.
function drawMoments() {
  const { clock: byClock, timecode: code, disarmed } = view || { disarmed: [] };
  const words = [], cue = (c) => "cue " + c.number + " " + c.label + " at " + c.at;
  if (byClock) words.push("By the clock: " + cue(byClock) + ", in " + countdown(clockDue - performance.now()));
  if (code) words.push((code.state ? "Timecode " + code.state + (code.label ? " " + code.label : "") + (code.back ? ", backwards" : "") : "No timecode is followed") + (code.next.number ? "; next is " + cue(code.next) : ""));
  if (disarmed.length) words.push("Disarmed: " + disarmed.join(", "));
  $("moments").hidden = !words.length;
  text("moments-word", words.join("\n"));
  const next = firesNext();
  $("disarm").hidden = !next;
  $("arm").hidden = !disarmed.length;
  disarmKey.page = next ? next.number : ""; // another cue under a finger that holds ends the hold
  if (next) put($("disarm").firstElementChild, "Disarm " + next.number);
}

// drawPair says which of two controllers leads.
function drawPair() {
  const p = view.pair;
  $("pair").hidden = !p;
  text("pair-word", p ? p.text : "");
  if (p && announced.leads !== undefined && announced.leads !== p.leads) say(p.text);
  announced.leads = p ? p.leads : undefined;
}

function drawRest() {
  drawHolder();
  drawTrial();
  drawOutputs();
  drawMoments();
  text("standby", view.standby.number ? "Standby: cue " + view.standby.number + " " + view.standby.label : "Standby: the rundown is at its end");
  drawPair();
  $("held").hidden = !view.held;
  $("waiting").hidden = view.running === view.onDisk;
  text("waiting", view.onDisk === "with errors" ? "The file on disk has errors and was refused. " + view.running.slice(0, 12) + " runs." :
    "The file on disk (" + view.onDisk.slice(0, 12) + ") is not the show that runs (" + view.running.slice(0, 12) + "): a change waits, or was refused.");
  const trouble = [];
  if (view.away.length) trouble.push("Does not answer: " + view.away.join(", ") + ".");
  if (view.drifted.length) trouble.push("Is not as it was set: " + view.drifted.join(", ") + ".");
  $("trouble").hidden = !trouble.length;
  text("trouble", trouble.join(" "));
  const lines = view.alerts.slice(-5).reverse().map((a) => new Date(a.at).toTimeString().slice(0, 8) + "  " + a.text);
  const list = $("alerts");
  if ([...list.children].map((n) => n.textContent).join("\n") !== lines.join("\n")) {
    list.replaceChildren(...lines.map((l) => { const n = document.createElement("li"); n.textContent = l; return n; }));
  }
}

// ---- the table of outputs ------------------------------------------------

const rows = new Map(); // by name: {row, cells, keys, output}
let outputCount = 0;

const atTime = (ms) => (ms ? new Date(ms).toTimeString().slice(0, 8) : "");

function drawOutputs() {
  const wrong = (o) => o.needsLook;
  const count = view.outputs.filter(wrong).length;
  text("outputs-word", count === 0 ? "nothing is known to be otherwise than wanted" : count + (count === 1 ? " needs a look" : " need a look"));
  const there = new Set();
  for (const o of view.outputs) {
    there.add(o.name);
    if (!rows.has(o.name)) rows.set(o.name, outputRow(o));
    const r = rows.get(o.name);
    r.output = o;
    r.row.dataset.wrong = String(wrong(o));
    put(r.cells[0].firstChild, o.name);
    put(r.cells[0].lastChild, [o.drifted ? "otherwise than wanted" : "", o.afterCut].filter(Boolean).join("; "));
    put(r.cells[1], o.wanted || "never set");
    for (const [i, c] of [[2, o.sent], [3, o.acknowledged], [4, o.observed]]) {
      put(r.cells[i].firstChild, c.text);
      put(r.cells[i].lastChild, atTime(c.at));
    }
    if (r.row.parentNode !== $("output-rows")) $("output-rows").append(r.row);
    for (const key of r.keys) key.write();
  }
  for (const [name, r] of rows) if (!there.has(name)) { r.row.remove(); rows.delete(name); }
}

function outputRow(o) {
  const row = document.createElement("tr"), cells = [];
  for (let i = 0; i < 6; i++) {
    const cell = document.createElement(i ? "td" : "th");
    if (!i) { cell.scope = "row"; cell.id = "output-" + ++outputCount; }
    if (i !== 1 && i < 5) cell.append(document.createElement("span"), document.createElement("br"), document.createElement("span"));
    if (i > 1 && i < 5) cell.lastChild.className = "at";
    cells.push(cell);
    row.append(cell);
  }
  const box = document.createElement("div");
  box.className = "keys";
  cells[5].append(box);
  const r = { row, cells, output: o };
  r.keys = [["resend", "Send again"], ["adopt", "Adopt"]].map(([kind, name]) => outputKey(box, r, kind, name));
  return r;
}

// outputKey is a key of a row. It is held to fire: what it does may be seen.
function outputKey(box, r, kind, name) {
  const node = document.createElement("button");
  node.type = "button";
  node.className = "key guarded";
  for (const [part, words] of [["name", name], ["word", "hold"]]) { const s = document.createElement("span"); s.className = part; s.textContent = words; node.append(s); }
  node.setAttribute("aria-describedby", r.cells[0].id);
  box.append(node);
  const key = { node, place: kind + " " + r.output.name, word: "", busy: false, name: () => name + " " + r.output.name, cover: () => "none", guarded: () => true, live: () => false };
  key.request = () => ({ kind, [r.output.field ? "field" : "destination"]: r.output.name });
  key.write = () => { node.setAttribute("aria-disabled", String(!armed())); put(node.lastChild.className === "ring" ? node.children[1] : node.lastChild, key.word || "hold"); };
  wire(key);
  return key;
}

const everyKey = () => [...keys.values(), ...fixed, ...[...rows.values()].flatMap((r) => r.keys)];

// tellLink says how old all this is.
function tellLink() {
  const old = silence(), paired = $("pairing").hidden;
  const state = !paired ? "away" : old >= staleAfter && heard ? "stale" : !heard && performance.now() > staleAfter ? "stale" : stream && stream.fresh ? "fresh" : "reconnecting";
  const was = document.body.dataset.link;
  document.body.dataset.link = state;
  const words = { fresh: "in touch", reconnecting: "reconnecting", stale: "NO CONTACT", away: "not paired" };
  text("link-word", words[state]);
  text("link-age", Number.isFinite(old) ? (old < 10000 ? (old / 1000).toFixed(1) : Math.round(old / 1000)) + " s old" : "");
  if (state === "stale") text("veil", "No contact" + (Number.isFinite(old) ? " for " + Math.round(old / 1000) + " s" : "") + ". Buttons are off. What they show is old.");
  if (was !== state) {
    for (const key of everyKey()) key.write();
    if (state === "stale") say("No contact with the controller. Buttons are off.");
    if (was === "stale" && state === "fresh") say("In touch again. " + (dropped ? dropped + (dropped === 1 ? " press was" : " presses were") + " dropped and will not be made." : "Nothing was pressed meanwhile."));
    if (was === "stale" && state === "fresh") dropped = 0;
  }
  drawTrial();
  drawMoments();
  if ($("check").open) check();
}

// ---- the fixed keys ------------------------------------------------------

function fixedKey(id, guarded, request) {
  const node = $(id);
  const key = { node, place: id, word: "", busy: false, free: ["stop", "keep", "return", "take", "disarm", "arm", "switch"].includes(id), name: () => node.firstElementChild.textContent, cover: () => "none", guarded: () => guarded, live: () => false, request };
  key.write = () => { node.setAttribute("aria-disabled", String(!armed())); put(node.querySelector(".word"), key.word || (guarded ? "hold" : "")); };
  wire(key);
  return key;
}

// Here they count only while nobody else has taken the surface over.
const onSurface = (kind) => ({ kind, surface: surfaceShown().name });
const takeKey = fixedKey("take", true, () => onSurface(surfaceShown().holder === view.you ? "give" : "take"));

const disarmKey = fixedKey("disarm", true, () => ({ kind: "disarm", cue: disarmKey.page }));

const fixed = [
  takeKey,
  disarmKey,
  fixedKey("keep", false, () => ({ kind: "keep" })),
  fixedKey("return", true, () => ({ kind: "return" })),
  fixedKey("arm", true, () => ({ kind: "arm" })),
  fixedKey("go", false, () => onSurface("go")),
  fixedKey("back", false, () => onSurface("back")),
  fixedKey("skip", false, () => onSurface("skip")),
  fixedKey("stop", true, () => ({ kind: "stop" })),
  fixedKey("switch", true, () => ({ kind: "switch" })),
  fixedKey("resume", true, () => ({ kind: "resume" })),
];

// A locked page is unlocked by holding, so that a sleeve does not do it.
let unlocking = 0;
function setLock(on) {
  locked = on;
  $("lock").setAttribute("aria-pressed", String(on));
  text("lock", on ? "Locked: hold" : "Lock");
  for (const key of everyKey()) key.write();
}
$("lock").addEventListener("pointerdown", () => { if (locked) unlocking = setTimeout(() => { unlocking = 0; setLock(false); $("lock").dataset.just = "1"; }, holdToFire); });
for (const kind of ["pointerup", "pointercancel", "pointerleave"]) $("lock").addEventListener(kind, () => clearTimeout(unlocking));
$("lock").addEventListener("click", (e) => {
  if ($("lock").dataset.just) { delete $("lock").dataset.just; return; }
  if (!locked) setLock(true); else if (e.detail === 0) setLock(false); else say("Hold it to unlock.");
});

$("surfaces").addEventListener("change", (e) => {
  chosen = e.target.value;
  options.set("surface", chosen);
  history.replaceState(null, "", "?" + options);
  dropFingers();
  if (view) draw();
});

$("pairing").addEventListener("submit", async (e) => {
  e.preventDefault();
  const code = $("code").value;
  $("code").value = "";
  try {
    const reply = await fetch("/pair", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ code }) });
    text("pairing-word", reply.ok ? "" : reply.status === 429 ? "Too many wrong codes. Wait a minute." : "That is not the code.");
    if (reply.ok) connect();
  } catch { text("pairing-word", "No contact with the controller."); }
});

// check tells what this tablet has.
function check() {
  const key = document.querySelector("#grid .key");
  const size = key && key.getBoundingClientRect();
  const rows = [
    ["Called", who],
    ["Stream", stream ? stream.kind : "none"],
    ["There and back", roundTrip === null ? "not measured: press something" : Math.round(roundTrip) + " ms"],
    ["Screen stays on", wakeLock ? "yes" : window.isSecureContext ? "no: set it in the tablet's settings" : "not from plain HTTP: set it in the tablet's settings"],
    ["Rests", restAfter && !wakeLock ? "after " + restAfter / 1000 + " s without a touch (rest=0 in the address: never)" : "never"],
    ["Touch", navigator.maxTouchPoints ? navigator.maxTouchPoints + (navigator.maxTouchPoints === 1 ? " finger" : " fingers") : "none: mouse or keyboard"],
    ["Smallest button", size ? Math.round(size.width) + " by " + Math.round(size.height) + " px" + (Math.min(size.width, size.height) < 64 ? ": too small" : "") : "none"],
    ["Stays live when locked", liveWhenLocked.length ? liveWhenLocked.join(", ") + " and Stop all" : "Stop all (live=1.1,2.3 in the address adds buttons)"],
    ["Show that runs", view ? view.running.slice(0, 12) : ""],
    ["Show on the disk", view ? view.onDisk.slice(0, 12) : ""],
  ];
  $("check-rows").replaceChildren(...rows.map(rowOf));
}

function rowOf(words) {
  const row = document.createElement("tr");
  row.append(...words.map((w) => { const cell = document.createElement("td"); cell.textContent = w; return cell; }));
  return row;
}

$("check").addEventListener("toggle", async () => {
  if (!$("check").open) return;
  check();
  try {
    const list = await (await fetch(asWho("/api/tablets"), { signal: timeLimit(2000) })).json();
    $("tablet-rows").replaceChildren(...list.map((t) => rowOf([t.connected ? "Connected" : "Seen", t.who + ", " + (t.seen / 1000).toFixed(1) + " s ago"])));
  } catch { /* the link says it */ }
});

setInterval(tick, 250);
keepAwake();
connect();
