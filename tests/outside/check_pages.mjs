// Opens pages in a real browser, light, dark and without a script, and holds them against axe-core.
// Wants: npm install axe-core puppeteer-core (anywhere, its folder as the working folder), and Chromium.
// Usage: node check_pages.mjs PAGE.html...   Ends with 1 at the first kind of fault.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { resolve } from "node:path";

const need = createRequire(process.cwd() + "/");
const puppeteer = need("puppeteer-core");
const axe = readFileSync(need.resolve("axe-core/axe.min.js"), "utf8");
const browser = await puppeteer.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu"],
});
let faults = 0;
for (const file of process.argv.slice(2)) {
  for (const mode of ["light", "dark", "no-script"]) {
    const page = await browser.newPage();
    const told = [], asked = [];
    page.on("console", (message) => { if (message.type() !== "log") told.push(message.text()); });
    page.on("pageerror", (error) => told.push(String(error)));
    page.on("request", (request) => { if (!request.url().startsWith("file:")) asked.push(request.url()); });
    await page.setJavaScriptEnabled(mode !== "no-script");
    await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: mode === "dark" ? "dark" : "light" }]);
    await page.setViewport({ width: 1200, height: 900 });
    const from = performance.now();
    await page.goto("file://" + resolve(file), { waitUntil: "load" });
    const ms = Math.round(performance.now() - from);
    let violations = [];
    if (mode !== "no-script") {
      await page.evaluate(axe);
      violations = (await page.evaluate(() => axe.run())).violations;
    }
    const words = violations.map((v) => `${v.id} (${v.nodes.length}): ${v.nodes[0].html.slice(0, 140)}`);
    console.log(`${file}, ${mode}: loaded in ${ms} ms, ${told.length} console messages, ${asked.length} requests, ${violations.length} violations`);
    for (const line of [...told, ...asked, ...words]) console.log("  " + line);
    faults += told.length + asked.length + violations.length;
    await page.close();
  }
}
await browser.close();
process.exit(faults ? 1 : 0);
