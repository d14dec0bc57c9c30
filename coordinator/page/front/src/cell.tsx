// The cell in plan: the program's own places and arms. What nobody has reported is not drawn.
import { type Arm, type Bolt, type Drawing, type Flat, type Snapshot, isEnded, store } from "./state";
import { laneSign, useSize } from "./parts";
import { doing, figures, place, t, torqueIn, torqueUnit, tOr } from "./words";

interface View { width: number; height: number; hex: number; flange: number; pipe: number; at: (point: Flat) => Flat }

// The joint is drawn larger than the arms around it: inside the flange one scale, outside another,
// the same in every direction.
function viewOf(drawing: Drawing, width: number, height: number): View {
  const edge_m = drawing.bolt_circle_radius_m + drawing.hex_m * 1.15;
  const edge = Math.min(0.3 * height, 0.205 * width);
  const inner = edge / edge_m, outer = (width / 2 - (width < 500 ? 16 : 34) - edge) / (drawing.extent_m - edge_m);
  const at = ([x, y]: Flat): Flat => {
    const far = Math.hypot(x, y), scale = far <= edge_m ? inner : (edge + outer * (far - edge_m)) / far;
    return [width / 2 + x * scale, height / 2 - y * scale];
  };
  const apart = (2 * Math.PI * drawing.bolt_circle_radius_m * inner) / drawing.bolts.length;
  const hex = Math.min((drawing.hex_m / Math.sqrt(3)) * inner * 1.1, apart * 0.36);
  return { width, height, hex, flange: edge, pipe: (drawing.pipe_radius_m ?? drawing.bolt_circle_radius_m * 0.55) * inner, at };
}
const path = (points: Flat[]) => points.map(([x, y], index) => `${index ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");
const between = (view: View, from: Flat, to: Flat) => path([view.at(from), view.at(to)]);
const hexagon = (x: number, y: number, size: number) => path(Array.from({ length: 6 }, (_, corner): Flat => {
  const turn = (Math.PI / 3) * corner + Math.PI / 6;
  return [x + size * Math.sin(turn), y + size * Math.cos(turn)];
})) + "Z";
function arc(x: number, y: number, size: number, share: number): string {
  if (share > 0.995) return `M${x} ${y - size}a${size} ${size} 0 1 1 -0.01 0Z`;
  const turn = share * 2 * Math.PI;
  return `M${x} ${y - size}A${size} ${size} 0 ${share > 0.5 ? 1 : 0} 1 ${(x + size * Math.sin(turn)).toFixed(1)} ${(y - size * Math.cos(turn)).toFixed(1)}`;
}

export function CellView({ now }: { now: Snapshot }) {
  const [ref, width, height] = useSize();
  const drawing = now.cell.drawing as Drawing;
  const known = "bolts" in drawing;
  return (
    <main id="cell" aria-label={t("cell")}>
      <div class="fill" ref={ref}>
        {width > 0 && height > 0 && known && <Plan now={now} drawing={drawing} view={viewOf(drawing, width, height)} />}
        {known ? null : <p class="nothing">{t("noCell")}</p>}
      </div>
    </main>
  );
}
function stage(bolt: Bolt): string { return t(`stage_${bolt.stage}` as "stage_pending", { round: bolt.round ?? 0 }); }

function Plan({ now, drawing, view }: { now: Snapshot; drawing: Drawing; view: View }) {
  const { width, height } = view, small = width < 500;
  const words = t("cellLabel", { arms: now.cell.arms.map((arm) => `${arm.side}: ${armWords(arm, now)}.`).join(" "), bolts: now.bolts.map((one) => `${one.bolt} ${stage(one)}`).join(", ") });
  return (
    <svg width={width} height={height} role="img" aria-label={words}>
      <Line now={now} view={view} />
      {Object.entries(drawing.sides).map(([side, one]) => <g key={side} class="places">
        {(["rack", "bin"] as const).map((name) => { const [x, y] = view.at(one[name]); return <g key={name}><circle cx={x} cy={y} r={small ? 6 : 11} />
          {small ? null : <text x={x} y={y + (name === "rack" ? 28 : -18)} class="t0 m mid">{name}</text>}</g>; })}
      </g>)}
      <Joint now={now} view={view} />
      {now.cell.arms.map((arm, index) => <ArmMark key={arm.side} arm={arm} index={index} now={now} view={view} drawing={drawing} />)}
      {now.bolts.map((bolt, index) => drawing.bolts[index] ? <BoltMark key={bolt.bolt} bolt={bolt} now={now} view={view} at={view.at(drawing.bolts[index])} /> : null)}
      {now.cell.arms.map((arm, index) => <ArmLabel key={arm.side} arm={arm} index={index} now={now} view={view} />)}
      {small ? null : <text x={width - 30} y={height - 28} class="t0 m end">{t("drawnLarger")}</text>}
    </svg>
  );
}
function Line({ now, view }: { now: Snapshot; view: View }) {
  const { width, height } = view, gap = width < 500 ? 8 : 16;
  const one = now.interlocks.find((lock) => lock.name === "person_on_floor") ?? now.interlocks.find((lock) => lock.kind === "trip");
  const value = one?.value ?? "unknown", kind = value === "good" ? "" : value === "unknown" ? "w" : "x";
  const word = value === "good" ? t("lineClear") : `▲ ${t(value === "unknown" ? "lineUnknown" : "lineNotClear")}`;
  const wide = word.length * (kind ? 8.4 : 7) + 20;
  return (
    <g class={`line ${kind}`}>
      <rect x={gap} y={gap} width={width - 2 * gap} height={height - 2 * gap} rx={16} />
      <rect x={width / 2 - wide / 2} y={height - gap - 9} width={wide} height={18} class="gap" />
      <text x={width / 2} y={height - gap + 4} class={`mid ${kind ? "bo" : "m"}`}>{word}</text>
    </g>
  );
}
function Joint({ now, view }: { now: Snapshot; view: View }) {
  const { width, height, flange, pipe } = view, [x, y] = [width / 2, height / 2], cell = now.cell, small = width < 500;
  const there = ["on_pins", "landed", "taken"].includes(cell.pipe), above = cell.pipe === "hangs";
  const hoist = now.interlocks.find((one) => one.name === "string_moving");
  const cover = cell.cover === null ? t("coverUnknown") : cell.cover.is_in ? t("cover") : "";
  const lines = [cell.pipe ? t(cell.pipe as "landed") : t("pipeUnknown"), cover || (there ? "" : t("noCover")), cell.pins.length ? `${t("pinIn")} ${cell.pins.join(", ")}` : ""].filter(Boolean);
  return (
    <g class="joint">
      <circle cx={x} cy={y} r={flange} class="flange" />
      <circle cx={x} cy={y} r={Math.hypot(...sub(view.at((cell.drawing as Drawing).bolts[0]!), [x, y]))} class="circle" />
      <circle cx={x} cy={y} r={pipe} class={there ? "pipe there" : above ? "pipe above" : "pipe"} />
      {there && <circle cx={x} cy={y} r={pipe * 0.88} class="pipe there" />}
      {cell.cover?.is_in && <path d={`M${x - pipe * 0.7} ${y - pipe * 0.7}L${x + pipe * 0.7} ${y + pipe * 0.7}M${x + pipe * 0.7} ${y - pipe * 0.7}L${x - pipe * 0.7} ${y + pipe * 0.7}`} class="cover" />}
      {lines.map((line, index) => <text key={line} x={x} y={y + 4 + (index - (lines.length - 1) / 2) * 18} class={`mid ${index ? "m" : ""} ${small ? "t0" : ""} halo`}>{line}</text>)}
      {cell.pins.map((hole) => { const spot = (cell.drawing as Drawing).bolts[hole - 1]; if (!spot) return null; const [px, py] = view.at(spot); return <circle key={hole} cx={px} cy={py} r={view.hex * 1.25} class="pin" />; })}
      {hoist && <g><g transform={`translate(${x - (small ? 46 : 70)} ${small ? height - 32 : 40})`} class="hoist">{laneSign(2, 0, 0, 6)}</g>
        <text x={x - (small ? 34 : 56)} y={small ? height - 27 : 45} class={hoist.value === "good" ? "m" : "wrn bo"}>{hoist.value === "good" ? t("hoistStands") : hoist.value === "unknown" ? `▲ ${t("hoistUnknown")}` : t("hoistMoves")}</text></g>}
    </g>
  );
}
const sub = (a: Flat, b: Flat): Flat => [a[0] - b[0], a[1] - b[1]];

function BoltMark({ bolt, now, view, at: [x, y] }: { bolt: Bolt; now: Snapshot; view: View; at: Flat }) {
  const lit = Object.values(now.pull.bolts).includes(bolt.bolt) && now.phase === "running";
  const asked = now.prompts.some((one) => one.about?.bolt === bolt.bolt);
  const failed = bolt.stage === "rejected" || bolt.stage === "not_decidable", bad = failed && isEnded(now), hex = view.hex, ring = hex * 1.42;
  const isIn = now.cell.bolts_in === null ? bolt.stage !== "out" : now.cell.bolts_in.includes(bolt.bolt);
  const side = Object.entries(now.pull.bolts).find(([, one]) => one === bolt.bolt)?.[0];
  const felt = side ? (now.pull.courses[side]?.at(-1)?.[1] ?? 0) : 0, top = Math.max(...now.bolts.map((one) => one.torque_nm ?? 0), now.pull.target_nm, 1);
  const share = lit && now.pull.target_nm ? Math.min(1, felt / top) : (bolt.share ?? 0);
  const kind = asked ? "w" : lit ? "lit" : bad ? "x" : bolt.stage;
  const mark = failed ? "✕" : bolt.stage === "checked" ? "✓" : bolt.stage === "by_hand" ? t("stage_by_hand") : "";
  const out = (view.flange + 13) / Math.max(1, Math.hypot(x - view.width / 2, y - view.height / 2));
  return (
    <g class={`bolt ${kind} ${isIn ? "" : "empty"}`}>
      {isIn && <circle cx={x} cy={y} r={ring} class="ring" />}
      {isIn && share > 0 && <path d={arc(x, y, ring, share)} class="share" />}
      {lit || asked ? <circle cx={x} cy={y} r={ring + 6} class="halo-ring" /> : null}
      {isIn ? <path d={hexagon(x, y, hex)} class="hex" /> : <circle cx={x} cy={y} r={hex * 0.72} class="hole" />}
      <text x={x} y={y + Math.min(hex * 0.42, 6)} class="mid bo" style={{ fontSize: `${Math.max(9, Math.min(16, hex * 0.95))}px` }}>{bolt.bolt}</text>
      {mark && <text x={view.width / 2 + (x - view.width / 2) * out} y={view.height / 2 + (y - view.height / 2) * out + 5} class="mid bo t2 word halo">{mark}</text>}
    </g>
  );
}
function armWords(arm: Arm, now: Snapshot): string {
  const lane = now.lanes.find((one) => one.name === arm.side);
  if (arm.goes_to) return t("goesTo", { place: place(arm.goes_to) });
  if (!arm.place) return t("placeUnknown");
  return lane?.act && !lane.is_waiting ? doing(lane.act) : t("atPlace", { place: place(arm.place) });
}
function ArmMark({ arm, index, now, view, drawing }: { arm: Arm; index: number; now: Snapshot; view: View; drawing: Drawing }) {
  const base = drawing.sides[arm.side]?.base, small = view.width < 500;
  if (!base) return null;
  const [bx, by] = view.at(base), lane = now.lanes.find((one) => one.name === arm.side);
  const asked = now.prompts.some((one) => one.side === arm.side), works = Boolean(lane?.act && !lane.is_waiting) && now.phase === "running" && !store.back;
  const kind = asked ? "w" : works ? "works" : "", links = arm.links, size = small ? 0.6 : 1;
  const reaction = arm.reaction_on && arm.place.startsWith("bolt.") ? drawing.bolts[arm.reaction_on - 1] : undefined;
  return (
    <g class={`arm ${kind} ${arm.goes_to ? "leaving" : ""}`}>
      {links && links.length === 5 && <>
        {reaction && <path d={between(view, links[4]!, reaction)} class="react" style={{ strokeWidth: `${10 * size}px` }} />}
        <Rod d={between(view, links[3]!, links[4]!)} wide={15 * size} kind="tool" />
        <Rod d={between(view, links[1]!, links[2]!)} wide={26 * size} kind="link" />
        <Rod d={between(view, links[2]!, links[3]!)} wide={18 * size} kind="link" />
        {[links[2]!, links[3]!].map((joint, place) => { const [x, y] = view.at(joint); return <circle key={place} cx={x} cy={y} r={5 * size} class="knuckle" />; })}
        {arm.place.startsWith("bolt.") && !arm.goes_to ? <Head at={view.at(links[4]!)} hex={view.hex} /> : null}
      </>}
      {index === 0 ? <circle cx={bx} cy={by} r={24 * size} class="base" /> : <rect x={bx - 22 * size} y={by - 22 * size} width={44 * size} height={44 * size} rx={3} class="base" />}
      <circle cx={bx} cy={by} r={12 * size} class="knuckle" />
      {arm.towards && links && <><path d={between(view, links[4]!, arm.towards)} class="way" />{(([x, y]) => <circle cx={x} cy={y} r={view.hex * 1.9} class="way" />)(view.at(arm.towards))}</>}
    </g>
  );
}
const Head = ({ at: [x, y], hex }: { at: Flat; hex: number }) => <circle cx={x} cy={y} r={hex * 1.95} class="head" />;
const Rod = ({ d, wide, kind }: { d: string; wide: number; kind: string }) => <g class={kind}><path d={d} class="edge" style={{ strokeWidth: `${wide}px` }} /><path d={d} class="core" style={{ strokeWidth: `${wide - 3}px` }} /></g>;

function ArmLabel({ arm, index, now, view }: { arm: Arm; index: number; now: Snapshot; view: View }) {
  const small = view.width < 500, right = index === 1, x = right ? view.width - (small ? 18 : 36) : small ? 18 : 36, anchor = right ? "end" : "";
  const y = small ? 34 : Math.max(58, view.height / 2 - view.flange - 40), lane = now.lanes.find((one) => one.name === arm.side);
  const asked = now.prompts.find((one) => one.side === arm.side), pulls = now.pull.bolts[arm.side] !== undefined;
  const works = Boolean(lane?.act && !lane.is_waiting) && now.phase === "running" && !isEnded(now);
  const nm = now.pull.courses[arm.side]?.at(-1)?.[1];
  const words = asked ? `▲ ${t("person")}` : armWords(arm, now);
  return (
    <g class="label">
      <g transform={`translate(${right ? x - 6 : x + 6} ${y - 5})`} class="m-ink">{laneSign(index, 0, 0)}</g>
      <text x={right ? x - 20 : x + 20} y={y} class={`m ${anchor}`}>{arm.side}{arm.tool ? ` · ${tOr(arm.tool, arm.tool)}` : ""}</text>
      {small ? null : <text x={x} y={y + 23} class={`${anchor} t2 bo ${asked ? "wrn" : works ? "act" : ""}`}>{words}</text>}
      {pulls && nm !== undefined && !small ? <text x={x} y={y + 54} class={`${anchor} t5 bo`}>{figures(torqueIn(nm))}<tspan class="t2 m unit"> {torqueUnit()}</tspan></text> : null}
    </g>
  );
}
