// A technician in front of the page: sees what stands on it, touches what can be touched, and has the other
// hand, which the test lends, on the unit.
import { createInterface } from "node:readline";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import assert from "node:assert/strict";
import { chromium } from "playwright-core";

const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];
export const PATIENCE = 30_000;

const lines = createInterface({ input: process.stdin })[Symbol.asyncIterator]();

// Has the other hand do something; gives what came of it.
export async function hand(what, more = {}) {
  process.stdout.write(`${JSON.stringify({ hand: what, ...more })}\n`);
  const { value } = await lines.next();
  return JSON.parse(value);
}

export function ended(what) {
  process.stdout.write(`${JSON.stringify({ hand: "ended", ...what })}\n`);
  process.exit(0);
}

export const launch = () => chromium.launch({
  executablePath: process.env.OHMTRAIL_CHROMIUM,
  args: ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});

// Touches in all, and those that confirm a step of safety.
export const count = { touches: 0, safety: 0 };

export class Phone {
  // A phone with its page; what is wrong on it at any time fails the test.
  static async open(browser, { base, width, height, language, foreign }) {
    const context = await browser.newContext({
      viewport: { width, height }, locale: language, hasTouch: width < 600, isMobile: width < 600, acceptDownloads: false,
    });
    const page = await context.newPage();
    page.setDefaultTimeout(PATIENCE);
    const phone = new Phone(context, page, base, new Set(foreign));
    page.on("request", (request) => {
      const { origin, protocol } = new URL(request.url());
      if (origin !== base && protocol !== "data:" && protocol !== "blob:") phone.wrong.push(`asked of another: ${request.url()}`);
    });
    page.on("pageerror", (error) => phone.wrong.push(String(error.stack)));
    page.on("console", (message) => {
      const quiet = phone.cut && /Failed to load resource|ERR_/.test(message.text());
      if (message.type() === "error" && !quiet) phone.wrong.push(`${message.text()} at ${message.location().url}`);
    });
    return phone;
  }

  constructor(context, page, base, foreign) {
    Object.assign(this, { context, page, base, foreign, wrong: [], seen: new Set(), cut: false });
  }

  // One touch.
  async touch(target, safety = false) {
    const element = typeof target === "string" ? this.page.locator(target).first() : target;
    const box = await element.boundingBox();
    // WCAG 2.2, 2.5.8 asks for 24 px; gloves ask for more.
    assert(box && box.height >= 44, `${target} is ${box?.height} px high`);
    await (this.page.viewportSize().width < 600 ? element.tap() : element.click());
    count[safety ? "safety" : "touches"] += 1;
  }

  // One touch of what leads to another page.
  async follow(target, to, safety = false) {
    const there = this.page.waitForURL(to, { waitUntil: "load" });
    await this.touch(target, safety);
    await there;
  }

  // Nothing on the screen hinders anyone, by day or by night; each state is looked at once.
  async look(state) {
    assert.deepEqual(this.wrong, [], state);
    if (this.seen.has(state)) return;
    this.seen.add(state);
    assert.deepEqual(await this.inAnotherLanguage(), [], state);
    await this.page.evaluate(AXE);
    for (const colorScheme of ["light", "dark"]) {
      await this.page.emulateMedia({ colorScheme });
      const found = await this.page.evaluate((values) => axe.run(document, { runOnly: { type: "tag", values } }), WCAG);
      const words = found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => `${n.html} ${n.failureSummary}`).join("; ")}`);
      assert.deepEqual(words, [], `${state}, ${colorScheme}`);
      assert(found.passes.length > 5, "it was looked at");
      const wide = await this.page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      assert(wide <= 0, `${state} is ${wide} px too wide`);
      if (process.env.OHMTRAIL_SHOTS) {
        const name = `${this.page.viewportSize().width}-${this.seen.size.toString().padStart(2, "0")}-${state}-${colorScheme}`;
        await this.page.screenshot({ path: `${process.env.OHMTRAIL_SHOTS}/${name}.png` });
      }
    }
    await this.page.emulateMedia({ colorScheme: "light" });
  }

  // What stands on the page, or is read out of it, in words of a language that is not the reader's. Names have a
  // dot or a hyphen in them, or stand as code; what the test itself wrote says that it is invented.
  async inAnotherLanguage() {
    const texts = await this.page.evaluate(() => {
      if (document.documentElement.lang === "en") return [];
      const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
      const all = [];
      while (walk.nextNode()) if (!walk.currentNode.parentElement.closest("script, style, code")) all.push(walk.currentNode.data);
      for (const element of document.querySelectorAll("[alt], [aria-label]")) all.push(element.getAttribute("alt") ?? element.getAttribute("aria-label"));
      return all;
    });
    const lines = texts.flatMap((text) => text.split("\n")).filter((line) => !/invented|thumb|`/.test(line));
    const words = (line) => line.split(/[\s:;,()"«»?¿!]+/).filter((word) => !/[-.\d]\p{L}|\p{L}[-.\d]\p{L}/u.test(word));
    return lines.filter((line) => words(line).some((word) => this.foreign.has(word.toLowerCase().replace(/\.$/, ""))));
  }

  // Waits until something holds on the page. The page forbids what the library's own wait would run there.
  async until(holds, ...told) {
    const patience = performance.now() + PATIENCE;
    while (!(await this.page.evaluate(holds, ...told).catch(() => false))) {
      if (performance.now() > patience) {
        const stands = await this.page.evaluate(() => document.body.innerText);
        assert.fail(`it never came to that: ${holds} ${JSON.stringify(told)}. On the page stands:\n${stands}`);
      }
      await this.page.waitForTimeout(50);
    }
  }

  // The ask that stands on the screen.
  async asked() {
    return this.page.evaluate(() => {
      const ask = document.querySelector("[data-ask]");
      const texts = (selector) => [...ask.querySelectorAll(selector)].map((b) => b.textContent);
      return ask && {
        id: Number(ask.dataset.ask), kind: ask.dataset.kind, function: ask.dataset.function, what: ask.dataset.what, act: ask.dataset.act,
        points: texts(".probes b"), ends: texts(".ends b"), heading: ask.querySelector("h2").textContent,
        gate: "gate" in ask.dataset,
      };
    });
  }

  // Waits until another ask than this stands there, or none.
  async after(ask) {
    await this.until((id) => document.querySelector("[data-ask]")?.dataset.ask !== String(id), ask.id);
    await this.readIt();
  }

  // Reads an ask that has just come. Whoever touches sooner confirms what they have not read; the page
  // takes no notice of that.
  async readIt() {
    await this.page.waitForTimeout(650);
  }

  // Looks at each wire end that was put back, one by one, and says so.
  async checkWires() {
    const check = this.page.locator("#unchecked form");
    for (let left = await check.count(); left; left -= 1) {
      await this.look("unchecked");
      await this.readIt();
      await this.touch(check.first().locator("button.main"), true);
      await this.until((n) => document.querySelectorAll("#unchecked form").length === n, left - 1);
    }
    await this.readIt();
  }

  // Does what is asked. An act is a step of safety, and so is what is read on the way to a gate.
  async answer(ask) {
    const safety = ask.kind === "act" || ask.gate;
    const touch = (target) => this.touch(target, safety);
    if (ask.kind === "look") {
      const yes = await hand("look", { what: ask.what });
      await touch(`[data-ask] [value=${yes ? "yes" : "no"}]`);
    } else if (ask.kind === "measure" || ask.act === "prove-meter") {
      const meter = ask.kind === "measure" ? await hand("probe", { function: ask.function, points: ask.points }) : await hand("known-source");
      const live = meter ?? "meter-1";
      const band = await this.page.evaluate(() => document.getElementById("band").dataset.other);
      await this.until(([m, other]) => {
        const shown = document.querySelector(`[data-meter=${m}]`);
        return /\d|OL/.test(shown.querySelector("[data-value]").textContent) && shown.querySelector("[data-fits]").textContent !== other;
      }, [live, band]);
      await touch("[data-ask] form button.main");
    } else {
      await hand("act", { act: ask.act, ends: ask.ends });
      await touch("[data-ask] form button.main");
    }
    await this.after(ask);
    await hand("air");
  }
}
