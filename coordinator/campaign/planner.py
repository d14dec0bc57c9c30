"""Plan cases: by what was planned least, with a swarm of kinds for each, the same for one seed.

What is planned depends on the seed and on what was planned before, never on how cases went: the
same seed gives the same cases on one worker and on forty.

Units: ``*_us`` whole microseconds since the run began.
Source: A. Groce and others, Swarm Testing, ISSTA 2012: leaving kinds out at random finds more.
"""

from collections import Counter
from random import Random

from coordinator.campaign.coverage import ordered_pairs, ordered_triples
from coordinator.campaign.survey import (
    MOMENTS,
    WAITING,
    Survey,
    Working,
    moment_of,
    window_us,
)
from coordinator.campaign.vocabulary import (
    GAP_US_MAX,
    PEOPLE,
    Kind,
    Vocabulary,
    draw_answer,
    draw_cause,
)
from coordinator.core.events import Act as ActName
from coordinator.core.plan import Option
from coordinator.sequence import Act, Answer, Case, CaseCause

COUNTS = (1, 1, 2, 2, 2, 3, 3, 3, 3, 4)
"""Causes in a case: studies find that three events do for nine failures of ten."""
TRIED = 6
"""Candidates of which the one planned least is taken."""
BITE_SHARE = 0.7
"""In so many cases a cause that only acts on certain work begins just before such work."""
BITE_US = 1_200_000
NEAR_US = 6_000_000
SWARM_SHARE = 0.5
SWARM_LEAST = 4
ATTENDED_SHARE = 0.75
"""In so many cases people do what gets the work going again; in the rest, anything or nothing."""
MEDDLING_SHARE = 0.12
"""In so many cases a person also does something to the procedure by itself."""
CROWD_SHARE = 0.2
"""In so many cases people do anything at any time beside that, in turn or not, two at once."""
CROWD_MOST = 10
CROWD_US = 30_000_000
"""For so long after the last cause they act: while it acts, and while the run recovers."""
TWICE_SHARE = 0.3
"""So many acts are done twice, or come with another one a millisecond later."""
TWICE_US = 1_000
"""Chosen: closer than any message travels. At the very same moment the judge sees both decisions
before what follows from the first has left, and takes it for motion after the second (I3)."""
ENDING_SHARE = 0.1
"""So few of the acts end the run: what comes after an end shows little."""
ROUNDS = 3
"""How often people reset and restart before they leave it held."""
BY_HAND_SHARE = 0.25
"""In so many of their answers they have done the work themselves."""
BY = "mate"


class Planner:
    """Plans the cases of one campaign, in order."""

    def __init__(self, words: Vocabulary, seed: int, *, crowd_share: float = CROWD_SHARE) -> None:
        """Nothing is planned."""
        self.crowd_share = crowd_share
        self.words = words
        self.seed = seed
        self.cells: Counter[tuple[str, str, str]] = Counter()
        self._pairs: Counter[tuple[str, str]] = Counter()
        self._triples: Counter[tuple[str, str, str]] = Counter()

    def plan(self, number: int, day_seed: int, survey: Survey) -> Case:
        """Plan one case of a day.

        Args:
            number: Of the case; gives it its name and its chance.
            day_seed: Seed of the simulated world that day.
            survey: That day, with nothing going wrong.
        """
        random = Random(f"{self.seed}:case:{number}")
        kinds = self._swarm(random)
        at_us, bolt, first = self._first(random, kinds, survey)
        chosen: list[Kind] = [first]
        causes: list[CaseCause] = [draw_cause(random, self.words, first, at_us, bolt)]
        for _ in range(random.choice(COUNTS) - 1):
            following = self._following(random, kinds, [one.name for one in chosen])
            bite = _bite(random, survey, following, at_us, at_us + NEAR_US)
            at_us = bite[0] if bite else at_us + random.randint(0, GAP_US_MAX)
            chosen.append(following)
            bolt = (bite[1] if bite else 0) or _bolt_at(survey, at_us) or bolt
            causes.append(draw_cause(random, self.words, following, at_us, bolt))
        names = [one.name for one in chosen]
        self._pairs.update(ordered_pairs(names))
        self._triples.update(ordered_triples(names))
        answers, acts = draw_people(random, self.words, at_us)
        # A generator of its own: who meddles leaves the other choices of a case as they are.
        people = Random(f"{self.seed}:people:{number}")
        if people.random() < self.crowd_share:
            acts = (*draw_crowd(people, causes[0].at_us or 0, at_us), *acts)
        return Case(f"case_{number}", "", day_seed, tuple(causes), answers, acts)

    def _swarm(self, random: Random) -> list[Kind]:
        kinds = [one for one in self.words.kinds if random.random() < SWARM_SHARE]
        return kinds if len(kinds) >= SWARM_LEAST else list(self.words.kinds)

    def _first(self, random: Random, kinds: list[Kind], survey: Survey) -> tuple[int, int, Kind]:
        """Choose the cell planned least among some, and a time at which it comes up."""
        kind = random.choice(kinds)
        if kind.name in survey.bites and random.random() < BITE_SHARE:
            tries = [_bite(random, survey, kind, 0, survey.ended_us) for _ in range(TRIED)]
            found = [(one, self._cell(survey, kind, one[0])) for one in tries if one is not None]
            if found:
                (at_us, bolt), cell = min(found, key=lambda one: self.cells[one[1]])
                self.cells[cell] += 1
                return at_us, bolt, kind
        cells = survey.cells()
        offered = [random.choice(cells) for _ in range(TRIED)]
        action, moment = min(offered, key=lambda one: self.cells[kind.name, one[0], one[1]])
        self.cells[kind.name, action, moment] += 1
        working, (low_us, high_us) = random.choice(_windows(survey, action, moment))
        return random.randint(low_us, high_us), working.bolt, kind

    def _cell(self, survey: Survey, kind: Kind, at_us: int) -> tuple[str, str, str]:
        for one in survey.working:
            if one.begun_us <= at_us < one.ended_us:
                return kind.name, one.action, moment_of(at_us - one.begun_us)
        return kind.name, WAITING, "between"

    def _following(self, random: Random, kinds: list[Kind], before: list[str]) -> Kind:
        offered = [random.choice(kinds) for _ in range(TRIED)]

        def planned(kind: Kind) -> tuple[int, int]:
            pairs = sum(self._pairs[one, kind.name] for one in before)
            triples = sum(self._triples[one, two, kind.name] for one, two in ordered_pairs(before))
            return (triples, pairs) if len(before) > 1 else (pairs, 0)

        return min(offered, key=planned)


def draw_people(
    random: Random, words: Vocabulary, at_us: int
) -> tuple[tuple[Answer, ...], tuple[Act, ...]]:
    """Draw what people answer and do from the time of the last cause on."""
    meddling = (_meddle(random, at_us),) if random.random() < MEDDLING_SHARE else ()
    if random.random() < ATTENDED_SHARE:
        answers = tuple(
            draw_answer(
                random,
                words,
                prompt,
                Option.BY_HAND if random.random() < BY_HAND_SHARE else Option.AGAIN,
                random.choice((800_000, 2_000_000)),
            )
            for prompt in words.prompts
            for _ in range(4)
        )
        return answers, (*meddling, *_restarts(random, resumes=bool(meddling)))
    answers = tuple(
        draw_answer(
            random,
            words,
            prompt,
            random.choice(tuple(Option)),
            random.choice((0, 1_500_000, 6_000_000, 30_000_000)),
        )
        for prompt in words.prompts
        for _ in range(random.choice((0, 0, 1, 3)))
    )
    acts = _restarts(random, resumes=True) if random.random() < 0.5 else ()
    return answers, (*meddling, *acts)


def draw_crowd(random: Random, from_us: int, last_us: int) -> tuple[Act, ...]:
    """Draw what people do out of turn from the first cause on.

    Args:
        random: Of the people of this case alone.
        from_us: When the first cause begins; the run before it is shared with other cases.
        last_us: When the last cause begins.
    """
    acts: list[Act] = []
    ends = (ActName.STOP, ActName.ABORT)
    others = tuple(one for one in ActName if one not in ends)
    for _ in range(random.randint(1, CROWD_MOST)):
        when_us = random.randint(from_us, last_us + CROWD_US)
        name = random.choice(ends if random.random() < ENDING_SHARE else others)
        acts.append(Act(name, random.choice(PEOPLE), None, when_us))
        if random.random() < TWICE_SHARE:
            again = random.choice((name, random.choice(others)))
            acts.append(Act(again, random.choice(PEOPLE), None, when_us + TWICE_US))
    return tuple(acts)


def _meddle(random: Random, at_us: int) -> Act:
    acts = (ActName.PAUSE, ActName.HOLD, ActName.HOLD, ActName.STOP, ActName.ABORT, ActName.RESET)
    later_us = random.randint(0, 4_000_000)
    return Act(random.choice(acts), BY, None, at_us + later_us)


def _restarts(random: Random, *, resumes: bool) -> tuple[Act, ...]:
    acts: list[Act] = []
    for _ in range(ROUNDS):
        after_us = random.choice((500_000, 500_000, 2_500_000, 6_000_000))
        acts.append(Act(ActName.RESET, BY, "held", None, after_us))
        acts.append(Act(ActName.RESTART, BY, "held", None, random.choice((300_000, 1_000_000))))
    if resumes:
        acts.append(Act(ActName.RESUME, BY, "paused", None, 1_500_000))
    return tuple(acts)


def _windows(survey: Survey, action: str, moment: str) -> list[tuple[Working, tuple[int, int]]]:
    found = []
    for one in survey.working:
        if one.action == action or action == WAITING:
            window = window_us(one, moment)
            if window is not None:
                found.append((one, window))
    return found or [(one, (one.begun_us, one.ended_us)) for one in survey.working]


def _bite(
    random: Random, survey: Survey, kind: Kind, low_us: int, high_us: int
) -> tuple[int, int] | None:
    """Return a moment just before a cause of this kind would act, and at which bolt."""
    places = [one for one in survey.bites.get(kind.name, ()) if low_us < one[0] < high_us]
    if not places:
        return None
    at_us, _, bolt = random.choice(places)
    return max(low_us, at_us - random.randint(1_000, BITE_US)), bolt


def _bolt_at(survey: Survey, at_us: int) -> int:
    for one in survey.working:
        if one.begun_us <= at_us < one.ended_us and one.bolt:
            return one.bolt
    return 0


def cells_of(words: Vocabulary, survey: Survey) -> list[tuple[str, str, str]]:
    """Return every cell of fault, step and moment that can be planned on a day."""
    return [
        (kind.name, action, moment)
        for kind in words.kinds
        for action, moment in survey.cells()
        if moment in MOMENTS
    ]
