"""Compiling side by side: once, by parts that call what a release calls, and never half."""

import subprocess
import sys
import textwrap

import pytest

from snapsim.simulation import first_use


@pytest.fixture
def stamp(tmp_path, monkeypatch):
    """A stamp file that is not there yet, on a machine of two processors."""
    path = tmp_path / "compiled-here"
    monkeypatch.setattr(first_use, "_stamp", lambda: path)
    monkeypatch.setattr(first_use, "_processors", lambda: 2)
    return path


def stand_in(monkeypatch, folder, code):
    """Let every part be a process that runs `code`, which may write its name."""

    def begin(part):
        return subprocess.Popen([sys.executable, "-c", code, str(folder / part)])

    monkeypatch.setattr(first_use, "_begin", begin)


def test_each_part_runs_once_and_never_again(stamp, tmp_path, monkeypatch):
    """The stamp is set when all came to their end."""
    stand_in(monkeypatch, tmp_path, "import sys; open(sys.argv[1], 'a').write('x')")
    first_use.prepare()
    first_use.prepare()
    assert [(tmp_path / part).read_text() for part in first_use.PARTS] == ["x"] * 4
    assert stamp.exists()


def test_a_part_that_fails_leaves_no_stamp(stamp, tmp_path, monkeypatch):
    """The next run tries again; this one goes on and compiles as it needs."""
    stand_in(monkeypatch, tmp_path, "raise SystemExit(1)")
    first_use.prepare()
    assert not stamp.exists()


def test_an_interrupt_ends_the_parts(stamp, tmp_path, monkeypatch):
    """Nothing goes on in the background."""
    begun = []
    stand_in(monkeypatch, tmp_path, "import time; time.sleep(60)")
    begin = first_use._begin

    def remembered(part):
        begun.append(begin(part))
        if len(begun) == 2:
            raise KeyboardInterrupt
        return begun[-1]

    monkeypatch.setattr(first_use, "_begin", remembered)
    with pytest.raises(KeyboardInterrupt):
        first_use.prepare()
    assert begun[0].wait(10) != 0
    begun[1].kill()
    begun[1].wait()
    assert not stamp.exists()


def test_parts_call_the_kernels_of_a_release():
    """In a fresh process: what a release compiles beyond the parts is a handful of kernels.

    The first time one of these is compiled, all that it calls counts too; the second time it is
    loaded alone.
    """
    code = """
        import sys
        import snapsim
        from numba.core.dispatcher import Dispatcher
        from snapsim.simulation.first_use import PARTS

        def known():
            return {
                (name, key, str(signature))
                for name, module in list(sys.modules.items()) if name.startswith("snapsim.")
                for key, found in vars(module).items() if isinstance(found, Dispatcher)
                for signature in found.signatures
            }

        for part in PARTS.values():
            part()
        before = known()
        changes = ['run.detail="draft"', 'run.duration="0.2 s"']
        scene = snapsim.load_scene("scenarios/gear-blank.toml", changes)
        assert snapsim.release(scene).impacts
        print(len(before), *sorted({key for _, key, _ in known() - before}))
    """
    command = [sys.executable, "-c", textwrap.dedent(code)]
    for _ in range(2):
        done = subprocess.run(command, capture_output=True, text=True, check=True)
    count, *others = done.stdout.split()
    assert int(count) > 20
    assert len(others) <= 6, others
