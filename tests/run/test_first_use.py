"""What is compiled first is what a release calls, and a look before it needs less."""

import subprocess
import sys
import textwrap

import pytest

from snapsim.run import first_use


def test_parts_call_the_kernels_of_a_release():
    """In a fresh process: what a release compiles beyond the parts is a handful of kernels.

    The first time one of these is compiled, all that it calls counts too; the second time it is
    loaded alone.
    """
    code = """
        import sys
        import snapsim
        from numba.core.dispatcher import Dispatcher
        from snapsim.run import first_use

        def known():
            return {
                (name, key, str(signature))
                for name, module in list(sys.modules.items()) if name.startswith("snapsim.")
                for key, found in vars(module).items() if isinstance(found, Dispatcher)
                for signature in found.signatures
            }

        for part in first_use.PARTS:
            getattr(first_use, part)()
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


@pytest.mark.parametrize(
    ("call", "needs"),
    [
        ("force(scene)", first_use.AS_PLACED),
        ("force_along(scene, 'blank', (0, 0, 1), 0.01, 3)", first_use.FIELDS_OVER_SPACE),
        ("force_map(scene, 'blank', (0, 2), (0.01, 0.01), 2)", first_use.FIELDS_OVER_SPACE),
    ],
)
def test_a_look_before_release_calls_nothing_of_motion(call, needs):
    """In a fresh process: no kernel of blows, flight or lasting contact is loaded."""
    code = f"""
        import sys
        import snapsim
        from numba.core.dispatcher import Dispatcher
        from snapsim.run import first_use
        asked = []
        first_use.prepare = lambda *needed, progress=None: asked.append(needed)
        scene = snapsim.load_scene("scenarios/gear-blank.toml", ['run.detail="draft"'])
        snapsim.{call}
        used = {{
            found.py_func.__module__
            for name, module in list(sys.modules.items()) if name.startswith("snapsim.")
            for found in vars(module).values()
            if isinstance(found, Dispatcher) and found.signatures
        }}
        print(*asked[0])
        print(*sorted(used))
    """
    command = [sys.executable, "-c", textwrap.dedent(code)]
    for _ in range(2):  # the second time everything is loaded, callees are not asked for
        done = subprocess.run(command, capture_output=True, text=True, check=True)
    asked, used = (set(line.split()) for line in done.stdout.splitlines())
    assert asked == set(needs)
    rooms = tuple(
        f"snapsim.{room}"
        for room in ("magnetics", "numerics", "mechanics.contact", "mechanics.rigid_bodies")
    )
    assert used
    assert {name for name in used if not name.startswith(rooms)} == set()
