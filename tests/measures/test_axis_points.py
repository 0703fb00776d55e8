from app.measures.axis_points import SidedAxisPoint, read_sided_axis_point, write_point


def test_a_point_written_with_its_side_reads_back_as_it_is() -> None:
    for text in ("4 1/2 left over 1/4 down", "5 right over 0 up", "4 7/16 over 1/2 up"):
        point = read_sided_axis_point(text).given
        assert read_sided_axis_point(write_point(point, point.side)).given == point


def test_the_choices_of_a_question_keep_the_side() -> None:
    asked = read_sided_axis_point("4 1/2 left over 1/2")
    assert asked.choices == ("4 1/2 left over 1/2 up", "4 1/2 left over 1/2 down")
    assert isinstance(read_sided_axis_point(asked.choices[0]).value, SidedAxisPoint)


def test_up_and_down_together_are_asked_about() -> None:
    asked = read_sided_axis_point("4 over up 1/2 down")
    assert (asked.state, asked.choices) == ("ask", ("4 over 1/2 up", "4 over 1/2 down"))
