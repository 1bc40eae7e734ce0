"""Tables as spreadsheets of several countries and trackers write them."""

import numpy as np
import pytest

from snapsim.errors import InputError
from snapsim.footage.table import table_from

WANTED = np.array([[0.0, 1.5, 20.0], [0.1, np.nan, 21.25], [0.2, -1e-3, np.nan]])


@pytest.mark.parametrize(
    "text",
    [
        "t [s],x,y\n0,1.5,20\n0.1,,21.25\n0.2,-1e-3,nan\n",
        "t [s];x;y\n0;1,5;20\n0,1;;21,25\n0,2;-1e-3;NaN\n",
        "t [s]\tx\ty\n0\t1,5\t20\n0,1\tn/a\t21,25\n0,2\t-1e-3\t-\n",
        '# a note\n\nt [s],x,y\n0,"1,5",20\n0.1,null,21.25\n0.2,-.001,\n',
        "\ufefft [s];x;y\r\n0;1.5;20\r\n0.1;;21.25\r\n0.2;-1e-3;\r\n".lstrip("\ufeff"),
        "t [s],x,y,\n0,1.5,20,\n0.1,,21.25,\n0.2,-1e-3,,\n",
    ],
)
def test_signs_between_cells_decimal_commas_and_gaps_are_read(text):
    table = table_from(text, "tracks.csv")
    assert table.headings == ("t", "x", "y")
    assert table.units == ("s", "", "")
    np.testing.assert_array_equal(np.stack([table.numbers(i) for i in range(3)], axis=1), WANTED)
    assert table.source == text


def test_two_heading_lines_are_joined():
    table = table_from(",rim,,hub,\nframe,x,y,x,y\n0,1,2,3,4\n", "tracks.csv")
    assert table.headings == ("frame", "rim x", "rim y", "hub x", "hub y")


def test_a_table_without_heading_goes_by_number():
    assert table_from("0,1,2\n1,1,3\n", "tracks.csv").headings == ("1", "2", "3")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("# only a note\n\n", "is empty"),
        ("t,x,y\n", "a heading and no frames"),
        ("t,x,y\n0,1,2\n1,2\n", "line 3: has 2 cells where 3 are due"),
        # CSV fields beyond the library's bound, and headings whose search would take hours
        (f"t,x,y\n0,1,{'9' * 200_000}\n", "line 2: cannot be read: field larger than"),
        (f"t,x,y{' ' * 100_000}-\n0,1,2\n", "at most 2000 of 200 are read"),
        ("t,x,y" + "," * 200_000 + "\n1,2\n", "line 2: has 2 cells where 3 are due"),
        (",".join(["x"] * 3000) + "\n" + ",".join(["1"] * 3000), "3000 headings"),
    ],
)
def test_what_is_no_table_is_refused_in_one_line(text, said):
    with pytest.raises(InputError, match=said) as caught:
        table_from(text, "tracks.csv")
    assert str(caught.value).startswith("tracks.csv: ")
    assert "\n" not in str(caught.value)


def test_a_cell_that_is_no_number_names_its_line_and_column():
    table = table_from("t,x,y\n0,1,2\n1,1.2.3,2\n", "tracks.csv")
    with pytest.raises(InputError, match=r'line 3, column "x": "1\.2\.3" is no number'):
        table.numbers(1)
