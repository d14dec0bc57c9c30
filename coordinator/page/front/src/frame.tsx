// The frame that never moves: who and what at the top, HOLD in its corner, the sentence of now.
import { act, call, canAct, change, type Snapshot, isEnded, isStale, lookBack, readSession, store } from "./state";
import { Button, Field, Said, Sign } from "./parts";
import { actOf, capital, clock, sentence, span, t, tOr } from "./words";

export function Header({ now }: { now: Snapshot | null }) {
  const asks = now?.phase === "running" && now.prompts[0];
  const word = !now ? "" : asks ? t("runningAsks", { side: asks.side }) : tOr(now.phase, now.phase);
  const who = store.session.who;
  return (
    <header>
      <div class="id">
        <b id="title">{now?.joint ?? "Bothsides"}</b>
        <span class="long">{now ? `${now.sequence} · ${now.run}` : ""}</span>
        <span class="short" aria-hidden="true">{now ? `${now.banner} · ${word} · ${clock(now.at_s)}` : ""}</span>
      </div>
      <div class="st">
        {now && <span class="tag" id="banner">{now.banner}{now.speed !== 1 ? ` ${t("faster", { speed: now.speed })}` : ""}</span>}
        {now && extra(now).map((one) => <span key={one} class="tag warn">▲ {one}</span>)}
        <span class="word" id="phase" role="status">{word}</span>
        {now && <span class="clock"><b>{clock(now.at_s)}</b>{now.to_go && !isEnded(now) ? <span>{t("toGo", { span: span(now.to_go.left_s) })}</span> : null}</span>}
      </div>
      <div class="who">
        {who || store.session.can_sign_in
          ? <button type="button" class="link" aria-expanded={store.panel === "sign"} onClick={() => change({ panel: store.panel === "sign" ? "" : "sign" })}><span id="who">{who ? <><span class="wide-only">{t("operator", { who: "" })}</span>{who}</> : t("signIn")}</span></button>
          : <span id="who">{t("lookingOnly")}</span>}
      </div>
      <HoldButton now={now} />
    </header>
  );
}
function extra(now: Snapshot): string[] {
  const count = now.overrides.length;
  return [now.mode === "automatic" ? "" : t("modeNow", { mode: now.mode.replaceAll("_", " ") }), now.caps.replace(/: $/, ""),
    count ? t(count > 1 ? "overridesMany" : "overridesShort", { count }) : ""].filter(Boolean);
}
export function hold() { void act("hold"); }
function HoldButton({ now }: { now: Snapshot | null }) {
  const said = store.said.hold;
  const under = said?.state === "pending" ? t("holdAsked") : said?.state === "not answered" ? t("holdNotAnswered")
    : store.back ? t("holdLive") : now?.phase === "held" || now?.phase === "holding" ? t("holdInForce") : now?.phase === "idle" ? t("notStarted") : now && isEnded(now) ? t("runEnded") : t("key");
  return (
    <button id="hold" type="button" aria-keyshortcuts="H" onClick={hold}>
      <svg viewBox="0 0 28 28" aria-hidden="true"><circle cx="14" cy="14" r="12.500" fill="none" stroke="currentColor" stroke-width="2.25" /><path d="M10.500 8.500v11M17.500 8.500v11" stroke="currentColor" stroke-width="3.500" /></svg>
      <span><b>{t("hold")}</b><small>{under}</small></span>
    </button>
  );
}

export function NowRow({ live }: { live: Snapshot | null }) {
  if (!live) {
    return <section id="now" class="warn" aria-label={t("now")}><Sign kind="warn" /><div class="tx"><h1>{t("connecting")}</h1><p>{t("connectingMore")}</p></div></section>;
  }
  if (store.back) {
    return (
      <section id="now" class="back" aria-label={t("now")}><Sign kind="back" />
        <div class="tx"><h1>{t("looking", { at: clock(store.back.at_s) })}</h1><p>{t("cannotAct")}</p></div>
        <div class="do"><Button id="now" go label={t("backToNow")} onPress={() => void lookBack(null)} /></div>
      </section>
    );
  }
  const stale = isStale(), about = live.now, expected = about.act && about.act !== "answer" && about.act !== "step" ? about.act : "";
  const [head, below] = stale ? [t("staleTitle", { span: span(store.age_s) }), t("staleMore")] : sentence(live);
  const tone = stale ? "warn" : about.tone;
  const said = Object.entries(store.said).filter(([key]) => key === "hold" || key === expected || ["start", "restart", "reset", "resume", "pause", "stop", "abort"].includes(key)).at(-1)?.[0];
  const known = expected ? actOf(live, expected) : null;
  return (
    <section id="now" data-key={about.key} class={tone} aria-label={t("now")} role={tone === "calm" ? undefined : "alert"}>
      {tone === "calm" ? (about.key === "accepted" ? <Sign kind="good" /> : null) : <Sign kind={tone} />}
      <div class="tx"><h1>{head}</h1><p>{below}</p></div>
      <div class="do" id="said">
        {said ? <Said of={said} /> : known && !known.applies && !stale ? <small class="said">{known.why.replaceAll("_", " ")}</small> : null}
        {stale ? null : about.act === "answer" ? <><b class="wide">{t("answerRight")}</b><b class="narrow">{t("answerBelow")}</b></>
          : known ? <Button id={known.act} go label={tOr(known.act, capital(known.act))} off={!canAct() || !known.applies} why={canAct() ? known.why : t("signInFirst")} onPress={() => void act(known.act)} /> : null}
      </div>
    </section>
  );
}

export function SignPanel() {
  const who = store.session.who;
  const send = async (event: Event) => {
    event.preventDefault();
    if (who) await call("sign", "/api/session", null, "DELETE");
    else {
      const form = event.currentTarget as HTMLFormElement, given = new FormData(form);
      const ok = await call("sign", "/api/session", { name: given.get("name"), phrase: given.get("phrase") });
      (form.elements.namedItem("phrase") as HTMLInputElement).value = "";
      if (!ok) return;
    }
    await readSession();
    change({ panel: "", said: {} });
  };
  return (
    <form id="sign-panel" class="panel" aria-label={t("signIn")} onSubmit={(event) => void send(event)}>
      {who ? <p>{t("operator", { who })}</p> : <>
        <label>{t("name")} <input name="name" autoComplete="username" required autoFocus /></label>
        <label>{t("phrase")} <input name="phrase" type="password" autoComplete="current-password" required /></label></>}
      <button type="submit" class="b">{t(who ? "signOut" : "signIn")}</button>
      <Said of="sign" />
    </form>
  );
}
export { Field };
