// Who does what: one block for each lane, the signals, and the acts that are not the expected one.
import { act, canAct, change, type Lane, type Snapshot, isEnded, store } from "./state";
import { Button, LaneSign, Said } from "./parts";
import { actOf, ago, capital, doing, plain, t } from "./words";

function headline(lane: Lane, now: Snapshot): [string, string] {
  if (!lane.is_online) return [`▲ ${t("notOnBus")}`, "x"];
  if (now.prompts.some((one) => one.side === lane.name)) return [`▲ ${t("person")}`, "w"];
  if (lane.is_faulted) return [`▲ ${t("faulted")}`, "w"];
  if (lane.act && !lane.is_waiting) return [doing(lane.act), lane.is_arm ? "act" : ""];
  if (lane.done === lane.steps && lane.steps) return [t("done"), "calm"];
  if (lane.is_held && (now.phase === "held" || now.phase === "holding")) return [t("standsHeld"), "calm"];
  return [lane.unmet.length && now.phase !== "idle" ? t("waits") : t("idleSide"), "calm"];
}
export function Sides({ now }: { now: Snapshot }) {
  return (
    <section id="sides" aria-label={t("sides")}>
      {now.lanes.map((lane, index) => <Side key={lane.name} lane={lane} index={index} now={now} />)}
      {now.missed.map((one) => <p key={one.party + one.by_party} class="missed">▲ {t(one.by_party ? "missedTo" : "missedFrom", { count: one.messages, party: one.party })}</p>)}
      <ul class="sig">
        {now.interlocks.map((one) => (
          <li key={one.name} class={one.value === "good" ? "" : one.kind === "trip" ? "x" : "w"}>
            <span aria-hidden="true">{one.value === "good" ? "✓" : "▲"}</span>
            <span>{plain(one.value === "good" ? one.signal : one.name)}{one.value === "unknown" ? `: ${one.value}` : ""}{one.is_latched ? `, ${t("latched")}` : ""}</span>
            <span>{one.age_s === null ? t("neverHeard") : ago(one.age_s)}</span>
          </li>
        ))}
      </ul>
      <Acts now={now} />
    </section>
  );
}
function Side({ lane, index, now }: { lane: Lane; index: number; now: Snapshot }) {
  const [head, kind] = headline(lane, now);
  const unmet = lane.unmet.filter((one) => !one.startsWith("the procedure to run"));
  const waits = kind === "act" || !unmet.length ? "" : t("waitsFor", { what: plain(unmet.join("; ")) });
  const next = lane.next_act && !isEnded(now) ? t("then", { what: doing(lane.next_act) }) : "";
  return (
    <div class={`side ${kind}`}>
      <div class="h"><LaneSign index={index} /><b>{capital(lane.name)}</b><span>{lane.is_online ? t("heard", { age: ago(lane.seen_s) }) : ""}</span></div>
      <div class="d">{head}</div>
      <div class="n" title={waits}>{waits || next}</div>
      <div class="bar"><progress max={Math.max(lane.steps, 1)} value={lane.done} aria-label={`${lane.name}: ${t("of", { done: lane.done, all: lane.steps })}`} /><span>{t("of", { done: lane.done, all: lane.steps })}</span></div>
    </div>
  );
}
function Acts({ now }: { now: Snapshot }) {
  const asked = store.confirm;
  if (asked) {
    return (
      <div class="confirm" role="alertdialog" aria-label={t(asked === "stop" ? "askStop" : "askAbort")}>
        <p>{t(asked === "stop" ? "askStop" : "askAbort")}</p>
        <div class="acts">
          <Button id={`yes-${asked}`} label={t(asked === "stop" ? "yesStop" : "yesAbort")} off={!canAct()} onPress={() => { change({ confirm: "" }); void act(asked); }} />
          <button type="button" class="b" autoFocus onClick={() => change({ confirm: "" })}>{t("no")}</button>
        </div>
      </div>
    );
  }
  const shown = actOf(now, "resume").applies ? ["resume", "stop", "abort"] as const : ["pause", "stop", "abort"] as const;
  return (
    <div class="acts-row">
      {shown.map((one) => store.said[one] ? <Said key={one} of={one} /> : null)}
      <div class="acts">
        {shown.map((one) => {
          const known = actOf(now, one);
          const press = one === "stop" || one === "abort" ? () => change({ confirm: one }) : () => void act(one);
          return <Button key={one} id={one} label={t(one)} off={!canAct() || !known.applies} why={canAct() ? known.why : t("signInFirst")} onPress={press} />;
        })}
        <Button id="more" label={t("moreAct")} onPress={() => change({ panel: store.panel === "more" ? "" : "more" })} />
      </div>
    </div>
  );
}
