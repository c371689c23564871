// What is there beside a visit: the settings, a photograph, a value typed without a meter, a problem in words; and the
// shell, which opens while the daemon is out of reach and gives way to the page when it is back.
import assert from "node:assert/strict";
import { gzipSync } from "node:zlib";
import { Phone, ended, hand, launch } from "./technician.mjs";

const told = JSON.parse(process.argv[2]);
const browser = await launch();
const phone = await Phone.open(browser, told);
const { page } = phone;

// ---- the settings ----------------------------------------------------------------------------------
await page.goto(`${told.base}/settings`);
assert.equal(await page.locator("html").getAttribute("lang"), "en");
await phone.look("settings");
await page.locator("[data-keep=speak]").check();
await page.locator("[value=es]").check();
await page.locator("[value='[degF]']").check();
await page.locator("form button.main").click();
await page.waitForURL(`${told.base}/`);
assert.equal(await page.locator("html").getAttribute("lang"), "es");
await page.goto(`${told.base}/settings`);
assert(await page.locator("[data-keep=speak]").isChecked() && await page.locator("[value='[degF]']").isChecked(), "kept");

// ---- a visit without a meter -----------------------------------------------------------------------
// What the phone reads out; the machine of a test has no voice.
await page.addInitScript(() => {
  globalThis.spoken = [];
  speechSynthesis.speak = (saying) => globalThis.spoken.push([saying.text, saying.lang]);
});
await page.goto(`${told.base}/new?sheet=${told.sheet}`);
await page.locator("form button.main").click();
await page.waitForSelector("[data-ask]");
const path = new URL(page.url()).pathname;
for (let ask = await phone.asked(); ask.kind === "look"; ask = await phone.asked()) {
  await page.locator("[data-ask] [value=no]").click();
  await phone.after(ask);
}
const ask = await phone.asked();
assert.equal(ask.kind, "measure");
await phone.look("typed");
await page.fill("#display", "two hundred");
await page.locator("[data-ask] .answers form button.main").click();
await page.locator("#alert").waitFor();
assert.deepEqual(phone.wrong.splice(0).filter((w) => !w.includes("422")), []);
await phone.look("not-understood");
assert.equal((await phone.asked()).id, ask.id, "nothing came of it");
await page.fill("#display", "0,4");
await page.locator("[data-ask] .answers form button.main").click();
await phone.after(ask);
assert.match(await page.locator("#latest .shown").textContent(), /^0\.4/);
// Prompts and verdicts are read out in the page's language.
const said = new Map(await page.evaluate(() => globalThis.spoken));
assert.equal(said.get("Tomado"), "es", JSON.stringify([...said]));
assert.equal(said.get("Sigue"), "es");
assert.equal(said.get((await page.locator("#latest .verdict").textContent()).trim()), "es", JSON.stringify([...said]));

// ---- what was not asked ----------------------------------------------------------------------------
await page.goto(`${told.base + path}/add`);
await phone.look("add");
const value = page.locator("form:has(#set)");
const measured = async (digits) => {
  await page.selectOption("#set", "celsius Cel");
  await page.selectOption("#a", "ambient");
  await page.selectOption("#b", "ambient");
  await page.fill("#shown", digits);
  await value.locator("button.main").click();
};
await measured("warm");
await page.locator("#alert").waitFor();
assert.deepEqual(phone.wrong.splice(0).filter((w) => !w.includes("422")), []);
await phone.look("add-refused");
assert.deepEqual(
  [await page.inputValue("#shown"), await page.inputValue("#set"), await page.inputValue("#a")],
  ["warm", "celsius Cel", "ambient"], "what was refused stands there still",
);
await measured("31,5");
await page.waitForURL(told.base + path);
assert.match(await page.locator("#latest .shown").textContent(), /^31\.5/);
await page.goto(`${told.base + path}/add`);
await page.selectOption("#what", { index: 1 });
const what = await page.inputValue("#what");
await page.locator("form:has(#what) [value=no]").click();
await page.waitForURL(told.base + path);
await page.goto(`${told.base + path}/add`);
await page.selectOption("#part", "unit");
await page.fill("#key", "rated-volts");
await page.fill("#value", "208/230");
await page.fill("#unit", "V");
await page.locator("form:has(#part) button.main").click();
await page.waitForURL(told.base + path);
const view = await (await page.request.get(`${told.base}/api/v1${path}`)).json();
assert.deepEqual(view.looks.at(-1), { ask: null, what, answer: false });
assert.deepEqual(view.plates, [{ part: "unit", key: "rated-volts", value: "208/230", unit: "V" }]);

// ---- a wire that is put back from the map ----------------------------------------------------------
const photo = await page.request.post(`${told.base}/api/v1${path}/photos?caption=an+invented+wire`, {
  headers: { "content-type": "image/png" }, data: Buffer.from(told.png),
});
const { hash } = await photo.json();
const lifted = await page.request.post(`${told.base}/api/v1${path}/wires/${told.end}/lifted`, { data: { mark: "an invented mark", photo: hash } });
assert.equal(lifted.status(), 200, await lifted.text());
await page.goto(`${told.base + path}/wires`);
await phone.look("lifted");
await page.locator("form:has([value=back]) button").click();
await page.locator("form:has([value=back])").waitFor({ state: "detached" });
await phone.look("put-back");
await page.goto(told.base + path);
await page.locator("#unchecked").getByText("an invented mark").waitFor();
// What it looked like in its place stands beside it, to be compared.
const before = page.locator("#unchecked figure img");
assert(await before.evaluate(async (img) => {
  img.loading = "eager";
  await img.decode();
  return img.naturalWidth > 0;
}), "the photograph is shown");
await phone.checkWires();
await page.goto(`${told.base + path}/wires`);
await phone.look("wire-checked");
const [wire] = (await (await page.request.get(`${told.base}/api/v1${path}`)).json()).wires;
assert.equal(wire.checked, true);

// ---- a photograph ----------------------------------------------------------------------------------
await page.goto(`${told.base + path}/wires`);
await page.fill("#caption", "an invented plate");
await page.setInputFiles("#photo", { name: "plate.png", mimeType: "image/png", buffer: Buffer.from(told.png) });
await page.locator("form[data-photo] button").click();
const plate = page.locator("figure", { hasText: "an invented plate" }).locator("img");
await plate.waitFor();
await phone.look("photograph");
assert(await plate.evaluate((img) => img.complete && img.naturalWidth > 0), "it is shown");

// ---- the shell -------------------------------------------------------------------------------------
let compressed = 0;
// A browser takes one of the icons.
for (const file of ["/", path, "/page.css", "/page.js", "/worker.js", "/icon.svg", "/icon-192.png", "/app.webmanifest", "/shell"]) {
  const answer = await page.request.get(told.base + file);
  assert.equal(answer.status(), 200, file);
  compressed += gzipSync(await answer.body()).length;
}
await page.evaluate(() => navigator.serviceWorker.ready);
// W3C, Web Application Manifest: what each icon is said to be, it is.
const manifest = await (await page.request.get(`${told.base}/app.webmanifest`)).json();
for (const { src, sizes } of manifest.icons.filter((icon) => icon.type === "image/png")) {
  const size = await page.evaluate(async (path) => {
    const icon = await createImageBitmap(await (await fetch(path)).blob());
    return `${icon.width}x${icon.height}`;
  }, src);
  assert.equal(size, sizes, src);
}
const browserSays = await phone.context.newCDPSession(page);
assert.deepEqual((await browserSays.send("Page.getAppManifest")).errors, []);
const { installabilityErrors } = await browserSays.send("Page.getInstallabilityErrors");
// A test's browser keeps nothing: that alone stands against installing there.
assert.deepEqual(installabilityErrors.map((error) => error.errorId).filter((id) => id !== "in-incognito"), []);
await phone.until(() => caches.match("/shell").then((kept) => Boolean(kept)));
assert.equal(await page.evaluate((visit) => caches.match(visit).then(Boolean), path), false, "nothing of a visit is kept on the phone");
phone.cut = true;
await hand("kill");
await page.goto(told.base + path);
await page.locator("#shell").waitFor();
await phone.look("shell");
await hand("start");
await page.locator("[data-ask]").waitFor();
phone.cut = false;
assert.deepEqual(phone.wrong, []);
await browser.close();
ended({ compressed, states: phone.seen.size });
