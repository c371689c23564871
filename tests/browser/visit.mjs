// A whole visit, from the list of visits to the tag. In its middle the page is loaded anew, the network
// goes away, the daemon is killed and started again, and a second phone joins.
import assert from "node:assert/strict";
import { Phone, count, ended, hand, launch } from "./technician.mjs";

const told = JSON.parse(process.argv[2]);
const browser = await launch();
const phone = await Phone.open(browser, told);
const { page } = phone;

// ---- the visit begins ------------------------------------------------------------------------------
await page.goto(told.base);
await phone.look("no-visits");
await phone.follow("a.button.main", "**/new");
await phone.look("sheets");
await phone.follow(`a[href="/new?sheet=${told.sheet}"]`, "**/new?*");
await phone.look("new-visit");
await page.selectOption("#complaint", told.complaint);
count.touches += 2;
await page.fill("#unit", "an invented unit");
await page.fill("#technician", "an invented technician");
count.touches += 2;
// For the trail's sake: no part of a visit to a real unit.
await page.locator("[name=simulated]").check();
await phone.follow("form button.main", "**/visits/*");
await page.waitForSelector("[data-ask]");
const path = new URL(page.url()).pathname;

// ---- what happens on the way -----------------------------------------------------------------------
let struck = null;
let second = null;
let wires = 0;
const happenings = [
  ["reload", (ask) => ask.id >= 3, async (ask) => {
    await page.reload();
    assert.equal((await phone.asked()).id, ask.id);
  }],
  ["evidence", (ask) => ask.kind === "measure", async () => {
    // Looked at out of interest: no part of an everyday visit.
    await page.locator("#suspects summary").first().click();
    await phone.look("evidence");
    await page.locator("#suspects summary").first().click();
  }],
  ["network away", (ask) => ask.act === "lock-and-tag", async () => {
    phone.cut = true;
    await phone.context.setOffline(true);
    await page.locator("#offline").waitFor();
    await phone.look("offline");
    await phone.context.setOffline(false);
    await page.locator("#offline").waitFor({ state: "hidden" });
    phone.cut = false;
  }],
  ["a take is struck", (ask) => ask.function === "farads", async (ask) => {
    await phone.answer(ask);
    struck = Number(await page.locator("#latest").getAttribute("data-take"));
    await page.locator("#latest summary").click();
    await phone.look("strike");
    await page.locator("#latest [name=why]").nth(1).click();
    await page.locator("#latest article[data-gone]").waitFor();
    await phone.look("struck");
  }],
  ["what was not asked, off a connected meter", (ask) => struck && ask.kind === "measure", async (ask) => {
    const taken = Number(await page.locator("#latest").getAttribute("data-take"));
    await page.goto(`${told.base + path}/add`);
    await phone.look("add");
    await page.selectOption("#a", "leads");
    await page.selectOption("#b", "leads");
    await page.locator("[name=live]").first().click();
    await page.waitForURL(told.base + path);
    await phone.until((n) => Number(document.getElementById("latest").dataset.take) > n, taken);
    assert.equal((await phone.asked()).id, ask.id);
    await phone.readIt();
  }],
  ["a second phone", (ask) => struck && ask.kind === "measure", async (ask) => {
    second = await Phone.open(browser, told);
    await second.page.goto(told.base + path);
    assert.equal((await second.asked()).id, ask.id);
    const before = count.touches;
    await second.answer(ask);
    count.touches = before + 1;
    // The first one followed by itself.
    await phone.after(ask);
    assert.equal((await phone.asked()).id, (await second.asked()).id);
    assert.deepEqual(second.wrong, []);
    await second.context.close();
  }],
  ["the daemon is killed", (ask) => second && ask.kind === "measure", async (ask) => {
    phone.cut = true;
    await hand("kill");
    await page.locator("#offline").waitFor();
    await hand("start");
    await page.locator("#offline").waitFor({ state: "hidden" });
    phone.cut = false;
    // Gates are shut after a restart, and are asked for anew.
    await phone.until((id) => Number(document.querySelector("[data-ask]")?.dataset.ask) > id, ask.id);
    await phone.readIt();
    assert.deepEqual(await page.locator(".gate[data-open]").allTextContents(), []);
    await phone.look("restarted");
  }],
];

// ---- ask by ask ------------------------------------------------------------------------------------
for (let answers = 0; answers < 200; answers += 1) {
  if (await page.locator("#unchecked").count()) {
    await phone.checkWires();
    wires += 1;
  }
  const ask = await phone.asked();
  if (!ask) break;
  await phone.look(ask.act ?? ask.function ?? ask.kind);
  const next = happenings.findIndex(([, when]) => when(ask));
  if (next >= 0) {
    const [[, , happen]] = happenings.splice(next, 1);
    await happen(ask);
    continue;
  }
  await phone.answer(ask);
}
assert.deepEqual(happenings.map(([name]) => name), [], "all of it happened");
assert(wires > 0, "wires were put back, and checked");

// ---- the finding, the papers -----------------------------------------------------------------------
await phone.look("left");
await page.locator("#finding .found li").first().waitFor();
await page.goto(`${told.base + path}/takes`);
await phone.look("takes");
assert.equal(await page.locator("article[data-gone]").count() >= 1, true);
await page.goto(`${told.base + path}/wires`);
await phone.look("wires");
await page.fill("#note", "a note by thumb");
await page.locator("form:has(#note) button").click();
await page.getByText("a note by thumb").waitFor();
await page.goto(told.base + path);
await phone.follow("section.ask a.button.main", "**/papers");
await phone.look("papers");
await phone.touch("form button.main", true);
await page.locator("form").waitFor({ state: "detached" });
await phone.look("tag-hung");
assert.match(await page.locator("pre").nth(1).textContent(), /Head hash of the trail|Código de cabeza del registro/);

// ---- the quote, and what is decided on it ----------------------------------------------------------
// What was refused says so, and stands in its form again.
async function refused(status, kept) {
  await page.locator("#alert").waitFor();
  assert.deepEqual(phone.wrong.splice(0).filter((w) => !w.includes(String(status))), []);
  for (const [field, value] of Object.entries(kept)) assert.equal(await page.inputValue(`#${field}`), value);
}
await phone.follow(`a[href="${path}/quote"]`, "**/quote");
await phone.look("quote-form");
const far = `${new Date().getFullYear() + 1}-12-31`;
for (const [field, value] of Object.entries({
  currency: "usd", tax_percent: "8,25", valid_until: far, "title-0": "an invented repair",
  "what-0-0": "an invented part", "price-0-0": "thirty", "what-0-1": "an invented hour", "quantity-0-1": "1.25", "price-0-1": "95.00",
})) await page.fill(`#${field}`, value);
await page.locator("[name=more][value='0']").click();
await page.locator("#what-0-2").waitFor();
await page.locator("form.quote button.main").click();
await refused(422, { "price-0-0": "thirty", "title-0": "an invented repair", "what-0-2": "" });
await phone.look("quote-refused");
await page.fill("#price-0-0", "38,50");
await phone.follow("form.quote button.main", "**/papers*");
const sums = () => page.locator(".offer td").allTextContents();
// 38.50 + 1.25 x 95.00 = 157.25; 8.25 % of the part alone is 3.17625. Worked by hand.
assert.deepEqual(await sums(), ["38.50", "118.75", "157.25", "3.18", "160.43"]);
await page.locator("#decide summary").click();
await phone.look("decide");
const decide = async (by) => {
  await page.locator("[name=decision][value=option-a]").check();
  await page.fill("#by", by);
  await page.locator("#decide button.main").click();
};
// A second quote comes while the form of the first one is open: that one was not what was decided on.
const again = await page.request.post(`${told.base}/api/v1${path}/quote`, {
  headers: { "content-type": "application/toml" },
  data: `currency = "USD"\nvalid-until = "${far}"\n[[option]]\nname = "a"\ntitle = "another invented repair"\nline = [{ what = "it", kind = "part", price = "40.00" }]\n`,
});
assert.equal(again.status(), 201, await again.text());
const older = await page.inputValue("#paper");
await decide("an invented owner");
await refused(409, { by: "an invented owner", paper: older });
await phone.look("older-paper");
await page.goto(`${told.base + path}/papers`);
await page.locator("#decide summary").click();
await decide("an invented owner");
await page.locator("#decided").waitFor();
await phone.look("decided");

await page.goto(told.base);
await phone.look("visits");
await phone.follow("a.card", "**/visits/*");
await phone.look("ended");

// ---- the repair is begun, a visit of its own -------------------------------------------------------
const { touches, safety } = count;
await phone.follow(`a[href="${path}/repair"]`, "**/repair");
await phone.look("begin-repair");
assert.equal(await page.locator("[name=fit]:checked").count() >= 1, true);
await phone.follow("form.sheet button.main", (url) => /^\/visits\/[^/]+$/.test(url.pathname));
await page.waitForSelector("[data-ask]");
assert.notEqual(new URL(page.url()).pathname, path);
await phone.look("repairing");
assert.deepEqual(phone.wrong, []);
await browser.close();
ended({ visit: path.split("/")[2], touches, safety, states: phone.seen.size, struck });
