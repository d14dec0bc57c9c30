"use strict";
// Shows what the server tells; each part is drawn anew only when it has changed, so that focus
// and screen readers are left in peace.
const $ = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const drawn = {};
let who = null, heard = 0, session = {}, last = null;

function make(kind, attributes, ...children) {
  const element = document.createElement(kind);
  for (const [name, value] of Object.entries(attributes || {})) {
    if (name === "onclick") element.addEventListener("click", value);
    else if (value !== null && value !== false) element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.map((one) => (one instanceof Node ? one : String(one))));
  return element;
}
function draw(kind, attributes, text) {
  const element = document.createElementNS(SVG, kind);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  if (text !== undefined) element.textContent = text;
  return element;
}
function part(id, data, build) {
  const key = JSON.stringify(data);
  if (drawn[id] === key) return;
  drawn[id] = key;
  $(id).replaceChildren(...[build(data)].flat());
}
function text(id, words) { if ($(id).textContent !== words) $(id).textContent = words; }
function table(heads, rows) {
  const head = make("tr", {}, ...heads.map((one) => make("th", { scope: "col" }, one)));
  return make("table", {}, make("thead", {}, head), make("tbody", {}, ...rows));
}
function cells(values, kind) {
  return make("tr", { class: kind || null }, ...values.map((one) => make("td", {}, one)));
}
function span(seconds) {
  const whole = Math.max(0, Math.round(seconds)), minutes = Math.floor(whole / 60);
  return minutes ? `${minutes} min ${whole % 60} s` : `${whole} s`;
}

function clock(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

function lanes(list) {
  return list.map((one) => {
    const bad = !one.is_online || one.is_faulted;
    const sign = bad ? (one.is_online ? "▲ FAULT " : "▲ NOT ON THE BUS ") : "";
    return make("div", { class: "lane" + (bad ? " abnormal" : "") },
      make("h3", {}, sign + one.name),
      make("dl", {},
        make("dt", {}, "doing"), make("dd", {}, one.doing || "–"),
        make("dt", {}, "waits for"), make("dd", {}, one.unmet.join("; ") || "–"),
        make("dt", {}, "since"), make("dd", {}, span(one.since_s)),
        make("dt", {}, "heard"), make("dd", {}, `${one.seen_s.toFixed(1)} s ago`),
        make("dt", {}, "next"), make("dd", {}, one.next),
        make("dt", {}, "done"), make("dd", {}, `${one.done} of ${one.steps} steps`)));
  });
}
function missed(list) {
  return list.map((one) => make("p", { class: "warning" }, `${one.party}: ${one.messages} messages ` +
    `${one.by_party ? "never reached it" : "never came"}, the last noticed at ${clock(one.at_s)}`));
}
function flange(bolts) {
  const svg = draw("svg", { viewBox: "-56 0 452 320", role: "img", "aria-label":
    "Flange from above: " + bolts.map((b) => `bolt ${b.bolt} ${b.word}`).join(", ") });
  svg.append(draw("circle", { cx: 170, cy: 160, r: 108, fill: "none", stroke: "#8a8a8a", "stroke-width": 44 }),
    draw("circle", { cx: 170, cy: 160, r: 108, fill: "none", stroke: "#e4e4e4", "stroke-width": 41 }));
  const radius = Math.min(16, 250 / bolts.length);
  bolts.forEach((one, place) => {
    const turn = (2 * Math.PI * place) / bolts.length;
    const x = 170 + 108 * Math.sin(turn), y = 160 - 108 * Math.cos(turn), bad = one.state === "bad";
    svg.append(draw("circle", { cx: x, cy: y, r: radius, fill: bad ? "#ffe3df" : "#fff",
      stroke: bad ? "#a40000" : "#565656", "stroke-width": bad ? 4 : 1.5,
      "stroke-dasharray": one.state === "open" ? "3 3" : "none" }));
    if (one.share) {  // An arc for the share of the target torque that was reached last.
      const r = radius + 4, length = 2 * Math.PI * r;
      svg.append(draw("circle", { cx: x, cy: y, r, fill: "none", stroke: "#3c3c3c", "stroke-width": 4,
        "stroke-dasharray": `${length * one.share} ${length}`, transform: `rotate(-90 ${x} ${y})` }));
    }
    svg.append(draw("text", { x, y: y + 4, "text-anchor": "middle" }, (bad ? "✗" : "") + one.bolt));
    const load = one.preload_kn ? `${one.preload_kn[0]}–${one.preload_kn[1]} kN` : "";
    const side = Math.sin(turn), anchor = Math.abs(side) < 0.1 ? "middle" : side > 0 ? "start" : "end";
    if (load) svg.append(draw("text", { x: 170 + 136 * side, y: 164 - 146 * Math.cos(turn),
      "text-anchor": anchor, style: "font-size:11px" }, load));
  });
  svg.append(draw("text", { x: 170, y: 156, "text-anchor": "middle" }, "arc: share of torque"),
    draw("text", { x: 170, y: 172, "text-anchor": "middle" }, "outside: preload band"));
  return svg;
}
function bolts(list) {
  return table(["bolt", "side", "state", "torque N·m", "preload kN", "at"], list.map((one) => cells(
    [one.bolt, one.side, one.word, one.torque_nm ?? "–", one.preload_kn ? one.preload_kn.join(" to ") : "–",
      one.at_s === null ? "–" : clock(one.at_s)],
    one.state === "bad" ? "abnormal" : "")));
}
function pull(data) {
  const sides = Object.keys(data.courses), all = sides.flatMap((one) => data.courses[one]);
  if (!all.length) return make("p", {}, "Nobody has pulled yet.");
  const width = 460, height = 250, left = 52, bottom = 30;
  const angle = Math.max(5, ...all.map((p) => p[0] ?? 0)), most = Math.max(data.target_nm * 1.1, ...all.map((p) => p[1]));
  const x = (a) => left + (Math.max(0, a ?? 0) / angle) * (width - left - 8);
  const y = (t) => height - bottom - (Math.max(0, t) / most) * (height - bottom - 10);
  const svg = draw("svg", { viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": "Torque over angle of both sides" });
  const lead = sides.map((one) => data.courses[one]).sort((a, b) => b.length - a.length)[0];
  const banded = data.is_paired && data.balance_nm < most;  // A band wider than all says nothing.
  if (banded) {  // Where the other side must stay while both pull.
    const edge = (sign) => lead.map((p) => `${x(p[0])},${y(p[1] + sign * data.balance_nm)}`);
    svg.append(draw("polygon", { points: [...edge(1), ...edge(-1).reverse()].join(" "), fill: "#d2d2d2" }));
  }
  svg.append(draw("polyline", { points: `${left},8 ${left},${height - bottom} ${width - 8},${height - bottom}`, fill: "none", stroke: "#565656" }));
  if (data.target_nm) {
    svg.append(draw("line", { x1: left, x2: width - 8, y1: y(data.target_nm), y2: y(data.target_nm), stroke: "#565656", "stroke-dasharray": "2 4" }));
    svg.append(draw("text", { x: width - 10, y: y(data.target_nm) - 4, "text-anchor": "end" }, `target ${data.target_nm} N·m`));
  }
  for (const share of [0, 0.5, 1]) {
    svg.append(draw("text", { x: left - 5, y: y(most * share) + 4, "text-anchor": "end" }, Math.round(most * share)));
    svg.append(draw("text", { x: x(angle * share), y: height - 10, "text-anchor": share ? "end" : "start" }, `${Math.round(angle * share)}°`));
  }
  sides.forEach((one, place) => {
    const points = data.courses[one].map((p) => `${x(p[0])},${y(p[1])}`).join(" "), end = data.courses[one].at(-1);
    svg.append(draw("polyline", { points, fill: "none", stroke: "#1c1c1c", "stroke-width": 2, "stroke-dasharray": place ? "7 4" : "none" }));
    if (end) svg.append(draw("circle", { cx: x(end[0]), cy: y(end[1]), r: 4, fill: place ? "#fff" : "#1c1c1c", stroke: "#1c1c1c" }));
  });
  const words = sides.map((one, place) => {
    const end = data.courses[one].at(-1);
    return end ? `${place ? "dashed" : "solid"} ${one}: ${end[1]} N·m, ${end[2] ?? "–"} MPa, at ${clock(data.at_s[one] ?? 0)}` : one;
  }).join("; ");
  return [svg, make("p", {}, words), data.words ? make("p", { class: data.is_wide ? "abnormal" : null }, (data.is_wide ? "▲ " : "") + data.words) : ""];
}
function barriers(list) {
  if (!list.length) return make("p", {}, "Nobody waits at a barrier.");
  return table(["barrier", "who", "time left"], list.map((one) => cells([one.name,
    one.parties.map((p) => `${p.name}: ${p.state} since ${clock(p.at_s)}`).join(", "), one.left_s === null ? "–" : span(one.left_s)])));
}
function interlocks(list) {
  return table(["interlock", "value", "age", ""], list.map((one) => {
    const bad = one.value !== "good";
    const marks = [one.is_first_out ? "first out" : "", one.is_latched ? "latched, wants a reset" : "",
      one.words].filter(Boolean).join("; ");
    return cells([`${one.name} (${one.kind})`, (bad ? "▲ " : "") + one.value,
      one.age_s === null ? "never heard" : `${one.age_s.toFixed(1)} s`, marks], bad ? "abnormal" : "");
  }));
}
function notices(list) {
  return table(["at", "what", "text"], [...list].reverse().map((one) => cells([clock(one.at_s),
    (one.severity === "alarm" ? "▲ " : "") + one.severity, one.text],
    one.severity === "alarm" ? "abnormal" : one.severity === "warning" ? "warning" : "")));
}
function prompts({ list, who: name }) {
  return list.map((one) => make("article", { "aria-label": `prompt ${one.number}` },
    make("h3", {}, `▲ ${one.side}, ${one.step}: ${one.fault}, asked at ${clock(one.asked_at_s)}`),
    make("p", {}, one.text), make("p", { class: "caution" }, one.caution),
    make("p", {}, one.owner ? `This prompt is ${one.owner}'s. ` : "Nobody has taken this prompt. ",
      make("button", { type: "button", disabled: !name || one.owner === name, onclick: () => say(`take ${one.number}`) }, "take it")),
    Object.keys(one.evidence).length ? make("p", {}, `Evidence, as of ${clock(one.evidence_at_s)}: ` + Object.entries(one.evidence).map(([k, v]) => `${k} ${v}`).join(", ")) : "",
    ...one.options.map((option) => make("button", { class: "option", type: "button", disabled: !name,
      onclick: () => answer(one.number, option.option) },
      make("strong", {}, option.option), option.meaning ? `: ${option.meaning}` : "")),
    one.options.some((option) => option.option === "by_hand") ? make("label", {}, "Check torque of work by hand, N·m ",
      make("input", { id: `torque-${one.number}`, inputmode: "decimal", size: 7, disabled: !name }), " done by ",
      make("input", { id: `hands-${one.number}`, size: 12, disabled: !name, placeholder: name || "", "aria-label": "Who did it by hand" })) : "",
    one.causes.length ? make("details", {}, make("summary", {}, `What may be behind it: ${one.causes.length} known causes`),
      ...one.causes.map((cause) => make("p", { class: "foreseen" }, make("strong", {}, cause.cause), ` (${cause.code}): ${cause.text}. Sign: ${cause.signature}. Way on: ${cause.recovery} (${cause.retried}).`))) : "",
    one.foreseen.length ? make("details", { open: true }, make("summary", {}, "What each answer leads to (simulated)"),
      ...one.foreseen.map((line) => make("p", { class: "foreseen" }, line))) : "",
    name ? "" : make("p", {}, "Sign in to answer.")));
}
function answer(prompt, option) {
  const given = option === "by_hand" ? $(`torque-${prompt}`).value.trim().replace(",", ".") : "";
  const hands = option === "by_hand" ? $(`hands-${prompt}`).value.trim() : "";
  if (given && !(Number(given) >= 0)) { $("said").textContent = `check torque is '${given}', must be a number`; return; }
  press("/api/answers", { prompt, option, ...(given ? { torque_nm: Number(given) } : {}), ...(hands ? { done_by: hands } : {}) });
}
function say(words) { return press("/api/words", { words }); }
function alarms({ list, who: name }) {
  return table(["alarm", "stands", "since", "cause, consequence, what to do", ""], list.map((one) => cells([
    (one.is_first ? "▲ FIRST OUT " : "▲ ") + one.name, one.state.replaceAll("_", " ") + (one.who ? ` by ${one.who}${one.why ? `: ${one.why}` : ""}` : ""),
    span(one.since_s), `${one.cause}; ${one.consequence}; ${one.operator_action}`,
    make("button", { type: "button", disabled: !name || !one.state.endsWith("unacknowledged"), "aria-label": `acknowledge ${one.name}`,
      onclick: () => say(`acknowledge ${one.name}`) }, "acknowledge")], one.state === "shelved" ? "" : "abnormal")));
}
function overrides({ list, who: name }) {
  return table(["interlock set aside", "by", "why", "ends in", ""], list.map((one) => cells([`▲ ${one.name}`, one.who, one.why, span(one.left_s),
    make("button", { type: "button", disabled: !name, "aria-label": `end the override of ${one.name}`, onclick: () => say(`end ${one.name}`) }, "end it")], "abnormal")));
}
function modes({ mode, who: name, lanes: names }) {
  const words = [["automatic", "mode automatic"], ["one step at a time", "mode step"], ["to the next barrier", "mode to_barrier"], ["manual", "mode manual"]];
  return [make("p", {}, `Mode: ${mode.replace("_", " ")}`), ...words.map(([label, said]) =>
    make("button", { type: "button", disabled: !name || said === `mode ${mode}`, onclick: () => say(said) }, label)),
    // In manual mode a word is for one lane; for all of them it is refused.
    ...(mode === "manual" ? names.map((lane) => [`next step of ${lane}`, `step ${lane}`]) : [["next step", "step"]]).map(([label, said]) =>
      make("button", { type: "button", disabled: !name || mode === "automatic", onclick: () => say(said) }, label))];
}
function holds(list) {
  if (!list.length) return make("p", {}, "Nothing has been held.");
  return list.map(([first, ...rest]) => make("details", {}, make("summary", {}, first), make("pre", {}, rest.join("\n"))));
}
function acts(name) {
  return ["start", "pause", "resume", "hold", "reset", "restart", "stop", "abort"].map((act) =>
    make("button", { type: "button", disabled: !name && !(act === "hold" && session.can_hold), onclick: () => press("/api/acts", { act }) }, act));
}

// A press counts by the run's time shown last plus this page's own clock since: a wall clock may be
// wrong, and what was pressed on a page that stood still must not act once it moves again.
let shownAt = performance.now(), pressed = 0;
const begun = Math.random().toString(36).slice(2);
async function press(path, body) {
  const pressed_s = last ? last.at_s + (performance.now() - shownAt) / 1000 * last.speed : undefined;
  const id = `${begun}-${++pressed}`, said = $("said");
  said.textContent = `${body.act || body.words || body.option}: asked, not answered yet`;
  return call(path, { ...body, id, ...(pressed_s === undefined ? {} : { pressed_s }) });
}
async function call(path, body, method) {
  try {
    const answer = await fetch(path, { method: method || "POST", body: body ? JSON.stringify(body) : undefined });
    const said = await answer.json();
    $("said").textContent = said.outcome ? `${said.outcome}: ${said.text}` : said.error || "";
    if (answer.status === 401) await refreshSession();
    return answer.ok ? said : null;
  } catch { $("said").textContent = "The page is not reached; act at the terminal of the run."; return null; }
}
async function refreshSession() {
  session = await (await fetch("/api/session")).json();
  who = session.who;
  $("who").textContent = who ? `operator ${who}` : session.can_sign_in ? "" : "looking only";
  $("fields").hidden = Boolean(who) || !session.can_sign_in;
  $("sign").hidden = !session.can_sign_in;
  $("sign").textContent = who ? "Sign out" : "Sign in";
  $("name").required = $("phrase").required = !who;
  $("live").hidden = !session.has_run;
  $("acts").hidden = !session.has_run || !session.can_hold;
  if (last) show(last);
}
$("session").addEventListener("submit", async (event) => {
  event.preventDefault();
  if (who) await call("/api/session", null, "DELETE");
  else {
    const said = await call("/api/session", { name: $("name").value, phrase: $("phrase").value });
    if (!said) { $("who").textContent = $("said").textContent; $("phrase").value = ""; return; }
  }
  $("phrase").value = "";
  await refreshSession();
});

function show(now) {
  last = now;
  shownAt = performance.now();
  text("title", `${now.sequence}: ${now.joint}`);
  $("banner").hidden = false;
  text("banner", [`${now.banner}${now.speed !== 1 ? ` ×${now.speed}` : ""}`, now.caps.replace(/: $/, ""),
    now.mode === "automatic" ? "" : `mode ${now.mode.replace("_", " ")}`,
    now.overrides.length ? `▲ ${now.overrides.length} override${now.overrides.length > 1 ? "s" : ""} in force` : ""].filter(Boolean).join(" · "));
  const bad = !["idle", "running", "complete"].includes(now.phase);
  $("phase").className = "phase" + (bad ? " abnormal" : "");
  text("phase", (bad ? "▲ " : "") + now.phase + (now.reason && now.phase !== "running" ? `: ${now.reason}` : ""));
  text("clock", span(now.at_s) + (now.to_go ? `; to go ${span(now.to_go.left_s)}, limited by ${now.to_go.side}` : ""));
  document.title = (now.prompts.length ? "▲ prompt – " : "") + `${now.phase} – Bothsides`;
  part("lanes", now.lanes, lanes);
  part("missed", now.missed, missed);
  part("flange", now.bolts, flange);
  part("bolts", now.bolts, bolts);
  part("pull", now.pull, pull);
  part("barriers", now.barriers, barriers);
  part("interlocks", now.interlocks, interlocks);
  part("notices", now.notices, notices);
  $("prompts").hidden = !now.prompts.length;
  part("prompt-list", { list: now.prompts, who }, prompts);
  part("act-list", who, acts);
  $("alarms").hidden = !now.alarms.length;
  part("alarm-list", { list: now.alarms.map((one) => ({ ...one, since_s: 10 * Math.floor(one.since_s / 10) })), who }, alarms);
  $("overrides").hidden = !now.overrides.length;
  part("override-list", { list: now.overrides, who }, overrides);
  part("mode-list", { mode: now.mode, who, lanes: now.lanes.map((one) => one.name) }, modes);
  part("holds", now.holds, holds);
  part("override-name", now.interlocks.map((one) => one.name), (names) => names.map((one) => make("option", {}, one)));
  $("override-set").disabled = !who;
}
function listen() {
  const source = new EventSource("/api/events");
  source.onmessage = (event) => { heard = performance.now(); show(JSON.parse(event.data)); };
  setInterval(() => {
    const age = heard ? (performance.now() - heard) / 1000 : 0;
    $("stale").hidden = age < 3;
    const ended = last && ["complete", "stopped", "aborted"].includes(last.phase);
    if (age >= 3) text("stale", ended ? `The run has ended: ${last.phase}. This is how it stood at its end.`
      : `▲ Nothing heard for ${Math.round(age)} s. What is shown is old; look at the terminal of the run.`);
  }, 500);
}

$("override").addEventListener("submit", (event) => {
  event.preventDefault();
  say(`override ${$("override-name").value} ${$("override-minutes").value.trim().replace(",", ".")} ${$("override-why").value}`);
});

async function records() {
  const query = new URLSearchParams();
  for (const [id, name] of [["run", "run"], ["bolt", "bolt"], ["verdict", "verdict"]]) if ($(id).value) query.set(name, $(id).value);
  const answer = await (await fetch(`/api/records?${query}`)).json();
  if (answer.error) { $("records").replaceChildren(make("p", { class: "abnormal" }, answer.error)); return; }
  $("records").replaceChildren(answer.records.length ? table(["no", "bolt", "kind", "round", "try", "side", "torque N·m", "verdict", ""],
    answer.records.map((one) => cells([make("button", { type: "button", onclick: () => record(one.seq) }, one.seq), one.bolt, one.kind,
      one.round || "", one.attempt, one.side, one.torque_nm === null ? "" : Math.round(one.torque_nm),
      (one.verdict === "accepted" ? "" : "▲ ") + one.verdict.replace("_", " "), [...one.reasons, one.simulated ? "simulated" : ""].filter(Boolean).join(", ")],
      one.verdict === "accepted" ? "" : "abnormal"))) : make("p", {}, "No records fit."));
  const run = $("run").value;
  $("certificates").replaceChildren(...(run ? ["pdf", "html"].flatMap((one) =>
    [make("a", { href: `/api/certificates/${encodeURIComponent(run)}.${one}` }, `certificate ${one}`), " "]) : []));
  const chain = await (await fetch("/api/verify")).json();
  $("chain").className = chain.is_whole ? "" : "abnormal";
  $("chain").textContent = chain.is_whole ? `chain whole, ${chain.rows} rows, head ${chain.head.slice(0, 16)}`
    : `▲ The records were altered: ${chain.finding}`;
}
async function record(number) {
  const { record: one } = await (await fetch(`/api/records/${number}`)).json();
  const course = one.trace_torque_nm.map((torque, place) => [((one.trace_angle_rad[place] ?? 0) * 180) / Math.PI, torque,
    one.trace_pressure_pa[place] === undefined ? null : Math.round(one.trace_pressure_pa[place] / 1e5) / 10]);
  $("record").replaceChildren(make("h3", { tabindex: "-1" }, `Record ${one.seq}: bolt ${one.bolt}, ${one.kind}`),
    ...[course.length ? pull({ courses: { [one.side]: course }, at_s: {}, is_paired: false, balance_nm: 0, target_nm: Math.round(one.target_nm) }) : []].flat());
  $("record").querySelector("h3").focus();
}
async function runs() {
  const { runs: list } = await (await fetch("/api/runs")).json();
  $("run").replaceChildren(make("option", { value: "" }, "all"), ...(list || []).map((one) => make("option", { value: one.run }, one.run)));
}
$("refresh").addEventListener("click", async () => { const kept = $("run").value; await runs(); $("run").value = kept; await records(); });
refreshSession().then(() => { if (session.has_run) listen(); return runs(); }).then(records);
