"""A rehearsal of one tab: a process that steps the motion in real time, and where its news go.

The browser says where the hand is wanted as often as it draws, and gets the newest moment back. The
process goes on at the `pace` asked for (1 is true speed), or as fast as it can and says how fast
that is. What would happen if the hand let go now is told by draft releases beside it.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Final

import numpy as np

from snapsim.analysis.figures import number, numbers
from snapsim.arrays import Array
from snapsim.errors import SnapsimError
from snapsim.page.jobs import PageJob
from snapsim.page.pull_bar import PullBar, pull_bar
from snapsim.parts.states import State
from snapsim.run.rehearsal import LONGEST, Ahead, Rehearsal, RehearsedMoment, slice_at
from snapsim.scenario.toml_text import rewritten
from snapsim.words.blows import as_fast, meets
from snapsim.work.processes import CONTEXT, process_beside

LOOKS: Final = 0.1
"""Seconds between looks ahead along the pull."""

BEHIND: Final = 0.1
"""Seconds behind its pace beyond which a rehearsal does not catch up but is slowed."""

OVER: Final = 0.5
"""Seconds over which the pace that was kept is told."""

HAND: Final = "rehearsing hand"

UNKNOWN: Final = Ahead(np.nan, np.nan)
"""What is seen ahead before anything was looked at, and where the pull there is not known."""


@dataclass
class Rehearsing:
    """A running rehearsal: what it sent last, the draft release that looks ahead, its run file."""

    given: dict[str, Any]
    connection: Connection = field(init=False)
    process: Any = field(init=False)
    state: str = "starting"
    error: str = ""
    latest: dict[str, Any] | None = None
    blows: list[str] = field(default_factory=list)
    moments: int = 0
    look: PageJob | None = None
    let_go: dict[str, Any] | None = None
    looked_at: int = 0

    def __post_init__(self) -> None:
        self.connection, other = CONTEXT.Pipe()
        self.process = process_beside(rehearse_on, other, self.given)
        other.close()

    def tell(self, what: dict[str, Any]) -> None:
        """Send where the hand is wanted, that it opens or closes, a pace, or the end."""
        if self.state in ("starting", "running"):
            try:
                self.connection.send(what)
            except OSError:
                self._lost()

    def hear(self) -> None:
        """Take what the process sent."""
        try:
            while self.connection.poll():
                self._take(*self.connection.recv())
        except (EOFError, OSError):
            self._lost()

    def news(self) -> dict[str, Any]:
        """Return the newest moment, and the blows since the last call."""
        blows, self.blows = self.blows, []
        return {
            "state": self.state,
            "error": {"key": None, "message": self.error} if self.error else None,
            "moment": self.latest,
            "moments": self.moments,
            "new_blows": blows,
            "let_go": self.let_go,
        }

    def as_now(self) -> dict[str, Any]:
        """Return the scene as it now moves, for a draft release without the hand."""
        assert self.latest is not None
        keys = ("position", "quaternion", "velocity", "spin")
        return self.given | {"state": {k: self.latest[k] for k in keys}}

    def _take(self, what: str, news: Any) -> None:
        if what == "moment":
            self.state, self.latest = "running", news
            self.moments += 1
            self.blows += news.pop("blows")
        elif what == "failed":
            self.state, self.error = "failed", news
        else:
            self.state = what

    def _lost(self) -> None:
        if self.state not in ("done", "failed"):
            self.state, self.error = "failed", "the process that rehearses ended"

    def close(self) -> None:
        """End the process."""
        self.connection.close()
        self.process.terminate()
        self.process.join(2.0)


def rehearse_on(connection: Connection, given: dict[str, Any]) -> None:
    """Rehearse until told to end, then write the run: the life of the process."""
    try:
        _Stage(connection, given).play()
        connection.send(("done", None))
    except (EOFError, BrokenPipeError):
        return
    except SnapsimError as error:
        connection.send(("failed", str(error)))
    except Exception as error:  # a fault of the rehearsal must not end the page
        connection.send(("failed", f"unexpected fault: {type(error).__name__}: {error}"))


class _Stage:
    """The rehearsal in its process, with the clock on the wall."""

    def __init__(self, connection: Connection, given: dict[str, Any]) -> None:
        from snapsim.scenario.loading import scene_from_text

        self.connection, self.given = connection, given
        self.scene = scene_from_text(given["text"], given["file"], [], resolve=False)
        self.part = self.scene.number(given["part"])
        self.asked: tuple[Array, Array] | None = None
        self.pace, self.over, self.seq = float(given["pace"]), False, 0
        self.limit = float(given["limit_N"])
        self.rehearsal = Rehearsal(self.scene, self.part, self.limit)
        self.ahead, self.bar, self.looked = UNKNOWN, PullBar(None), -np.inf

    def play(self) -> None:
        """Step until it is over, then keep the run."""
        self._wait()
        shown = clock = time.monotonic()
        marks = [(clock, self.rehearsal.time)]
        while not self.over and not self.rehearsal.end:
            self._listen()
            moment = self.rehearsal.step(self.asked)
            now = time.monotonic()
            clock += self.rehearsal.slice / self.pace
            if now - clock > BEHIND:
                clock = now
            marks = [m for m in marks if now - m[0] < OVER][-60:] or marks[-1:]
            kept = (moment.time - marks[0][1]) / max(now - marks[0][0], 1e-9)
            marks.append((now, moment.time))
            if now - shown >= 1 / 90 or moment.blows:
                shown = now
                self.connection.send(("moment", self._news(moment, min(kept, self.pace))))
            time.sleep(max(clock - time.monotonic(), 0.0))
        self.connection.send(("keeping", None))
        self._keep()

    def _wait(self) -> None:
        """Show where all is, and wait until the hand is first moved or opened."""
        self.connection.send(("moment", self._news(self.rehearsal.step(None), self.pace)))
        while self.asked is None and self.rehearsal.held and not self.over:
            self.connection.poll(None)
            self._listen()

    def _listen(self) -> None:
        while self.connection.poll():
            told = self.connection.recv()
            if told.get("position") is not None:
                self.asked = np.array(told["position"]), np.array(told["quaternion"])
            self.pace = float(told.get("pace", self.pace))
            self.rehearsal.slice = slice_at(self.pace)
            self.seq = told.get("seq", self.seq)
            self.over = self.over or bool(told.get("end"))
            if told.get("held") is False:
                self.rehearsal.let_go()
            elif told.get("held") and not self.rehearsal.held:
                self.rehearsal.hold_again()
                self.asked = None

    def _news(self, m: RehearsedMoment, kept: float) -> dict[str, Any]:
        now = time.monotonic()
        if now - self.looked > LOOKS:
            self.looked, self.bar = now, self._bar()
            self.ahead = (
                UNKNOWN if self.bar.close_to else self.rehearsal.ahead(self.bar.low_by or 0.0)
            )
        return {
            "seq": self.seq,
            "time_s": m.time,
            **_motion(m.state),
            "held": self.rehearsal.held,
            "lost": self.rehearsal.lost,
            "force_N": numbers(m.force),
            "used": m.used,
            "limit_N": self.limit,
            "pull_N": number(float(np.linalg.norm(m.pull))),
            "pull": numbers(m.pull),
            "speed": number(float(np.linalg.norm(m.state.velocity[self.part]))),
            "wanted": numbers(self.rehearsal.wanted[0]),
            "turned": numbers(self.rehearsal.wanted[1]),
            "weight_N": number(self.rehearsal.weight),
            "lifts_in_m": number(self.ahead.lifts),
            "beats_in_m": number(self.ahead.beats),
            "close_to": self.bar.close_to,
            "pace": self.pace,
            "kept": kept,
            "longest_s": LONGEST,
            "blows": [
                f"{b.body} {meets(b)} {b.against} {as_fast(b)} {b.closing_speed:.2g} m/s"
                for b in m.blows
            ],
        }

    def _bar(self) -> PullBar:
        """What its draft cells may leave of the pull."""
        r, pose = self.rehearsal, self.rehearsal.state.pose
        each = zip(r.geometry.pairs.tolist(), r.geometry.gaps(pose).tolist(), strict=True)
        gaps = {sum(pair) - self.part: gap for pair, gap in each if self.part in pair}
        return pull_bar(self.scene, r.loads.model, self.part, pose, gaps)

    def _keep(self) -> None:
        """Write the run, its scene with the hand as one of its joints."""
        import snapsim
        from snapsim.scenario.loading import scene_from_text

        text = self._with_hand()
        system = scene_from_text(text, self.given["file"], [])
        run = self.rehearsal.trajectory(system)
        snapsim.write_run(run, Path(self.given["path"]), force=True)

    def _with_hand(self) -> str:
        from snapsim.page import edits
        from snapsim.scenario.text_file import toml_document

        document = toml_document(self.given["text"], self.given["file"])
        r = self.rehearsal
        found = edits.with_hand_that_moved(
            document, self.given["part"], HAND, r.places, r.parted, self.limit
        )
        run = document.get("run", {}) | {"duration": f"{r.time:.6f} s", "detail": "draft"}
        return rewritten(self.given["text"], found | {"run": run})


def _motion(state: State) -> dict[str, Any]:
    """Where all bodies are and how they move."""
    return {
        "position": state.pose.position.tolist(),
        "quaternion": state.pose.quaternion.tolist(),
        "velocity": state.velocity.tolist(),
        "spin": state.spin.tolist(),
    }
