"""The sound of a film: a click at each blow that is shown, as high as its impulse says."""

import dataclasses

import av
import numpy as np
import pytest

from snapsim.render import ClipOptions, sound
from snapsim.render.show import plan

RATE = sound.SAMPLES


def peaks(track, blows):
    """Highest sample within 20 ms of each blow."""
    return [np.abs(track[round(b.at * RATE) :][: RATE // 50]).max() for b in blows]


def test_a_blow_is_heard_in_every_telling_that_shows_it(trajectory):
    line, lags = plan((trajectory,), ClipOptions())
    blows = sound.heard((trajectory,), lags, line)
    assert len(blows) == 2  # in real time, and slow
    for blow in blows:
        assert line.sim_at(blow.at) == pytest.approx(trajectory.impacts[0].time, abs=1e-6)


def test_a_blow_that_is_left_out_is_not_heard(trajectory):
    line, lags = plan((trajectory,), ClipOptions())
    late = dataclasses.replace(trajectory.impacts[0], time=trajectory.time[-1] + 1)
    run = dataclasses.replace(trajectory, impacts=(*trajectory.impacts, late))
    assert len(sound.heard((run,), lags, line)) == 2


def test_clicks_are_as_high_as_impulses_and_begin_at_their_blows():
    blows = [sound.HeardBlow(at, size) for at, size in ((0.5, 2.0), (1.5, 1.0), (2.5, 0.001))]
    track = sound.track(blows, 3.0)
    high = peaks(track, blows)
    assert high[0] == pytest.approx(sound.LOUDEST)
    assert high[1] == pytest.approx(0.5 * sound.LOUDEST, rel=1e-6)
    assert high[2] == 0  # fainter than what is heard
    assert not track[: round(0.5 * RATE)].any()
    assert len(track) == 3 * RATE
    assert not sound.track([], 1.0).any()


def silent_film(path):
    with av.open(str(path), "w") as film:
        stream = film.add_stream("libx264", rate=30)
        stream.width = stream.height = 64
        stream.pix_fmt = "yuv420p"
        for _ in range(60):
            picture = av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8), "rgb24")
            film.mux(stream.encode(picture))
        film.mux(stream.encode())


def test_the_track_reads_back_by_another_library_at_the_blow(tmp_path):
    path = tmp_path / "film.mp4"
    silent_film(path)
    made = sound.track([sound.HeardBlow(1.0, 1.0)], 2.0)
    assert sound.add(made, path, False) == path
    with av.open(str(path)) as film:
        (video,), (audio,) = film.streams.video, film.streams.audio
        assert (audio.rate, video.frames) == (RATE, 60)
        heard = [(frame.time, frame.to_ndarray()[0]) for frame in film.decode(audio)]
    times = np.concatenate([t + np.arange(len(f)) / RATE for t, f in heard])
    level = np.abs(np.concatenate([f for _, f in heard]))
    assert times[np.argmax(level > 0.1)] == pytest.approx(1.0, abs=0.005)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["film.mp4"]


def test_pictures_get_a_wav_file_beside_them(tmp_path):
    made = sound.track([sound.HeardBlow(0.1, 1.0)], 0.5)
    assert sound.add(made, tmp_path / "frames", False) == tmp_path / "frames.wav"
    with av.open(str(tmp_path / "frames.wav")) as file:
        assert sum(frame.samples for frame in file.decode(audio=0)) == RATE // 2
