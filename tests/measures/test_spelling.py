import pytest

from app.measures.reading import Refuse
from app.measures.spelling import list_comma_readings


def test_each_comma_between_figures_is_a_point_or_a_gap() -> None:
    assert list_comma_readings("4,5") == ["4.5", "4 , 5"]
    assert list_comma_readings("0,1/8") == ["0 , 1/8"]
    assert list_comma_readings("4, 5") == ["4, 5"]


def test_four_commas_are_read_and_five_are_too_many() -> None:
    assert len(list_comma_readings("1,2,3,4,5")) == 2**4
    with pytest.raises(Refuse):
        list_comma_readings("1,2,3,4,5,6")
