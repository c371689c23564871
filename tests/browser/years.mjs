// Over the years: from the list of visits to the units, a search, one unit, its door in a new visit, and a unit that is
// not there.
import assert from "node:assert/strict";
import { Phone, ended, launch } from "./technician.mjs";

const told = JSON.parse(process.argv[2]);
const browser = await launch();
const phone = await Phone.open(browser, told);
const { page } = phone;

await page.goto(told.base);
await phone.look("visits");
await phone.follow("main a.button[href='/units']", "**/units");
await phone.look("units-real");
await page.goto(`${told.base}/units?simulated=yes`);
await phone.look("units");
await page.fill("#words", "00004");
await phone.follow("main form button.main", "**/units?words=*");
await phone.look("found");
const visits = await page.locator("a.card").count();
assert(visits > 5, `${visits} visits`);
await page.fill("#words", "zebrawood");
await phone.follow("main form button.main", "**/units?words=*");
await page.locator("[role=status]").filter({ visible: true }).first().waitFor();
await phone.look("nothing-found");

// ---- a unit ----------------------------------------------------------------------------------------
await page.goto(`${told.base}/units?simulated=yes`);
await phone.follow("a.card[href*='00004']", "**/unit?*");
assert.match(await page.locator("h1").textContent(), /00004/);
await phone.look("unit");
const folded = page.locator("article details summary").first();
await folded.click();
await phone.look("unit-unfolded");

// ---- its door --------------------------------------------------------------------------------------
const opened = await page.request.post(`${told.base}/api/v1/visits`, { data: { unit: "invented-00004", sheet: told.sheet, simulated: true } });
const { id } = await opened.json();
await page.goto(`${told.base}/visits/${id}`);
const door = page.locator("#door summary");
const shut = await door.textContent();
await phone.look("door");
// What is asked next still stands on the first screen of a phone.
const ask = await page.locator("[data-ask] h2").boundingBox();
assert(ask.y < told.height, `the ask begins at ${ask.y}`);
await phone.touch(door);
await phone.look("door-open");
await phone.follow("#door a.button", "**/unit?*");

// ---- what is not there -----------------------------------------------------------------------------
await page.goto(`${told.base}/unit?name=invented-nowhere`);
assert.deepEqual(phone.wrong.splice(0).filter((w) => !w.includes("404")), []);
await phone.look("no-unit");
await phone.follow("main a.button[href='/units']", "**/units");
assert.deepEqual(phone.wrong, []);
await browser.close();
ended({ shut, visits, states: phone.seen.size });
