"""What a fault pattern asks of records, what they answer, and what follows from all answers together.

Theory of operation
-------------------
A pattern of ``tables/fault_patterns.csv`` has signs that it *needs*, that *support* it and that count *against* it. The module of a
pattern looks for each in what was observed and answers with a `Sign`: seen, not seen, or not to be seen with these records, and
why. `weigh` draws the same conclusion for every pattern:

- *not testable* where a needed sign cannot be seen with these records: it says what could show it;
- *not seen* where one was looked for and is not there;
- *uncertain* where all are there and something counts against it, or one of the two figures is over its limit;
- *claimed* otherwise.

Both figures are upper bounds. All needed signs together are no likelier in noise than the least likely of them; the weakest is
reported all the same, so that a claim never rests on one sign alone. The attribution figure is the pattern's own: the share of
decoys (the same sign looked for where this drive has no reason to show it) that do as well, and never below the measured
confusion.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from gearcase.judge.faults import ATTRIBUTION_LIMIT, MEASURED_CONFUSION, NOISE_LIMIT, EvidenceLine
from gearcase.judge.patterns.observed import Recorded

__all__ = ["Answer", "Role", "Sign", "Weighed", "surest", "weigh"]


class Role(StrEnum):
    """What a sign does for its pattern."""

    NEEDED = "needed"
    SUPPORTING = "supporting"
    AGAINST = "against"


class Answer(StrEnum):
    """What all signs of a pattern together say."""

    CLAIMED = "claimed"
    UNCERTAIN = "uncertain"
    NOT_SEEN = "not seen"
    NOT_TESTABLE = "not testable"


@dataclass(frozen=True)
class Sign:
    """One sign of a pattern.

    Attributes
    ----------
    role : Role
    name : str
        As the pattern's row has it.
    seen : bool or None
        None where these records cannot show it.
    says : str
        The numbers it rests on; where it cannot be seen, what could show it.
    noise_chance : float
        That noise alone shows it, all places looked at counted; 1 where noise has no part in it. [-]
    witness : bool
        Whether it is independent of the vibration that shows the rest: temperature, oil, a tap, the power off.
    """

    role: Role
    name: str
    seen: bool | None
    says: str
    noise_chance: float = 1.0
    witness: bool = False


@dataclass(frozen=True)
class Weighed:
    """A pattern at a part of the drive, and what its signs say together.

    Attributes
    ----------
    pattern, component : str
    answer : Answer
    signs : tuple of Sign
    noise_false_alarm, attribution_false_alarm : float
        Chances, as the theory of operation has them. [-]
    why : str
        The sign or figure that decided.
    seen_in : tuple of Recorded
        Records that show it, in order of time.
    growth_db : float or None
        Of what shows it, at matched state, over the earliest such record; None where there is none. [dB]
    lines : tuple of EvidenceLine
        Single lines it rests on, for tables and plots.
    turns : float
        Of what shows it in every turn, for one of the reference shaft: all multiples are its lines; 0 where nothing does. [-]
    """

    pattern: str
    component: str
    answer: Answer
    signs: tuple[Sign, ...]
    noise_false_alarm: float
    attribution_false_alarm: float
    why: str
    seen_in: tuple[Recorded, ...] = ()
    growth_db: float | None = None
    lines: tuple[EvidenceLine, ...] = ()
    turns: float = 0.0

    def claims(self, pattern: str) -> bool:
        """Whether it is a claim of this pattern."""
        return self.pattern == pattern and self.answer is Answer.CLAIMED

    @property
    def witnesses(self) -> int:
        """Independent witnesses: measuring points that show it (those without a name are one), and signs that are one each. [-]"""
        points = {one.recording.point for one in self.seen_in}
        return max(len(points), 1) + sum(sign.witness and sign.seen is True for sign in self.signs)


def weigh(
    pattern: str,
    component: str,
    signs: Sequence[Sign],
    *,
    attribution: float,
    seen_in: Sequence[Recorded] = (),
    growth_db: float | None = None,
    lines: Sequence[EvidenceLine] = (),
    turns: float = 0.0,
) -> Weighed:
    """Draw the conclusion of a pattern's signs.

    Parameters
    ----------
    pattern, component : str
    signs : sequence of Sign
        At least one needed.
    attribution : float
        Chance that what shows belongs elsewhere. [-]
    seen_in, growth_db, lines, turns
        As `Weighed` has them. [dB]

    Examples
    --------
    >>> once = Sign(Role.NEEDED, "once a turn", True, "in the average, 9 standard errors", 1e-6)
    >>> both = Sign(Role.AGAINST, "same in both shafts", True, "the wheel shows it as strong")
    >>> weigh("tooth crack or chip", "pinion", [once], attribution=0.01).answer.value
    'claimed'
    >>> weigh("tooth crack or chip", "pinion", [once, both], attribution=0.01).why
    'same in both shafts: the wheel shows it as strong'
    """
    needed = [sign for sign in signs if sign.role is Role.NEEDED]
    noise = max(sign.noise_chance for sign in needed)
    attribution = max(attribution, MEASURED_CONFUSION)
    blind = next((sign for sign in needed if sign.seen is None), None)
    absent = next((sign for sign in needed if sign.seen is not None and not sign.seen), None)
    against = next((sign for sign in signs if sign.role is Role.AGAINST and sign.seen), None)
    if absent is not None:
        answer, why = Answer.NOT_SEEN, _words(absent)
    elif blind is not None:
        answer, why = Answer.NOT_TESTABLE, _words(blind)
    elif against is not None:
        answer, why = Answer.UNCERTAIN, _words(against)
    elif noise > NOISE_LIMIT:
        answer, why = Answer.UNCERTAIN, f"noise alone shows it with a chance of {noise:.2g}"
    elif attribution > ATTRIBUTION_LIMIT:
        answer, why = Answer.UNCERTAIN, f"a chance of {attribution:.2g} that it belongs elsewhere"
    else:
        answer, why = Answer.CLAIMED, "; ".join(_words(sign) for sign in needed)
    return Weighed(
        pattern, component, answer, tuple(signs), noise, attribution, why, tuple(seen_in), growth_db, tuple(lines), turns
    )


def surest(found: Sequence[Weighed]) -> Weighed:
    """Of what several records say of one part, that which says most: a claim, a doubt, nothing seen; `seen_in` of all that agree.

    >>> absent, seen = Sign(Role.NEEDED, "a", False, ""), Sign(Role.NEEDED, "a", True, "", 1e-6)
    >>> surest([weigh("gear wear", "b", [sign], attribution=0.01) for sign in (absent, seen)]).answer.value
    'claimed'
    """
    rank = [Answer.CLAIMED, Answer.UNCERTAIN, Answer.NOT_SEEN, Answer.NOT_TESTABLE]
    best = min(found, key=lambda one: (rank.index(one.answer), one.noise_false_alarm, one.attribution_false_alarm))
    alike = tuple(record for one in found if one.answer is best.answer for record in one.seen_in)
    return replace(best, seen_in=alike)


def _words(sign: Sign) -> str:
    return f"{sign.name}: {sign.says}"
