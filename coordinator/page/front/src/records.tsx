// The page of records: what was proved about each bolt, with its curve, and whether it is unaltered.
import { useEffect, useState } from "preact/hooks";
import type { Point, Pull, Snapshot } from "./state";
import { Curve } from "./charts";
import { plain, t, torque } from "./words";

interface Row { seq: number; bolt: number; kind: string; round: number; attempt: number; side: string; torque_nm: number | null; verdict: string; reasons: string[]; simulated: boolean; target_nm: number }
interface Full extends Row { trace_torque_nm: number[]; trace_angle_rad: number[]; trace_pressure_pa: number[] }
interface Chain { is_whole: boolean; rows: number; head: string; finding: string | null }

export function Records() {
  const [wanted, setWanted] = useState({ run: new URLSearchParams(location.search).get("run") ?? "", bolt: "", verdict: "" });
  const [runs, setRuns] = useState<string[]>([]), [rows, setRows] = useState<Row[] | null>(null), [fault, setFault] = useState("");
  const [chain, setChain] = useState<Chain | null>(null), [open, setOpen] = useState<Full | null>(null);
  const read = async () => {
    const query = new URLSearchParams(Object.entries(wanted).filter(([, value]) => value));
    const found = await (await fetch(`/api/records?${query}`)).json() as { records?: Row[]; error?: string };
    setFault(found.error ?? "");
    setRows(found.records ?? []);
    setChain(await (await fetch("/api/verify")).json() as Chain);
    const known = await (await fetch("/api/runs")).json() as { runs?: { run: string }[] };
    setRuns((known.runs ?? []).map((one) => one.run));
  };
  useEffect(() => { void read(); }, []);
  const show = async (seq: number) => { setOpen((await (await fetch(`/api/records/${seq}`)).json() as { record: Full }).record); };
  return (
    <main id="records-page" tabIndex={-1}>
      <h1>{t("recordsOf")}</h1>
      <p id="chain" role="status" class={chain && !chain.is_whole ? "bad" : ""}>{chain ? (chain.is_whole ? t("chainWhole", { rows: chain.rows, head: chain.head.slice(0, 16) }) : `▲ ${t("altered", { finding: chain.finding ?? "" })}`) : ""}</p>
      <form class="row" onSubmit={(event) => { event.preventDefault(); void read(); }}>
        <label>{t("run")} <select value={wanted.run} onChange={(event) => setWanted({ ...wanted, run: event.currentTarget.value })}><option value="">{t("allRuns")}</option>{runs.map((one) => <option key={one}>{one}</option>)}</select></label>
        <label>{t("bolts")} <input inputMode="numeric" size={4} value={wanted.bolt} onInput={(event) => setWanted({ ...wanted, bolt: event.currentTarget.value })} /></label>
        <label>{t("verdict")} <select value={wanted.verdict} onChange={(event) => setWanted({ ...wanted, verdict: event.currentTarget.value })}><option value="">{t("any")}</option>{["accepted", "rejected", "not_decidable"].map((one) => <option key={one} value={one}>{plain(one)}</option>)}</select></label>
        <button type="submit" class="b">{t("show")}</button>
        {wanted.run ? ["pdf", "html"].map((one) => <a key={one} class="b" href={`/api/certificates/${encodeURIComponent(wanted.run)}.${one}`}>{t("certificate")} {one}</a>) : null}
      </form>
      {fault ? <p class="bad">▲ {fault}</p> : null}
      <div class="two">
        <div class="scroll" tabIndex={0} role="region" aria-label={t("records")}>
          {rows?.length ? <table><thead><tr>{[t("number"), t("at"), t("kind"), t("round"), t("attempt"), t("side"), t("torque"), t("verdict")].map((one, index) => <th key={one} scope="col">{index === 1 ? t("bolt", { bolt: "" }) : one}</th>)}<th scope="col"><span class="unseen">+</span></th></tr></thead>
            <tbody>{rows.map((one) => <tr key={one.seq} class={one.verdict === "accepted" ? "" : "abnormal"}><td><button type="button" class="link" onClick={() => void show(one.seq)}>{one.seq}</button></td><td>{one.bolt}</td><td>{one.kind}</td><td>{one.round || ""}</td><td>{one.attempt}</td><td>{one.side}</td>
              <td>{one.torque_nm === null ? "" : torque(one.torque_nm)}</td><td>{one.verdict === "accepted" ? "" : "▲ "}{plain(one.verdict)}</td><td>{[...one.reasons, one.simulated ? t("simulated") : ""].filter(Boolean).join(", ")}</td></tr>)}</tbody></table>
            : rows ? <p>{t("noRecords")}</p> : null}
        </div>
        {open ? <Trace one={open} /> : null}
      </div>
    </main>
  );
}
function Trace({ one }: { one: Full }) {
  const course = one.trace_torque_nm.map((nm, place): Point => [((one.trace_angle_rad[place] ?? 0) * 180) / Math.PI, nm, null]);
  const pull = { courses: { [one.side]: course }, bolts: {}, target_nm: one.target_nm } as unknown as Pull;
  const now = { lanes: [{ name: one.side, is_arm: true }] } as unknown as Snapshot;
  return <section id="record" aria-label={t("record", { seq: one.seq, bolt: one.bolt, kind: one.kind })}><h2>{t("record", { seq: one.seq, bolt: one.bolt, kind: one.kind })}</h2><p>{one.torque_nm === null ? "" : torque(one.torque_nm)}, {plain(one.verdict)} {one.reasons.join(", ")}</p>{course.length ? <Curve now={now} pull={pull} /> : null}</section>;
}
