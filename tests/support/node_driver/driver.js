// A driver of a lamp in another language, written from the wire contract alone: it burns for some
// seconds where an arm would move. Usage: node driver.js HOST PORT CELL PARTY LEDGER_FILE
"use strict";
const fs = require("node:fs");
const { Client } = require("./mqtt.js");

const [host, port, cell, party, ledgerFile, others] = process.argv.slice(2);
const OTHERS = JSON.parse(others || "{}"); // More actions that it takes, with what they measure.
const TOPICS = { command: "command", report: "report", state: "state", telemetry: "telemetry" };
const BURNS_US = 6_000_000, REST_US = 100_000, SIGNAL_US = 1_500_000, LATE_US = 500_000;
const ACTIONS = ["change_tool", "pull", "stand_by", ...Object.keys(OTHERS)], OTHERS_US = 1_000_000;
const WATCHED = ["floor_clear"], CAP_NM = 1e6;
const nowUs = () => Date.now() * 1000;

// The ledger: what was obeyed and how it ended, on the disk before anything moves or is said.
let ledger = { boot: 0, epoch: 0, obeyed: 0, ended: 0, outcome: "", reports: {} };
try { ledger = JSON.parse(fs.readFileSync(ledgerFile, "utf8")); } catch { /* A first start. */ }
function keep() {
  const aside = `${ledgerFile}.new`, file = fs.openSync(aside, "w");
  fs.writeSync(file, JSON.stringify(ledger));
  fs.fsyncSync(file);
  fs.closeSync(file);
  fs.renameSync(aside, ledgerFile);
}
ledger.boot += 1;
for (const [command, report] of Object.entries(ledger.reports)) {
  // What was at work when the process died was broken off; what was only armed never began.
  if (["Accepted", "Started"].includes(report.kind)) ledger.reports[command] = { kind: "Interrupted", data: { command: Number(command), evidence: { process_died: true }, trace: null } };
  if (report.kind === "Armed") neverBegun(Number(command));
}
keep();

let state = "held", work = null, lease = null, sequence = 0, tool = "gripper", readyNumber = 0;
let ordinal = 0, missed = 0;
const lastHeard = new Map();
let signals = { values: {}, atUs: 0 }, client = null, isLinked = false, beatUs = 0;

function time(us) { return new Date(us / 1000).toISOString().replace("Z", String(us % 1000).padStart(3, "0") + "+00:00"); }
function envelope(kind, data, counts = true) {
  sequence += 1;
  if (counts) ordinal += 1;
  return JSON.stringify({ specversion: "1.0", id: `${party}-${ledger.epoch}-${sequence}`, source: party,
    type: `org.bothsides.${kind.toLowerCase()}`, subject: party, time: time(nowUs()),
    datacontenttype: "application/json", sequence, epoch: ledger.epoch, ...(counts ? { ordinal } : {}), data });
}
function send(kind, data) {
  const channel = { PartyState: "state", Progressed: "telemetry" }[kind] || "report";
  if (isLinked) client.publish(`bothsides/${cell}/${party}/${channel}`, envelope(kind, data), kind === "Progressed" ? 0 : 1, kind === "PartyState");
}
function tellState() {
  beatUs = nowUs() + 1_000_000;
  send("PartyState", { online: true, boot: ledger.boot, state, simulated: false, running: work ? work.command : 0,
    last_command: ledger.ended, last_outcome: ledger.outcome, tool, missed });
}
function become(word) { state = word; tellState(); }
function record(kind, data) {
  ledger.reports[data.command] = { kind, data };
  ledger.obeyed = Math.max(ledger.obeyed, data.command);
  if (["Finished", "Faulted", "Interrupted"].includes(kind)) { ledger.ended = data.command; ledger.outcome = kind.toLowerCase(); }
  keep();
  send(kind, data);
}
function refuse(command, reason, detail = "") { send("Refused", { command, reason, detail }); }
function neverBegun(command) { ledger.reports[command] = { kind: "Refused", data: { command, reason: "never_begun", detail: "" } }; keep(); }
function again(command) {
  const report = ledger.reports[command];
  if (report) send(report.kind, report.data); else refuse(command, "unknown");
}
function obeyed(number) {
  if (number > 0 && number < ledger.obeyed) { refuse(number, "outdated", `obeyed ${ledger.obeyed} already`); return false; }
  ledger.obeyed = Math.max(ledger.obeyed, number);
  keep();
  return true;
}
function lack(moves) {
  if (!lease || lease.untilUs <= nowUs()) return ["no_lease", "no fresh lease"];
  if (!moves) return null;
  for (const name of WATCHED) {
    if (signals.values[name] !== true || nowUs() - signals.atUs > SIGNAL_US) return ["interlock", `${name} is not good`];
  }
  return null;
}

function takeDo(data) {
  if (data.command <= ledger.obeyed) return refuse(data.command, "outdated", `obeyed ${ledger.obeyed} already`);
  if (state !== "idle") return refuse(data.command, "unready", `the party is ${state}`);
  const moves = data.action !== "stand_by", lacking = lack(moves);
  if (lacking) return refuse(data.command, ...lacking);
  if (!ACTIONS.includes(data.action)) return refuse(data.command, "unfit", `no action '${data.action}'`);
  const cap = Math.min(CAP_NM, lease.torqueNm ?? CAP_NM);
  for (const [name, value] of Object.entries(data.parameters || {})) {
    if (name.startsWith("torque") && !(value >= 0 && value <= cap)) return refuse(data.command, "unfit", `'${name}' is ${value}, must be 0 to ${cap}: the cap`);
  }
  work = { command: data.command, moves, action: data.action, tool: (data.parameters || {}).tool, startUs: null, endUs: null, signUs: 0 };
  if (data.barrier == null) begin("Accepted", { command: data.command });
  else { state = "armed"; record("Armed", { command: data.command }); tellState(); }
}
function begin(kind, data) {
  state = "running";
  work.endUs = nowUs() + (!work.moves ? 0 : work.action in OTHERS ? OTHERS_US : BURNS_US);
  work.signUs = nowUs() + 1_000_000;
  record(kind, data);
  tellState();
}
function takeRelease(data) {
  if (state === "armed" && work.command === data.command) {
    if (work.startUs !== null) { refuse(data.command, "duplicate"); return again(data.command); }
    if (nowUs() - data.start_us > LATE_US) return refuse(data.command, "expired", "its start time has passed");
    const lacking = lack(work.moves);
    if (lacking) return refuse(data.command, ...lacking);
    work.startUs = Math.max(data.start_us, nowUs());
  } else if (ledger.reports[data.command]) { refuse(data.command, "duplicate"); again(data.command); }
  else refuse(data.command, data.command < ledger.obeyed ? "outdated" : "unready", `the party is ${state}`);
}
function disarm(data) {
  if (state === "armed" && work.command === data.command) { dropArmed(); become("idle"); }
  else if (ledger.reports[data.command]) again(data.command);
  else { ledger.obeyed = Math.max(ledger.obeyed, data.command); keep(); refuse(data.command, "unknown"); }
}
function dropArmed() { const { command } = work; neverBegun(command); work = null; return command; }
function hold(reason, number) {
  if (state === "holding") { if (number) Object.assign(work.hold, { reason, number }); return; }
  if (state === "running") {
    work.hold = { reason, number };
    work.endUs = nowUs() + REST_US;
    return become("holding");
  }
  if (state === "armed") again(dropArmed());
  become("held");
  send("Held", { reason, number });
}
function makeReady(number) {
  if (state === "held" && number > 0 && number === readyNumber) return refuse(number, "duplicate");
  if (!["held", "idle"].includes(state)) return refuse(number, "unready", `the party is ${state}`);
  readyNumber = number;
  become("idle");
  send("Ready", { number });
}

function obey(kind, message, retained) {
  const data = message.data, number = data.command ?? data.number ?? 0;
  const isKnown = kind === "do" && ledger.reports[number];
  if (isKnown) { refuse(number, "duplicate"); return again(number); }
  if (retained) return refuse(number, "retained", "a command must not come from the broker's memory");
  if (message.epoch < ledger.epoch) return refuse(number, "outdated", `epoch ${message.epoch}`);
  if (!message.expirytime) return refuse(number, "expired", "a command must carry an expiry");
  if (nowUs() > Date.parse(message.expirytime) * 1000) return refuse(number, "expired");
  ledger.epoch = message.epoch;
  if (kind === "do") takeDo(data);
  else if (kind === "release") takeRelease(data);
  else if (kind === "disarm") disarm(data);
  else if (kind === "hold") { if (obeyed(number)) hold(data.reason, number); }
  else if (kind === "makeready") { if (obeyed(number)) makeReady(number); }
  else if (kind === "ask") again(number);
  else if (kind === "askstate") tellState();
}
// A number that is missing among those of one source about one subject is a message that was lost.
function noticeLoss(message) {
  if (!Number.isInteger(message.ordinal)) return;
  const key = `${message.source}/${message.subject}`, sentUs = Date.parse(message.time) * 1000;
  const known = lastHeard.get(key), isLower = known && message.ordinal <= known.ordinal;
  if (isLower && sentUs <= known.sentUs) return; // A copy, or one that was overtaken.
  lastHeard.set(key, { ordinal: message.ordinal, sentUs });
  if (!known) return; // The first that is heard.
  const missing = message.ordinal - 1 - (isLower ? 0 : known.ordinal);
  if (missing > 0) { missed += missing; console.error(`missed: ${missing} of '${message.source}'`); tellState(); }
}
function take(topic, payload, retained) {
  let message;
  try { message = JSON.parse(payload.toString("utf8")); } catch { return; }
  if (!message || typeof message !== "object" || typeof message.data !== "object" || typeof message.type !== "string") return;
  const kind = message.type.replace("org.bothsides.", "");
  if (message.source !== (kind === "floorsignals" ? "floor" : "coordinator")) return console.error(`dropped: ${kind} from '${message.source}'`);
  if (!retained) noticeLoss(message);
  if (kind === "lease" && topic === `bothsides/${cell}/all/lease`) {
    if (retained || message.epoch < ledger.epoch) return;
    ledger.epoch = message.epoch;
    lease = { untilUs: message.data.until_us, torqueNm: message.data.torque_nm_max };
  } else if (kind === "floorsignals" && topic === `bothsides/${cell}/floor/signals`) {
    if (!retained) { signals = { values: message.data.signals, atUs: nowUs() }; tick(); }
  } else if (topic === `bothsides/${cell}/${party}/command` && message.subject === party) obey(kind, message, retained);
}
function tick() {
  const now = nowUs();
  if (work && (state === "running" || state === "armed")) {
    const lacking = lack(work.moves);
    if (lacking) hold(lacking[1], 0);
  }
  if (work && state === "armed" && work.startUs !== null && now >= work.startUs) begin("Started", { command: work.command, started_us: now });
  if (work && (state === "running" || state === "holding")) {
    if (now >= work.endUs) {
      const { command, action, hold: asked } = work;
      if (asked) {
        work = null;
        record("Interrupted", { command, evidence: {}, trace: null });
        become("held");
        send("Held", asked);
      } else {
        if (work.tool) tool = work.tool;
        work = null;
        record("Finished", { command, results: OTHERS[action] || {}, trace: null });
        become("idle");
      }
    } else if (now >= work.signUs) {
      work.signUs = now + 1_000_000;
      send("Progressed", { command: work.command, torque_nm: null, pressure_pa: null, angle_rad: null });
    }
  }
  if (now >= beatUs) tellState();
}
function link() {
  const gone = envelope("PartyState", { online: false, boot: ledger.boot, state: "held", simulated: false, running: 0, last_command: 0, last_outcome: "", tool: "" }, false);
  client = new Client({ host, port: Number(port), identifier: `bothsides-${cell}-${party}`,
    will: { topic: `bothsides/${cell}/${party}/state`, payload: gone }, take,
    topics: [`bothsides/${cell}/${party}/command`, `bothsides/${cell}/all/lease`, `bothsides/${cell}/floor/signals`],
    linked: () => { isLinked = true; tellState(); for (const one of Object.values(ledger.reports)) if (one.kind === "Interrupted" && one.data.evidence.process_died) send(one.kind, one.data); },
    lost: () => { isLinked = false; setTimeout(link, 300); } });
}
setInterval(tick, 2);
link();
