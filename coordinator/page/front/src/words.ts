// Put state into words: sentences from the catalogue, numbers with three figures and their units.
import { type Doing, type Snapshot, store } from "./state";
import { en, type Key, LANGUAGES } from "./texts";

const language = () => LANGUAGES[store.language] ?? LANGUAGES.en!;
export function t(key: Key, values: Record<string, string | number> = {}): string {
  return fill(language().texts[key], values);
}
export function tOr(key: string, otherwise: string): string { return key in en ? t(key as Key) : otherwise; }
function fill(text: string, values: Record<string, string | number | undefined>): string {
  return text.replace(/\{(\w+)\}/g, (_, name: string) => String(values[name] ?? "…"));
}
export const plain = (word: string) => word.replaceAll("_", " ");
export const capital = (word: string) => word.charAt(0).toUpperCase() + word.slice(1);
export const list = (words: (string | number)[]) => words.length < 2 ? words.join("") : words.slice(0, -1).join(", ") + language().and + words.at(-1);
export function doing(one: Doing): string {
  const known = language().actions[one.action];
  return known ? fill(known, { ...one }) : plain(one.action) + (one.bolt ? ` ${one.bolt}` : "");
}
export function place(word: string): string {
  const [kind, bolt] = word.split(".");
  return bolt ? t("bolt", { bolt }) : tOr(kind ?? "", plain(word));
}
export function clock(seconds: number): string {
  const whole = Math.max(0, Math.floor(seconds + 1e-6)), hours = Math.floor(whole / 3600), minutes = Math.floor(whole / 60) % 60;
  const rest = String(whole % 60).padStart(2, "0");
  return hours ? `${hours}:${String(minutes).padStart(2, "0")}:${rest}` : `${minutes}:${rest}`;
}
export function span(seconds: number): string {
  const whole = Math.max(0, Math.round(seconds)), minutes = Math.floor(whole / 60);
  return minutes >= 60 ? `${Math.floor(minutes / 60)} h ${minutes % 60} min` : minutes ? `${minutes} min ${whole % 60} s` : `${whole} s`;
}
export const ago = (seconds: number) => (seconds < 10 ? `${seconds.toFixed(1)} s` : span(seconds));
export function figures(value: number): string {
  if (Number.isInteger(value) && Math.abs(value) < 1000) return String(value);
  const size = Math.floor(Math.log10(Math.abs(value))) + 1;
  if (size >= 4) return Math.round(value).toString().replace(/\B(?=(\d{3})+$)/g, "\u202f");
  return value.toFixed(Math.min(Math.max(3 - size, 0), 4));
}
export const FOOT_POUND_NM = 1.3558179483; // NIST SP 811 (2008), appendix B.8, pound-force foot.
const POUND_INCH_PA = 6894.757; // The same, psi.
const INCH_M = 0.0254; // The same, exact.
export const torqueUnit = () => (store.units === "us" ? "lbf·ft" : "N·m");
export const torqueIn = (nm: number) => (store.units === "us" ? nm / FOOT_POUND_NM : nm);
export const torqueNm = (given: number) => (store.units === "us" ? given * FOOT_POUND_NM : given);
export const torque = (nm: number) => `${figures(torqueIn(nm))} ${torqueUnit()}`;
export function measured(name: string, value: string): { label: string; value: string } {
  const number = Number(value), us = store.units === "us";
  const units: [string, (one: number) => string][] = [
    ["_nm", torque], ["_pa", (one) => us ? `${figures(one / POUND_INCH_PA)} psi` : Math.abs(one) < 1e6 ? `${figures(one / 1e3)} kPa` : `${figures(one / 1e6)} MPa`],
    ["_rad", (one) => `${figures((one * 180) / Math.PI)}°`], ["_m", (one) => us ? `${figures(one / INCH_M)} in` : `${figures(one * 1e3)} mm`],
    ["_n", (one) => `${figures(one / 1e3)} kN`], ["_s", (one) => `${figures(one)} s`],
  ];
  const found = value.trim() !== "" && Number.isFinite(number) ? units.find(([end]) => name.endsWith(end)) : undefined;
  if (!found) return { label: plain(name), value: Number.isFinite(number) && value.trim() !== "" && !Number.isInteger(number) ? figures(number) : value };
  return { label: plain(name.slice(0, -found[0].length)), value: found[1](number) };
}
export const actOf = (now: Snapshot, name: string) => now.acts.find((one) => one.act === name) ?? { act: name, applies: false, why: "" };

// The sentence of now, and the line below it.
export function sentence(now: Snapshot): [string, string] {
  const about = now.now, interlock = now.interlocks.find((one) => one.name === about.interlock);
  const side = capital(about.side ?? ""), reason = now.reason || t("nobodyHeld");
  const bolts = Array.isArray(about.bolts) ? about.bolts : Object.values(about.bolts ?? {});
  const prompt = now.prompts[0];
  switch (about.key) {
    case "pair": return [t("nowPair", { sides: capital(list(Object.keys(about.bolts ?? {}))), bolts: list(bolts) }), t("nothingToDo")];
    case "busy": return [capital(list((about.busy ?? []).map((one) => `${one.side} ${doing(one.act)}`))) + ".", t("nothingToDo")];
    case "asked": return [about.about?.bolt
      ? t("nowAsked", { side, fault: plain(prompt?.fault ?? ""), about: t("bolt", { bolt: about.about.bolt }) })
      : t("nowAskedPlain", { side, fault: plain(prompt?.fault ?? "") }), `${t("chooseHow")} ${t("since", { at: clock(prompt?.asked_at_s ?? 0) })}`];
    case "hold_point": return [t("nowHoldPoint", { side }), prompt?.text ?? ""];
    case "tripped": case "blocked":
      return [t(about.key === "tripped" ? "nowTripped" : "nowBlocked", { cause: interlock?.cause ?? plain(about.interlock ?? "") }),
        interlock ? t("whatToDo", { action: interlock.operator_action }) : ""];
    case "lost": return [t("nowLost", { sides: capital(list(about.sides ?? [])) }), t("noPlace")];
    case "accepted": return [t("nowAccepted"), t("allBolts", { count: now.bolts.length })];
    case "rejected": return [bolts.length ? t("nowRejected", { bolts: bolts.length > 1 ? t("manyBolts", { bolts: list(bolts) }) : t("bolt", { bolt: bolts[0] ?? 0 }) }) : t("nowRejectedPlain"), plain(now.joint_verdict?.open[0] ?? "")];
    case "held": return [t(reason.startsWith("held") ? "plainReason" : "nowHeld", { reason: reason.startsWith("held") ? capital(reason) : reason }), t("restartAfter")];
    case "holding": return [t("nowHolding", { reason }), ""];
    case "stopped": case "aborted":
      return [now.reason.startsWith(about.key) ? t("plainReason", { reason: capital(now.reason) }) : t(about.key === "stopped" ? "nowStopped" : "nowAborted", { reason: now.reason }), now.joint_verdict ? t("notAcceptedHere") : bolts.length ? t("openBolts", { count: bolts.length, all: now.bolts.length }) : ""];
    case "complete": return [t("nowComplete"), bolts.length ? t("openBolts", { count: bolts.length, all: now.bolts.length }) : ""];
    case "not_ready": return [t("nowNotReady"), actOf(now, "start").why];
    case "waiting": return [t("nowWaiting"), now.lanes.flatMap((one) => one.unmet.slice(0, 1).map((what) => `${capital(one.name)}: ${what}`)).slice(0, 2).join("; ")];
    default: return [tOr(`now${capital(about.key)}`, capital(plain(about.key)) + "."), about.key === "ready" || about.key === "paused" || about.key === "step" ? "" : t("nothingToDo")];
  }
}
