"""Drive benches without shell, bus or coordinator: waits are summed, facts are told at once."""

import math
import random
from collections.abc import Sequence

from coordinator.wire.messages import Value
from sim_arms.activities import Bench, HoistBench, begin
from sim_arms.activity import Activity, ActivityFault, Done, HoldAsked, Wait
from sim_arms.causes import Cause, Causes
from sim_arms.steel import Steel, SteelConfig

SIDES = ("fore", "aft")
TARGET_N = 52.5e3 * 6894.757293168361 * 2.771 * 0.0254**2  # 50 % of the yield of B7, 2-8UN.


def steel_config(begins: str = "open", bolt_count: int = 8) -> SteelConfig:
    """Return the steel of the 16-inch airlift joint, or one like it with another count of bolts."""
    half = bolt_count // 2
    return SteelConfig(
        bolt_count=bolt_count,
        pitch_m=0.0254 / 8,
        major_diameter_m=0.0508,
        pitch_diameter_m=(2.0 - 0.649519 / 8) * 0.0254,
        engagement_m=0.060,
        grip_m=0.210,
        bolt_circle_radius_m=0.3015,
        tensile_area_m2=2.771 * 0.0254**2,
        youngs_pa=205e9,
        yield_pa=105e3 * 6894.757293168361,
        friction=0.07,
        across_flats_m=3.125 * 0.0254,
        sides=SIDES,
        side_of_bolt=("fore",) * half + ("aft",) * half,
        begins=begins,
        preload_n=TARGET_N if begins == "made_up" else 0.0,
    )


class Rig:
    """Two arms and a hoist, each with its own replica of the steel, in one time."""

    def __init__(
        self, *causes: Cause, begins: str = "open", seed: int = 1, bolt_count: int = 8
    ) -> None:
        self.time_s = 0.0
        config = steel_config(begins, bolt_count)
        self.arms = {
            side: Bench(side, Steel(config, seed), Causes(causes), _dice(seed, side), self.now_s)
            for side in SIDES
        }
        self.hoist = HoistBench(
            Steel(config, seed), Causes(causes), _dice(seed, "hoist"), self.now_s
        )
        self.waits: list[Wait] = []

    def now_s(self) -> float:
        """Return the time."""
        return self.time_s

    def do(self, party: str, action: str, /, **takes: Value) -> Done:
        """Let one party do an action to its end."""
        activity = self.begin(party, action, **takes)
        while True:
            wait = self.step(activity)
            if isinstance(wait, Done):
                return wait
            self.time_s += wait.duration_s

    def fault_of(self, party: str, action: str, /, **takes: Value) -> ActivityFault:
        """Let one party do an action that must fault, and return the fault."""
        try:
            done = self.do(party, action, **takes)
        except ActivityFault as fault:
            self.tell()
            return fault
        raise AssertionError(f"{action} ended well: {done}")

    def hold(
        self, party: str, action: str, /, after_s: float, on_hold: str, **takes: Value
    ) -> Done | HoldAsked:
        """Hold an action after a time and let it come to rest."""
        activity = self.begin(party, action, on_hold, **takes)
        end_s = self.time_s + after_s
        wait = self.step(activity)
        while isinstance(wait, Wait) and self.time_s + wait.duration_s < end_s:
            self.time_s += wait.duration_s
            wait = self.step(activity)
        self.time_s = end_s
        try:
            wait = activity.throw(HoldAsked(on_hold))
            self.waits.append(wait)
            while isinstance(wait, Wait):
                self.time_s += wait.duration_s
                wait = self.step(activity)
        except HoldAsked as hold:
            self.tell()
            return hold
        return wait

    def together(self, *jobs: tuple[str, str, dict[str, Value]]) -> list[Done]:
        """Let parties begin at the same time and go on side by side; return their results."""
        running = [
            (self.begin(party, action, **takes), self.time_s) for party, action, takes in jobs
        ]
        done: dict[int, Done] = {}
        due = [start_s for _, start_s in running]
        while len(done) < len(running):
            index = min((i for i in range(len(due)) if i not in done), key=lambda i: due[i])
            self.time_s = due[index]
            wait = self.step(running[index][0])
            if isinstance(wait, Done):
                done[index] = wait
            else:
                due[index] += wait.duration_s
        return [done[i] for i in range(len(running))]

    def begin(self, party: str, action: str, on_hold: str = "stop", /, **takes: Value) -> Activity:
        """Take up an action."""
        bench = self.hoist if party == "hoist" else self.arms[party]
        return begin(action, takes, bench, on_hold)

    def step(self, activity: Activity) -> Wait | Done:
        """Take one step and tell everybody what it changed."""
        try:
            wait = next(activity)
        except StopIteration as stop:
            self.tell()
            done: Done = stop.value
            return done
        self.tell()
        self.waits.append(wait)
        return wait

    def tell(self) -> None:
        """Tell every replica what the others wrote."""
        steels = [*(bench.steel for bench in self.arms.values()), self.hoist.steel]
        for writer in steels:
            changes = writer.take_changes()
            for reader in steels:
                if reader is not writer:
                    reader.apply(changes)

    def loads_n(self) -> tuple[float, ...]:
        """Return the loads as fore's replica has them."""
        return self.arms["fore"].steel.settled().loads_n

    def bolt_in(self, party: str, bolt: int) -> None:
        """Fit one bolt, from the bin to its shoulder."""
        for action in ("locate_hole", "locate_bolt", "turn_socket", "pick_bolt", "place_bolt"):
            self.do(party, action, bolt=bolt)
        self.do(party, "run_up", bolt=bolt)
        self.do(party, "let_go", bolt=bolt)

    def wrench_on(self, party: str, bolt: int, on: int) -> None:
        """Seat the wrench of an arm on a bolt and bring its reaction onto another."""
        self.do(party, "seat_wrench", bolt=bolt)
        self.do(party, "react", bolt=bolt, on=on)

    def fill(self, bolts: Sequence[int] | None = None) -> None:
        """Put bolts into their holes at snug, without the time that it takes."""
        config = self.hoist.steel.config
        for bolt in bolts or range(1, config.bolt_count + 1):
            steel = self.arms[config.side_of_bolt[bolt - 1]].steel
            steel.write(f"bolt.{bolt}.where", "hole")
            steel.write(f"bolt.{bolt}.turns", steel.shoulder_turns)
            steel.write(f"bolt.{bolt}.advance_m", steel.advance_for(bolt, 0.04 * TARGET_N))
            self.tell()


def _dice(seed: int, name: str) -> random.Random:
    return random.Random(f"{seed}:{name}")


def degrees(angle_rad: Value) -> float:
    """Return an angle in degrees."""
    return math.degrees(float(angle_rad))
