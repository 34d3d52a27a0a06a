// Pages as {name: html} on stdin; what axe-core finds wrong on stdout.
const { createRequire } = require("node:module");
const fs = require("node:fs");
const required = createRequire(process.cwd() + "/");
const { JSDOM } = required("jsdom");
const source = fs.readFileSync(required.resolve("axe-core/axe.min.js"), "utf8");

(async () => {
  const pages = JSON.parse(fs.readFileSync(0, "utf8"));
  const answer = { pages: Object.keys(pages), looked_at: 0, violations: [] };
  for (const [name, html] of Object.entries(pages)) {
    const { window } = new JSDOM(html, { runScripts: "outside-only", pretendToBeVisual: true });
    window.eval(source);
    const rules = { "color-contrast": { enabled: false } };
    const found = await window.axe.run(window.document, { rules });
    answer.looked_at += found.passes.length;
    answer.violations.push(...found.violations.map((one) => ({ name, id: one.id, nodes: one.nodes.map((n) => n.html) })));
  }
  console.log(JSON.stringify(answer));
})();
