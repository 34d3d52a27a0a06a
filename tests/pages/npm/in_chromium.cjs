// Pages as {name: html} on stdin, the browser's path as argument; what axe-core finds wrong on stdout.
const { createRequire } = require("node:module");
const fs = require("node:fs");
const required = createRequire(process.cwd() + "/");
const { chromium } = required("playwright-core");
const path = required.resolve("axe-core/axe.min.js");
// shared memory may be small, and a test's databases lie in it
const quiet = ["--disable-quic", "--disable-background-networking", "--disable-sync"];
const args = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", ...quiet];
const timeout = 120_000;

(async () => {
  const pages = JSON.parse(fs.readFileSync(0, "utf8"));
  const answer = { pages: Object.keys(pages), looked_at: 0, violations: [] };
  const browser = await chromium.launch({ executablePath: process.argv[2], args, timeout });
  for (const width of [390, 1100]) {
    for (const colorScheme of ["light", "dark"]) {
      const context = await browser.newContext({ viewport: { width, height: 900 }, colorScheme, bypassCSP: true });
      const tab = await context.newPage();
      tab.setDefaultTimeout(timeout);
      for (const [name, html] of Object.entries(pages)) {
        await tab.setContent(html);
        const wider = await tab.evaluate(() => document.documentElement.scrollWidth > innerWidth);
        if (wider) answer.violations.push({ name, id: "wider than the screen", nodes: [width] });
        await tab.addScriptTag({ path });
        const found = await tab.evaluate(() => axe.run());
        answer.looked_at += found.passes.length;
        const wrong = found.violations.map((one) => ({ name, id: one.id, colorScheme, width, nodes: one.nodes.map((n) => n.html) }));
        answer.violations.push(...wrong);
      }
      await context.close();
    }
  }
  await browser.close();
  console.log(JSON.stringify(answer));
})();
