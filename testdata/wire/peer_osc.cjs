// An echo made of npm osc: each message is decoded, encoded again and sent back.
// Usage: node peer_osc.cjs udp|tcp; its first line of output is the port.
// npm osc speaks SLIP on TCP (OSC 1.1).
const osc = require("osc");
if (process.argv[2] === "udp") {
  const port = new osc.UDPPort({ localAddress: "127.0.0.1", localPort: 0, metadata: true });
  port.on("message", (m, _, from) => port.send(m, from.address, from.port));
  port.on("bundle", (b, _, from) => port.send(b, from.address, from.port));
  port.on("error", (e) => console.error(String(e)));
  port.on("ready", () => console.log(port.socket.address().port));
  port.open();
} else {
  const server = require("net").createServer((socket) => {
    const port = new osc.TCPSocketPort({ socket, metadata: true });
    port.on("message", (m) => port.send(m));
    port.on("bundle", (b) => port.send(b));
    port.on("error", (e) => console.error(String(e)));
  });
  server.listen(0, "127.0.0.1", () => console.log(server.address().port));
}
