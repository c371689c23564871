// How soon the page is there, and how soon a reading is on it; on this machine, in this browser.
import { Phone, ended, hand, launch } from "./technician.mjs";

const told = JSON.parse(process.argv[2]);
const browser = await launch();
const visit = told.base + told.visit;

const median = (all) => [...all].sort((a, b) => a - b)[Math.floor(all.length / 2)];
const late = (all) => [...all].sort((a, b) => a - b)[Math.floor(all.length * 0.95)];

// From the touch to the first paint with content, each time in a browser that has never seen the page.
async function views(times) {
  const all = [];
  for (let i = 0; i < times; i += 1) {
    const phone = await Phone.open(browser, told);
    await phone.page.goto(visit);
    const paint = () => performance.getEntriesByName("first-contentful-paint")[0]?.startTime;
    await phone.until(paint);
    all.push(await phone.page.evaluate(paint));
    await phone.context.close();
  }
  return all;
}

const first = await views(told.times);

// From the meter's bytes until the frame after the one that shows what they say begins: it is on the screen then.
const phone = await Phone.open(browser, told);
await phone.page.goto(visit);
await phone.until(() => /\d/.test(document.querySelector("[data-meter=meter-1] [data-value]").textContent));
await phone.page.evaluate(() => {
  const value = document.querySelector("[data-meter=meter-1] [data-value]");
  globalThis.shown = [];
  new MutationObserver(() => {
    const text = value.textContent;
    const note = () => globalThis.shown.push([text, performance.timeOrigin + performance.now()]);
    requestAnimationFrame(() => requestAnimationFrame(note));
  }).observe(value, { childList: true, characterData: true, subtree: true });
});
const readings = [];
for (let i = 0; i < told.readings; i += 1) {
  const volts = 100 + (i % 2) * 50;
  const sent = await hand("set", { volts });
  const near = ([text]) => Math.abs(Number.parseFloat(text) - volts) < 10;
  let found;
  while (!found) {
    // The page notes the time by itself: asking it all the while would only slow it down.
    await phone.page.waitForTimeout(120);
    found = (await phone.page.evaluate(() => globalThis.shown.splice(0))).find(near);
  }
  readings.push(found[1] - sent);
}

// The page anew, as its own script does it after an event: fetched, read and put in place.
const again = () => phone.page.evaluate(async () => {
  const all = [];
  for (let i = 0; i < 20; i += 1) {
    const began = performance.now();
    await refresh();
    all.push(performance.now() - began);
  }
  return all;
});

// The same in a visit of a thousand values.
const short = median(await again());
// Elsewhere meanwhile: one address may ask for a hundred things a second.
await phone.page.goto(`${told.base}/settings`);
await hand("thousand");
const thousand = await views(told.times);
await phone.page.goto(visit);
const long = median(await again());
await browser.close();
ended({
  first: median(first), reading: median(readings), reading_late: late(readings), thousand: median(thousand), short, long,
});
