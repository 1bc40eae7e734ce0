"""`snapsim guide` on the command line; its chapters are looked at in tests/guide."""


def test_it_lists_chapters_and_shows_one_as_it_is_written(snap):
    listed = snap("guide")
    assert listed.status == 0
    assert "tutorial" in listed.out
    shown = snap("guide", "tutorial")
    assert shown.out.startswith("# An evening's show in ten steps")
    assert "snapsim examples gear-blank" in shown.out
    assert snap("guide", "keys", "--json").json["markdown"].startswith("# Keys of a scene file")
    assert "tutorial" in snap("guide", "--json").json["chapters"]


def test_another_name_is_one_line_with_the_nearest(snap):
    shown = snap("guide", "tutorail")
    assert (shown.status, shown.err.count("\n")) == (2, 1)
    assert 'did you mean "tutorial"' in shown.err
