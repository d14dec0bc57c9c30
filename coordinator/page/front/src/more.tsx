// What is needed seldom: mode, single steps, overrides, barriers, notices, holds, display.
import { canAct, change, keep, type Snapshot, store, words } from "./state";
import { Button, Field, Said } from "./parts";
import { LANGUAGES } from "./texts";
import { ago, clock, plain, span, t, torque } from "./words";

const MODES = ["automatic", "step", "to_barrier", "manual"] as const;

export function More({ now }: { now: Snapshot }) {
  const off = !canAct();
  return (
    <section id="more-panel" class="panel wide" aria-label={t("more")} tabIndex={0}>
      <button type="button" class="b close" onClick={() => change({ panel: "" })}>{t("close")}</button>
      <div class="columns">
        <div>
          <h2>{t("modes")}</h2>
          <p>{t("modeNow", { mode: plain(now.mode) })}</p>
          <div id="mode-list" class="row">
            {MODES.map((mode) => <Button key={mode} id={`mode-${mode}`} label={t(mode)} off={off || now.mode === mode} onPress={() => void words("mode", `mode ${mode}`)} />)}
            {(now.mode === "manual" ? now.lanes.map((one) => one.name) : [""]).map((lane) => (
              <Button key={lane} id={`step-${lane}`} label={lane ? t("nextStepOf", { lane }) : t("nextStep")} off={off || now.mode === "automatic"} onPress={() => void words("mode", `step ${lane}`.trim())} />))}
          </div>
          <Said of="mode" />
          <Overrides now={now} off={off} />
          <Display />
        </div>
        <div>
          <h2>{t("barriers")}</h2>
          {now.barriers.length ? now.barriers.map((one) => <p key={one.name}><b>{plain(one.name)}</b>: {one.parties.map((p) => t("barrierParty", { party: p.name, state: p.state, at: clock(p.at_s) })).join(", ")}{one.left_s === null ? "" : `; ${t("timeLeft", { span: span(one.left_s) })}`}</p>) : <p>{t("noBarrier")}</p>}
          <h2>{t("interlocks")}</h2>
          <table id="interlocks"><tbody>{now.interlocks.map((one) => <tr key={one.name} class={one.value === "good" ? "" : "abnormal"}><td>{plain(one.name)} ({one.kind})</td><td>{one.value === "good" ? "" : "▲ "}{one.value}</td><td>{one.age_s === null ? t("neverHeard") : ago(one.age_s)}</td><td>{one.words}</td></tr>)}</tbody></table>
          <h2>{t("bolts")}</h2>
          <table id="bolts"><tbody>{now.bolts.map((one) => <tr key={one.bolt} class={one.state === "bad" ? "abnormal" : ""}><td>{one.bolt}</td><td>{one.side}</td><td>{one.word}</td><td>{one.torque_nm ? torque(one.torque_nm) : "–"}</td>
            <td>{one.preload_kn ? t("preload", { low: one.preload_kn[0], high: one.preload_kn[1] }) : ""}</td><td>{one.at_s === null ? "–" : clock(one.at_s)}</td></tr>)}</tbody></table>
        </div>
        <div>
          <h2>{t("story")}</h2>
          {now.holds.length ? now.holds.map(([first, ...rest]) => <details key={first}><summary>{first}</summary><pre>{rest.join("\n")}</pre></details>) : <p>{t("noHolds")}</p>}
          <h2>{t("notices")}</h2>
          <ul id="notices" class="notices">{[...now.notices].reverse().map((one, index) => <li key={`${one.at_s}-${index}`} class={one.severity}><span>{clock(one.at_s)}</span> {one.severity === "note" ? "" : "▲ "}{one.text}</li>)}</ul>
        </div>
      </div>
    </section>
  );
}
function Overrides({ now, off }: { now: Snapshot; off: boolean }) {
  const set = (event: Event) => {
    event.preventDefault();
    const minutes = (store.typed["override-minutes"] ?? "").trim().replace(",", ".");
    const name = store.typed["override-name"] ?? now.interlocks[0]?.name ?? "";
    void words("override", `override ${name} ${minutes} ${store.typed["override-why"] ?? ""}`);
  };
  return (
    <>
      {now.overrides.length ? <section id="overrides" aria-label={t("overrides")}><h2>{t("overrides")}</h2><div id="override-list">{now.overrides.map((one) => (
        <p key={one.name} class="bad">▲ {plain(one.name)}, {t("by", { who: one.who, why: one.why })}, {t("endsIn", { span: span(one.left_s) })} <Button id={`end-${one.name}`} label={t("endIt")} name={t("endLabel", { name: one.name })} off={off} onPress={() => void words("override", `end ${one.name}`)} /></p>))}</div></section> : null}
      <h2>{t("override")}</h2>
      <form id="override" class="row" aria-label={t("override")} onSubmit={set}>
        <label>{t("interlock")} <select id="override-name" value={store.typed["override-name"] ?? now.interlocks[0]?.name ?? ""} onChange={(event) => { store.typed["override-name"] = event.currentTarget.value; }}>
          {now.interlocks.map((one) => <option key={one.name} value={one.name}>{plain(one.name)}</option>)}</select></label>
        <Field id="override-minutes" label={t("minutes")} size={4} mode="decimal" />
        <Field id="override-why" label={t("why")} size={18} />
        <button type="submit" class="b" disabled={off}>{t("setAside")}</button>
      </form>
      <Said of="override" />
    </>
  );
}
function Display() {
  return (
    <>
      <h2>{t("display")}</h2>
      <div class="row">
        <label>{t("units")} <select id="units" value={store.units} onChange={(event) => { keep("units", event.currentTarget.value); change({ units: event.currentTarget.value }); }}>
          <option value="si">{t("si")}</option><option value="us">{t("us")}</option></select></label>
        {Object.keys(LANGUAGES).length > 1 ? <label>{t("language")} <select id="language" value={store.language} onChange={(event) => { keep("language", event.currentTarget.value); document.documentElement.lang = event.currentTarget.value; change({ language: event.currentTarget.value }); }}>
          {Object.entries(LANGUAGES).map(([key, one]) => <option key={key} value={key}>{one.name}</option>)}</select></label> : null}
      </div>
    </>
  );
}
