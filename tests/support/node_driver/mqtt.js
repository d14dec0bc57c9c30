// The little of MQTT 5 that a driver needs, over a plain socket: connect, subscribe, publish, ping.
// Source: OASIS, MQTT Version 5.0, 2019, chapters 1.5 to 3.
"use strict";
const net = require("node:net");

function whole(value) {  // A variable byte integer (1.5.5).
  const bytes = [];
  do {
    let byte = value % 128;
    value = Math.floor(value / 128);
    if (value > 0) byte |= 128;
    bytes.push(byte);
  } while (value > 0);
  return Buffer.from(bytes);
}
function text(value) {
  const bytes = Buffer.from(value, "utf8"), length = Buffer.alloc(2);
  length.writeUInt16BE(bytes.length);
  return Buffer.concat([length, bytes]);
}
function binary(bytes) {
  const length = Buffer.alloc(2);
  length.writeUInt16BE(bytes.length);
  return Buffer.concat([length, bytes]);
}
function packet(first, ...parts) {
  const body = Buffer.concat(parts);
  return Buffer.concat([Buffer.from([first]), whole(body.length), body]);
}
const NO_PROPERTIES = Buffer.from([0]);

class Client {
  // will: { topic, payload }; take(topic, payload, retained) for each message.
  constructor({ host, port, identifier, will, topics, take, linked, lost }) {
    Object.assign(this, { identifier, will, topics, take, linked });
    this.held = Buffer.alloc(0);
    this.number = 0;
    this.socket = net.connect({ host, port, noDelay: true }, () => this.connect());
    this.socket.on("data", (bytes) => this.feed(bytes));
    this.socket.on("error", () => {});
    this.socket.on("close", () => { clearInterval(this.pinging); lost(); });
  }
  connect() {
    const flags = 0b00000010 | 0b00000100 | (1 << 3) | 0b00100000;  // clean start, will, QoS 1, kept
    this.socket.write(packet(0x10, text("MQTT"), Buffer.from([5, flags, 0, 5]), NO_PROPERTIES,
      text(this.identifier), NO_PROPERTIES, text(this.will.topic), binary(Buffer.from(this.will.payload))));
  }
  feed(bytes) {
    this.held = Buffer.concat([this.held, bytes]);
    for (;;) {
      let length = 0, place = 1, scale = 1, byte;
      do {
        if (place >= this.held.length) return;
        byte = this.held[place++];
        length += (byte & 127) * scale;
        scale *= 128;
      } while (byte & 128);
      if (this.held.length < place + length) return;
      const first = this.held[0], body = this.held.subarray(place, place + length);
      this.held = this.held.subarray(place + length);
      this.got(first, body);
    }
  }
  got(first, body) {
    const kind = first >> 4;
    if (kind === 2) {  // CONNACK
      if (body[1] !== 0) { this.socket.destroy(); return; }
      const asked = this.topics.map((topic) => Buffer.concat([text(topic), Buffer.from([1])]));
      this.socket.write(packet(0x82, this.next(), NO_PROPERTIES, ...asked));
      this.pinging = setInterval(() => this.socket.write(packet(0xc0)), 2000);
    } else if (kind === 9) {  // SUBACK
      this.linked();
    } else if (kind === 3) {  // PUBLISH
      const size = body.readUInt16BE(0), topic = body.toString("utf8", 2, 2 + size);
      let place = 2 + size;
      if ((first >> 1) & 3) {
        this.socket.write(packet(0x40, body.subarray(place, place + 2)));
        place += 2;
      }
      let length = 0, scale = 1, byte;
      do {
        byte = body[place++];
        length += (byte & 127) * scale;
        scale *= 128;
      } while (byte & 128);
      this.take(topic, body.subarray(place + length), Boolean(first & 1));
    }
  }
  next() {
    this.number = (this.number % 65535) + 1;
    const bytes = Buffer.alloc(2);
    bytes.writeUInt16BE(this.number);
    return bytes;
  }
  publish(topic, payload, quality, kept) {
    const first = 0x30 | (quality << 1) | (kept ? 1 : 0);
    const number = quality ? [this.next()] : [];
    this.socket.write(packet(first, text(topic), ...number, NO_PROPERTIES, Buffer.from(payload)));
  }
}
module.exports = { Client };
