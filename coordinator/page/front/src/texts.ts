// Every text of the console that does not come with the state of the run. A site adds a language by
// adding a catalogue of the same keys to `LANGUAGES`; a missing key does not compile.
export const en = {
  // Frame
  hold: "HOLD", key: "key H", holdInForce: "in force", holdAsked: "asked…", holdNotAnswered: "NOT ANSWERED",
  notStarted: "not started", runEnded: "run ended", holdLive: "the live run", signIn: "Sign in", signOut: "Sign out", name: "Name",
  phrase: "Pass phrase", lookingOnly: "looking only", operator: "operator {who}", records: "Records",
  console: "Console", toGo: "{span} to go", faster: "×{speed}", caution: "Holds are operational. Keep outside the line; local codes rule.",
  now: "now", sides: "sides", cell: "the cell", asked: "what is asked", time: "time", more: "More",
  skip: "Skip to what is asked",
  connecting: "No word from the run yet.", connectingMore: "What it does is not known here.",
  staleTitle: "Nothing heard for {span}.",
  staleMore: "What is shown is old and may be wrong. Look at the arms and the terminal of the run; HOLD is still sent.",
  notReached: "This page is not reached. Use the site's own means.",
  endedMore: "This is how it stood at its end.",
  // Phases
  idle: "Not started", running: "Running", pausing: "Pausing", paused: "Paused", holding: "Coming to a hold",
  held: "Held", restarting: "Restarting", complete: "Complete", stopping: "Stopping", stopped: "Stopped",
  aborting: "Aborting", aborted: "Aborted", runningAsks: "Running, {side} asks",
  // Now
  nowPair: "{sides} pull bolts {bolts} together.", nowWaiting: "Everybody waits.", nowReady: "Ready to start.",
  nowNotReady: "Not ready to start.", nowAsked: "{side} asks: {fault} at {about}.", nowAskedPlain: "{side} asks: {fault}.",
  nowHoldPoint: "{side} waits at a hold point.", nowHeld: "Held: {reason}.", plainReason: "{reason}.", nowHolding: "Coming to a hold: {reason}.",
  nowPaused: "Paused.", nowTripped: "Held: {cause}.", nowBlocked: "Held: {cause}.", nowLost: "{sides} not heard on the bus.",
  nowStep: "Waits for your word for the next step.", nowAccepted: "Finished: every bolt accepted.",
  nowRejected: "Finished, not accepted: {bolts}.", manyBolts: "bolts {bolts}", nowRejectedPlain: "Finished, not accepted.", openPoints: "what is missing ({count})", notAcceptedHere: "The joint is not accepted.", nowComplete: "Finished.", nowStopped: "Stopped: {reason}.",
  nowAborted: "Aborted: {reason}.", nowRestarting: "Restarting: the arms get ready.", nowPausing: "Pausing: steps under way end first.",
  nowStopping: "Stopping.", nowAborting: "Aborting.",
  nothingToDo: "Nothing for you to do.", answerRight: "answer at the right →", answerBelow: "answer below ↓",
  chooseHow: "Choose how it goes on.", since: "Asked at {at}.", nobodyHeld: "hold",
  openBolts: "{count} of {all} bolts not proved.", allBolts: "{count} bolts, each with its records.",
  whatToDo: "What to do: {action}.", restartAfter: "Nothing moves until a person restarts.",
  noPlace: "Look at the arm itself.",
  // Acts
  start: "Start", pause: "Pause", resume: "Resume", reset: "Reset", restart: "Restart", stop: "Stop…", abort: "Abort…",
  yesStop: "Yes, stop", yesAbort: "Yes, abort", no: "No", moreAct: "More…", close: "Close",
  askStop: "All arms hold, then the run ends as stopped. It cannot be restarted.",
  askAbort: "All arms hold, then the run ends as aborted, with the tools where they are. It cannot be restarted.",
  pending: "asked, not answered yet", signInFirst: "Sign in to act.",
  // Sides
  heard: "heard {age} ago", notOnBus: "not on the bus", faulted: "fault", waitsFor: "waits for {what}", then: "then {what}",
  of: "{done} of {all}", done: "done", idleSide: "stands", standsHeld: "held, stands", missedTo: "{count} messages never reached {party}",
  missedFrom: "{count} messages of {party} never came", waits: "waits", person: "waits for you",
  // Cell
  line: "the line", lineClear: "the line: clear", lineNotClear: "the line: NOT clear", lineUnknown: "the line: not known",
  placeUnknown: "place not known", goesTo: "on its way to {place}", atPlace: "at {place}", wasAt: "last known at {place}",
  drawnLarger: "joint drawn larger than the arms", cover: "bore cover in", noCover: "bore open", coverUnknown: "cover not known",
  pinIn: "pin", hangs: "length hangs above", on_pins: "length on the pins", landed: "length landed", taken: "string on the hoist",
  lifted: "length lifted off", away: "no length here", pipeUnknown: "length not known", hoistMoves: "hoist moves the string",
  hoistStands: "string stands", hoistUnknown: "string not known", noCell: "No plan of this cell is known here.",
  park: "its park place", rack: "its tool rack", bin: "its bin", bore: "the bore", joint: "the joint, looking", bolt: "bolt {bolt}",
  cellLabel: "Plan of the cell. {arms} Bolts: {bolts}.",
  stage_pending: "pending", stage_run_up: "run up", stage_round: "round {round}", stage_checked: "accepted",
  stage_by_hand: "by hand", stage_interrupted: "broken off", stage_rejected: "rejected", stage_not_decidable: "not decidable", stage_loose: "loose", stage_out: "out",
  // Pull
  pullTitle: "Round {round} of {rounds}", lastPull: "Last pull", pullBolts: "bolts {bolts}", noPull: "Nobody has pulled yet.",
  noPullNow: "Nobody pulls now. Last pull:", target: "target {torque}", apart: "{apart} apart, {band} allowed",
  apartUnknown: "difference not known, {band} allowed", noBand: "the span has no band", curve: "torque over total angle",
  sideBolt: "{side}, bolt {bolt}", raceLabel: "Torque of both sides: {words}", tooFar: "TOO FAR APART",
  // Asked
  prompt: "{side}: {fault}", promptOf: "{n} of {all}", evidence: "Measured at {at}.", causes: "What may be behind it ({count})",
  cause: "{text}. Sign: {sign}. Way on: {way} ({retried}).", noLookAhead: "no look-ahead was made",
  opensHeld: "opens when both arms stand: HOLD first", takeIt: "Take it", yours: "{who} has this prompt.", nobodys: "Nobody has taken this prompt.",
  torqueByHand: "Check torque by hand, {unit}", doneBy: "Done by", badTorque: "torque is '{given}', must be a number", lookAhead: "look-ahead",
  // Alarms
  alarms: "Alarms", firstOut: "FIRST OUT", acknowledge: "Acknowledge", ackLabel: "Acknowledge {name}", alarmSince: "for {span}",
  noAlarms: "No alarms.",
  // Start, held, end
  beforeStart: "Before the start", parties: "{party} answers", willDo: "What it will do", targets: "target", pairs: "pairs", heldTitle: "To go on",
  stepLook: "See that the floor is clear", stepLookMore: "with your own eyes", stepReset: "Reset", stepResetMore: "takes the latch off; moves nothing",
  stepRestart: "Restart", stepRestartMore: "looks again at what is owed, then goes on", howItStands: "How it stands", accepted: "Accepted",
  notAccepted: "Not accepted", ended: "Ended", boltTable: "every bolt", torqueReached: "torque, share of target", preload: "load by torque {low} to {high} kN", certificate: "Certificate", story: "Holds",
  // More
  modes: "Mode", automatic: "automatic", step: "one step at a time", to_barrier: "to the next barrier", manual: "manual", modeNow: "Mode: {mode}", nextStep: "next step",
  nextStepOf: "next step of {lane}", overrides: "Overrides in force", override: "Set an interlock aside", interlock: "Interlock", minutes: "Minutes",
  why: "Why", setAside: "Set aside", endIt: "End it", endLabel: "End the override of {name}", endsIn: "ends in {span}", by: "by {who}: {why}",
  barriers: "Barriers", noBarrier: "Nobody waits at a barrier.", interlocks: "Interlocks", notices: "Notices", noHolds: "Nothing has been held.", latched: "latched, wants a reset",
  neverHeard: "never heard", barrierParty: "{party}: {state} since {at}", timeLeft: "{span} left", overridesShort: "{count} override in force", overridesMany: "{count} overrides in force",
  display: "Display", units: "Units", si: "N·m, MPa, mm", us: "lbf·ft, psi, in", sound: "Sound for prompt, hold and alarm", language: "Language",
  bolts: "Bolts", side: "side", state: "state", torque: "torque", at: "at",
  // Time
  looking: "Looking back: {at}", backToNow: "Back to now", nowFlag: "now {at}", stripLabel: "Time of the lanes; now {at}. Arrow keys look back.", cannotAct: "Nothing of this happens now; acts are off. HOLD holds the live run.",
  playBack: "Step back", playOn: "Step on", link: "Link to this moment",
  // Records
  allRuns: "all", run: "Run", verdict: "Verdict", any: "any", show: "Show", chainWhole: "chain whole, {rows} rows, head {head}", altered: "The records were altered: {finding}",
  noRecords: "No records fit.", kind: "kind", round: "round", attempt: "try", number: "no", record: "Record {seq}: bolt {bolt}, {kind}", simulated: "simulated", recordsOf: "Records of bolts",
  runs: "Runs", noRuns: "No run is kept here.", live: "live", openRun: "open",
};
export type Key = keyof typeof en;
export type Catalogue = Record<Key, string>;

export const actionsEn: Record<string, string> = {
  park: "goes to its park place", change_tool: "fetches the {tool}", fit_cover: "fits the bore cover", take_cover: "takes the bore cover out",
  fit_pin: "fits the guide pin in hole {hole}", take_pin: "takes the guide pin out of hole {hole}", locate_joint: "looks where the joint stands",
  locate_hole: "looks for hole {bolt}", locate_bolt: "looks for bolt {bolt}", turn_socket: "turns its socket for bolt {bolt}", pick_bolt: "picks bolt {bolt}",
  place_bolt: "places bolt {bolt}", run_up: "runs up bolt {bolt}", let_go: "lets go of bolt {bolt}", lift: "lifts its tool", index_socket: "turns its socket on",
  back_off: "backs bolt {bolt} off", seat_wrench: "seats the wrench on bolt {bolt}", react: "reacts on bolt {on}", pull: "pulls bolt {bolt}",
  confirm_torque: "confirms bolt {bolt}", check_torque: "checks bolt {bolt}", lift_wrench: "lifts the wrench off bolt {bolt}", turn_wrench_over: "turns the wrench over",
  break_loose: "breaks bolt {bolt} loose", back_out: "backs bolt {bolt} out", stow_bolt: "stows bolt {bolt}", bring_length: "brings the next length",
  stab_length: "lowers the length over the pins", land_length: "lands the length", take_string: "takes the string", set_down_string: "sets the string down", lift_length: "lifts the length off",
};

export interface Language { name: string; texts: Catalogue; actions: Record<string, string>; and: string }
export const LANGUAGES: Record<string, Language> = { en: { name: "English", texts: en, actions: actionsEn, and: " and " } };
