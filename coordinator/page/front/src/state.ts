// What the server sends, and the one store that every part of the console reads.
export interface Doing { action: string; bolt?: number; hole?: number; on?: number; tool?: string }
export interface Lane {
  name: string; is_arm: boolean; doing: string; unmet: string[]; since_s: number; next: string; act: Doing | null;
  is_waiting: boolean; next_act: Doing | null; is_online: boolean; is_held: boolean; is_faulted: boolean; seen_s: number; done: number; steps: number;
}
export interface Interlock {
  name: string; signal: string; kind: string; value: string; words: string; age_s: number | null; is_latched: boolean; is_first_out: boolean;
  cause: string; consequence: string; operator_action: string;
}
export interface Option { option: string; meaning: string }
export interface Prompt {
  number: number; side: string; step: string; fault: string; about: Doing | null; text: string; caution: string; owner: string;
  evidence: Record<string, string>; evidence_at_s: number; asked_at_s: number; foreseen: string[]; options: Option[];
  causes: { code: string; cause: string; text: string; signature: string; recovery: string; retried: string }[];
}
export interface Alarm {
  name: string; state: string; is_first: boolean; since_s: number; cause: string; consequence: string; operator_action: string; who: string; why: string;
}
export interface Bolt {
  bolt: number; side: string; state: string; stage: string; word: string; at_s: number | null; round?: number; kind?: string; torque_nm?: number | null;
  share?: number; preload_kn?: [number, number];
}
export type Point = [number | null, number, number | null];
export interface Pull {
  balance_nm: number; is_paired: boolean; is_wide: boolean; words: string; target_nm: number; round: number; rounds: number;
  bolts: Record<string, number>; at_s: Record<string, number | null>; courses: Record<string, Point[]>;
}
export type Flat = [number, number];
export interface Arm { side: string; place: string; goes_to: string; links: Flat[] | null; towards: Flat | null; tool: string; reaction_on: number; at_s: number }
export interface Drawing {
  bolt_circle_radius_m: number; pipe_radius_m: number | null; hex_m: number; extent_m: number; bolts: Flat[]; sides: Record<string, { base: Flat; rack: Flat; bin: Flat }>;
}
export interface Cell { drawing: Drawing | Record<string, never>; arms: Arm[]; cover: { is_in: boolean } | null; pins: number[]; bolts_in: number[] | null; pipe: string }
export interface Act { act: string; applies: boolean; why: string }
export interface Now {
  key: string; tone: "calm" | "warn" | "bad"; act: string; side?: string; sides?: string[]; about?: Doing | null;
  bolts?: Record<string, number> | number[]; interlock?: string; busy?: { side: string; act: Doing }[];
}
export interface Segment { lane: number; kind: string; label: string; begin_s: number; end_s: number }
export interface Strip {
  lanes: string[]; segments: Segment[]; barriers: { name: string; at_s: number; lanes: number[]; is_pair: boolean }[]; marks: { at_s: number; severity: string; text: string; lane: number }[];
}
export interface Snapshot {
  run: string; sequence: string; joint: string; simulated: boolean; banner: string; caution: string; speed: number; at_s: number; phase: string; reason: string;
  mode: string; caps: string; overrides: { name: string; who: string; why: string; left_s: number }[]; alarms: Alarm[]; holds: string[][]; lanes: Lane[];
  missed: { party: string; by_party: boolean; messages: number; at_s: number }[];
  barriers: { name: string; phase: string; parties: { name: string; state: string; at_s: number }[]; left_s: number | null }[];
  interlocks: Interlock[]; prompts: Prompt[]; notices: { at_s: number; severity: string; kind: string; text: string }[]; bolts: Bolt[]; pull: Pull; cell: Cell;
  acts: Act[]; now: Now; joint_verdict: { is_accepted: boolean; open: string[] } | null; to_go?: { left_s: number; side: string } | null; strip?: Strip; ahead?: Strip | null;
}
export interface Session { who: string | null; can_sign_in: boolean; can_hold: boolean; has_run: boolean }
export interface Said { state: string; text: string }
export interface Store {
  live: Snapshot | null; back: Snapshot | null; session: Session; said: Record<string, Said>; age_s: number; lost: boolean; typed: Record<string, string>;
  panel: string; confirm: string; prompt: number; language: string; units: string; sound: boolean;
}

export const ENDED = ["complete", "stopped", "aborted"];
export const STALE_S = 3;
const kept = (name: string, otherwise: string) => { try { return localStorage.getItem(name) ?? otherwise; } catch { return otherwise; } };
export const store: Store = {
  live: null, back: null, session: { who: null, can_sign_in: false, can_hold: false, has_run: true }, said: {}, age_s: 0, lost: false, typed: {},
  panel: "", confirm: "", prompt: 0, language: kept("language", "en"), units: kept("units", "si"), sound: kept("sound", "") === "on",
};
let redraw: () => void = () => undefined;
export function onChange(listener: () => void) { redraw = listener; }
export function change(part: Partial<Store>) { Object.assign(store, part); redraw(); }
export function keep(name: string, value: string) { try { localStorage.setItem(name, value); } catch { /* A page that may keep nothing still works. */ } }
export function type(name: string, value: string) { store.typed[name] = value; redraw(); }
export const isEnded = (now: Snapshot) => ENDED.includes(now.phase);
export const isStale = () => store.live !== null && !isEnded(store.live) && (store.age_s >= STALE_S || store.lost);
// Acts are off where nobody could know what they would be about.
export const canAct = () => Boolean(store.session.who) && !isStale() && store.back === null;

// A press counts by the run's time shown last plus this page's own clock since: a wall clock may be
// wrong, and what was pressed on a page that stood still must not act once it moves again.
let shownAt = performance.now();
let heard = 0;
let pressed = 0;
const begun = Array.from(crypto.getRandomValues(new Uint8Array(8)), (one) => one.toString(16).padStart(2, "0")).join("");

export async function press(key: string, path: string, body: Record<string, unknown>) {
  const now = store.live;
  const pressed_s = now ? now.at_s + ((performance.now() - shownAt) / 1000) * now.speed : undefined;
  const id = `${begun}-${++pressed}`;
  say(key, { state: "pending", text: "" });
  return call(key, path, { ...body, id, ...(pressed_s === undefined ? {} : { pressed_s }) });
}
function say(key: string, said: Said) { change({ said: { ...store.said, [key]: said } }); }

export async function call(key: string, path: string, body: unknown, method = "POST"): Promise<boolean> {
  try {
    const answer = await fetch(path, { method, body: body === null ? undefined : JSON.stringify(body) });
    const said = await answer.json() as { outcome?: string; text?: string; error?: string };
    say(key, { state: said.outcome ?? (answer.ok ? "done" : "refused"), text: said.text ?? said.error ?? "" });
    if (answer.status === 401) await readSession();
    return answer.ok;
  } catch {
    say(key, { state: "not answered", text: "" });
    return false;
  }
}
export const act = (name: string) => press(name, "/api/acts", { act: name });
export const words = (key: string, said: string) => press(key, "/api/words", { words: said });

export async function readSession() {
  change({ session: await (await fetch("/api/session")).json() as Session });
}
export function listen() {
  const source = new EventSource("/api/events");
  source.onmessage = (event: MessageEvent<string>) => {
    heard = shownAt = performance.now();
    change({ live: JSON.parse(event.data) as Snapshot, age_s: 0, lost: false });
  };
  heard = performance.now();
  setInterval(() => {
    const age_s = (performance.now() - heard) / 1000;
    if (Math.floor(age_s) !== Math.floor(store.age_s)) change({ age_s });
  }, 250);
}
export async function lookBack(at_s: number | null) {
  if (at_s === null) { change({ back: null }); return; }
  const answer = await fetch(`/api/moments?at=${Math.max(0, at_s).toFixed(1)}`);
  if (!answer.ok) return;
  const { moment } = await answer.json() as { moment: Snapshot | null };
  if (moment) change({ back: moment });
}
