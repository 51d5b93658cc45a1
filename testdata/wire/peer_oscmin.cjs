// An echo made of osc-min over UDP: each packet is decoded, encoded again and
// sent back. Its first line of output is the port.
const { join } = require("path");
const { pathToFileURL } = require("url");
const socket = require("dgram").createSocket("udp4");
import(pathToFileURL(join(process.env.NODE_PATH, "osc-min/dist/index.js"))).then((osc) => {
  socket.on("message", (bytes, from) => {
    try {
      const view = osc.toBuffer(osc.fromBuffer(bytes));
      socket.send(new Uint8Array(view.buffer, view.byteOffset, view.byteLength), from.port, from.address);
    } catch (e) {
      console.error(String(e));
    }
  });
  socket.bind(0, "127.0.0.1", () => console.log(socket.address().port));
});
