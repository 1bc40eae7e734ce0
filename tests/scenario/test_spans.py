"""Ranges of a key as people write them, and single components of a text of three numbers."""

import pytest

from snapsim.errors import InputError
from snapsim.scenario.changes import apply_changes
from snapsim.scenario.quantities import ACCELERATION, LENGTH, parse
from snapsim.scenario.spans import read_span, span_between, step_in


def test_a_range_gives_the_changes_that_a_scene_takes():
    span = read_span('body.blank.rotation.angle="20..80 deg"', "--first")
    assert span.changes(0, 4) == ('body.blank.rotation.angle="20.0 deg"',)
    assert span.changes(1, 4) == ('body.blank.rotation.angle="35.0 deg"',)
    assert span.changes(4, 4) == ('body.blank.rotation.angle="80.0 deg"',)


def test_all_numbers_of_a_size_go_together():
    span = span_between("body.magnet.shape.size", "60 x 40 x 20 mm", "120 x 80 x 40 mm", "--to")
    assert span.changes(1, 2) == ('body.magnet.shape.size="90.0 x 60.0 x 30.0 mm"',)
    assert span.shown == 0


def test_a_plain_number_stays_plain():
    assert read_span("contact.friction=0..0.6", "--first").changes(1, 2) == (
        "contact.friction=0.3",
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("body.blank.position.z", "KEY=FROM..TO"),
        ("body.blank.position.z=20 mm", "KEY=FROM..TO"),
        ("a.b=1 cm..20 mm", "differ in unit"),
        ("a.b=20..20 mm", "both ends are equal"),
        ("a.b=x..20 mm", "cannot be read"),
        ("a.b=1 x 2..20 mm", "different kinds"),
    ],
)
def test_what_is_no_range_is_refused_in_one_line(text, said):
    with pytest.raises(InputError, match=said):
        read_span(text, "--first")


def test_a_step_may_be_in_another_unit_than_the_range():
    assert step_in("0.5 deg", "deg", "--resolution") == 0.5
    assert step_in("0.1 cm", "mm", "--resolution") == pytest.approx(1.0)
    with pytest.raises(InputError, match="deg"):
        step_in("0.5 deg", "mm", "--resolution")


@pytest.mark.parametrize(
    ("position", "change", "metres"),
    [
        ("0, 0, 20 mm", 'body.a.position.z="3 cm"', (0, 0, 0.03)),
        ("10, 20, 30 mm", 'body.a.position.x="1 m"', (1, 0.02, 0.03)),
        ("1 cm, 2 mm, 3 m", "body.a.position.y=5 mm", (0.01, 0.005, 3)),
        (None, 'body.a.position.y="5 mm"', (0, 0.005, 0)),
    ],
)
def test_one_component_changes_and_the_others_keep_their_unit(position, change, metres):
    body = {"name": "a"} if position is None else {"name": "a", "position": position}
    changed = apply_changes({"body": [body]}, [change], "scene.toml")
    assert parse(changed["body"][0]["position"], LENGTH, 3) == pytest.approx(metres)


def test_a_component_of_a_component_is_refused():
    with pytest.raises(InputError):
        apply_changes({"body": [{"name": "a"}]}, ['body.a.position.z.x="1 mm"'], "scene.toml")


def test_a_component_of_gravity_leaves_the_weight():
    changed = apply_changes({}, ["gravity.x=1 m/s^2"], "scene.toml")
    assert parse(changed["gravity"], ACCELERATION, 3) == pytest.approx((1, 0, -9.80665))


def test_several_keys_go_through_their_ranges_together():
    """An "and" within a name parts nothing."""
    text = "body.nut and ring.position.x=-60..-20 mm and body.right.position.x=60..30 mm"
    span = read_span(text, "--first")
    assert span.changes(1, 2) == (
        'body.nut and ring.position.x="-40.0 mm"',
        'body.right.position.x="45.0 mm"',
    )
    assert span.changes_at(0.5) == span.changes(1, 2)
    ((other, numbers),) = span.partners((-50.0,))
    assert (other.key, numbers) == ("body.right.position.x", (52.5,))


@pytest.mark.parametrize("more", ["body.a.position.x", "body.a.position.x=2..3 mm"])
def test_keys_that_go_together_are_ranges_and_differ(more):
    with pytest.raises(InputError):
        read_span(f"body.a.position.x=1..2 mm and {more}", "--find")
