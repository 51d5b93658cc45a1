// Opens the page in a real browser and walks through what an operator meets.
// Prints one line "name: value" for each thing seen; the test compares. Usage:
// node look.mjs BASE FOLDER, with NODE_PATH's modules given by MODULES.
import { createRequire } from "node:module";
import { createInterface } from "node:readline";
const require = createRequire(process.env.MODULES + "/");
const { chromium } = require("playwright-core");
const [base, folder] = process.argv.slice(2);

const out = (name, value) => console.log(name + ": " + value);
const lines = createInterface({ input: process.stdin })[Symbol.asyncIterator]();
// ask has the test do something to the desk, and waits until it is done.
async function ask(what) { console.log("ask: " + what); return (await lines.next()).value; }

const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"] });
const context = await browser.newContext({ viewport: { width: 1180, height: 820 }, hasTouch: true });
const page = await context.newPage();
const troubles = [];
page.on("console", (m) => { if (m.type() === "error" || m.type() === "warning") troubles.push(m.text()); });
page.on("pageerror", (e) => troubles.push(String(e)));
const outside = [];
page.on("request", (r) => { if (!r.url().startsWith(base) && !r.url().startsWith("data:") && !r.url().startsWith(base.replace("http", "ws"))) outside.push(r.url()); });

const key = (label) => page.locator("#grid .key", { hasText: label }).first();
const word = (label) => key(label).locator(".word").textContent();
const lamp = (label) => key(label).locator(".lamp").textContent();
const shot = (name) => folder ? page.screenshot({ path: folder + "/" + name + ".png", fullPage: true }) : null;
const linked = (state) => page.waitForFunction((s) => document.body.dataset.link === s, state, { timeout: 15000 });
const worded = (label, text) => page.waitForFunction(([l, t]) => [...document.querySelectorAll("#grid .key")].some((k) => k.children[1].textContent === l && k.children[2].textContent.startsWith(t)), [label, text], { timeout: 8000 });
const named = (text) => page.waitForFunction((t) => document.getElementById("page").textContent === t, text, { timeout: 8000 });
const news = (text) => page.waitForFunction((t) => document.getElementById("news").textContent.includes(t), text, { timeout: 8000 });
const box = async (label) => { const b = await key(label).boundingBox(); return { x: b.x + b.width / 2, y: b.y + b.height / 2 }; };

async function axe(name) {
  await page.evaluate(require("axe-core").source);
  const found = await page.evaluate(() => axe.run(document, { rules: { "target-size": { enabled: true } } }));
  out("axe " + name, found.violations.map((v) => v.id + " at " + v.nodes.map((n) => n.target.join(" ")).join(", ")).join("; ") || "clean");
}

// Without a ticket.
await page.goto(base + "/?who=look&rest=0");
await page.waitForSelector("#pairing:not([hidden])");
out("keys before pairing", await page.locator("#grid .key").count());
await shot("pairing");
await axe("pairing");
await page.fill("#code", "no such code");
await page.click("#pairing button");
await page.waitForFunction(() => document.getElementById("pairing-word").textContent !== "");
out("wrong code", await page.textContent("#pairing-word"));
await page.fill("#code", process.env.TOKEN);
await page.click("#pairing button");
await linked("fresh");
await named("cameras");
await shot("fresh");
await axe("fresh");

// Sizes and gaps.
const sizes = await page.evaluate(() => [...document.querySelectorAll("#grid .key, #rundown .key")].map((k) => { const r = k.getBoundingClientRect(); return Math.min(r.width, r.height); }));
out("smallest key at least 64", Math.min(...sizes) >= 64);
out("gap", await page.evaluate(() => getComputedStyle(document.getElementById("grid")).columnGap));

// A tap fires on release and shows its way.
const wide = await box("Wide");
await page.mouse.move(wide.x, wide.y);
await page.mouse.down();
await worded("Wide", "pressed");
out("pressed so far", await ask("pressed"));
await page.mouse.up();
await worded("Wide", "done");
out("pressed after release", await ask("pressed"));

// Sliding off presses nothing.
await page.waitForTimeout(1000);
const replay = await box("Replay");
await page.mouse.move(replay.x, replay.y);
await page.mouse.down();
await page.mouse.move(replay.x, replay.y + 600);
await page.mouse.up();
out("pressed after sliding off", await ask("pressed"));

// Never optimistic: while the desk does not answer, it says sent; a second
// press is refused.
await ask("slow");
await page.mouse.click(wide.x, wide.y);
await worded("Wide", "sent");
await shot("sent");
await page.mouse.click(wide.x, wide.y);
await news("has not been answered yet");
await ask("quick");
await worded("Wide", "done");
out("pressed once", await ask("pressed"));

// Guarded: a tap does nothing, holding opens the cover and fires.
const stop = await box("Stop");
await page.mouse.move(stop.x, stop.y);
await page.mouse.down();
await page.waitForTimeout(60);
await page.mouse.up();
await worded("Stop", "let go too soon");
out("after a tap on what is guarded", await ask("pressed"));
await page.mouse.down();
await page.waitForTimeout(400);
await shot("ring");
await worded("Stop", "done");
await page.mouse.up();
out("after holding", await ask("pressed"));

// The page turns under a finger: nothing fires.
await page.waitForTimeout(1000);
await page.mouse.move(wide.x, wide.y);
await page.mouse.down();
await ask("turn");
await named("crew");
await page.mouse.up();
await news("Wide: refused");
out("after the page turned", await ask("pressed"));
await ask("turn back");
await named("cameras");

// Lamps in words.
await ask("fault");
await page.waitForFunction(() => document.querySelector('[data-lamp="fault"]'));
out("fault", await lamp("Wide"));
await shot("fault");
await axe("fault");
await ask("well");
await ask("alert");
await page.waitForFunction(() => document.querySelectorAll("#alerts li").length === 1);
out("alert", (await page.textContent("#alerts li")).slice(10));

// The table of outputs: what needs a look is said, and a row's keys are held.
await ask("outputs");
await page.waitForFunction(() => document.getElementById("outputs-word").textContent === "2 need a look");
await page.locator("#outputs summary").click();
out("output", (await page.locator("#output-rows tr").nth(0).innerText()).replace(/\s+/g, " "));
out("refused output", (await page.locator("#output-rows tr").nth(1).innerText()).replace(/\s+/g, " "));
out("smallest key of the table at least 64", Math.min(...await page.evaluate(() => [...document.querySelectorAll("#outputs .key")].map((k) => { const r = k.getBoundingClientRect(); return Math.min(r.width, r.height); }))) >= 64);
await shot("outputs");
await axe("outputs");
const outputKey = (row, name) => page.locator("#output-rows tr").nth(row).locator(".key", { hasText: name });
const adopt = outputKey(0, "Adopt");
await adopt.scrollIntoViewIfNeeded();
await adopt.click();
await page.waitForFunction(() => document.querySelector('#outputs .key[data-touch="failed"] .word')?.textContent === "let go too soon");
await adopt.hover();
await page.mouse.down();
await page.waitForFunction(() => document.querySelector('#outputs .key[data-touch="confirmed"]'));
await page.mouse.up();
const again = outputKey(1, "Send again");
await again.hover();
await page.mouse.down();
await page.waitForFunction(() => document.querySelectorAll('#outputs .key[data-touch="confirmed"]').length > 0 && document.querySelector('#output-rows tr:nth-child(2) .key[data-touch="confirmed"]'));
await page.mouse.up();
out("after the table", (await ask("pressed")).split(", ").slice(-2).join(", "));
await page.locator("#outputs summary").click();
await page.evaluate(() => scrollTo(0, 0));

// The lock.
await page.click("#lock");
await page.mouse.click(wide.x, wide.y);
await worded("Wide", "locked");
await page.mouse.move(...Object.values(await page.locator("#lock").boundingBox().then((b) => ({ x: b.x + 10, y: b.y + 10 }))));
await page.mouse.down();
await page.waitForTimeout(800);
await page.mouse.up();
out("unlocked", await page.getAttribute("#lock", "aria-pressed"));

// The controller hangs: grey, worded, disarmed.
const before = await ask("pressed");
await ask("stall");
await linked("stale");
await page.mouse.click(wide.x, wide.y);
await worded("Wide", "dropped");
await shot("stale");
await axe("stale");
out("stale says", await page.textContent("#link-word"));
out("disarmed", await key("Wide").getAttribute("aria-disabled"));
out("stale lamp", await lamp("Replay"));
await page.mouse.click(wide.x, wide.y);
await ask("go on");
await linked("fresh");
await news("were dropped and will not be made");
out("nothing was made up for", before === (await ask("pressed")));

// The server goes and comes back: one snapshot, no replay.
await ask("close");
await linked("stale");
await page.mouse.click(wide.x, wide.y);
await ask("open");
await linked("fresh");
await page.waitForTimeout(300);
out("nothing was replayed", before === (await ask("pressed")));

// A touch that comes with waking presses nothing.
await page.evaluate(() => { Object.defineProperty(document, "visibilityState", { value: "hidden", configurable: true }); document.dispatchEvent(new Event("visibilitychange")); });
await page.evaluate(() => { Object.defineProperty(document, "visibilityState", { value: "visible", configurable: true }); document.dispatchEvent(new Event("visibilitychange")); });
await page.mouse.click(wide.x, wide.y);
await news("woke the page");
out("waking pressed nothing", before === (await ask("pressed")));
await page.waitForTimeout(1500);
await page.mouse.click(wide.x, wide.y);
await worded("Wide", "done");
out("afterwards", await ask("pressed"));

// By keyboard, and by a machine that only clicks.
await key("Wide").focus();
await page.keyboard.press("Enter");
await worded("Wide", "done");
await page.waitForTimeout(1200);
await key("Wide").evaluate((k) => k.click());
await worded("Wide", "done");
out("by keyboard and click", await ask("pressed"));

// A show on trial: counted down and worded, and one press keeps it.
const fixed = (id) => page.locator("#" + id);
const shown = (id, text) => page.waitForFunction(([i, t]) => { const n = document.getElementById(i); return n.offsetParent && n.textContent.includes(t); }, [id, text], { timeout: 8000 });
const hidden = (id) => page.waitForFunction((i) => !document.getElementById(i).offsetParent, id, { timeout: 8000 });
const sizesBefore = await page.evaluate(() => JSON.stringify(document.querySelector("#grid .key").getBoundingClientRect()));
await ask("trial");
await shown("trial", "THIS IS THEN SENT: cut main to wide.");
await news("A new show is on trial");
const seconds = async () => Number((await page.textContent("#trial-left")).match(/\d+/)[0]);
const left = await seconds();
await page.waitForFunction((l) => Number(document.getElementById("trial-left").textContent.match(/\d+/)[0]) < l, left, { timeout: 8000 });
out("counted down", left > 30 && left <= 60);
out("no key moved", sizesBefore === await page.evaluate(() => JSON.stringify(document.querySelector("#grid .key").getBoundingClientRect())));
await shot("trial");
await axe("trial");
await fixed("keep").focus();
await page.keyboard.press("Enter");
await hidden("trial");
await news("The trial is over");
out("kept by", await ask("kept"));
await ask("trial");
await shown("trial", "New show on trial");
await fixed("return").click(); // a tap is too short
await page.waitForFunction(() => document.querySelector("#return .word").textContent.startsWith("let go too soon"));
out("a tap did not end it", !(await fixed("trial").isHidden()));
const end = await fixed("return").boundingBox();
await page.mouse.move(end.x + 20, end.y + 20);
await page.mouse.down();
await hidden("trial");
await page.mouse.up();
out("ended by", await ask("kept"));

// Taken over by another: worded, refused, and taken over by holding.
await ask("another takes it");
await shown("holder", "desk has been taken over by another");
await shot("taken");
await axe("taken");
await page.waitForTimeout(1000);
await page.mouse.click(wide.x, wide.y);
await worded("Wide", "refused: desk has been taken over by another");
await fixed("take").scrollIntoViewIfNeeded();
const take = await fixed("take").boundingBox();
await page.mouse.move(take.x + 20, take.y + 20);
await page.mouse.down();
await page.waitForFunction(() => document.querySelector("#take .name").textContent === "Give back");
await page.mouse.up();
await hidden("holder");
out("taken over by a ticket", /^web 127\.0\.0\.1 look #[0-9a-f]{8}$/.test(await ask("holder")));
await page.waitForTimeout(5000);
await page.mouse.click(wide.x, wide.y);
await worded("Wide", "done");
await fixed("take").focus();
await page.keyboard.down("Enter");
await page.waitForFunction(() => document.querySelector("#take .name").textContent === "Take over");
await page.keyboard.up("Enter");
out("given back", (await ask("holder")) === "");
out("when it was over", await ask("pressed"));

// Server-Sent Events instead.
await page.goto(base + "/?who=look&rest=0&stream=events");
await linked("fresh");
await page.mouse.click((await box("Wide")).x, (await box("Wide")).y);
await worded("Wide", "done");
await page.locator("#check summary").click();
await page.waitForFunction(() => document.querySelectorAll("#tablet-rows tr").length > 0);
out("stream", (await page.textContent("#check-rows")).includes("Server-Sent Events"));
await shot("check");
await axe("check");

// Resting, where the tablet cannot be kept awake: the first touch only wakes.
await page.addInitScript(() => Object.defineProperty(navigator, "wakeLock", { value: undefined }));
await page.goto(base + "/?who=look&rest=1");
await linked("fresh");
const still = await ask("pressed");
await page.waitForSelector("#rest:not([hidden])");
await shot("rest");
await page.mouse.click((await box("Wide")).x, (await box("Wide")).y);
await news("woke the page");
out("the touch that wakes", still === (await ask("pressed")));

// Small and still.
await page.emulateMedia({ reducedMotion: "reduce" });
await page.setViewportSize({ width: 360, height: 640 });
await page.goto(base + "/?who=look&rest=0&surface=side_desk");
await linked("fresh");
await named("crew");
out("animations when motion is reduced", await page.evaluate(() => document.getAnimations().length));
out("smallest key at least 64, on a telephone", Math.min(...await page.evaluate(() => [...document.querySelectorAll(".key")].filter((k) => k.offsetParent).map((k) => { const r = k.getBoundingClientRect(); return Math.min(r.width, r.height); }))) >= 64);
await shot("telephone");
await axe("telephone");
const small = () => page.evaluate(() => JSON.stringify(document.querySelector("#grid .key").getBoundingClientRect()));
const stood = await small();
await ask("trial");
await shown("trial", "THIS IS THEN SENT");
out("no key moved, on a telephone", stood === await small());
await shot("telephone_trial");
await axe("telephone, on trial");

out("outside requests", outside.join(" ") || "none");
out("troubles", troubles.filter((t) => !/401|Failed to load resource|ERR_CONNECTION|WebSocket connection|ERR_INCOMPLETE|ERR_EMPTY/.test(t)).join(" | ") || "none");
await browser.close();
console.log("end: end");
process.exit(0);
