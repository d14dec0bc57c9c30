// Small parts that everything else is built from: signs, buttons with their answers, a box's size.
import type { ComponentChildren } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { store } from "./state";
import { t } from "./words";

// The same sign for a lane wherever it appears: circle, square, then a triangle for the hoist.
export function laneSign(index: number, x = 7, y = 7, size = 5) {
  const stroke = { fill: "none", stroke: "currentColor", "stroke-width": 2 };
  if (index === 0) return <circle cx={x} cy={y} r={size} {...stroke} />;
  if (index === 1) return <rect x={x - size} y={y - size} width={2 * size} height={2 * size} {...stroke} />;
  return <path d={`M${x} ${y - size - 0.5}l${size + 1} ${2 * size + 0.5}h${-2 * size - 2}z`} {...stroke} stroke-linejoin="round" />;
}
export const LaneSign = ({ index }: { index: number }) => <svg class="lane-sign" viewBox="0 0 14 14" aria-hidden="true">{laneSign(index)}</svg>;

const SIGNS: Record<string, ComponentChildren> = {
  warn: <><path d="M22 5 41 39H3z" fill="none" stroke="currentColor" stroke-width="3.5" stroke-linejoin="round" /><path d="M22 17v11M22 31.500v4" stroke="currentColor" stroke-width="4" /></>,
  bad: <path d="M14 4h16l10 10v16L30 40H14L4 30V14zM14 14l16 16m0-16L14 30" fill="none" stroke="currentColor" stroke-width="3.5" stroke-linejoin="round" />,
  good: <><circle cx="22" cy="22" r="19" fill="none" stroke="currentColor" stroke-width="3" /><path d="m13 22 7 7 12-14" fill="none" stroke="currentColor" stroke-width="4" /></>,
  back: <><circle cx="22" cy="22" r="18" fill="none" stroke="currentColor" stroke-width="3" /><path d="M22 11v12l-8 6" fill="none" stroke="currentColor" stroke-width="3" /></>,
};
export const Sign = ({ kind }: { kind: string }) => <svg class="sign" viewBox="0 0 44 44" aria-hidden="true">{SIGNS[kind]}</svg>;

// What the coordinator answered to the press of this very button.
export function Said({ of }: { of: string }) {
  const said = store.said[of];
  if (!said) return null;
  const words = said.state === "pending" ? t("pending") : said.state === "not answered" ? said.text || t("notReached") : `${said.state}: ${said.text}`;
  return <small class={`said ${said.state === "done" || said.state === "pending" ? "" : "no"}`} role="status">{words}</small>;
}
interface ButtonProps { id: string; label: ComponentChildren; onPress: () => void; off?: boolean; why?: string; go?: boolean; name?: string; quiet?: boolean }
export function Button({ id, label, onPress, off, why, go, name, quiet }: ButtonProps) {
  return (
    <button type="button" class={`b${go ? " go" : ""}${quiet ? " quiet" : ""}`} disabled={off} title={off ? why : undefined} aria-label={name} onClick={onPress} data-act={id}>
      {label}
    </button>
  );
}
// Typed text lives in the store: an update of the page can never take it away.
export function Field({ id, label, size, mode, hint }: { id: string; label: string; size?: number; mode?: "decimal"; hint?: string }) {
  return (
    <label>{label} <input id={id} size={size ?? 10} inputMode={mode} placeholder={hint} value={store.typed[id] ?? ""}
      onInput={(event) => { store.typed[id] = event.currentTarget.value; }} /></label>
  );
}
export function useSize(): [{ current: HTMLDivElement | null }, number, number] {
  const ref = useRef<HTMLDivElement>(null);
  const [size, setSize] = useState<[number, number]>([0, 0]);
  useEffect(() => {
    const box = ref.current;
    if (!box) return undefined;
    const measure = () => setSize([box.clientWidth, box.clientHeight]);
    const watch = new ResizeObserver(measure);
    watch.observe(box);
    measure();
    return () => watch.disconnect();
  }, []);
  return [ref, size[0], size[1]];
}
