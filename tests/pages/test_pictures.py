from app.pages.environment import templates
from app.pages.pictures import GripPicture, Label


def test_a_span_off_the_64ths_fits_the_paper_pictures_width() -> None:
    label = Label(0.5, 0.0, "4 27/64 − 0.001", "start")
    page = templates.from_string("{% import 'macros/printed.html' as printed %}{{ printed.grip(picture) }}")
    drawn = page.render(picture=GripPicture(4.3, (), (label,), ""))
    assert "4 27/64<tspan" in drawn and ">− 0.001</tspan>" in drawn
