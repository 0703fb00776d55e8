"""What a plan's page says first: the one answer as a strip, and each check that does not hold, with its section."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.measures.wording import VERDICT_WORDS
from app.models.plans import Plan
from app.pages import sections
from app.pages.sections import SectionPicture
from app.services.checks import Check, Fix, pick_failing
from app.services.owned_rims import OwnedRim
from app.services.work_outs import WorkedOut

_NOT_TOGETHER = "Holes and layout do not go together"
# The two holes through which a check's section is drawn; every other check with a number is seen at the thumb.
_PAIRS = {
    "Wall between the finger holes": ("middle", "ring"),
    "Bridge as cut": ("middle", "ring"),
    "Wall, thumb to middle": ("thumb", "middle"),
    "Wall, thumb to ring": ("thumb", "ring"),
}


@dataclass(frozen=True)
class Answer:
    """The one answer of a plan: `good`, `bad` or `doubt`, in words, with the fixes that were tried."""

    kind: str
    says: str
    more: str
    fixes: tuple[Fix, ...]


@dataclass(frozen=True)
class SeenCheck:
    """A check that fails or is unknown, and its section where one shows it."""

    check: Check
    section: SectionPicture | None


def answer_plan(plan: Plan, found: Sequence[Check], owned: OwnedRim | None) -> Answer:
    """Returns whether a plan may be drilled as it is; over anything unknown it is never green."""
    failing, holding = pick_failing([*found]), sum(check.holds is True for check in found)
    more = f"{holding} {'check holds' if holding == 1 else 'checks hold'}"
    if failing:
        says = "One check fails" if len(failing) == 1 else f"{len(failing)} checks fail"
        fixes = dict.fromkeys(check.fix for check in failing if check.fix)
        return Answer("bad", says, ", ".join(check.what.lower() for check in failing), tuple(fixes))
    doubts = _list_doubts(plan, found, owned)
    if doubts:
        return Answer("doubt", "Nothing fails, not all is known", f"{'; '.join(doubts)}. {more}", ())
    assumed = f"; depth of the {' and the '.join(plan.assumed_depths)} ASSUMED" if plan.assumed_depths else ""
    return Answer("good", "Ready to drill", more + assumed, ())


def judge_with_layout(answer: Answer | None, conflicts: Sequence[str], stale: Sequence[str] = ()) -> Answer | None:
    """Returns the answer of a plan whose layout conflicts with its holes or no longer holds: never green."""
    if answer is None or not (conflicts or stale):
        return answer
    told = f"layout: {'; '.join([*conflicts, *stale])}"
    if answer.kind == "bad":
        return replace(answer, more=f"{answer.more}; {told}")
    if conflicts:
        return Answer("bad", _NOT_TOGETHER, f"{told}. {answer.more}", answer.fixes)
    return Answer("doubt", "Nothing fails, not all holds", f"{told}. {answer.more}", answer.fixes)


def describe_conflicts(conflicts: Sequence[str]) -> tuple[str, str]:
    """What the bench says of holes that come too near to a mark, in a few words and in full; empty without any."""
    return (_NOT_TOGETHER, "; ".join(conflicts)) if conflicts else ("", "")


def _list_doubts(plan: Plan, found: Sequence[Check], owned: OwnedRim | None) -> list[str]:
    """Returns in words what keeps a plan without a failing check from being ready."""
    doubts = [check.what[0].lower() + check.what[1:] + ": unknown" for check in found if check.holds is None]
    if owned and owned.verdict != "flush":
        doubts.append(f"the bowler's own inner: {VERDICT_WORDS[owned.verdict]}")
    if plan.bore and plan.notch_deg is None:
        doubts.append("which way the notch points: unknown")
    if plan.bore and plan.bore.is_depth_assumed:
        doubts.append("the bore's depth: ASSUMED")
    if not found:
        doubts.append("this plan is older than the checks")
    return doubts or [f"{words}: unknown" for words in plan.unknown]


def list_open(plan: Plan, worked: WorkedOut, found: Sequence[Check]) -> list[SeenCheck]:
    """Returns the checks that do not hold, those that fail first, each with its section."""
    open_ones = sorted((check for check in found if not check.holds), key=lambda check: check.holds is None)
    return [SeenCheck(check, _draw_check(plan, worked, check)) for check in open_ones]


def _draw_check(plan: Plan, worked: WorkedOut, check: Check) -> SectionPicture | None:
    if check.value_in is None:
        return None
    for told in worked.old_walls:
        name = check.what.removeprefix("Wall, ").partition(" ")[0].replace("bore", "thumb")
        if check.what.endswith(told.hole.name) and name in told.walls and told.walls[name].least_in == check.value_in:
            return sections.draw_section_at(plan, worked, name, told.hole)
    holes = list(worked.solved.holes)
    pair = _PAIRS.get(check.what, (holes[0], holes[1]))
    return sections.draw_section_between(plan, worked, pair)
