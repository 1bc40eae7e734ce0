"""Time of a clip's frames by stage, and memory, with all default layers.

    python tests/benchmarks/time_per_frame.py RUN.h5 [--workers 2] [--frames 2000]

Without --frames: a clip of eleven seconds, 1920 x 1080 at 60 frames a second, all default layers,
the run and its replay from a second camera; wall and processor seconds, scaled to ten seconds.
With --frames: that many small frames drawn in this process, its resident memory on the way.
"""

import argparse
import resource
import tempfile
import time
from pathlib import Path

import snapsim
from snapsim.render import ClipOptions, offscreen, render_clip
from snapsim.render.job import ClipJob
from snapsim.render.show import Show

FULL = ClipOptions(width=1920, height=1080, cards=False, freeze=0.0)


def processor_seconds():
    return sum(
        usage.ru_utime + usage.ru_stime
        for usage in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    )


def whole_clip(run, workers):
    options = ClipOptions(**{**vars(FULL), "workers": workers})
    with tempfile.TemporaryDirectory() as folder:
        wall, cpu = time.perf_counter(), processor_seconds()
        report = render_clip(run, Path(folder) / "clip.mp4", options)
        wall, cpu = time.perf_counter() - wall, processor_seconds() - cpu
        size = (Path(folder) / "clip.mp4").stat().st_size
    share = 600 / report.frames
    print(f"{report.frames} frames, {size / 1e6:.1f} MB, {workers} processes")
    print(f"for 10 s: {share * wall:.1f} s wall, {share * cpu:.1f} s of processors")
    for stage, ms in sorted(report.breakdown.items(), key=lambda pair: -pair[1]):
        print(f"  {stage:14s} {ms:7.2f} ms a frame")


def memory(run, frames):
    offscreen.require()
    small = ClipOptions(**{**vars(FULL), "width": 640, "height": 360, "supersample": False})
    with Show(ClipJob((run,), small)) as show:
        line = show.timeline
        for k in range(frames + 1):
            show.frame((k * 0.618034 % 1.0) * line.duration)
            if k % (frames // 10) == 0:
                pages = int(Path("/proc/self/statm").read_text().split()[1])
                print(f"frame {k:5d}: {pages * resource.getpagesize() / 1e6:7.1f} MB", flush=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("run")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--frames", type=int)
    chosen = parser.parse_args()
    run = snapsim.read_run(chosen.run)
    if chosen.frames:
        memory(run, chosen.frames)
    else:
        whole_clip(run, chosen.workers)


if __name__ == "__main__":
    main()
