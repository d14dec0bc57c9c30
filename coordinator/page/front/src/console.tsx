// The console: one frame for every state of a run; the page of records without one.
import { render } from "preact";
import { CellView } from "./cell";
import { Header, hold, NowRow, SignPanel } from "./frame";
import { More } from "./more";
import { Records } from "./records";
import { Right } from "./right";
import { Sides } from "./sides";
import { change, isEnded, isStale, listen, lookBack, onChange, readSession, store } from "./state";
import { Time } from "./time";
import { t } from "./words";

function App() {
  const live = store.live, shown = store.back ?? live;
  return (
    <div id="frame" class={`${isStale() ? "stale" : ""} ${store.back ? "looking-back" : ""} ${live && isEnded(live) ? "over" : ""}`}>
      <a class="skip" href="#right">{t("skip")}</a>
      <Header now={shown} />
      <NowRow live={live} />
      {shown ? <><Right now={shown} /><Sides now={shown} /><CellView now={shown} /></> : <><aside id="right" /><section id="sides" /><main id="cell" /></>}
      {live ? <Time live={live} /> : <section id="time" />}
      {store.panel === "sign" ? <SignPanel /> : null}
      {store.panel === "more" && live ? <More now={live} /> : null}
    </div>
  );
}
function RecordsApp() {
  return <div id="records-frame"><header><div class="id"><b>Bothsides</b><span>{t("records")}</span></div>{store.session.has_run ? <a class="link" href="/">{t("console")}</a> : null}</header><Records /></div>;
}
const root = document.getElementById("app")!;
const isRecords = location.pathname.startsWith("/records");
let asked = false;
function draw() {
  asked = false;
  render(isRecords || !store.session.has_run ? <RecordsApp /> : <App />, root);
  const now = store.live;
  document.documentElement.lang = store.language;
  document.title = now && !isRecords ? `${now.prompts.length ? "▲ " : ""}${t(now.phase as "running")} – ${now.sequence}` : "Bothsides";
}
onChange(() => { if (!asked) { asked = true; queueMicrotask(draw); } });

addEventListener("keydown", (event) => {
  const field = (event.target as Element | null)?.closest("input, select, textarea");
  if (event.key === "Escape") { if (store.confirm || store.panel) change({ confirm: "", panel: "" }); else if (store.back) void lookBack(null); }
  if (field || event.ctrlKey || event.metaKey || event.altKey || event.repeat || isRecords || !store.session.has_run) return;
  if (event.key.toLowerCase() === "h") hold();
  if (event.key.toLowerCase() === "l" && store.back) void lookBack(null);
});

void readSession().then(() => {
  draw();
  const at = new URLSearchParams(location.search).get("at");
  if (store.session.has_run && !isRecords) { listen(); if (at) void lookBack(at.split(":").reduce((sum, part) => sum * 60 + Number(part), 0)); }
});
