// The right column: what is asked, else what is wrong, else what is being pulled.
import { act, type Alarm, type Bolt, canAct, change, press, type Prompt, type Snapshot, isEnded, isStale, store, words as sayWords } from "./state";
import { Button, Field, Said, Sign, useSize } from "./parts";
import { PullBox } from "./charts";
import { actOf, capital, clock, doing, figures, list, measured, plain, span, t, torque, torqueNm, torqueUnit, tOr } from "./words";

// Answers that send a person to the joint: they open only when both arms stand.
const INSIDE = ["by_hand", "replace_bolt"];

export function Right({ now }: { now: Snapshot }) {
  const asked = now.prompts.length > 0 && !isEnded(now);
  return (
    <aside id="right" tabIndex={0} aria-label={t("asked")}>
      {now.alarms.length && !asked ? <Alarms now={now} /> : null}
      {asked ? <Prompts now={now} /> : isEnded(now) ? <Ended now={now} /> : now.phase === "idle" ? <Before now={now} />
        : now.phase === "held" || now.phase === "holding" ? <Held now={now} /> : <><PullBox now={now} />{Object.keys(now.pull.courses).length ? null : <section class="ended" aria-label={t("boltTable")}><h3>{t("boltTable")}</h3><BoltBars bolts={now.bolts} /></section>}</>}
      {now.alarms.length && asked ? <Alarms now={now} /> : null}
    </aside>
  );
}

function Prompts({ now }: { now: Snapshot }) {
  const shown = now.prompts.find((one) => one.number === store.prompt) ?? now.prompts[0]!;
  return (
    <section id="prompts" aria-label={t("asked")}>
      {now.prompts.length > 1 && <div class="tabs">{now.prompts.map((one, index) => (
        <button key={one.number} type="button" class="b quiet" aria-pressed={one === shown} onClick={() => change({ prompt: one.number })}>{t("promptOf", { n: index + 1, all: now.prompts.length })}: {one.side}</button>))}</div>}
      <div id="prompt-list"><PromptBox one={shown} now={now} /></div>
    </section>
  );
}
function PromptBox({ one, now }: { one: Prompt; now: Snapshot }) {
  const stand = now.lanes.filter((lane) => lane.is_arm).every((lane) => lane.is_held);
  const who = store.session.who, hands = one.options.some((option) => option.option === "by_hand");
  const seen = Object.entries(one.evidence).map(([name, value]) => measured(name, value));
  const loose = one.foreseen.filter((line) => !one.options.some((option) => line.startsWith(option.option)));
  return (
    <article aria-label={`prompt ${one.number}`}>
      <h2>▲ {one.about?.bolt ? capital(t("bolt", { bolt: one.about.bolt })) : one.about ? capital(doing(one.about)) : one.step}: {one.fault === "hold_point" ? "hold point" : plain(one.fault)}</h2>
      <p class="own"><span>{one.owner ? t("yours", { who: one.owner }) : t("nobodys")}</span> <Button id={`take-${one.number}`} quiet label={t("takeIt")} off={!canAct() || one.owner === who} onPress={() => void sayWords(`take-${one.number}`, `take ${one.number}`)} /> <Said of={`take-${one.number}`} /></p>
      {seen.length ? <dl class="ev">{seen.map((item) => <div key={item.label}><dd>{item.value}</dd><dt>{item.label}</dt></div>)}</dl> : null}
      <p>{one.text}{seen.length ? ` ${t("evidence", { at: clock(one.evidence_at_s) })}` : ""}</p>
      {one.caution ? <p class="caut">{one.caution}</p> : null}
      <ul class="opt">{one.options.map((option) => {
        const inside = INSIDE.includes(option.option) && !stand, key = `answer-${one.number}-${option.option}`;
        const ahead = one.foreseen.filter((line) => line.startsWith(option.option)).map((line) => line.slice(option.option.length).replace(/^[:,\s]+/, ""));
        return (
          <li key={option.option}>
            <Button id={key} name={plain(option.option)} label={plain(option.option)} off={!canAct() || inside} why={inside ? t("opensHeld") : t("signInFirst")} onPress={() => answer(one, option.option, key)} />
            <div>
              {ahead.map((line) => <div key={line} class="la">{line}</div>)}
              <div class="co">{option.meaning}{inside ? <b> {t("opensHeld")}</b> : null}</div>
              <Said of={key} />
            </div>
          </li>
        );
      })}</ul>
      {hands && stand ? <div class="hands"><Field id={`torque-${one.number}`} label={t("torqueByHand", { unit: torqueUnit() })} size={7} mode="decimal" /> <Field id={`hands-${one.number}`} label={t("doneBy")} size={12} hint={who ?? ""} /></div> : null}
      {loose.length ? <details open><summary>{t("lookAhead")}</summary>{loose.map((line) => <p key={line} class="s">{line}</p>)}</details> : null}
      {one.causes.length ? <details><summary>{t("causes", { count: one.causes.length })}</summary>{one.causes.map((cause) => (
        <p key={cause.code} class="s"><b>{cause.cause}</b> ({cause.code}): {t("cause", { text: cause.text, sign: cause.signature, way: cause.recovery, retried: cause.retried })}</p>))}</details> : null}
    </article>
  );
}
function answer(one: Prompt, option: string, key: string) {
  const given = option === "by_hand" ? (store.typed[`torque-${one.number}`] ?? "").trim().replace(",", ".") : "";
  const hands = option === "by_hand" ? (store.typed[`hands-${one.number}`] ?? "").trim() : "";
  if (given && !(Number(given) >= 0)) { change({ said: { ...store.said, [key]: { state: "refused", text: t("badTorque", { given }) } } }); return; }
  void press(key, "/api/answers", { prompt: one.number, option, ...(given ? { torque_nm: torqueNm(Number(given)) } : {}), ...(hands ? { done_by: hands } : {}) });
}

function Alarms({ now }: { now: Snapshot }) {
  return (
    <section id="alarms" aria-label={t("alarms")}>
      <ul id="alarm-list" class="alarms">{now.alarms.map((one) => <AlarmRow key={one.name} one={one} />)}</ul>
    </section>
  );
}
function AlarmRow({ one }: { one: Alarm }) {
  const open = one.state.endsWith("unacknowledged"), key = `ack-${one.name}`;
  return (
    <li class={one.state === "shelved" ? "" : "bad"}>
      <div><b>{one.is_first ? `▲ ${t("firstOut")} ` : "▲ "}{plain(one.name)}</b><span class="s"> {plain(one.state)}{one.who ? ` by ${one.who}${one.why ? `: ${one.why}` : ""}` : ""}, {t("alarmSince", { span: span(10 * Math.floor(one.since_s / 10)) })}</span>
        <p class="s">{capital(one.cause)}. {capital(one.consequence)}. <b>{capital(one.operator_action)}.</b></p><Said of={key} /></div>
      <Button id={key} quiet label={t("acknowledge")} name={t("ackLabel", { name: one.name })} off={!canAct() || !open} onPress={() => void sayWords(key, `acknowledge ${one.name}`)} />
    </li>
  );
}

function Before({ now }: { now: Snapshot }) {
  const checks = [...now.lanes.map((one) => ({ name: t("parties", { party: one.name }), good: one.is_online, note: one.is_online ? `${one.seen_s.toFixed(1)} s` : t("notOnBus") })),
    ...now.interlocks.map((one) => ({ name: plain(one.value === "good" ? one.signal : one.name), good: one.value === "good", note: one.value === "good" ? (one.age_s === null ? "" : `${one.age_s.toFixed(1)} s`) : one.value }))];
  const pairs = now.bolts.length ? now.bolts.map((one) => one.side) : [];
  return (
    <section aria-label={t("beforeStart")}>
      <h2>{t("beforeStart")}</h2>
      <ul class="chk">{checks.map((one) => <li key={one.name} class={one.good ? "" : "w"}><span aria-hidden="true">{one.good ? "✓" : "▲"}</span><span>{one.name}</span><span>{one.note}</span></li>)}</ul>
      <h3>{t("willDo")}</h3>
      <dl class="kv"><dt>{t("run")}</dt><dd>{now.sequence}</dd>{pairs.length ? <><dt>{t("bolts")}</dt><dd>{[...new Set(pairs)].map((side) => `${side} ${now.bolts.filter((one) => one.side === side).map((one) => one.bolt).join(" ")}`).join("; ")}</dd></> : null}</dl>
      <p class="s">{now.caution}</p>
    </section>
  );
}
function Held({ now }: { now: Snapshot }) {
  const latched = now.interlocks.some((one) => one.is_latched), reset = actOf(now, "reset"), restart = actOf(now, "restart");
  const steps = [
    ...(latched ? [{ name: "look", head: t("stepLook"), more: t("stepLookMore") }] : []),
    ...(latched ? [{ name: "reset", head: t("stepReset"), more: t("stepResetMore") }] : []),
    { name: "restart", head: t("stepRestart"), more: t("stepRestartMore") },
  ];
  const at = latched ? "reset" : "restart";
  return (
    <section aria-label={t("heldTitle")}>
      <h2>{t("heldTitle")}</h2>
      <ol class="steps">{steps.map((one) => {
        const known = one.name === "reset" ? reset : one.name === "restart" ? restart : null;
        return <li key={one.name} class={one.name === at ? "on" : ""}><div><b>{one.head}</b><div class="s">{known && !known.applies ? plain(known.why) : one.more}</div></div>
          {known && one.name !== now.now.act ? <Button id={`held-${one.name}`} label={t(one.name as "reset")} off={!canAct() || !known.applies} onPress={() => void act(one.name)} /> : null}</li>;
      })}</ol>
      <h3>{t("howItStands")}</h3>
      <dl class="kv">{now.lanes.map((one) => <><dt>{one.name}</dt><dd>{one.doing || plain(one.unmet.find((what) => !what.startsWith("the procedure")) ?? "") || (one.is_held ? t("standsHeld") : t("idleSide"))}</dd></>)}</dl>
      {now.holds[0] ? <details><summary>{now.holds[0][0]}</summary><pre>{now.holds[0].slice(1).join("\n")}</pre></details> : null}
    </section>
  );
}
function Ended({ now }: { now: Snapshot }) {
  const key = now.now.key, kind = key === "accepted" ? "good" : key === "rejected" ? "bad" : "warn";
  return (
    <section aria-label={t("ended")} class="ended">
      <h2 class={`verdict ${kind}`}><Sign kind={kind} /><b>{key === "accepted" ? t("accepted") : key === "rejected" ? t("notAccepted") : tOr(now.phase, now.phase)}</b></h2>
      <h3>{t("torqueReached")}</h3>
      <BoltBars bolts={now.bolts} />
      {now.joint_verdict?.open.length ? <details open={now.bolts.length < 9}><summary>{t("openPoints", { count: now.joint_verdict.open.length })}</summary>{now.joint_verdict.open.slice(0, 12).map((one) => <p key={one} class="s">{plain(one)}</p>)}</details> : null}
      <p class="foot"><a class="b" href={`/api/certificates/${encodeURIComponent(now.run)}.pdf`}>{t("certificate")}</a> <a class="b" href={`/records?run=${encodeURIComponent(now.run)}`}>{t("records")}</a></p>
    </section>
  );
}
function BoltBars({ bolts }: { bolts: Bolt[] }) {
  const [ref, width, height] = useSize();
  const row = Math.max(14, Math.min(34, (height - 24) / Math.max(bolts.length, 1))), left = 74, right = width - 92, x = (share: number) => left + share * (right - left);
  return (
    <div class="bolt-bars" ref={ref}>
      {width > 0 && <svg width={width} height={row * bolts.length + 24} role="img" aria-label={list(bolts.map((one) => `${one.bolt} ${t(`stage_${one.stage}` as "stage_pending", { round: one.round ?? 0 })}${one.torque_nm ? ` ${torque(one.torque_nm)}` : ""}`))}>
        <path d={`M${x(1)} 4V${row * bolts.length + 6}`} class="aim" /><text x={x(1)} y={row * bolts.length + 20} class="t0 m mid">100 %</text>
        {bolts.map((one, index) => {
          const y = 4 + index * row, bad = one.state === "bad";
          return <g key={one.bolt}><text x={0} y={y + row / 2 + 4} class={bad ? "bo bad" : ""}>{bad ? "✕ " : one.state === "good" ? "✓ " : ""}{one.bolt} {one.side}</text>
            <rect x={left} y={y + row * 0.2} width={Math.max(0, right - left)} height={row * 0.6} class="track" /><rect x={left} y={y + row * 0.2} width={Math.max(0, x(one.share ?? 0) - left)} height={row * 0.6} class={bad ? "badly" : "past"} />
            <text x={width} y={y + row / 2 + 4} class={`end ${bad ? "bo bad" : ""}`}>{one.torque_nm ? figures(one.torque_nm) : "–"}{one.torque_nm ? ` ${torqueUnit()}` : ""}</text></g>;
        })}
      </svg>}
    </div>
  );
}
export { isStale };
