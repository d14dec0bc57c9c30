// Time: each lane a row of boxes, barriers across, alarms as marks, and now. Dragging looks back.
import { useRef } from "preact/hooks";
import { type Segment, type Snapshot, type Strip, isEnded, lookBack, store } from "./state";
import { useSize } from "./parts";
import { clock, plain, t } from "./words";

const BOX = 18;
export function Time({ live }: { live: Snapshot }) {
  const [ref, width, height] = useSize();
  const strip = live.strip;
  return (
    <section id="time" aria-label={t("time")}>
      <div class="side-note">
        <div class="lane-names">{live.lanes.map((one) => <div key={one.name}>{one.name}</div>)}</div>
        <p class="caution">{t("caution")}</p>
      </div>
      <div class="strip" ref={ref}>{width > 0 && strip ? <Rows live={live} strip={strip} width={width} height={height} /> : null}</div>
    </section>
  );
}
function Rows({ live, strip, width, height }: { live: Snapshot; strip: Strip; width: number; height: number }) {
  const held = useRef(false), small = width < 480, ahead = live.ahead ?? null, shown = store.back ?? live;
  const end = Math.max(live.at_s, ...(ahead?.segments ?? []).map((one) => one.end_s), 60) * 1.005, left = 10, right = small ? 10 : 30;
  const x = (at: number) => left + (at / end) * (width - left - right), row = Math.min(30, Math.max(22, (height - 76) / Math.max(strip.lanes.length, 1))), top = 32, floor = top + row * strip.lanes.length;
  const at = (event: PointerEvent) => { const box = (event.currentTarget as Element).getBoundingClientRect(); return ((event.clientX - box.left - left) / (width - left - right)) * end; };
  const drag = (event: PointerEvent) => { const moment = at(event); void lookBack(moment >= live.at_s - end * 0.004 ? null : moment); };
  const keys = (event: KeyboardEvent) => {
    const from = shown.at_s, step = event.shiftKey ? 60 : 10;
    const next: Record<string, number | null> = { ArrowLeft: from - step, ArrowRight: from + step, Home: 0, End: null };
    if (!(event.key in next)) return;
    event.preventDefault();
    const wanted = next[event.key] ?? null;
    void lookBack(wanted !== null && wanted >= live.at_s ? null : wanted);
  };
  const flags = [{ at: live.at_s, text: isEnded(live) ? clock(live.at_s) : t("nowFlag", { at: clock(live.at_s) }), kind: store.back ? "was" : isEnded(live) ? "over" : live.now.tone === "bad" ? "bad" : "now" },
    ...(store.back ? [{ at: store.back.at_s, text: `◂ ${clock(store.back.at_s)} ▸`, kind: "back" }] : [])];
  let labelled = -99;
  return (
    <svg width={width} height={height} role="slider" tabIndex={0} aria-label={t("stripLabel", { at: clock(live.at_s) })} aria-valuemin={0} aria-valuemax={Math.round(live.at_s)} aria-valuenow={Math.round(shown.at_s)} aria-valuetext={clock(shown.at_s)}
      onKeyDown={keys} onPointerDown={(event) => { held.current = true; (event.currentTarget as Element).setPointerCapture(event.pointerId); drag(event); }} onPointerMove={(event) => { if (held.current) drag(event); }} onPointerUp={() => { held.current = false; }}>
      <defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path d="M0 0V6" class="hatch" /></pattern></defs>
      {(ahead?.segments ?? []).map((one, index) => <Box key={`a${index}`} one={one} x={x} y={top + one.lane * row + (row - BOX) / 2} kind="ahead" from={live.at_s} strip={ahead!} />)}
      {strip.segments.map((one, index) => <Box key={index} one={one} x={x} y={top + one.lane * row + (row - BOX) / 2} kind={one.end_s >= live.at_s && !isEnded(live) && one.kind === "work" && live.phase === "running" && !store.back ? "live" : "past"} from={0} strip={strip} />)}
      {[...strip.barriers, ...(ahead?.barriers ?? []).filter((one) => one.at_s > live.at_s)].map((one, index) => {
        const at = x(one.at_s), past = one.at_s <= live.at_s, first = Math.min(...one.lanes), lastLane = Math.max(...one.lanes);
        if (one.is_pair) return <path key={index} d={`M${at} ${top + first * row + row / 2 + BOX / 2}V${top + lastLane * row + row / 2 - BOX / 2}`} class={`tick ${past ? "" : "ahead"}`} />;
        const wide = one.name.length * 3.2, fits = at - wide > labelled + 8 && at - wide >= 0 && at + wide < width;
        if (fits) labelled = at + wide;
        return <g key={index} class={`barrier ${past ? "" : "ahead"}`}><path d={`M${at - 1.75} ${top - 4}V${floor}M${at + 1.75} ${top - 4}V${floor}`} />
          {one.lanes.map((lane) => <path key={lane} d={`M${at} ${top + lane * row + row / 2 - 6}l6 6-6 6-6-6z`} class="diamond" />)}{fits ? <text x={at} y={top - 10} class="t0 m mid">{plain(one.name)}</text> : null}</g>;
      })}
      {ticks(end, small ? 4 : 8).filter((one) => flags.every((flag) => Math.abs(x(one) - x(flag.at)) > 60)).map((one) => <g key={one}><path d={`M${x(one)} ${floor + 2}v4`} class="axis" /><text x={x(one)} y={floor + 20} class={`t0 m ${one ? "mid" : ""}`}>{clock(one)}</text></g>)}
      {store.back ? <rect x={x(store.back.at_s)} y={top - 4} width={Math.max(0, x(live.at_s) - x(store.back.at_s))} height={floor - top + 4} class="beyond" /> : null}
      {strip.marks.map((one, index) => <path key={index} d={`M${x(one.at_s)} ${top + Math.max(one.lane, 0) * row + row / 2 - 8}l9 16h-18z`} class={`mark ${one.severity}`}><title>{`${clock(one.at_s)} ${one.text}`}</title></path>)}
      {flags.map((flag) => { const wide = flag.text.length * 6.8 + 14, fx = Math.min(Math.max(x(flag.at) - wide / 2, 0), width - wide); return <g key={flag.kind} class={`flag ${flag.kind}`}><path d={`M${x(flag.at)} ${top - 10}V${floor + 4}`} /><rect x={fx} y={floor + 4} width={wide} height={20} rx={3} /><text x={fx + wide / 2} y={floor + 18} class="t0 bo mid">{flag.text}</text></g>; })}
    </svg>
  );
}
function Box({ one, x, y, kind, from, strip }: { one: Segment; x: (at: number) => number; y: number; kind: string; from: number; strip: Strip }) {
  const begin = x(Math.max(one.begin_s, from)), wide = x(one.end_s) - begin;
  if (one.kind === "wait" || one.kind === "idle") return wide > 6 ? <path d={`M${begin + 3} ${y + BOX / 2}H${begin + wide - 3}`} class="dots" /> : null;
  const inset = strip.barriers.some((barrier) => !barrier.is_pair && Math.abs(x(barrier.at_s) - begin) < 8) ? 13 : 6, fits = one.label.length * 6.4 + 6 + inset < wide;
  return <g class={`box ${kind} ${one.kind}`}><rect x={begin + 0.5} y={y} width={Math.max(1, wide - 1)} height={BOX} rx={2} />{fits ? <text x={begin + inset} y={y + 13} class="t0">{one.label}</text> : null}</g>;
}
function ticks(end: number, count: number): number[] {
  const step = [10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200].find((one) => end / one <= count) ?? 14400;
  return Array.from({ length: Math.floor(end / step) + 1 }, (_, index) => index * step);
}
