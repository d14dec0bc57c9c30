/* What a sequence means, for any plan: the tables above say which one. One happening is one step of
   this model; what follows from it at once (the next step begins, a barrier releases, a fault is
   decided) is done within it. Time is left out: whatever may happen may happen next. */

#define idle     0
#define running  1
#define holding  2
#define held     3
#define complete 4
#define ended    5

#define ready    0   /* before its place; begins as soon as it may */
#define works    1   /* at the step at its place */
#define backs    2   /* between the moves of a recovery or a re-check */
#define moves    3   /* at such a move */
#define comes    4   /* told to arm at a barrier */
#define armed    5
#define faulted  6   /* its step has failed; what follows is not decided yet */
#define cut      7   /* broken off by a hold */
#define asked    8   /* a person is asked about it */
#define waits    9   /* answered: again, as soon as the other side is answered too */
#define left    10   /* has left in order */

#define nothing  0
#define asking   1   /* after these moves a person is asked again */
#define backed   2   /* they have been made */
#define leaving  3
#define going    4   /* leaves, and goes back over earlier rounds */

byte phase = idle;
byte causes;
bool helped;              /* from here on nothing more goes wrong and people help */
MASK bad;                 /* signals that are bad */
MASK acted;               /* interlocks that have acted since everything ran last */
byte holder[ZONES];       /* lane + 1 */
byte is[LANES];
short at[LANES];
short to[LANES];          /* where it goes on after its moves */
byte fault[LANES];        /* number of the fault's rule at its place */
byte other_of[LANES];     /* which of several faults with that rule */
byte made[LANES];         /* moves made */
MASK checks[LANES];       /* interlocks whose re-checks it makes */
bool again[LANES];        /* makes its step's re-checks */
bool halts[LANES];        /* told to stand, since the other side has failed */
byte then[LANES];
byte prompt[LANES];
short until[LANES];       /* having gone back, up to here it does only what it went back for */
byte pair[LANES];
short failed_at[SLOTS];
byte failed_as[SLOTS];
byte failed_other[SLOTS];
byte failed[SLOTS];       /* how often */
byte known[MEMORY];       /* what the author's properties remember */

/* What is chosen to happen; 0 again once it has. */
byte lane;
byte deed;
byte chosen;
byte other;
byte subject;

hidden byte who;
hidden byte mate;
hidden byte pick;
hidden byte most;
hidden short item;
hidden byte may;
hidden byte more;
hidden byte hit;
hidden byte self;
hidden short moving;
hidden byte lone;

c_code {
/* Look-ups: nothing is decided here. */
static int span_at(int lane) { return span_of[now.at[lane]]; }
static int stands_at(int lane) { return now.to[lane] ? now.to[lane] : now.at[lane]; }
static int is_skipped(int lane, int place)
{
    int until = now.until[lane];
    if (!until || place >= until) return 0;
    if (round_of[place] < 1 || round_of[place] > round_of[until]) return 1;
    return now.pair[lane] && pair_of[place] != now.pair[lane];
}
static int is_done(int lane, int place)
{
    return stands_at(lane) > place || is_skipped(lane, place);
}
static int after(int lane)
{
    int place = now.at[lane] + 1;
    while (is_skipped(lane, place)) place++;
    return place;
}
static int rule_of(int lane)
{
    int fault = now.fault[lane];
    return fault && fault < UNRULED ? rules_from[now.at[lane]] + fault - 1 : -1;
}
static int slot_of(int lane, int fault, int other)
{
    int slot;
    for (slot = lane * CAUSES; slot < (lane + 1) * CAUSES; slot++)
        if (now.failed_at[slot] == now.at[lane] && now.failed_as[slot] == fault
            && now.failed_other[slot] == other) return slot;
    return -1;
}
static int others_seen(int lane, int fault)
{
    int seen = 0;
    while (slot_of(lane, fault, seen) >= 0) seen++;
    return seen;
}
static int may_try(int lane)
{
    int rule = rule_of(lane), slot;
    if (rule < 0 || attempts[rule] < 2) return 0;
    slot = slot_of(lane, now.fault[lane], now.other_of[lane]);
    return (slot < 0 ? 0 : now.failed[slot]) < attempts[rule];
}
static int move_ahead(int lane)
{
    int index = 0, one, place = now.at[lane], rule = rule_of(lane);
    for (one = 0; one < INTERLOCKS; one++)
        if (now.checks[lane] >> one & 1) {
            if (now.made[lane] < index + check_count[one])
                return moves_list[check_from[one] + now.made[lane] - index];
            index += check_count[one];
        }
    if (now.again[lane]) {
        if (now.made[lane] < index + again_count[place])
            return moves_list[again_from[place] + now.made[lane] - index];
        index += again_count[place];
    }
    if (now.then[lane] == leaving || now.then[lane] == going) {
        if (now.made[lane] < index + leave_count[place])
            return moves_list[leave_from[place] + now.made[lane] - index];
    } else if (rule >= 0 && now.made[lane] < index + recover_count[rule])
        return moves_list[recover_from[rule] + now.made[lane] - index];
    return -1;
}
static int move_at(int lane)
{
    return now.is[lane] == works ? move_of[now.at[lane]]
         : now.is[lane] == moves ? move_ahead(lane) : -1;
}
static int may_begin(int lane, int place, int move)
{
    int zone = move < 0 ? -1 : zone_of[move];
    if (now.bad & (move < 0 ? trips : gates[place])) return 0;
    return zone < 0 || !now.holder[zone] || now.holder[zone] == lane + 1;
}
static int is_inside(int lane, int span)
{
    int side = span_side[span * LANES + lane];
    return side >= 0 && is_done(lane, opens[side]) && !is_done(lane, closes[side]);
}
static int waits_for_other(int lane)
{
    int span = span_at(lane), one;
    if (span < 0 || now.then[lane]) return 0;
    for (one = 0; one < LANES; one++)
        if (one != lane && span_side[span * LANES + one] >= 0
            && (now.is[one] == faulted || now.is[one] == cut || now.is[one] == asked
                || now.is[one] == waits || now.then[one])) return 1;
    return 0;
}
static int is_leaving(void)
{
    int one;
    for (one = 0; one < LANES; one++) if (now.then[one] == leaving) return 1;
    return 0;
}
static int at_work_inside(int span)
{
    int one;
    for (one = 0; one < LANES; one++)
        if (span_side[span * LANES + one] >= 0 && (now.is[one] == works || now.is[one] == moves))
            return 1;
    return 0;
}
static int somebody(int span, int state)
{
    int one;
    for (one = 0; one < LANES; one++)
        if (span_side[span * LANES + one] >= 0 && now.is[one] == state) return 1;
    return 0;
}
static int is_pulled(int span)
{
    int one;
    for (one = 0; one < LANES; one++) {
        int side = span_side[span * LANES + one];
        if (side >= 0 && (!is_done(one, opens[side] + 1) || now.fault[one])) return 0;
    }
    return 1;
}
static int all_are(int barrier, int state)
{
    int one;
    for (one = meets_from[barrier]; one < meets_from[barrier + 1]; one++)
        if (now.is[meets_lane[one]] != state || now.at[meets_lane[one]] != meets_at[one]) return 0;
    return 1;
}
static int may_all_begin(int barrier)
{
    int one, two;
    for (one = meets_from[barrier]; one < meets_from[barrier + 1]; one++) {
        int move = meets_move[one];
        if (!may_begin(meets_lane[one], meets_at[one] + 1, move)) return 0;
        for (two = meets_from[barrier]; two < one; two++)
            if (move >= 0 && meets_move[two] >= 0 && zone_of[move] >= 0
                && zone_of[move] == zone_of[meets_move[two]]) return 0;
    }
    return 1;
}
static int may_run_out(int barrier)
{
    int one, here = 0;
    for (one = meets_from[barrier]; one < meets_from[barrier + 1]; one++) {
        int lane = meets_lane[one];
        if (now.is[lane] == ready && now.at[lane] == meets_at[one]) here++;
        else if (now.is[lane] == asked || now.is[lane] == comes || now.is[lane] == armed) return 0;
    }
    return here;
}
static int moves_under(int signal)
{
    int one, place;
    for (one = 0; one < LANES; one++) {
        if (now.is[one] != works && now.is[one] != moves && now.is[one] != comes
            && now.is[one] != armed) continue;
        place = now.at[one] + (now.is[one] == comes || now.is[one] == armed);
        if (place != now.at[one] && released[place] == 0) continue;
        if ((gates[place] & ~only_to_start) >> signal & 1) return 1;
    }
    return 0;
}
static int goes_back_to(int lane, int first, int last, int pair)
{
    int place;
    for (place = starts[lane]; place < now.at[lane]; place++)
        if (round_of[place] >= first && round_of[place] <= last
            && (!pair || pair_of[place] == pair)) return place;
    return now.at[lane];
}
/* Events that the author's properties count. */
static void note_begun(int lane, int move)
{
    int one;
    for (one = 0; one < SPOKEN; one++)
        begun[one] += spoken_kind[one] == BEGINS && marks[one * MARKED + lane * MOVES + move];
}
static void note_ended(int lane, int place)
{
    int one;
    for (one = 0; one < SPOKEN && move_of[place] >= 0; one++)
        ended_now[one] += spoken_kind[one] == ENDS
            && marks[one * MARKED + lane * MOVES + move_of[place]];
}
static int is_so(int one)
{
    int lane, move;
    if (spoken_kind[one] == SIGNAL)
        return (now.bad >> spoken_signal[one] & 1) != spoken_good[one];
    for (lane = 0; lane < LANES; lane++) {
        move = move_at(lane);
        if (move >= 0 && marks[one * MARKED + lane * MOVES + move]) return 1;
    }
    return 0;
}
static void take_stock(void)
{
    int one;
    lone = 0;
    for (one = 0; one < SPOKEN; one++) {
        begun[one] = ended_now[one] = 0;
        was[one] = spoken_kind[one] > ENDS && is_so(one);
    }
}
static int happens(int one)
{
    if (spoken_kind[one] == BEGINS) return begun[one];
    if (spoken_kind[one] == ENDS) return ended_now[one];
    return is_so(one) && !was[one];
}
static int is_true(int one)
{
    return spoken_kind[one] <= ENDS ? happens(one) : is_so(one);
}
/* What every state must keep: 0, or the number of what is broken. */
static int judge(void)
{
    int one, two, lane, own, first;
    if (now.phase == ended) return 0;
    if (lone) return 2;
    for (one = 0; one < MEMBERS; one++)
        for (two = one + 1; two < MEMBERS && member_of[two] == member_of[one]; two++)
            if (is_done(member_lane[one], member_at[one])
                != is_done(member_lane[two], member_at[two])) return 1;
    for (lane = 0; lane < LANES; lane++) {
        int move = move_at(lane), span = own_span[now.at[lane]];
        if (now.is[lane] == works && span >= 0)
            for (one = 0; one < LANES; one++)
                if (span_side[span * LANES + one] >= 0 && !is_inside(one, span)) return 2;
        if (move < 0) continue;
        for (one = 0; one < lane; one++)
            if (move_at(one) >= 0 && zone_of[move] >= 0 && zone_of[move] == zone_of[move_at(one)])
                return 3;
        if (now.phase == running && now.bad & gates[now.at[lane]] & ~only_to_start) return 4;
    }
    for (one = 0; one < PAIRS; one++) {
        int reached[2] = {0, 0};
        for (two = 0; two < PULLS; two++)
            for (lane = 0; lane < 2; lane++)
                if (pull_bolt[two] == pair_bolt[2 * one + lane] && pull_round[two] > reached[lane]
                    && is_done(pull_lane[two], pull_at[two])) reached[lane] = pull_round[two];
        if (reached[0] > reached[1] + 1 || reached[1] > reached[0] + 1) return 5;
    }
    for (own = 0; own < OWN; own++) {
        one = own_from[own]; two = own_from[own + 1];
        if (own_kind[own] == NEVER) {
            for (; one < two && is_true(one); one++);
            if (one == two) return FIRST_OWN + own;
        } else if (own_kind[own] == BEFORE) {
            first = is_true(one);
            if (happens(one + 1) && !now.known[own]
                && !(first && (spoken_kind[one] == ENDS || spoken_kind[one] == SIGNAL)
                     && spoken_kind[one + 1] != ENDS && spoken_kind[one + 1] != SIGNAL))
                return FIRST_OWN + own;
            if (first) now.known[own] = 1;
        } else if ((first = happens(one))) {
            if (now.known[own] + first > own_times[own]) return FIRST_OWN + own;
            now.known[own] += first;
        }
    }
    return 0;
}
/* Nothing counts any more: one state for all ends. */
static void forget(void)
{
    memset(now.is, 0, sizeof now.is); memset(now.at, 0, sizeof now.at);
    memset(now.to, 0, sizeof now.to); memset(now.fault, 0, sizeof now.fault);
    memset(now.other_of, 0, sizeof now.other_of); memset(now.made, 0, sizeof now.made);
    memset(now.checks, 0, sizeof now.checks); memset(now.holder, 0, sizeof now.holder);
    memset(now.then, 0, sizeof now.then); memset(now.prompt, 0, sizeof now.prompt);
    memset(now.until, 0, sizeof now.until); memset(now.pair, 0, sizeof now.pair);
    memset(now.failed_at, 0, sizeof now.failed_at); memset(now.failed, 0, sizeof now.failed);
    memset(now.failed_as, 0, sizeof now.failed_as); memset(now.known, 0, sizeof now.known);
    memset(now.failed_other, 0, sizeof now.failed_other);
    now.bad = now.acted = 0; memset(now.again, 0, sizeof now.again);
    memset(now.halts, 0, sizeof now.halts);
}
}

inline begin(move)
{
    /* The zone is leased until a move that ends outside it is done. */
    moving = move;
    c_code { item = zone_of[moving]; note_begun(who, moving); };
    if :: item >= 0 -> holder[item] = who + 1 :: else fi
}

inline leave_zones(move)
{
    moving = move;
    mate = 0;
    do
    :: mate < ZONES ->
        c_code { may = moving < 0 || zone_of[moving] != mate; };
        if :: may && holder[mate] == who + 1 -> holder[mate] = 0 :: else fi;
        mate++
    :: else -> break
    od
}

inline settle_down(lane)
{
    fault[lane] = 0; other_of[lane] = 0; made[lane] = 0; checks[lane] = 0;
    again[lane] = 0; then[lane] = nothing; to[lane] = 0; prompt[lane] = 0; halts[lane] = 0
}

inline pass(lane)
{
    self = lane;
    c_code { now.at[self] = after(self); };
    if :: until[lane] && at[lane] >= until[lane] -> until[lane] = 0; pair[lane] = 0 :: else fi;
    settle_down(lane);
    is[lane] = ready
}

/* Everybody comes to rest; questions are withdrawn, the faults stay. */
inline hold()
{
    phase = holding;
    mate = 0;
    do
    :: mate < LANES ->
        halts[mate] = 0; prompt[mate] = 0;
        if
        :: is[mate] == asked && fault[mate] == POINT -> fault[mate] = 0; is[mate] = ready
        :: (is[mate] == asked && fault[mate] != POINT) || is[mate] == waits -> is[mate] = faulted
        :: is[mate] == comes || is[mate] == armed -> is[mate] = ready
        :: else
        fi;
        mate++
    :: else -> break
    od
}

inline recover(lane, with_checks)
{
    self = lane;
    is[lane] = backs; made[lane] = 0; halts[lane] = 0; prompt[lane] = 0;
    checks[lane] = 0; again[lane] = 0;
    if :: with_checks && c_expr { is_arm[self] } -> checks[lane] = acted :: else fi;
    if
    :: then[lane] == leaving || then[lane] == going
    :: else ->
        then[lane] = nothing;
        again[lane] = with_checks;
        /* Having been sent back by a person it goes back all the same. */
        c_code { item = rule_of(self);
                 if (!now.to[self] || now.to[self] >= now.until[self]) {
                     now.to[self] = now.at[self];
                     if (item >= 0 && back_to[item]) now.to[self] = back_to[item]; } }
    fi
}

/* One fate for both sides: back to the opening barrier, each recovering first. */
inline rewind(with_checks)
{
    pick = 0;
    do
    :: pick < LANES ->
        c_code { item = span_side[most * LANES + pick]; item = item < 0 ? 0 : opens[item]; };
        if
        :: item == 0
        :: item > 0 && (is[pick] == faulted || is[pick] == cut || is[pick] == asked || is[pick] == waits) ->
            recover(pick, with_checks);
            c_code { item = opens[span_side[most * LANES + pick]];
                     if (!now.to[pick] || now.to[pick] > item) now.to[pick] = item; }
        :: item > 0 && (is[pick] == backs || is[pick] == moves) ->
            if :: !to[pick] || to[pick] > item -> to[pick] = item :: else fi
        :: item > 0 && is[pick] == ready ->
            settle_down(pick);
            if :: at[pick] > item -> at[pick] = item :: else fi
        :: else
        fi;
        pick++
    :: else -> break
    od
}

/* The attempts are used up: what the rule says. */
inline exhaust(lane)
{
    self = lane;
    c_code { item = rule_of(self); item = item < 0 ? -1 : outcome[item]; };
    if
    :: fault[lane] == UNKNOWN -> is[lane] = asked; prompt[lane] = UNKNOWN
    :: fault[lane] != UNKNOWN && item > 0 -> is[lane] = asked; prompt[lane] = item
    :: fault[lane] != UNKNOWN && item == ABORTS -> phase = ended
    :: else -> hold()
    fi
}

inline decide_fault()
{
    c_code { most = span_at(who) < 0 ? NONE : span_at(who); };
    if
    :: most == NONE ->
        more = 1;
        c_code { may = may_try(who); };
        if :: may -> recover(who, 0) :: else -> exhaust(who) fi
    :: else ->
        /* Whoever still works inside is told to stand; once all stand, the fate is decided. */
        pick = 0;
        do
        :: pick < LANES ->
            c_code { may = pick != who && span_side[most * LANES + pick] >= 0; };
            if
            :: may && (is[pick] == works || is[pick] == moves) -> halts[pick] = 1
            :: else
            fi;
            pick++
        :: else -> break
        od;
        c_code { may = !at_work_inside(most); };
        if
        :: may ->
            may = 1;
            pick = 0;
            do
            :: pick < LANES && phase == running ->
                c_code { hit = span_side[most * LANES + pick] >= 0 && now.is[pick] == faulted
                               && !may_try(pick); };
                if :: hit -> may = 0; more = 1; exhaust(pick) :: else fi;
                pick++
            :: else -> break
            od;
            c_code { hit = somebody(most, asked); };
            if :: may && !hit -> more = 1; rewind(0) :: else fi
        :: else
        fi
    fi
}

inline go_on_recovering()
{
    c_code { may = !waits_for_other(who); item = move_ahead(who);
             most = item >= 0 && may_begin(who, now.at[who], item); };
    if
    :: !may
    :: may && item >= 0 && !most
    :: may && item >= 0 && most -> more = 1; is[who] = moves; pick = item; begin(pick)
    :: may && item < 0 && then[who] == asking -> more = 1; then[who] = backed; exhaust(who)
    :: may && item < 0 && then[who] == leaving -> more = 1; is[who] = left
    :: else -> more = 1; at[who] = to[who]; settle_down(who); is[who] = ready
    fi
}

inline begin_next()
{
    item = c_expr { kind[now.at[who]] };
    if
    :: item == WITNESS -> more = 1; pass(who)
    :: item == HOLD_POINT ->
        more = 1; is[who] = asked; fault[who] = POINT; prompt[who] = c_expr { asks[now.at[who]] }
    :: item == STEP ->
        c_code { pick = move_of[now.at[who]];
                 may = !is_leaving() && !waits_for_other(who) && may_begin(who, now.at[who], pick); };
        if
        :: may -> more = 1; is[who] = works; begin(pick);
            /* Such a step begins by a barrier only. */
            if :: c_expr { released[now.at[who]] == 2 } -> lone = 1 :: else fi
        :: else
        fi
    :: else
    fi
}

/* Nobody passes a barrier alone: all arm, all confirm, all are released. */
inline meet()
{
    most = 0;
    do
    :: most < BARRIERS && phase == running ->
        c_code { may = all_are(most, ready) && may_all_begin(most);
                 if (is_leaving()) may = 0;
                 hit = all_are(most, armed); more = more || may || hit; };
        if
        :: may -> come_together()
        :: !may && hit ->
            c_code { may = may_all_begin(most); };
            if :: may -> release() :: else -> hold() fi
        :: else
        fi;
        most++
    :: else -> break
    od
}

inline come_together()
{
    c_code { for (pick = meets_from[most]; pick < meets_from[most + 1]; pick++) {
                 now.is[meets_lane[pick]] = comes;
                 item = meets_move[pick] < 0 ? -1 : zone_of[meets_move[pick]];
                 if (item >= 0) now.holder[item] = meets_lane[pick] + 1; } }
}

inline release()
{
    pick = c_expr { meets_from[most] };
    do
    :: c_expr { pick < meets_from[most + 1] } ->
        c_code { who = meets_lane[pick];
                 for (item = who * CAUSES; item < (who + 1) * CAUSES; item++)
                     if (now.failed_at[item] && now.failed_at[item] < now.at[who])
                         now.failed_at[item] = now.failed_as[item] = now.failed_other[item]
                             = now.failed[item] = 0; };
        pass(who);
        c_code { hit = meets_move[pick] >= 0; mate = hit ? meets_move[pick] : 0; };
        if :: hit -> is[who] = works; begin(mate) :: else fi;
        pick++
    :: else -> break
    od
}

/* All that follows at once. */
inline settle()
{
    more = 1;
    do
    :: more && phase == running ->
        more = 0;
        who = 0;
        do
        :: who < LANES && phase == running ->
            if
            :: is[who] == faulted -> decide_fault()
            :: is[who] == backs -> go_on_recovering()
            :: is[who] == ready -> begin_next()
            :: else
            fi;
            who++
        :: else -> break
        od;
        meet()
    :: else -> break
    od;
    c_code { may = more = hit = 1;
             for (who = 0; who < LANES; who++) {
                 if (kind[now.at[who]] != END || now.is[who] != ready) may = 0;
                 if (now.is[who] == works || now.is[who] == moves) more = 0;
                 if (now.then[who] == leaving && now.is[who] != left) hit = 0; }
             for (who = 0; hit && who < LANES; who++) if (now.is[who] == left) break;
             hit = hit && who < LANES; };
    if
    :: phase == running && may -> phase = complete
    :: phase == running && !may && hit -> phase = ended
    :: phase == holding && more -> phase = held
    :: else
    fi
}

/* Whoever was broken off is put back on its way; what a person must be asked about, is asked. */
inline restart()
{
    phase = running;
    most = 0;
    do
    :: most < SPANS ->
        c_code { may = 1; hit = 0;
                 for (who = 0; who < LANES; who++) if (span_side[most * LANES + who] >= 0) {
                     if (span_at(who) != most) may = 0;
                     else if (now.fault[who] == UNKNOWN
                              && (now.is[who] == cut || now.is[who] == faulted)) hit = 1; }
                 may = may && !hit && !is_pulled(most) && !is_leaving(); };
        if :: may -> rewind(1) :: else fi;
        most++
    :: else -> break
    od;
    who = 0;
    do
    :: who < LANES ->
        c_code { hit = span_at(who) >= 0 && !is_pulled(span_at(who)) && !is_leaving()
                       && now.then[who] != going; };
        if
        :: is[who] == ready && acted && c_expr { is_arm[who] && kind[now.at[who]] == STEP } ->
            recover(who, 1); again[who] = 0
        :: (is[who] == cut || is[who] == faulted) && fault[who] == UNKNOWN ->
            is[who] = asked; prompt[who] = UNKNOWN
        :: (is[who] == cut || is[who] == faulted) && fault[who] != UNKNOWN && !hit ->
            recover(who, 1)
        :: is[who] == faulted && fault[who] != UNKNOWN && hit ->
            /* Decided before the hold; both go back once a person has answered for the other. */
            is[who] = cut
        :: else
        fi;
        who++
    :: else -> break
    od;
    acted = 0
}

inline count_failure()
{
    c_code { item = slot_of(who, now.fault[who], now.other_of[who]);
             pick = rule_of(who) < 0 ? 1 : attempts[rule_of(who)];
             if (pick > 1) {
                 for (most = who * CAUSES; item < 0 && most < (who + 1) * CAUSES; most++)
                     if (!now.failed_at[most]) item = most;
                 if (item >= 0) {
                     now.failed_at[item] = now.at[who]; now.failed_as[item] = now.fault[who];
                     now.failed_other[item] = now.other_of[who];
                     if (may) now.failed[item] = pick;
                     else if (now.failed[item] < pick) now.failed[item]++; } } }
}

#define row_chosen rules_from[now.at[now.lane]] + now.chosen - 1

/* Any fault that has a rule, or one that has none; of those with the same rule, any. */
inline choose_fault()
{
    chosen = 1;
    do
    :: c_expr { now.chosen <= rules_count[now.at[now.lane]] } -> chosen++
    :: break
    od;
    do
    :: other < causes && c_expr { now.chosen <= rules_count[now.at[now.lane]]
            && attempts[row_chosen] > 1 && now.other + 1 < alike[row_chosen] } -> other++
    :: break
    od
}

inline fail_step()
{
    causes++;
    if
    :: c_expr { now.chosen <= rules_count[now.at[who]] } -> fault[who] = chosen
    :: else -> fault[who] = UNRULED
    fi;
    /* Those that have not happened yet differ by name alone: the first stands for all. */
    c_code { most = others_seen(who, now.fault[who]);
             now.other_of[who] = now.other < most ? now.other : most; };
    is[who] = faulted; halts[who] = 0; made[who] = 0; to[who] = 0;
    may = 0;
    count_failure()
}

/* A recovery that fails is not recovered from: the attempts count as used up. */
inline fail_move()
{
    causes++;
    halts[who] = 0; made[who] = 0; checks[who] = 0; again[who] = 0;
    if
    :: then[who] == leaving || then[who] == going ->
        /* Whoever is on its way out stays so; everybody holds, and it goes on after a restart. */
        is[who] = cut; if :: phase == running -> hold() :: else fi
    :: else ->
        if :: fault[who] == 0 -> fault[who] = UNRULED :: else fi;
        is[who] = faulted; then[who] = nothing;
        may = 1;
        count_failure()
    fi
}

inline end_well()
{
    if
    :: is[who] == works ->
        c_code { item = move_of[now.at[who]]; note_ended(who, now.at[who]); };
        leave_zones(item);
        pass(who)
    :: else ->
        c_code { item = move_ahead(who); };
        leave_zones(item);
        made[who]++; halts[who] = 0; is[who] = backs
    fi
}

/* The party is lost, says nothing, starts anew or holds by itself: everybody holds. */
inline lose()
{
    causes++;
    if
    :: chosen && (is[who] == works || is[who] == moves) ->
        /* Whoever leaves goes on leaving; what its moves did is not asked here. */
        if :: fault[who] == 0 && then[who] != leaving -> fault[who] = UNKNOWN :: else fi;
        is[who] = cut; made[who] = 0
    :: else
    fi;
    if :: phase == running -> hold() :: else fi
}

inline answer_again()
{
    c_code { most = span_at(who) < 0 ? NONE : span_at(who); may = now.then[who] == backed; };
    prompt[who] = 0;
    if
    :: most == NONE ->
        recover(who, 0);
        /* Its moves are made already: it only goes on where the next attempt starts. */
        if :: may -> at[who] = to[who]; settle_down(who); is[who] = ready :: else fi
    :: else ->
        is[who] = waits;
        c_code { hit = somebody(most, asked); };
        if :: !hit -> rewind(0) :: else fi
    fi
}

inline answer_by_hand()
{
    pick = prompt[who];
    c_code { item = span_at(who);
             may = item >= 0;
             if (may) { most = item;
                 for (item = now.at[who]; item < closes[span_side[most * LANES + who]]; item++)
                     note_ended(who, item); }
             else note_ended(who, now.at[who]); };
    if
    :: may ->
        c_code { now.at[who] = closes[span_side[most * LANES + who]]; };
        settle_down(who); is[who] = ready;
        mate = 0;
        do
        :: mate < LANES ->
            c_code { item = span_side[most * LANES + mate];
                     may = item >= 0 && mate != who && now.is[mate] != asked;
                     hit = may && is_done(mate, opens[item] + 1); };
            if
            :: may && !hit ->
                c_code { now.at[mate] = opens[item] + 1; };
                if :: fault[mate] == 0 || fault[mate] == UNKNOWN -> fault[mate] = PARTNER :: else fi;
                to[mate] = 0; is[mate] = asked; prompt[mate] = pick
            :: may && hit && (is[mate] == cut || is[mate] == faulted || is[mate] == waits) ->
                recover(mate, 1)
            :: else
            fi;
            mate++
        :: else -> break
        od
    :: else -> pass(who)
    fi
}

/* Both lanes go back over earlier rounds; their tools come off first. */
inline answer_back(whole)
{
    hit = whole;
    c_code { most = span_at(who); pick = round_of[now.at[who]]; mate = pair_of[now.at[who]];
             item = pick - 1 < 1 ? 1 : pick - 1; if (!hit) item = 1; else mate = 0;
             for (who = 0; who < LANES; who++) if (span_side[most * LANES + who] >= 0) {
                 int place = goes_back_to(who, item, pick, mate), slot;
                 for (slot = who * CAUSES; slot < (who + 1) * CAUSES; slot++)
                     if (now.failed_at[slot] >= place)
                         now.failed_at[slot] = now.failed_as[slot] = now.failed_other[slot]
                             = now.failed[slot] = 0;
                 now.to[who] = place; now.until[who] = now.at[who]; now.pair[who] = mate;
                 if (round_of[now.until[who]] != pick) now.until[who]--;
                 now.is[who] = backs; now.then[who] = going; now.fault[who] = 0;
                 now.made[who] = now.checks[who] = now.prompt[who] = now.other_of[who] = 0; } }
}

inline answer_leave()
{
    c_code { most = span_at(who) < 0 ? NONE : span_at(who);
             for (pick = 0; pick < LANES; pick++)
                 if (pick == who || (most != NONE && span_side[most * LANES + pick] >= 0)) {
                     now.is[pick] = backs; now.then[pick] = leaving; now.fault[pick] = 0;
                     now.made[pick] = now.checks[pick] = now.prompt[pick] = 0; } }
}

inline turns_bad()
{
    causes++;
    bad = bad | (1 << moving);
    c_code { may = trips >> moving & 1;
             hit = may || (now.phase == running && moves_under(moving)); };
    if :: hit -> acted = acted | c_expr { acts[moving] } :: else fi;
    if :: hit && phase == running -> hold() :: else fi
}

inline turns_good() { bad = bad & ~(1 << moving) }

inline run_out()
{
    c_code { may = may_run_out(moving); };
    if :: may -> causes++; hold() :: else fi
}

inline start()
{
    c_code { for (who = 0; who < LANES; who++) now.at[who] = starts[who]; };
    phase = running
}

#define live       (phase != complete && phase != ended)
#define goes_wrong (causes < CAUSES_MAX && !helped)
