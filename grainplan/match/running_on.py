"""How the grain of a filled bay runs on behind its rail, or mirrors across it, as the plan tells it."""

from __future__ import annotations

from grainplan.errors import NotFound
from grainplan.match.arrange import StripPlace
from grainplan.match.edges import EdgeScore
from grainplan.match.lying import FilledBay, Lying
from grainplan.match.railjudge import (
    across,
    ask_mirror_at,
    expect_jump,
    expect_mirror_step,
    find_grain,
    lay_rail,
    name_leaf,
    name_pair,
)
from grainplan.match.seen import SeamBook
from grainplan.plan import Continuity

UNSEEN = "from the grain angle alone: the surfaces at the rail are not yet seen"
MIRROR_UNSEEN = "from the ring angle alone: the surfaces at the rail are not yet seen"


def write_continuity(bay: FilledBay, book: SeamBook) -> Continuity | None:
    """What happens at the rail of a bay, strip by strip from the left; None for a single panel.

    Parameters
    ----------
    bay : FilledBay
    book : SeamBook
        Where surfaces that have been seen are measured.
    """
    cut = bay.kind.cut
    if cut.hidden_mm is None or cut.leaf_mm is None:
        return None
    steps: list[float | None] = []
    fits: list[float | None] = []
    strangers: float | None = None
    caveats: list[str] = []
    for lying in bay.lying:
        option = lying.option
        for pair in zip(option.strips_of("lower"), option.strips_of("upper"), strict=True):
            mirrored = option.is_end_matched
            score = _score_mirror(book, bay, lying, pair) if mirrored else _score_run_on(book, bay, lying, pair[0])
            if isinstance(score, NotFound):
                steps.append(_expect(book, bay, lying, pair))
                fits.append(None)
                if book.request.surfaces:
                    foretold = [] if steps[-1] is None else [MIRROR_UNSEEN if mirrored else UNSEEN]
                    caveats += [score.reason, *foretold]
                continue
            steps.append(score.step_mm)
            fits.append(score.fit)
            strangers = score.strangers
            caveats += [*_say_doubt(book, lying, pair), *score.caveats]
    return Continuity(
        round(cut.hidden_mm, 3),
        round(cut.leaf_mm, 3),
        tuple(None if step is None else round(step, 2) for step in steps),
        tuple(None if fit is None else round(fit, 3) for fit in fits) if any(f is not None for f in fits) else (),
        end_match=cut.end_matched,
        strangers=None if strangers is None else round(strangers, 3),
        caveats=tuple(dict.fromkeys(caveats)),
    )


_Pair = tuple[StripPlace, StripPlace]


def _score_run_on(book: SeamBook, bay: FilledBay, lying: Lying, strip: StripPlace) -> EdgeScore | NotFound:
    board = lying.stock.board
    cut = lay_rail(bay.kind.cut, lying.option.foot, start_mm=lying.start_mm, grain_deg=find_grain(board))
    leaf = name_leaf(board, lying.first, strip)
    return book.score_run_on(leaf, strip.surface, cut, y_mm=across(strip, lying.y_mm))


def _score_mirror(book: SeamBook, bay: FilledBay, lying: Lying, pair: _Pair) -> EdgeScore | NotFound:
    end = ask_mirror_at(bay.kind.cut, lying.option.foot, start_mm=lying.start_mm)
    named = name_pair(lying.stock.board, lying.first, pair)
    return book.score_end_match(lying.stock.board, named, (end, end), y_mm=across(pair[0], lying.y_mm))


def _expect(book: SeamBook, bay: FilledBay, lying: Lying, pair: _Pair) -> float | None:
    """The step that is to be expected where nobody has seen the surfaces."""
    if lying.option.is_end_matched:
        return expect_mirror_step(book, lying.stock.board, pair, (lying.first, lying.y_mm))
    return expect_jump(bay.kind, lying.stock.board)


def _say_doubt(book: SeamBook, lying: Lying, pair: _Pair) -> tuple[str, ...]:
    """What is predicted and not yet seen: both surfaces of an end match, else the one that runs on."""
    shown = list(dict.fromkeys(name_pair(lying.stock.board, lying.first, pair)))
    return book.say_predicted(shown if lying.option.is_end_matched else shown[:1])
