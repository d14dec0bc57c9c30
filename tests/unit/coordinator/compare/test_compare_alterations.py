"""What changed between two files: each kind of thing altered once, and the sentence it gives."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from coordinator.compare import compare_sequences
from coordinator.sequence import load
from tests.support.altered_files import CELL, JOINT, MAKEUP, altered
from tests.support.sequence_files import SEQUENCES

BASE = load(SEQUENCES / MAKEUP)


@dataclass(frozen=True)
class Altered:
    """One alteration of one file, and every sentence that it must give."""

    file: str
    old: str
    new: str
    texts: tuple[str, ...]


KINDS = {
    "the share of a round": Altered(
        JOINT,
        "[30 %, 60 %, 100 %]",
        "[30 %, 70 %, 100 %]",
        (
            "round 2 now pulls to 2.18 kN·m (70 % of the target), was 1.868 kN·m (60 %)",
            "every bolt is now pulled to 2.18 kN·m in round 2, was 1.868 kN·m",
            "pull of every bolt in round 2: torque is now accepted from 2.071 kN·m to 2.289 kN·m,"
            " was 1.775 kN·m to 1.962 kN·m",
            "every bolt is now confirmed at 2.18 kN·m in round 2, was 1.868 kN·m",
        ),
    ),
    "the band of the two sides": Altered(
        JOINT,
        "balance: 600 N.m",
        "balance: 700 N.m",
        (
            "the two sides may now differ by 700 N·m while they pull, was 600 N·m",
            "barrier pull: the two sides may now differ by 700 N·m while they pull, was 600 N·m",
            "barrier check: the two sides may now differ by 700 N·m while they pull, was 600 N·m",
        ),
    ),
    "the angle of the check pass": Altered(
        JOINT,
        "check_angle: 2 deg",
        "check_angle: 3 deg",
        (
            "a nut may now turn by 3° in the check pass, was 2°",
            "check torque of every bolt in round 4: angle max is now 3°, was 2°",
        ),
    ),
    "the holes of the pins": Altered(
        JOINT,
        "pins: [2, 6]",
        "pins: [2, 7]",
        (
            "the guide pins now stand in holes 2 and 7, was 2 and 6",
            "aft no longer does fit pin of hole 6, was after change tool gripper",
            "aft no longer does take pin of hole 6, was after barrier landed",
            "aft now also does fit pin of hole 7, after change tool gripper",
            "aft now also does take pin of hole 7, after barrier landed",
        ),
    ),
    "a parameter of a step": Altered(
        MAKEUP,
        "with: {hole: $joint.pin_first, turns: 5}",
        "with: {hole: $joint.pin_first, turns: 6}",
        ("fit pin of hole 2: turns is now 6, was 5",),
    ),
    # Steps ----------------------------------------------------------------------------------------
    "a step more": Altered(
        MAKEUP,
        "      - barrier: pulled\n",
        "      - barrier: pulled\n      - do: lift\n",
        ("fore and aft now also do lift in every round, after barrier pulled, 12 times",),
    ),
    "a step less": Altered(
        MAKEUP,
        "      - do: turn_socket\n        with: {bolt: $bolt}\n",
        "",
        ("fore and aft no longer do turn socket of every bolt, was after locate bolt",),
    ),
    "two steps swapped": Altered(
        MAKEUP,
        "      - do: locate_hole\n        with: {bolt: $bolt}\n        policy: locating\n"
        "      - do: locate_bolt\n        with: {bolt: $bolt}\n        policy: locating\n",
        "      - do: locate_bolt\n        with: {bolt: $bolt}\n        policy: locating\n"
        "      - do: locate_hole\n        with: {bolt: $bolt}\n        policy: locating\n",
        (
            "fore and aft: locate bolt now comes after change tool spinner, was after locate hole",
            "fore and aft: locate bolt now comes after let go, was after locate hole",
            "fore and aft: locate bolt now comes after barrier half entered, was after locate hole",
        ),
    ),
    "a time of a step": Altered(
        MAKEUP,
        "      - do: react\n",
        "      - do: react\n        timeout: 45 s\n",
        ("react of every bolt in every round: may now last 45 s, was 30 s",),
    ),
    "a time without progress": Altered(
        MAKEUP,
        "      - do: react\n",
        "      - do: react\n        no_progress: 7 s\n",
        ("react of every bolt in every round: may now go without progress for 7 s, was 5 s",),
    ),
    "what a hold does to a step": Altered(
        MAKEUP,
        "      - do: run_up\n",
        "      - do: run_up\n        on_hold: finish\n",
        ("run up of every bolt: on a hold it must now finish, was stop",),
    ),
    "what is made again before a step starts over": Altered(
        MAKEUP,
        "      - do: pick_bolt\n",
        "      - do: pick_bolt\n        recheck: [locate_bolt, turn_socket]\n",
        (
            "pick bolt of every bolt: before it starts over, now made again: locate bolt,"
            " turn socket, was: none",
        ),
    ),
    "what a step needs for its start": Altered(
        MAKEUP,
        "      - do: pull\n",
        "      - do: pull\n        permissives: [supply_low]\n",
        (
            "pull of every bolt in every round: now needs to be good for its start: supply low,"
            " was: none",
        ),
    ),
    "the order within a lane": Altered(
        MAKEUP,
        "      - do: let_go\n",
        "      - do: let_go\n        after: [place]\n",
        ("let go of every bolt: now waits for place bolt, was for the step above",),
    ),
    "a result that is accepted": Altered(
        MAKEUP,
        "        expect: {torque_nm: [$torque_least, $torque_most]}\n",
        "        expect: {torque_nm: [$torque_least, $torque_most], strokes: [1, 40]}\n",
        ("pull of every bolt in every round: strokes is now accepted from 1 to 40, was anything",),
    ),
    "how the joint stands at the start": Altered(
        MAKEUP,
        "begins: joint_open",
        "begins: joint_made_up",
        ("it now begins with the joint made up, was with the joint open",),
    ),
    # Barriers -------------------------------------------------------------------------------------
    "a barrier's patience": Altered(
        MAKEUP,
        "on_pins: {timeout: 15 min}",
        "on_pins: {timeout: 20 min}",
        ("barrier on pins now waits 20 min at most, was 15 min",),
    ),
    "a barrier's window": Altered(
        MAKEUP,
        "window: 50 ms, paired_until: pulled,",
        "window: 80 ms, paired_until: pulled,",
        ("barrier pull: starts may now lie 80 ms apart, was 50 ms",),
    ),
    "the stop of a paired span": Altered(
        MAKEUP,
        "balance: $joint.balance, stop: 3 s}\n  pulled",
        "balance: $joint.balance, stop: 2 s}\n  pulled",
        ("barrier pull: after a fault the other side must now stand within 2 s, was 3 s",),
    ),
    "the parties of a barrier": Altered(
        MAKEUP,
        "    - barrier: on_pins\n    - barrier: bore_open\n    - barrier: landed",
        "    - barrier: on_pins\n    - barrier: landed",
        (
            "barrier bore open: fore and hoist now meet there, was fore, aft and hoist",
            "aft no longer meets at barrier bore open, was after barrier on pins",
        ),
    ),
    # What follows a fault -------------------------------------------------------------------------
    "how often it is tried": Altered(
        MAKEUP,
        "not_located: {attempts: 3,",
        "not_located: {attempts: 2,",
        (
            "fore and aft, locate joint: at not located it is now tried 2 times, was 3",
            "locate hole of every bolt: at not located it is now tried 2 times, was 3",
            "locate bolt of every bolt: at not located it is now tried 2 times, was 3",
        ),
    ),
    "what follows the last attempt": Altered(
        MAKEUP,
        "bolt_broken: {then: hold}",
        "bolt_broken: {then: abort}",
        ("pull of every bolt in every round: bolt broken now ends in abort, was hold",),
    ),
    "the moves of a recovery": Altered(
        MAKEUP,
        "recover: [{do: back_off, with: {turns: 2}}",
        "recover: [{do: back_off, with: {turns: 3}}",
        (
            "run up of every bolt: before it is tried again after thread stalled it now does back"
            " off (turns 3); lift; locate hole, was back off (turns 2); lift; locate hole",
        ),
    ),
    "a rule less": Altered(
        MAKEUP,
        "    leak: {then: {ask: torque_trouble}}\n",
        "",
        (
            "pull of every bolt in every round: nothing is said any more about what follows leak;"
            " it holds",
        ),
    ),
    # Interlocks and exceptions --------------------------------------------------------------------
    "an exception less": Altered(
        MAKEUP,
        "with: {hole: $joint.pin_first, turns: 5}\n      exceptions: [beneath_landed_length]\n",
        "with: {hole: $joint.pin_first, turns: 5}\n",
        (
            "take pin of hole 2: may no longer move despite load overhead (was allowed because the"
            " length rests on the flange; the hook stays on as a second support)",
        ),
    ),
    "the reason of an exception": Altered(
        MAKEUP,
        "reason: this step is the movement of the string itself",
        "reason: it moves the string",
        (
            *(
                f"hoist, {what}: the reason to move despite string moving is now 'it moves the"
                " string', was 'this step is the movement of the string itself'"
                for what in ("bring length", "stab length", "land length", "take string")
            ),
        ),
    ),
    # Questions ------------------------------------------------------------------------------------
    "the warning of a question": Altered(
        MAKEUP,
        "WARNING: stored pressure. Keep hands",
        "WARNING: pressure. Keep hands",
        (
            "question torque trouble now warns 'WARNING: pressure. Keep hands away from the"
            " reaction; relieve before you touch.', was 'WARNING: stored pressure. Keep hands away"
            " from the reaction; relieve before you touch.'",
        ),
    ),
    "an answer less": Altered(
        MAKEUP,
        "      by_hand: a person has run the bolt up to its shoulder; the record says so\n",
        "",
        ("question thread trouble no longer offers by_hand",),
    ),
    # The cell -------------------------------------------------------------------------------------
    "the reach of a tool": Altered(
        CELL,
        "torque_max: 8 kN.m",
        "torque_max: 9 kN.m",
        ("fore's wrench may now pull with 9 kN·m at most, was 8 kN·m",),
    ),
    "a calibration": Altered(
        CELL,
        "calibration_due: 2027-08-11",
        "calibration_due: 2028-08-11",
        ("the calibration of aft's wrench now counts until 2028-08-11, was 2027-08-11",),
    ),
    "the sockets of a tool": Altered(
        CELL,
        "sockets: [55 mm, 60 mm, 2.75 in, 3.125 in, 3.5 in]   #",
        "sockets: [60 mm, 2.75 in, 3.125 in, 3.5 in]   #",
        (
            "fore's wrench now has sockets of 60 mm, 69.85 mm, 79.38 mm, 88.9 mm,"
            " was 55 mm, 60 mm, 69.85 mm, 79.38 mm, 88.9 mm",
        ),
    ),
    "a tool more": Altered(
        CELL,
        "      gripper: {}\n",
        "      gripper: {}\n      brush: {torque_max: 20 N.m}\n",
        ("fore now has a brush: torque max 20 N·m",),
    ),
    "the zone of an action": Altered(
        CELL,
        "fit_cover: {needs: gripper, zone: bore,",
        "fit_cover: {needs: gripper,",
        ("fit cover now enters zone none, was bore",),
    ),
    "the zones": Altered(
        CELL,
        "zones: [bore]",
        "zones: [bore, bin]",
        ("zones that one arm enters at a time are now bore, bin, was bore",),
    ),
    "the kind of an interlock": Altered(
        CELL,
        "    kind: trip\n    good_when: floor_clear",
        "    kind: interlock\n    good_when: floor_clear",
        ("person on floor is now of kind interlock, was trip",),
    ),
    "what an operator has to do": Altered(
        CELL,
        "operator_action: start the power unit",
        "operator_action: start the pump",
        ("what to do at supply low now reads 'start the pump', was 'start the power unit'",),
    ),
    "the age of a signal": Altered(
        CELL,
        "floor_clear: {text: nobody inside the line, max_age: 1500 ms",
        "floor_clear: {text: nobody inside the line, max_age: 1200 ms",
        ("signal floor clear now counts for 1.2 s, was 1.5 s",),
    ),
    "the place of a signal in a controller": Altered(
        CELL,
        "at: ns=2;s=Floor.Clear}",
        "at: ns=2;s=Gate.Shut}",
        ("floor clear is now read at 'ns=2;s=Gate.Shut', was 'ns=2;s=Floor.Clear'",),
    ),
    "the sense of a contact": Altered(
        CELL,
        "at: ns=2;s=Floor.LoadOverhead, inverted: yes}",
        "at: ns=2;s=Floor.LoadOverhead}",
        ("whether nothing overhead is read inverted is now no, was yes",),
    ),
    "the limit of a reading": Altered(
        CELL,
        "at_least: 180}",
        "at_least: 160}",
        ("hydraulics ready is now good from a reading of 160, was 180",),
    ),
    "how often a controller is read": Altered(
        CELL,
        "      device: 3\n",
        "      device: 3\n      every: 100 ms\n",
        ("controller hoist drive is now read every 100 ms, was 200 ms",),
    ),
    "a fault that is never tried again alone": Altered(
        CELL,
        "not_located: {text: the camera found no pose that it trusts}\n  part_dropped",
        "not_located: {text: the camera found no pose that it trusts}\n"
        "  odd: {text: odd, alone: no}\n  part_dropped",
        ("fault odd is new: text odd, alone no",),
    ),
    "the time of an action": Altered(
        CELL,
        "  lift: {timeout: 30 s}",
        "  lift: {timeout: 40 s}",
        ("lift may now last 40 s, was 30 s",),
    ),
    "the time of an action that stands in lanes": Altered(
        CELL,
        "  park: {timeout: 60 s}",
        "  park: {timeout: 70 s}",
        ("park may now last 70 s, was 60 s",),
    ),
    "a time of the link": Altered(
        CELL,
        "lease: 1 s",
        "lease: 1200 ms",
        ("time of the link 'lease' is now 1.2 s, was 1 s",),
    ),
}


@pytest.mark.parametrize("kind", KINDS)
def test_one_alteration_gives_its_sentences_and_no_other(tmp_path: Path, kind: str) -> None:
    """CP1: A reader must see what changed in the work, all of it, and nothing that did not."""
    one = KINDS[kind]
    changed = altered(tmp_path, one.file, one.old, one.new)

    told = [change.text for change in compare_sequences(BASE, load(changed / MAKEUP))]

    assert told == list(one.texts)
