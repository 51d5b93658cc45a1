// A WebSocket client that is not ours: npm ws. It pairs, waits for the first
// view, taps a button that turns the page and prints what it is told.
// Usage: node socket.mjs HOST:PORT, with MODULES and TOKEN in the environment.
import { createRequire } from "node:module";
const WebSocket = createRequire(process.env.MODULES + "/")("ws");
const host = process.argv[2];
const url = "ws://" + host + "/api/socket?who=peer";
const refused = await new Promise((done) => new WebSocket(url).on("unexpected-response", (_, r) => done(r.statusCode)).on("error", () => done(0)));
console.log("without token: " + refused);
const elsewhere = await new Promise((done) => new WebSocket(url, { origin: "http://evil.example", headers: { Authorization: "Bearer " + process.env.TOKEN } }).on("unexpected-response", (_, r) => done(r.statusCode)).on("error", () => done(0)));
console.log("of another page: " + elsewhere);

const socket = new WebSocket(url, { origin: "http://" + host, headers: { Authorization: "Bearer " + process.env.TOKEN } });
const seen = new Set();
socket.on("message", (data, binary) => {
  const m = JSON.parse(data);
  const say = (text) => { if (!seen.has(text)) { seen.add(text); console.log(text); } };
  if (binary) say("binary");
  if (m.view) say("page: " + m.view.surfaces[0].page);
  if (m.answer) say("answer: " + JSON.stringify(m.answer));
  if (m.view && m.view.surfaces[0].page === "cameras") socket.send(JSON.stringify({ id: "x", kind: "tap", surface: "desk", page: "cameras", row: 3, column: 4 }));
  if (seen.has("page: crew") && [...seen].some((s) => s.startsWith("answer"))) socket.close(1000);
});
socket.on("close", (code) => { console.log("closed: " + code); process.exit(0); });
