// What the page does by itself: it hears the visit's live stream, asks the daemon for the page again when
// something changed, and puts the parts that differ in place. State is the daemon's; none is kept here.
"use strict";

const byId = (id) => document.getElementById(id);
const keeps = (key) => localStorage.getItem(key) === "yes";

// ---- what this phone likes -------------------------------------------------------------------------

for (const box of document.querySelectorAll("[data-keep]")) {
  box.checked = keeps(box.dataset.keep);
  box.addEventListener("change", () => localStorage.setItem(box.dataset.keep, box.checked ? "yes" : "no"));
}

let tones = null;
function signal(hertz, seconds, buzz) {
  if (!keeps("sound")) return;
  if (navigator.vibrate) navigator.vibrate(buzz);
  tones ??= new AudioContext();
  const tone = tones.createOscillator();
  tone.frequency.value = hertz;
  tone.connect(tones.destination);
  tone.start();
  tone.stop(tones.currentTime + seconds);
}

// Reads out pieces of the page, each in the language that it is written in.
function announce(...pieces) {
  const said = byId("said");
  if (said) said.replaceChildren(...pieces.map(([words, lang]) => {
    const span = document.createElement("span");
    span.lang = lang;
    span.textContent = `${words}. `;
    return span;
  }));
  if (!keeps("speak") || !("speechSynthesis" in window)) return;
  speechSynthesis.cancel();
  for (const [words, lang] of pieces) {
    const saying = new SpeechSynthesisUtterance(words);
    saying.lang = lang;
    speechSynthesis.speak(saying);
  }
}

const OWN = document.documentElement.lang;

// A line of the page by its languages.
function read(element) {
  const pieces = [];
  const texts = document.createTreeWalker(element, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const { data, parentElement } = texts.currentNode;
    const { lang } = parentElement.closest("[lang]");
    if (pieces.at(-1)?.[1] === lang) pieces.at(-1)[0] += data;
    else pieces.push([data, lang]);
  }
  return pieces.map(([words, lang]) => [words.trim(), lang]).filter(([words]) => words);
}

// Whether the daemon can be reached, as far as is known.
let within = true;
function reach(there) {
  within = there;
  byId("offline").hidden = there;
}

// ---- the page anew ---------------------------------------------------------------------------------

// What each part was rendered as: what is opened or typed in it is not a difference.
for (const part of document.querySelectorAll("[data-part]")) part.dataset.html = part.outerHTML;

const names = (page) => [...page.querySelectorAll("[data-meter]")].map((m) => m.dataset.meter).join();

// What can be confirmed on the page: the open ask, and the wires to be checked.
const confirms = () => [...document.querySelectorAll("[data-ask], [data-confirms]")].map((c) => c.dataset.ask ?? c.dataset.confirms).join();

// When what can be confirmed came to stand where it stands. A touch that comes sooner after it was meant for what
// stood there before: it would confirm what nobody has read.
let came = -Infinity;
const TOO_SOON_MS = 600;

// Puts the parts of a freshly rendered page in place. What is being typed, what is opened and where the
// focus is stay as they are, as far as they are still there. What was wrong with an answer stands until
// the next one: only `answered` takes it away.
function put(html, answered = false) {
  const fresh = new DOMParser().parseFromString(html, "text/html");
  const visit = byId("visit");
  const its = fresh.getElementById("visit");
  if (visit && its && (names(document) !== names(fresh) || ("live" in visit.dataset) !== ("live" in its.dataset))) {
    location.reload();
    return;
  }
  const before = asked();
  const could = confirms();
  const took = byId("latest")?.dataset.take;
  const writing = document.activeElement?.matches("input, textarea, select");
  for (const now of document.querySelectorAll("[data-part]")) {
    const then = fresh.getElementById(now.id);
    const wrong = !answered && now.querySelector("#alert") && before?.dataset.ask === then?.querySelector("[data-ask]")?.dataset.ask;
    if (wrong) continue;
    if (then && now.dataset.html !== then.outerHTML) replace(now, then);
  }
  const after = asked();
  if (confirms() !== could) came = performance.now();
  const pieces = [];
  const latest = byId("latest");
  if (latest?.dataset.take && latest.dataset.take !== took) {
    latest.classList.add("taken");
    signal(1320, 0.12, 80);
    pieces.push([visit.dataset.saidTaken, OWN]);
    for (const line of latest.querySelectorAll(".shown, .verdict")) pieces.push(...read(line));
  }
  if (after && after.dataset.ask !== before?.dataset.ask) {
    if (!writing) {
      byId("ask").focus({ preventScroll: true });
      // With the meter's value over it where something is read.
      const alone = after.dataset.kind !== "measure" && !matchMedia("(min-width: 60rem)").matches;
      (alone ? byId("now") : byId("now").parentElement).scrollIntoView({ block: "start" });
    }
    pieces.push([visit.dataset.saidNext, OWN]);
    for (const line of after.querySelectorAll("h2, .probes b, .ends b")) pieces.push(...read(line));
  }
  const alert = answered && byId("alert");
  if (alert) alert.scrollIntoView({ block: "center" });
  if (pieces.length) announce(...pieces);
  bands();
}

function replace(now, then) {
  const html = then.outerHTML;
  const focused = now.contains(document.activeElement) ? document.activeElement.id : "";
  const typed = new Map();
  const asks = (part) => part.querySelector("[data-ask]")?.dataset.ask;
  // Another ask has other fields, though they have the same names.
  const same = asks(now) === asks(then);
  if (same) {
    for (const field of now.querySelectorAll("input[id]:not([type=file]), textarea[id], select[id]")) typed.set(field.id, field.value);
  }
  const opened = [...now.querySelectorAll("details[open][id]")].map((details) => details.id);
  const fresh = document.importNode(then, true);
  for (const details of fresh.querySelectorAll("details[id]")) {
    if (same && opened.includes(details.id)) details.open = true;
  }
  fresh.dataset.html = html;
  now.replaceWith(fresh);
  for (const [id, value] of typed) if (byId(id)) byId(id).value = value;
  if (focused && byId(focused)) byId(focused).focus({ preventScroll: true });
}

const asked = () => document.querySelector("[data-ask]");

let coming = null;
let again = false;
// Asks for the page once more; what comes while it is on its way is asked for after it.
function refresh() {
  if (coming) again = true;
  else coming = ask().finally(() => (coming = null));
  return coming;
}

async function ask() {
  do {
    again = false;
    try {
      const answer = await fetch(location.pathname, { headers: { accept: "text/html" } });
      // The way leads elsewhere, such as to pairing.
      if (new URL(answer.url).pathname !== location.pathname) location.assign(answer.url);
      else if (answer.ok) put(await answer.text());
      else if (answer.status === 429) {
        await new Promise((later) => setTimeout(later, 1_000));
        again = true;
      }
    } catch {
      reach(false);
    }
  } while (again);
}

// ---- what is said ----------------------------------------------------------------------------------

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if ("photo" in form.dataset) {
    event.preventDefault();
    return photograph(form);
  }
  if (!("say" in form.dataset) || !byId("visit")) return;
  event.preventDefault();
  if (form.closest("[data-ask], [data-confirms]") && performance.now() - came < TOO_SOON_MS) return;
  const body = new URLSearchParams(new FormData(form, event.submitter));
  const buttons = form.querySelectorAll("button");
  for (const button of buttons) button.disabled = true;
  if (byId("refused")) byId("refused").hidden = true;
  try {
    const file = form.querySelector("[data-photo-of]");
    if (file?.files.length) body.set("photo", await keep(file.files[0], file.dataset.photoOf));
    const answer = await fetch(form.action, { method: "POST", body });
    reach(true);
    const html = await answer.text();
    if (answer.status === 401) location.reload();
    else if (new URL(answer.url).pathname !== location.pathname && answer.ok) location.assign(answer.url);
    else put(html, true);
  } catch {
    reach(false);
  }
  for (const button of buttons) button.disabled = false;
});

// Keeps a file of the camera's; gives its hash. It goes through a canvas, smaller and upright. Where it
// was taken is not in what comes out, and the daemon takes it out of what is sent otherwise.
async function keep(file, caption) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, 2000 / Math.max(picture.width, picture.height));
  const canvas = new OffscreenCanvas(picture.width * scale, picture.height * scale);
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  const body = await canvas.convertToBlob({ type: "image/jpeg", quality: 0.85 });
  const path = `/api/v1/visits/${byId("visit")?.dataset.visit ?? location.pathname.split("/")[2]}/photos`;
  const answer = await fetch(`${path}?caption=${encodeURIComponent(caption)}`, { method: "POST", body });
  const kept = await answer.json();
  if (!answer.ok) throw new Error(kept.detail);
  return kept.hash;
}

async function photograph(form) {
  const said = form.querySelector("[role=status]");
  try {
    await keep(form.elements.photo.files[0], form.elements.caption.value);
    location.reload();
  } catch (error) {
    said.textContent = `${said.dataset.failed} ${error.message}`;
  }
}

// ---- live values -----------------------------------------------------------------------------------

const SCALE = { G: 1e9, M: 1e6, k: 1e3, m: 1e-3, u: 1e-6, n: 1e-9, p: 1e-12 };
const BASES = ["Ohm", "Cel", "Pa", "Hz", "V", "A", "F", "%"];
const strips = new Map();
const SPAN_MS = 60_000;

// A display's digits in the base unit; none for an overload or a blank.
function inBase(display, unit) {
  const value = Number.parseFloat(display);
  const base = BASES.find((b) => unit.endsWith(b));
  if (Number.isNaN(value) || !base) return null;
  const prefix = unit.slice(0, unit.length - base.length);
  return value * (SCALE[prefix] ?? 1);
}

const sign = (unit) => unit.replace("Ohm", "Ω").replace("Cel", "°C").replace(/^u/, "µ");

function reading(news) {
  const meter = document.querySelector(`[data-meter="${CSS.escape(news.meter)}"]`);
  if (!meter) return;
  const band = byId("band").dataset;
  let shown = `${news.display} ${sign(news.unit)}`;
  const base = inBase(news.display, news.unit);
  if (news.unit === "Cel" && "fahrenheit" in band && base !== null) {
    shown += ` (${((base * 9) / 5 + 32).toFixed(1)} °F)`;
  }
  meter.querySelector("[data-value]").textContent = shown;
  meter.toggleAttribute("data-idle", Boolean(band.wanted) && band.wanted !== news.function);
  const strip = strips.get(news.meter) ?? { function: "", values: [] };
  if (strip.function !== news.function) strip.values = [];
  strip.function = news.function;
  strip.values.push([performance.now(), base]);
  strips.set(news.meter, strip);
  fits(meter, news.function, base, news.display);
  draw(meter, strip);
}

const edge = (text) => (text === undefined ? null : Number(text));

function fits(meter, set, base, display) {
  const band = byId("band").dataset;
  const [low, high] = [edge(band.low), edge(band.high)];
  let words = "";
  if (band.wanted && set !== band.wanted) words = band.other;
  else if (low !== null || high !== null) {
    if (display === "OL") words = high === null ? `● ${band.within}` : `▲ ${band.over}`;
    else if (base === null) words = "";
    else if (low !== null && base < low) words = `▼ ${band.under}`;
    else if (high !== null && base > high) words = `▲ ${band.over}`;
    else words = `● ${band.within}`;
  }
  meter.querySelector("[data-fits]").textContent = words;
}

// The band moved with the ask: what stands there is judged anew with the next reading.
function bands() {
  for (const fit of document.querySelectorAll("[data-fits]")) fit.textContent = "";
}

// A minute of readings, with the band of what is asked for.
function draw(meter, strip) {
  const now = performance.now();
  strip.values = strip.values.filter(([at]) => now - at < SPAN_MS);
  const seen = strip.values.filter(([, value]) => value !== null);
  if (!seen.length) return;
  const band = byId("band").dataset;
  const wanted = band.wanted === strip.function;
  const [low, high] = wanted ? [edge(band.low), edge(band.high)] : [null, null];
  const values = [...seen.map(([, value]) => value), low, high].filter((v) => v !== null);
  let [least, most] = [Math.min(...values), Math.max(...values)];
  const room = Math.max((most - least) * 0.1, Math.abs(most) * 0.01, 1e-12);
  [least, most] = [least - room, most + room];
  const y = (v) => 60 - ((v - least) / (most - least)) * 60;
  const points = seen.map(([at, v]) => `${(300 - ((now - at) / SPAN_MS) * 300).toFixed(1)},${y(v).toFixed(1)}`);
  meter.querySelector("polyline").setAttribute("points", points.join(" "));
  const [top, foot] = [high === null ? 0 : y(high), low === null ? 60 : y(low)];
  const zone = meter.querySelector("rect");
  zone.setAttribute("y", top.toFixed(1));
  zone.setAttribute("height", low === null && high === null ? "0" : Math.max(foot - top, 1).toFixed(1));
}

// ---- the stream ------------------------------------------------------------------------------------

const EVENTS = ["plate", "complaint", "meter-joined", "meter-lost", "meter-back", "meter-role", "asked", "looked", "took", "skipped",
  "voided", "struck", "acted", "gate", "suspects", "found", "concluded", "lifted", "put-back", "wire-checked", "photo", "note", "left", "tagged",
  "closed", "now", "alarm", "cooldown"];

let source = null;
let heard = 0;

function listen(visit) {
  source?.close();
  source = new EventSource(`/api/v1/visits/${visit.dataset.visit}/events?last_event_id=${visit.dataset.last ?? 0}`);
  const hear = (kind, act) => source.addEventListener(kind, (event) => {
    heard = performance.now();
    act(event);
  });
  source.onopen = () => {
    heard = performance.now();
    reach(true);
    refresh();
  };
  source.onerror = () => reach(false);
  hear("reading", (event) => reading(JSON.parse(event.data)));
  hear("meter", (event) => {
    const news = JSON.parse(event.data);
    const meter = document.querySelector(`[data-meter="${CSS.escape(news.meter)}"]`);
    if (meter && news.standing !== "up") meter.querySelector("[data-value]").textContent = "––";
    refresh();
  });
  hear("refused", async () => {
    await refresh();
    const why = byId("refused");
    if (why && !why.hidden) announce(...read(why));
  });
  hear("alarm", () => signal(880, 1.2, [400, 100, 400, 100, 400]));
  for (const kind of EVENTS) {
    hear(kind, (event) => {
      if (event.lastEventId) visit.dataset.last = event.lastEventId;
      refresh();
    });
  }
}

// A line that is dead does not say so: a stream that is quiet for long is asked after.
const QUIET_MS = 12_000;
const LOOK_EVERY_MS = 2_000;

async function look(visit) {
  try {
    const answer = await fetch("/health", { signal: AbortSignal.timeout(4_000) });
    if (answer.status === 401) location.reload();
    if (!answer.ok) throw new Error(answer.statusText);
    heard = performance.now();
    if (!within || source.readyState === EventSource.CLOSED) listen(visit);
  } catch {
    reach(false);
  }
}

const visit = byId("visit");
if (visit && "live" in visit.dataset) {
  listen(visit);
  addEventListener("offline", () => reach(false));
  addEventListener("online", () => look(visit));
  setInterval(() => {
    if (!within || performance.now() - heard > QUIET_MS) look(visit);
  }, LOOK_EVERY_MS);
}

if (byId("shell")) {
  const back = () => fetch("/health").then((answer) => answer.ok && location.reload(), () => {});
  setInterval(back, LOOK_EVERY_MS);
}

if ("serviceWorker" in navigator) {
  navigator.serviceWorker.register("/worker.js").catch(() => {});
}
