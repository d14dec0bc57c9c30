// The pull in figures: two bars on one scale, and torque over total angle.
import type { Point, Pull, Snapshot } from "./state";
import { laneSign, useSize } from "./parts";
import { capital, figures, t, torque, torqueIn, torqueUnit } from "./words";

const order = (now: Snapshot) => now.lanes.filter((one) => one.is_arm).map((one) => one.name);
const last = (course: Point[] | undefined) => course?.at(-1)?.[1] ?? 0;

export function Race({ now, pull }: { now: Snapshot; pull: Pull }) {
  const [ref, width] = useSize();
  const sides = order(now), values = sides.map((side) => last(pull.courses[side]));
  const top = Math.max(pull.target_nm * 1.12, ...values, 1), x = (nm: number) => (nm / top) * width;
  const [most, least] = [Math.max(...values), Math.min(...values)], bar = 22, row = 26 + bar + 6, first = 20, bottom = first + sides.length * row;
  const live = Object.keys(pull.bolts).length > 0, banded = pull.is_paired && pull.balance_nm > 0;
  const words = sides.map((side, index) => `${side} ${torque(values[index] ?? 0)}`).join(", "), apart = figures(torqueIn(most - least));
  return (
    <div class="race" ref={ref}>
      {width > 0 && <svg width={width} height={bottom + 26} role="img" aria-label={t("raceLabel", { words: `${words}; ${pull.words}` })}>
        {sides.map((side, index) => {
          const y = first + index * row + 26, value = values[index] ?? 0;
          return (
            <g key={side}>
              <g transform={`translate(0 ${y - 19})`} class={live && pull.bolts[side] ? "act" : "m"}>{laneSign(index)}</g>
              <text x={22} y={y - 7} class="bo">{pull.bolts[side] ? t("sideBolt", { side, bolt: pull.bolts[side] ?? 0 }) : side}</text>
              <text x={Math.max(Math.min(x(value), width), 190)} y={y - 6} class="t3 bo end">{figures(torqueIn(value))}</text>
              <rect x={0} y={y} width={width} height={bar} class="track" />
              {banded && <rect x={x(least)} y={y} width={Math.max(0, Math.min(x(least + pull.balance_nm), width) - x(least))} height={bar} class="band" />}
              <rect x={0} y={y} width={x(value)} height={bar} class={live && pull.bolts[side] ? "lit" : "past"} />
            </g>
          );
        })}
        {pull.target_nm > 0 && <>
          <path d={`M${x(pull.target_nm)} ${first - 4}V${bottom - 2}`} class="aim" />
          <text x={Math.min(x(pull.target_nm) + 4, width)} y={12} class="t0 end">{t("target", { torque: torque(pull.target_nm) })}</text>
        </>}
        <text x={0} y={bottom + 16} class={pull.is_wide ? "bad bo" : "m"}>{pull.is_wide ? `▲ ${t("tooFar")}: ` : ""}{pull.is_paired ? (banded ? t("apart", { apart, band: torque(pull.balance_nm) }) : t("noBand")) : ""}</text>
      </svg>}
    </div>
  );
}

export function Curve({ now, pull }: { now: Snapshot; pull: Pull }) {
  const [ref, width, height] = useSize();
  const sides = order(now), points = sides.flatMap((side) => pull.courses[side] ?? []);
  const angleMax = niceTop(Math.max(5, ...points.map((one) => one[0] ?? 0))), torqueMax = Math.max(pull.target_nm * 1.08, ...points.map((one) => one[1]), 1);
  const left = 46, x = (angle: number) => left + (angle / angleMax) * (width - left - 10), y = (nm: number) => height - 22 - (nm / torqueMax) * (height - 40);
  const steps = [0, 0.25, 0.5, 0.75, 1].map((share) => angleMax * share);
  return (
    <div class="curve" ref={ref}>
      {width > 0 && height > 60 && <svg width={width} height={height} role="img" aria-label={`${t("curve")}: ${sides.map((side) => `${side} ${torque(last(pull.courses[side]))}`).join(", ")}`}>
        {[1 / 3, 2 / 3].map((share) => <g key={share}><path d={`M${left} ${y(pull.target_nm * share)}H${width}`} class="grid" />
          <text x={left - 6} y={y(pull.target_nm * share) + 4} class="t0 m end">{figures(torqueIn(pull.target_nm * share))}</text></g>)}
        {pull.target_nm > 0 && <><path d={`M${left} ${y(pull.target_nm)}H${width}`} class="aim" /><text x={left - 6} y={y(pull.target_nm) + 4} class="t0 bo end">{figures(torqueIn(pull.target_nm))}</text></>}
        <path d={`M${left} ${y(0)}H${width}`} class="axis" />
        {steps.map((angle) => <text key={angle} x={x(angle)} y={height - 4} class={`t0 m ${angle === angleMax ? "end" : "mid"}`}>{Number(angle.toFixed(1))}°</text>)}
        {sides.map((side, index) => {
          const course = pull.courses[side] ?? [], end = course.at(-1);
          if (!end) return null;
          const path = course.map((one, place) => `${place ? "L" : "M"}${x(Math.max(0, one[0] ?? 0)).toFixed(1)} ${y(Math.max(0, one[1])).toFixed(1)}`).join("");
          return <g key={side} class={pull.bolts[side] ? "act" : "m"}><path d={path} class="course" stroke-dasharray={index ? "6 4" : undefined} />
            <g class="knob">{laneSign(index, x(Math.max(0, end[0] ?? 0)), y(end[1]), 4.5)}</g></g>;
        })}
      </svg>}
    </div>
  );
}
function niceTop(value: number): number {
  const size = 10 ** Math.floor(Math.log10(value));
  return size * ([1, 1.2, 1.6, 2, 2.4, 3.2, 4, 6, 8, 10].find((one) => one * size >= value) ?? 10);
}
export function PullBox({ now }: { now: Snapshot }) {
  const pull = now.pull, bolts = Object.values(pull.bolts), has = Object.keys(pull.courses).length > 0;
  const title = bolts.length ? (pull.round ? t("pullTitle", { round: pull.round, rounds: pull.rounds }) : t("pullBolts", { bolts: bolts.join(" · ") })) : has ? t("noPullNow") : t("noPull");
  return (
    <div class="pull">
      <h2>{title}</h2>
      <p class="s">{bolts.length && pull.round ? capital(t("pullBolts", { bolts: bolts.join(" · ") })) : ""}{bolts.length && !pull.is_paired ? ` ${pull.words}` : ""}</p>
      {has && <><Race now={now} pull={pull} /><h3>{t("curve")}, {torqueUnit()}</h3><Curve now={now} pull={pull} /></>}
    </div>
  );
}
