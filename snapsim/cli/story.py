"""`snapsim clip --story FILE`: a film from a storyboard, or a ready one made from a scene."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import tomli_w

from snapsim.cli.output import emit
from snapsim.cli.story_file import read_story
from snapsim.errors import InputError
from snapsim.render.board import SHORTEST, Storyboard
from snapsim.scenario.text_file import read_toml

if TYPE_CHECKING:
    from snapsim.cli.story_file import SizeReader
    from snapsim.simulation.trajectory import Trajectory

LENGTH: Final = 60.0
"""Clip seconds of a ready film that comes near it by itself."""
NEAR: Final = 40.0
"""Least own length of a film that is made to last `LENGTH`: stills would stand too long else."""
STEP: Final = 12.0
"""How much less a part leans in a ready film's what-if [deg], where none is given."""
WHY: Final = ("giving-way", "resisting", "lift-off", "righting", "parting", "approach")
"""Events of which a ready film draws why, the first three that happen, of what rolls down a slope
the first two."""
LAYERS: Final = {"parting": ["section", "between"]}
WHOLE_FIELD: Final = ["section", "lines"]
"""What is drawn with a still of an event, and with all others."""


def board_of(
    file: str, output: str, what_if: Sequence[str], force: bool, sizes: SizeReader
) -> Storyboard:
    """Return the board of a file of shots, or of a scene: its runs and the board's own file are
    then written beside the output, in OUTPUT.story. Raises InputError."""
    import snapsim

    document = read_toml(file, "a storyboard or a scene is TOML in UTF-8")
    if "body" in document:
        file = _made_ready(file, document, Path(output), what_if, force)
    elif what_if:
        raise InputError("goes with a scene only; a storyboard names its own runs", key="--what-if")
    return read_story(file, sizes, snapsim.read_run)


def _made_ready(
    scene: str, told: dict[str, Any], output: Path, what_if: Sequence[str], force: bool
) -> str:
    """Release a scene, and it with one key changed; write a board of both; return its file."""
    import snapsim
    from snapsim.cli.progress import release_progress

    folder = output.with_name(f"{output.stem}.story")
    if folder.exists() and not force:
        raise InputError("exists already; use --force to replace it", file=str(folder))
    changed = list(what_if) or leaning_less(told)
    each = [[], changed] if changed else [[]]
    systems = [snapsim.load_scene(scene, changes) for changes in each]  # faults before any release
    runs = []
    for system in systems:
        with release_progress(system.duration) as progress:
            runs.append(snapsim.release(system, progress))
    folder.mkdir(exist_ok=True)
    for name, run in zip(("as-it-is.h5", "what-if.h5"), runs, strict=False):
        snapsim.write_run(run, folder / name, True)
    target, board = folder / "story.toml", ready_board(runs)
    target.write_text(tomli_w.dumps(board), encoding="utf-8")
    if leaves_room(read_story(str(target), lambda _: (1920, 1080), snapsim.read_run)):
        board = {"length": f"{LENGTH:g} s", **board}
        target.write_text(tomli_w.dumps(board), encoding="utf-8")
    emit(f"wrote {target}: change it and give it to --story for another cut")
    return str(target)


def leaning_less(told: dict[str, Any]) -> list[str]:
    """Return the changes after which the first free part with an angle leans `STEP` less."""
    from snapsim.scenario import quantities

    for body in told.get("body", []):
        angle = body.get("rotation", {}).get("angle") if isinstance(body, dict) else None
        if isinstance(angle, str) and not body.get("fixed", False):
            degrees = quantities.parse(angle, quantities.ANGLE)[0] * 57.29577951308232
            return [f'body."{body["name"]}".rotation.angle="{degrees - STEP:g} deg"']
    return []


def ready_board(runs: Sequence[Trajectory]) -> dict[str, Any]:
    """Return a board as tables: what happens, why, what if, and the caution."""
    from snapsim.render.differences import differences

    first = runs[0]
    shots: list[dict[str, Any]] = [{"run": ["as-it-is.h5"]}, {"title": "Why?"}]
    shots += _whys(first)
    if len(runs) > 1:
        other = differences([run.system for run in runs], most=1)[1]
        shots.append({"title": f"What if: {other}?"})
        both = ["as-it-is.h5", "what-if.h5"]
        kinds = ["righting", "parting", "approach", "impact", "rest"]
        shots.append({"run": both, "events": kinds})
    shots.append({"caution": True})
    return {"size": "1080p", "rate": "30", "shot": shots}


def _whys(run: Trajectory) -> list[dict[str, Any]]:
    """The slope that a part rolls down, then stills with the cut and the field lines, at the
    moments whose words say most, and the field with the iron and without it."""
    from snapsim.render.events import find_events
    from snapsim.render.framing import leading_part
    from snapsim.render.lines import line_of
    from snapsim.render.slope import slope_of

    events = {str(e.kind): e for e in reversed(find_events(run))}
    part = leading_part(run.system, run.velocity)
    slope = slope_of(run, part) if part is not None else None
    rolls = slope is not None and slope.crest is not None
    chosen = [name for name in WHY if name in events][: 2 if rolls else 3]
    found: list[dict[str, Any]] = []
    if rolls:
        kinds = ["resisting", "righting"]
        shot = {"run": ["as-it-is.h5"], "part": "slow", "events": kinds, "layers": ["slope"]}
        found.append(shot)
    for name in chosen:
        said = line_of(events[name], run)
        still = {"still": "as-it-is.h5", "at": name, "layers": LAYERS.get(name, WHOLE_FIELD)}
        found.append(still if said is None else {**still, "number": said[0], "words": said[1]})
    bodies = run.system.bodies
    if (
        chosen
        and any(b.is_magnet for b in bodies)
        and all(b.is_soft for b in bodies if not b.fixed)
    ):
        field = {"layers": ["lines"], "alone": ["bare"]}
        found.append({"still": "as-it-is.h5", "at": chosen[-1], **field})
    return found


def leaves_room(board: Storyboard) -> bool:
    """Whether a board that lasts `NEAR` or more leaves room in `LENGTH` for what stands in it."""
    from snapsim.render.board_show import segments_of

    found = segments_of(board)
    moving = sum(s.length for s in found if not s.shot.stands)
    if sum(s.length for s in found) < NEAR:
        return False
    return moving + SHORTEST * sum(shot.stands for shot in board.shots) <= LENGTH
