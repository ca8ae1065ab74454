"""The repair after a leaf is lost: the bays that stood on it are chosen anew, and as little else as can be.

What is done and what the maker keeps stays in any case. The other bays stay where they were as long as the hurt ones
can be filled beside them; then one of them gives way, and only then all. Where the maker had kept a hurt bay, what is
left of its leaves stays in it, at its place along the board, if another leaf of the board fits beside them there.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from grainplan.aftersaw import list_lost, read_leaves
from grainplan.boards import Leaf, MeasuredBoard
from grainplan.choice import Outcome, choose_again, make_plan, resaw_as
from grainplan.errors import GrainplanError
from grainplan.job import Job, Keep
from grainplan.match.pinning import pin_bay
from grainplan.pieces import cut_free
from grainplan.plan import Plan, PlannedBay
from grainplan.progress import Progress, ShouldStop, keep_quiet, never_stop, part_of
from grainplan.sight import Looking, see_leaves, tell_leaves

AFRESH = "to choose all bays afresh instead, delete out/plan.json and plan again"


def plan_on(
    job: Job, boards: tuple[MeasuredBoard, ...], earlier: Plan | Outcome | None, *, looking: Looking | None = None
) -> Outcome:
    """Plan a job that may have been planned before: mend that plan where leaves are lost, else choose afresh.

    Bays that are done stand on the wood that the earlier plan gave them. A job with lost leaves that has not changed
    since it was planned keeps its plan: choosing afresh would undo the repair.

    Parameters
    ----------
    job : Job
    boards : tuple of MeasuredBoard
        All boards of the job.
    earlier : Plan, Outcome or None
        The last plan, perhaps of another state of the job; with its outcome what is known of the leaves still holds
        where no board and no leaf photo has changed.
    looking : Looking, optional
    """
    looking = looking or Looking()
    plan = earlier.plan if isinstance(earlier, Outcome) else earlier
    if plan is None or not still_fits(plan, job, {board.name for board in cut_free(job, ())[0].boards}):
        return make_plan(job, boards, looking=looking)
    held = hold_done(job, plan)
    is_hurt = bool(list_hurt(plan, job))
    if not is_hurt and (plan.job_sha256 != job.sha256 or not list_lost(job)):
        return replace_keeps(make_plan(held, boards, looking=looking), job)
    seeing = replace(looking, progress=part_of(looking.progress, 0.0, 0.6))
    before = _see_again(earlier if isinstance(earlier, Outcome) else plan, held, boards, looking=seeing)
    if is_hurt:
        mending = part_of(looking.progress, 0.6, 1.0)
        before = repair_plan(before, held, progress=mending, should_stop=looking.should_stop)
    return replace_keeps(before, job)


def _see_again(earlier: Plan | Outcome, job: Job, boards: tuple[MeasuredBoard, ...], *, looking: Looking) -> Outcome:
    """The earlier plan with what is known of the leaves now."""
    job, boards = cut_free(job, boards)
    if isinstance(earlier, Outcome):
        if earlier.boards == boards and _list_photos(earlier.job) == _list_photos(job):
            return replace(earlier, job=job)
        earlier = earlier.plan
    sawn = read_leaves(job)
    sight = see_leaves(job, boards, resaw_as(earlier, job), sawn=sawn, looking=looking)
    told = tell_leaves(job, boards, sight) if sawn else ()
    return Outcome(job, boards, earlier, sight.surfaces, foretold=sight.foretold, told=told)


def _list_photos(job: Job) -> set[tuple[object, ...]]:
    return {(report.leaf, report.near, report.far) for report in job.leaf_reports if report.near or report.far}


def replace_keeps(outcome: Outcome, job: Job) -> Outcome:
    """The outcome with the keeps that the maker has written, without those that only held it together."""
    return replace(outcome, job=replace(outcome.job, keeps=job.keeps))


def still_fits(plan: Plan, job: Job, boards: Collection[str]) -> bool:
    """Whether the boards and bays that a plan speaks of are still there."""
    used = {leaf.board for bay in plan.bays for leaf in bay.leaves}
    return used <= set(boards) and {bay.name for bay in plan.bays} <= {bay.name for bay in job.bays}


def list_hurt(plan: Plan, job: Job) -> tuple[str, ...]:
    """The bays of a plan that stand on a leaf which is lost."""
    lost = list_lost(job)
    return tuple(bay.name for bay in plan.bays if any(leaf in lost for leaf in bay.leaves))


def hold_done(job: Job, plan: Plan) -> Job:
    """The job with every finished bay held to the wood that it was made of, so that nothing else is cut from it.

    So is a bay that the maker kept on a leaf which is lost since, once it was mended with what was left of its leaves.
    """
    planned = {bay.name: bay for bay in plan.bays}
    kept, lost = {keep.bay for keep in job.keeps}, list_lost(job)
    done = [pin_bay(planned[bay.name]) for bay in job.bays if bay.done and bay.name in planned and bay.name not in kept]
    told_lost = {report.leaf for report in job.leaf_reports if report.lost}
    pins = [pin for pin in done if told_lost.isdisjoint(pin.leaves)]
    whole = {keep.bay for keep in job.keeps if not any(leaf in lost for leaf in keep.leaves)}
    for keep in job.keeps:
        rest = {leaf for leaf in keep.leaves if leaf not in lost}
        if keep.bay in planned and keep.bay not in whole and rest and rest <= set(planned[keep.bay].leaves):
            pin = pin_bay(planned[keep.bay])
            pins += [] if any(leaf in lost for leaf in pin.leaves) else [pin]
    return replace(job, keeps=(*job.keeps, *pins))


def repair_plan(
    before: Outcome, job: Job, *, progress: Progress = keep_quiet, should_stop: ShouldStop = never_stop
) -> Outcome:
    """Mend a plan some of whose leaves are lost; every bay that need not change stays as it was.

    Parameters
    ----------
    before : Outcome
        The plan as it was, with what is known of the leaves now.
    job : Job
        As it is now, the lost leaves among its reports.
    progress, should_stop : callable

    Returns
    -------
    Outcome
        Its plan tells among the caveats which bays changed, and why.
    """
    held, _ = cut_free(hold_done(job, before.plan), ())
    attempts = _Attempts(before, held, should_stop)
    progress(0.0, "mending the plan")
    found = attempts.keep_rest() or attempts.choose(frozenset())
    least = 0 if found is None else len(found.plan.unfilled)
    if found is None or (least and not should_stop()):
        progress(0.4, "the hurt bays find no wood beside the others: letting others move")
        found = _let_others_move(attempts, found, progress=part_of(progress, 0.4, 1.0))
    told = _tell_changes(before.plan, found.plan, job)
    progress(1.0, "mended")
    return replace(
        found,
        job=replace(held, keeps=job.keeps),
        plan=replace(found.plan, caveats=tuple(dict.fromkeys([*told, *found.plan.caveats]))),
    )


@dataclass(frozen=True, slots=True)
class _Attempts:
    """One plan tried with other bays let go."""

    before: Outcome
    job: Job
    should_stop: ShouldStop

    @property
    def pins(self) -> Mapping[str, Keep]:
        """The bays that could stay where they are, and are not kept by the maker anyhow."""
        hurt, kept = list_hurt(self.before.plan, self.job), {keep.bay for keep in self.job.keeps}
        shut = {(entry.bay, entry.board) for entry in self.job.leave_outs}
        return {
            bay.name: pin_bay(bay)
            for bay in self.before.plan.bays
            if bay.name not in hurt
            and bay.name not in kept
            and not any((name, leaf.board) in shut for leaf in bay.leaves for name in (bay.name, None))
        }

    @property
    def movable(self) -> tuple[str, ...]:
        """Those that may give way."""
        done = {bay.name for bay in self.job.bays if bay.done}
        return tuple(name for name in self.pins if name not in done)

    def keep_rest(self) -> Outcome | None:
        """With what is left of the leaves of each hurt bay that the maker had kept; None where that cannot be."""
        found: Outcome | None = None
        mended: tuple[Keep, ...] = ()
        for ways in self._list_substitutes():
            tried = [(way, self.choose(frozenset(), mended=(*mended, way))) for way in ways if not self.should_stop()]
            good = [(one.plan.cost, way, one) for way, one in tried if one is not None and not one.plan.unfilled]
            if good:
                _, way, found = min(good, key=lambda one: one[0])
                mended = (*mended, way)
        return found

    def _list_substitutes(self) -> list[list[Keep]]:
        """For each kept bay that is hurt, its leaves with others of the same board for those that are lost."""
        lost, sawn = list_lost(self.job), {use.name: use.leaves for use in self.before.plan.boards}
        kept = {keep.bay for keep in self.job.keeps}
        found = []
        for bay in self.before.plan.bays:
            pin = replace(pin_bay(bay), y_mm=None)
            rest = {leaf for leaf in pin.leaves if leaf not in lost}
            is_one_run = not bay.is_end_matched and len(set(pin.leaves)) == len(pin.leaves)
            if bay.name in kept and is_one_run and 0 < len(rest) < len(pin.leaves) and pin.x_mm is not None:
                runs = _list_runs(rest, len(pin.leaves), sawn[pin.leaves[0].board], lost)
                found.append([replace(pin, leaves=order) for run in runs for order in (run, run[::-1])])
        return found

    def choose(self, free: Collection[str], *, mended: tuple[Keep, ...] = ()) -> Outcome | None:
        """None where the rest cannot stay as it was, or what is mended cannot be had."""
        held = (*mended, *(pin for name, pin in self.pins.items() if name not in free))
        try:
            return choose_again(
                self.before, replace(self.job, keeps=(*self.job.keeps, *held)), should_stop=self.should_stop
            )
        except GrainplanError:
            if not held:
                raise
            return None


def _list_runs(rest: Collection[Leaf], count: int, leaves: int, lost: Collection[Leaf]) -> list[tuple[Leaf, ...]]:
    """Leaves of one board that lay one after the other, `count` of them, these among them and none that is lost."""
    board = next(iter(rest)).board
    runs = [tuple(Leaf(board, first + i) for i in range(count)) for first in range(1, leaves - count + 2)]
    return [run for run in runs if set(rest) <= set(run) and not any(leaf in lost for leaf in run)]


def _let_others_move(attempts: _Attempts, found: Outcome | None, *, progress: Progress) -> Outcome:
    """All others free tell what can be had; then it is had by moving one of them, if that is enough."""
    free = attempts.choose(attempts.movable) or attempts.choose([*attempts.pins])
    assert free is not None
    most = len(free.plan.unfilled)
    if found is not None and len(found.plan.unfilled) <= most:
        return found
    best: Outcome | None = None
    for place, name in enumerate(attempts.movable):
        if attempts.should_stop():
            break
        progress(place / len(attempts.movable), f"letting {name} move")
        one = attempts.choose({name})
        if one is not None and len(one.plan.unfilled) <= most and (best is None or one.plan.cost < best.plan.cost):
            best = one
    return best or free


def _tell_changes(before: Plan, after: Plan, job: Job) -> tuple[str, ...]:
    """Which bays changed and why, a sentence for each lost leaf and one for what else had to move."""
    now = {bay.name: bay for bay in after.bays}
    lost, hurt = list_lost(job), list_hurt(before, job)
    told = []
    for leaf, why in lost.items():
        names = [bay.name for bay in before.bays if leaf in bay.leaves]
        if names:
            moves = "; ".join(_tell_move(bay, now.get(bay.name)) for bay in before.bays if bay.name in names)
            told.append(f"leaf {leaf.name} is lost ({why}): {moves}")
    others = [bay for bay in before.bays if bay.name not in hurt]
    moved = [bay for bay in others if bay.name not in now or bay.lie != now[bay.name].lie]
    if moved:
        told.append(f"to make room, {'; '.join(_tell_move(bay, now.get(bay.name)) for bay in moved)}")
    if told:
        stay = len(others) - len(moved)
        told[-1] += f"; {'the other' if moved else 'all other'} {stay} bays stay as they were" if stay > 1 else ""
        told.append(AFRESH)
    return tuple(told)


def _tell_move(was: PlannedBay, now: PlannedBay | None) -> str:
    old = " | ".join(leaf.name for leaf in was.leaves)
    if now is None:
        return f"{was.name}, which stood on {old}, finds no other leaves"
    new = " | ".join(leaf.name for leaf in now.leaves)
    return f"{was.name} moves from {old} to {new}" if new != old else f"{was.name} moves along {old}"
