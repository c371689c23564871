// A visit of a thousand values: what an event makes the browser fetch and put in place is hardly more than in a
// short one, and every value is found on one of the pages of the list.
import assert from "node:assert/strict";
import { Phone, ended, hand, launch } from "./technician.mjs";

const told = JSON.parse(process.argv[2]);
const browser = await launch();
const phone = await Phone.open(browser, told);
const { page } = phone;

// What an event costs: the bytes of the page, and its elements.
async function weight(path) {
  await page.goto(told.base + path);
  return page.evaluate(async (path) => ({
    bytes: (await (await fetch(path)).text()).length, elements: document.querySelectorAll("*").length,
  }), path);
}

const path = await hand("open");
const short = await weight(path);
// Elsewhere meanwhile: one address may ask for a hundred things a second.
await page.goto(`${told.base}/settings`);
const [takes] = await hand("thousand");
const long = await weight(path);
await phone.look("long");

// The list, page by page.
await page.goto(`${told.base + path}/takes`);
const numbers = [];
let pages = 0;
let most = 0;
for (;;) {
  pages += 1;
  most = Math.max(most, await page.locator("*").count());
  numbers.push(...await page.locator("#takes article [name=take]").evaluateAll((all) => all.map((input) => Number(input.value))));
  if (pages === 2) await phone.look("earlier");
  const earlier = page.locator("#takes a[href^='?before']");
  if (!(await earlier.count())) break;
  const { href } = await earlier.evaluate((a) => ({ href: a.href }));
  await phone.follow(earlier, href);
}
assert.deepEqual(phone.wrong, []);
await browser.close();
ended({ short, long, takes, numbers, pages, most });
